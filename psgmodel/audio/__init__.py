"""audio: what a signal sounds like. `Steps` in; band-limited samples, files, playback and spectra out.

Samples: `render_steps`, `render_channels`, `render_blocks`, `StepsRenderer`; `block_dc`.
Files: `write_audio`, `read_audio`. Playback: `play`.
Measurements: `power_spectrum`, `spectrogram`, `third_octave_levels`, `estimate_pitch`, `repetition_cycles`, notes.

Libraries that are slow to load (scipy, soundfile, sounddevice) are loaded by the functions that need them.
"""

from psgmodel.audio.bands import BandLevels, third_octave_levels
from psgmodel.audio.dc_block import DcBlock, block_dc
from psgmodel.audio.files import ReadAudio, WrittenAudio, read_audio, write_audio
from psgmodel.audio.frequency import Pitch, estimate_pitch, repetition_cycles
from psgmodel.audio.pitch import NearNote, hertz_to_cents, hertz_to_note, note_to_hertz
from psgmodel.audio.playback import LISTENING_CAUTION, PlaybackError, Played, play
from psgmodel.audio.render import render_blocks, render_channels, render_steps
from psgmodel.audio.renderer import RendererState, StepsRenderer
from psgmodel.audio.spectra import Spectrogram, Spectrum, power_spectrum, spectrogram

__all__ = [
    "LISTENING_CAUTION",
    "BandLevels",
    "DcBlock",
    "NearNote",
    "Pitch",
    "PlaybackError",
    "Played",
    "ReadAudio",
    "RendererState",
    "Spectrogram",
    "Spectrum",
    "StepsRenderer",
    "WrittenAudio",
    "block_dc",
    "estimate_pitch",
    "hertz_to_cents",
    "hertz_to_note",
    "note_to_hertz",
    "play",
    "power_spectrum",
    "read_audio",
    "render_blocks",
    "render_channels",
    "render_steps",
    "repetition_cycles",
    "spectrogram",
    "third_octave_levels",
    "write_audio",
]
