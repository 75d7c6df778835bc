"""Observing a dump: one pass over the file gives everything that a comparison needs of it.

Stage: dump. In: a dump, a chip, perhaps a signal map. Out: an `Observation`: `Steps` for each channel, output and
pin, and the register log recovered from the bus. The dump alone is enough.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from psgmodel.chip.records import Chip
from psgmodel.dump.bus import BusTraffic, bus_traffic
from psgmodel.dump.header import Timescale
from psgmodel.dump.levels import (
    PIECE_ENTRIES,
    Kind,
    Observed,
    Piece,
    PiecesState,
    bus_log,
    bus_names,
    level_names,
    levels_of,
)
from psgmodel.dump.reader import Dump
from psgmodel.dump.resolve import complete_map
from psgmodel.dump.samples import Samples
from psgmodel.dump.sampling import sample_opened
from psgmodel.dump.signal_map import SignalMap
from psgmodel.dump.source import CHUNK_BYTES, DumpSource
from psgmodel.errors import DumpError, Problem
from psgmodel.reglog.log import RegisterLog, make_log
from psgmodel.steps import Steps, empty_steps

__all__ = ["Kind", "Observation", "Observed", "Piece", "observe"]


@dataclass(frozen=True, slots=True, eq=False)
class Observation:
    """What a dump says.

    Attributes
    ----------
    file : str
    map : SignalMap
        Complete, with its guesses.
    rule : str
        The sampling rule, one sentence.
    edges, skipped_edges : int
        Counted edges from cycle 0 on, and edges before it.
    end : int, clock cycles
        First cycle that the levels no longer cover. Less than `edges`: no edge samples the level of the last cycle.
    signals : tuple of Observed
        Channels in the order of the chip, then outputs, then pins.
    log : RegisterLog or None
        The writes of cycles before `end`, recovered from the bus; None where the dump has no bus.
    later_writes : int
        Writes on the bus that lie at or past `end`, behind a second reset or at the last edge.
    reads : BusTraffic or None
        Reads on the bus; None where the map names none.
    first_time, end_time : int or None, dump time units
        First and last time stamp.
    timescale : Timescale or None
    nothing : str
        Why no edge was counted; empty where some were.
    notes : tuple of Problem
        What was tolerated.
    samples : Samples or None
        For `time_of`; without its signals, which would take as much memory as the levels.
    """

    file: str
    map: SignalMap
    rule: str
    edges: int
    skipped_edges: int
    end: int
    signals: tuple[Observed, ...]
    log: RegisterLog | None
    later_writes: int
    reads: BusTraffic | None
    first_time: int | None
    end_time: int | None
    timescale: Timescale | None
    nothing: str
    notes: tuple[Problem, ...]
    samples: Samples | None

    def time_of(self, cycle: int) -> int | None:
        """Return the time of the edge of a cycle in dump time units, None where it was not counted."""
        if self.samples is None or not 0 <= cycle < self.edges:
            return None
        return self.samples.time_of(cycle)

    def channels(self) -> dict[str, Steps]:
        """Return the channels' levels by name."""
        return {s.name: s.steps for s in self.signals if s.kind is Kind.CHANNEL}


def observe(
    source: DumpSource,
    chip: Chip,
    given: SignalMap | None = None,
    *,
    need_bus: bool = True,
    chunk_bytes: int = CHUNK_BYTES,
    each: Callable[[Piece], None] | None = None,
    piece_entries: int = PIECE_ENTRIES,
) -> Observation:
    """Read a dump.

    Parameters
    ----------
    source : path, str or binary stream
        "-" is standard input.
    chip : Chip
    given : SignalMap, optional
        Sections that it leaves out are guessed from names.
    need_bus : bool
        True: the register log must come from the bus of this dump.
    chunk_bytes : int, bytes
        How much is read at a time. The result does not depend on it.
    each : callable, optional
        Is given the levels piece by piece, while the dump is read, in place of `Observation.signals`, so that memory
        does not grow with the changes of levels. It may be given more than `Observation.end` covers, if a second reset
        comes.
    piece_entries : int
        From how many changes on a piece is given.

    Returns
    -------
    Observation
        With no edges, and `nothing` saying why, where no clock edge counts.

    Raises
    ------
    MapError
        A signal that is needed can neither be found nor guessed.
    DumpError
        The dump cannot be read, is cut, or a control signal is unknown past cycle 0.
    """
    with Dump(source, chunk_bytes=chunk_bytes) as dump:
        header = dump.header
        whole = complete_map(given, header, chip, need_bus=need_bus)
        pieces = None if each is None else PiecesState(whole, each, piece_entries)
        try:
            samples = sample_opened(
                dump, [*bus_names(whole), *level_names(whole)], whole.rule(), None if pieces is None else pieces.watch
            )
        except DumpError as error:
            if not _counts_nothing(error):
                raise
            return _nothing(header.file, whole, header.timescale, str(error))
    return _observation(samples, whole, with_signals=each is None)


def _observation(samples: Samples, whole: SignalMap, *, with_signals: bool) -> Observation:
    end = max(samples.edges - 1, 0)
    if samples.reset_again is not None:
        end = min(end, samples.reset_again)
    log, later = bus_log(samples, whole, end)
    return Observation(
        file=samples.file,
        map=whole,
        rule=samples.rule,
        edges=samples.edges,
        skipped_edges=samples.skipped_edges,
        end=end,
        signals=levels_of(samples, whole, end) if with_signals else (),
        log=log,
        later_writes=later,
        reads=None if (reading := whole.read_probe()) is None else bus_traffic(samples, reading),
        first_time=samples.first_time,
        end_time=samples.end_time,
        timescale=samples.timescale,
        nothing="" if end else "a single clock edge was counted: no level stands between two",
        notes=samples.notes,
        samples=replace(samples, signals={}),
    )


_NO_EDGES = re.compile(
    r"has no (?:rising|falling) edge in this dump|is never sampled inactive|^none of the \d+ edges of"
    r"|^the dump (?:has no time stamp|ends at time \d+); the first edge"
)


def _counts_nothing(error: DumpError) -> bool:
    """Tell whether an error says that the dump is whole but no edge of it counts."""
    return (
        error.last_good_time is None and len(error.problems) == 1 and bool(_NO_EDGES.search(error.problems[0].message))
    )


def _nothing(file: str, whole: SignalMap, timescale: Timescale | None, reason: str) -> Observation:
    none = empty_steps(0)
    signals = [Observed(n, Kind.CHANNEL, e.signal, none) for n, e in (whole.channels or {}).items()]
    signals += [Observed(n, Kind.OUTPUT, e.signal, none) for n, e in (whole.outputs or {}).items()]
    signals += [Observed(n, Kind.PIN, e.signal, none) for n, e in (whole.pins or {}).items()]
    log = None if whole.probe() is None else make_log([], [], [], end=0, source=f"bus of {file}")
    rule = str(whole.rule())
    return Observation(
        file, whole, rule, 0, 0, 0, tuple(signals), log, 0, None, None, None, timescale, reason, (), None
    )
