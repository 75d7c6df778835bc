"""Playback: samples to the sound device, starting quietly.

Stage: audio. In: float64 samples, 1.0 at full scale, whole or as blocks. Out: sound, 20 dB below full scale unless
the caller says otherwise, faded in, with DC taken out, and ramped to zero at the end or when stopped from the
keyboard. Where there is no sound library or no device, a `PlaybackError` says so and what to install; nothing else
goes wrong then, so that a caller can write a file instead.
"""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from threading import Event
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.dc_block import DcBlock
from psgmodel.audio.files import as_channels
from psgmodel.errors import AudioError

Samples = NDArray[np.float64]

LISTENING_CAUTION = (
    "Start at the lowest volume and raise it slowly: test tones are louder than music of the same peak level. "
    "Sound can harm hearing for good. WHO and ITU (ITU-T H.870, 2018) give adults a weekly allowance of 80 dBA for "
    "40 hours, and half the time for every 3 dB more: 89 dBA for 5 hours, 101 dBA for 19 minutes; children and "
    "sensitive listeners 75 dBA for 40 hours. This program does not know how loud your equipment plays and gives no "
    "safety approval: follow its data sheets and the noise-exposure rules that apply where you are."
)
"""Text to show before anything is played."""

DEFAULT_LEVEL_DB = -20.0
DEFAULT_FADE_IN_S = 0.25
DEFAULT_DC_BLOCK_HZ = 10.0
_BLOCK = 1024
_RAMP_DOWN_S = 0.01
_NO_LIBRARY = "apt-get install libportaudio2, or write a WAV file instead"
_NO_DEVICE = "connect or enable a sound device, or write a WAV file instead"


class PlaybackError(AudioError):
    """Nothing can be played here: no sound library, no device, or the device refused."""


@dataclass(frozen=True, slots=True)
class Played:
    """What was played.

    Attributes
    ----------
    device : str
        Name of the sound device.
    samples : int
        Per channel, without the closing ramp.
    stopped : bool
        True where the listener stopped it from the keyboard.
    """

    device: str
    samples: int
    stopped: bool


def play(
    samples: Samples | Iterable[Samples],
    rate: int,
    *,
    level_db: float = DEFAULT_LEVEL_DB,
    fade_in_s: float = DEFAULT_FADE_IN_S,
    dc_block_hz: float | None = DEFAULT_DC_BLOCK_HZ,
    device: int | str | None = None,
) -> Played:
    """Play samples and return when they are out, or when the listener presses Ctrl-C.

    Parameters
    ----------
    samples : ndarray of float64, shape (n,) or (n, channels), or iterable of such blocks
        1.0 at full scale.
    rate : int, hertz
    level_db : float, dB
        0 or less: level at which 1.0 is played, relative to full scale of the device.
    fade_in_s : float, seconds
        Length of the linear fade-in, 0 or more.
    dc_block_hz : float or None, hertz
        Corner of the high-pass that keeps DC from headphones and speakers; None leaves DC in.
    device : int, str or None
        As sounddevice takes it; None is the default device.

    Returns
    -------
    Played

    Raises
    ------
    PlaybackError
        No sound library, no device, or the device refused the format.
    AudioError
        Samples above full scale at this level, not finite, none at all, or a level above 0 dB.
    """
    if not level_db <= 0:
        raise AudioError(f"playback level {level_db} dB is above full scale", hint="0 dB or less; -20 is the default")
    if not (math.isfinite(fade_in_s) and fade_in_s >= 0):
        raise AudioError(f"fade-in of {fade_in_s} s is not a time of 0 s or more")
    blocks = _prepared(_short_blocks(samples), rate, level_db, fade_in_s, dc_block_hz)
    first = next(blocks, None)
    if first is None:
        raise AudioError("there are no samples to play")
    library = _sound_library()
    name = _device_name(library, device)
    try:
        with library.OutputStream(samplerate=rate, channels=first.shape[1], dtype="float32", device=device) as stream:
            done, stopped = _play_blocks(stream, first, blocks, rate)
    except library.PortAudioError as error:
        raise PlaybackError(f"the sound device refused: {_reason(error)}", hint=_NO_DEVICE) from error
    return Played(name, done, stopped)


def _play_blocks(
    stream: Any, first: NDArray[np.float32], rest: Iterator[NDArray[np.float32]], rate: int
) -> tuple[int, bool]:
    """Play in a second thread, so that Ctrl-C never comes between a sample and the knowledge that it was played."""
    stop = Event()
    with ThreadPoolExecutor(max_workers=1) as threads:
        try:
            work = threads.submit(_write_until, stop, stream, first, rest, rate)
            try:
                return work.result(), False
            except KeyboardInterrupt:
                stop.set()
                return work.result(), True
        finally:
            stop.set()


def _write_until(
    stop: Event, stream: Any, first: NDArray[np.float32], rest: Iterator[NDArray[np.float32]], rate: int
) -> int:
    """Write blocks until they end or `stop` is set, then ramp from the last sample to zero; return their length."""
    done = 0
    last = first[:1] * np.float32(0)
    block: NDArray[np.float32] | None = first
    while block is not None and not stop.is_set():
        stream.write(block)
        done += block.shape[0]
        last = block[-1:]
        block = next(rest, None)
    ramp = np.linspace(1, 0, max(2, round(rate * _RAMP_DOWN_S)), dtype=np.float32)[1:, None]
    stream.write(np.ascontiguousarray(ramp * last))
    return done


def _short_blocks(samples: Samples | Iterable[Samples]) -> Iterator[Samples]:
    for block in [samples] if isinstance(samples, np.ndarray) else samples:
        whole = as_channels(block)
        for at in range(0, whole.shape[0], _BLOCK):
            yield whole[at : at + _BLOCK]


def _prepared(
    blocks: Iterator[Samples], rate: int, level_db: float, fade_in_s: float, dc_block_hz: float | None
) -> Iterator[NDArray[np.float32]]:
    """Yield blocks as they go to the device: DC out, level set, faded in, checked."""
    gain = 10 ** (level_db / 20)
    fade = round(fade_in_s * rate)
    high_pass = None if dc_block_hz is None else DcBlock(dc_block_hz, rate)
    at = 0
    for block in blocks:
        value = block if high_pass is None else high_pass.process(block)
        value = value * gain
        if at < fade:
            value = value * np.minimum(1.0, np.arange(at, at + block.shape[0]) / fade)[:, None]
        peak = float(np.abs(value).max())
        if not peak <= 1.0:
            where = at + int(np.argmax(np.abs(value).max(axis=1)))
            raise AudioError(
                f"sample {where} is {peak:.4g} times full scale at {level_db} dB",
                hint="lower level_db, or render with a larger full_scale",
            )
        yield np.ascontiguousarray(value, dtype=np.float32)
        at += block.shape[0]


def _sound_library() -> ModuleType:
    if _library_kills_its_program():
        raise PlaybackError(
            "sound cannot be played here: PortAudio stops the program while it looks for devices",
            hint="the ALSA configuration seems to be missing (apt-get install libasound2-data); or write a WAV file",
        )
    try:
        import sounddevice
    except (OSError, ImportError) as error:
        raise PlaybackError(f"sound cannot be played here: {_reason(error)}", hint=_NO_LIBRARY) from error
    module: ModuleType = sounddevice
    return module


@lru_cache(maxsize=1)
def _library_kills_its_program() -> bool:
    """Try in a child process: PortAudio aborts where ALSA has no usable configuration, and nothing can catch that."""
    if not sys.executable:
        return False
    child = subprocess.run([sys.executable, "-c", "import sounddevice"], capture_output=True, check=False)
    return child.returncode < 0


def _device_name(library: ModuleType, device: int | str | None) -> str:
    try:
        return str(library.query_devices(device, "output")["name"])
    except (library.PortAudioError, ValueError) as error:
        asked = "no sound device was found" if device is None else f'sound device "{device}" was not found'
        raise PlaybackError(f"{asked}: {_reason(error)}", hint=_NO_DEVICE) from error


def _reason(error: BaseException) -> str:
    return str(error.args[0]).strip() if error.args else type(error).__name__
