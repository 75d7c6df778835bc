"""Levels and writes of a dump: what sampled signals are to the chip, whole or piece by piece.

Stage: dump. In: `Samples`, a complete signal map. Out: an `Observed` for each channel, output and pin; the register
log recovered from the bus.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Enum
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.dump.bus import bus_traffic, sample_cycles, strobed_steps
from psgmodel.dump.growing import GrowingState
from psgmodel.dump.samples import Samples
from psgmodel.dump.signal_map import SignalMap
from psgmodel.reglog.log import RegisterLog, make_log
from psgmodel.steps import Steps


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


class Piece(NamedTuple):
    """What a dump says of a stretch of cycles.

    Attributes
    ----------
    start, end : int, clock cycles
    signals : tuple of Observed
        Levels from `start` to `end`.
    log : RegisterLog or None
        The writes of cycles before `end`, from cycle 0 on; None where the dump has no bus.
    """

    start: int
    end: int
    signals: tuple[Observed, ...]
    log: RegisterLog | None


PIECE_ENTRIES = 2**21
"""Level changes of the dump in one piece, about."""


class PiecesState:
    """Gives levels away as soon as there are enough, and forgets them."""

    def __init__(self, whole: SignalMap, each: Callable[[Piece], None], entries: int) -> None:
        self._whole, self._each, self._entries = whole, each, entries
        self._bus, self._levels = bus_names(whole), level_names(whole)
        self._start = 0

    def watch(self, growing: GrowingState) -> None:
        """Give a piece, if it is time."""
        start, end = self._start, growing.edges - 1
        if end <= start or not (growing.ended or growing.entries(self._levels) >= self._entries):
            return
        signals = levels_of(growing.samples(self._levels, first=start), self._whole, end - start)
        moved = tuple(replace(s, steps=s.steps.shifted(start)) for s in signals)
        log = None
        if self._whole.probe() is not None:
            log, _ = bus_log(growing.samples(self._bus), self._whole, end)
        growing.forget(self._levels, before=end)
        self._start = end
        self._each(Piece(start, end, moved, log))


def bus_names(whole: SignalMap) -> list[str]:
    """Return the signals of the bus."""
    probe = whole.probe()
    found = [probe.strobe, probe.address, probe.data] if probe is not None else []
    reading = whole.read_probe()
    found += [reading.strobe, reading.data] if reading is not None else []
    return list(dict.fromkeys(found))


def level_names(whole: SignalMap) -> list[str]:
    """Return the signals of channels, outputs and pins, and the strobes of outputs."""
    found = [entry.signal for entry in (whole.channels or {}).values()]
    for entry in (whole.outputs or {}).values():
        found += [entry.signal, *([entry.strobe] if entry.strobe else [])]
    found += [entry.signal for entry in (whole.pins or {}).values()]
    return list(dict.fromkeys(found))


def bus_log(samples: Samples, whole: SignalMap, end: int) -> tuple[RegisterLog | None, int]:
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


def levels_of(samples: Samples, whole: SignalMap, end: int) -> tuple[Observed, ...]:
    """Return channels, outputs and pins from cycle 0 to `end`."""
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
