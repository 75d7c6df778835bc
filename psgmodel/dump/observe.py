"""Observing a dump: one pass over the file gives everything that a comparison needs of it.

Stage: dump. In: a dump, a chip, perhaps a signal map. Out: an `Observation`: `Steps` for each channel, output and
pin, and the register log recovered from the bus. The dump alone is enough.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.records import Chip
from psgmodel.dump.bus import BusTraffic, bus_traffic, sample_cycles, strobed_steps
from psgmodel.dump.header import Timescale
from psgmodel.dump.reader import Dump
from psgmodel.dump.resolve import complete_map
from psgmodel.dump.samples import Samples
from psgmodel.dump.sampling import sample_opened
from psgmodel.dump.signal_map import SignalMap
from psgmodel.dump.source import CHUNK_BYTES, DumpSource
from psgmodel.errors import DumpError, Problem
from psgmodel.reglog.log import RegisterLog, make_log
from psgmodel.steps import Steps, empty_steps


class Kind(Enum):
    """What a signal of the dump is to the chip."""

    CHANNEL = "channel level"
    OUTPUT = "output code"
    PIN = "one-bit pin"


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """One signal of the dump.

    Attributes
    ----------
    name : str
        Channel or output of the chip.
    kind : Kind
    path : str
        Of the signal in the dump.
    steps : Steps
        Level over clock cycles; a pin is 1 where it stands for more.
    strobes : ndarray of int64, shape (n,), clock cycles, or None
        Cycles in which an output code is valid, where a strobe says so.
    """

    name: str
    kind: Kind
    path: str
    steps: Steps
    strobes: NDArray[np.int64] | None = None

    @property
    def unknown_cycles(self) -> int:
        """Number of cycles in which the level is unknown."""
        return int(self.steps.durations()[self.steps.unknown_mask()].sum())


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
        For `time_of`.
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
        try:
            samples = sample_opened(dump, _names(whole), whole.rule())
        except DumpError as error:
            if not _counts_nothing(error):
                raise
            return _nothing(header.file, whole, header.timescale, str(error))
    return _observation(samples, whole)


def _names(whole: SignalMap) -> list[str]:
    probe = whole.probe()
    found = [probe.strobe, probe.address, probe.data] if probe is not None else []
    reading = whole.read_probe()
    found += [reading.strobe, reading.data] if reading is not None else []
    found += [entry.signal for entry in (whole.channels or {}).values()]
    for entry in (whole.outputs or {}).values():
        found += [entry.signal, *([entry.strobe] if entry.strobe else [])]
    found += [entry.signal for entry in (whole.pins or {}).values()]
    return list(dict.fromkeys(found))


def _observation(samples: Samples, whole: SignalMap) -> Observation:
    end = max(samples.edges - 1, 0)
    if samples.reset_again is not None:
        end = min(end, samples.reset_again)
    log, later = _bus_log(samples, whole, end)
    return Observation(
        file=samples.file,
        map=whole,
        rule=samples.rule,
        edges=samples.edges,
        skipped_edges=samples.skipped_edges,
        end=end,
        signals=_signals(samples, whole, end),
        log=log,
        later_writes=later,
        reads=None if (reading := whole.read_probe()) is None else bus_traffic(samples, reading),
        first_time=samples.first_time,
        end_time=samples.end_time,
        timescale=samples.timescale,
        nothing="" if end else "a single clock edge was counted: no level stands between two",
        notes=samples.notes,
        samples=samples,
    )


def _bus_log(samples: Samples, whole: SignalMap, end: int) -> tuple[RegisterLog | None, int]:
    """Return the writes before `end` as a log, and how many there are later."""
    probe = whole.probe()
    if probe is None:
        return None, 0
    traffic = bus_traffic(samples, probe)
    inside = int(np.searchsorted(traffic.cycle, end))
    part = slice(0, inside)
    log = make_log(
        traffic.cycle[part],
        traffic.address[part],
        traffic.value[part],
        end=max(end, 0),
        source=f"bus of {samples.file}",
    )
    return log, int(traffic.cycle.size) - inside


def _signals(samples: Samples, whole: SignalMap, end: int) -> tuple[Observed, ...]:
    found: list[Observed] = []
    for name, level in (whole.channels or {}).items():
        steps = samples.steps(level.signal, signed=level.signed)
        found.append(Observed(name, Kind.CHANNEL, level.signal, steps.cut(0, end)))
    for name, code in (whole.outputs or {}).items():
        if not code.strobe:
            steps, strobes = samples.steps(code.signal, signed=code.signed), None
        else:
            active: Literal[0, 1] = 1 if code.strobe_active == "high" else 0
            steps = strobed_steps(samples, code.signal, code.strobe, active=active, signed=code.signed)
            strobes = sample_cycles(samples, code.strobe, active=active)
            strobes = strobes[strobes < end]
        found.append(Observed(name, Kind.OUTPUT, code.signal, steps.cut(0, end), strobes))
    for name, pin in (whole.pins or {}).items():
        steps = samples.steps(pin.signal).cut(0, end)
        if pin.active == "low":
            steps = Steps(steps.cycle, np.where(steps.unknown_mask(), 0, 1 - steps.level), steps.end, steps.unknown)
        found.append(Observed(name, Kind.PIN, pin.signal, steps))
    return tuple(found)


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
