"""A recording that the bench wrote, in the place of a dump.

Stage: compare. In: an audio file with one channel for each output of the chip. Out: an `Observation` without signals,
whose map names the file; how many clock cycles it covers follows from its length. Sample 0 stands at cycle 0, give
or take the delay that is estimated. (A recording of the real board has a clock of its own and is another matter.)
"""

from __future__ import annotations

import os

from psgmodel.audio.files import read_audio
from psgmodel.chip.records import Chip
from psgmodel.dump.observe import Observation
from psgmodel.dump.signal_map import RecordingEntry, SignalMap
from psgmodel.errors import CompareError, Place

SUFFIXES = (".wav", ".flac")


def is_recording(source: object) -> bool:
    """Tell whether a dump is given as a path that is named like an audio file."""
    return isinstance(source, (str, os.PathLike)) and os.fspath(source).lower().endswith(SUFFIXES)


def observe_recording(path: str | os.PathLike[str], chip: Chip) -> Observation:
    """Read a recording in the place of a dump.

    Raises
    ------
    AudioError
        The file cannot be read.
    CompareError
        It has not as many channels as the chip has outputs.
    """
    audio = read_audio(path)
    outputs = chip.unit.outputs
    if audio.samples.shape[1] != len(outputs):
        raise CompareError(
            f"has {audio.samples.shape[1]} channels, the chip has the outputs {', '.join(outputs)}",
            place=Place(audio.path),
            hint="say in a map which channel is which output, beside the dump of the same run",
        )
    entries = {name: RecordingEntry(file=audio.path, channel=i + 1) for i, name in enumerate(outputs)}
    cycles = int(audio.samples.shape[0] * chip.clock_hz / audio.rate)
    return Observation(
        file=audio.path,
        map=SignalMap(channels={}, outputs={}, pins={}, recordings=entries, absent=tuple(chip.channels)),
        rule=f"a recording at {audio.rate} Hz; sample 0 stands at cycle 0",
        edges=cycles,
        skipped_edges=0,
        end=cycles,
        signals=(),
        log=None,
        later_writes=0,
        reads=None,
        first_time=None,
        end_time=None,
        timescale=None,
        nothing="",
        notes=(),
        samples=None,
    )
