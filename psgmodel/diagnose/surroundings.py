"""Surroundings: what stands around a cycle on both sides, and what the unit was told and ticked there.

Stage: diagnose. In: two signals, a cycle, the log, the tick sources. Out: a window of a few stretches before and after
the cycle, with the writes in field names and the ticks that fall into it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.records import Chip
from psgmodel.comparison.writes import SeenWrite, concerning, describe_write
from psgmodel.diagnose.edits import ticks_of
from psgmodel.engine.actions import tick_trains, unit_events, write_actions
from psgmodel.engine.state import reset_state
from psgmodel.reglog.bus import register_writes
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps, merged_cycles

Seen = TypeVar("Seen", SeenWrite, "SeenTick")

BEFORE, AFTER = 4, 5
"""Stretches shown before the cycle, and from it on."""
MOST_LISTED = 8
"""Writes, and ticks, listed; the nearest ones."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Cycles in which neither side changes; a level of None is unknown."""

    cycle: int
    model: int | None
    dump: int | None


@dataclass(frozen=True, slots=True)
class SeenTick:
    """One tick."""

    cycle: int
    name: str


@dataclass(frozen=True, slots=True)
class Window:
    """What stands around a cycle.

    Attributes
    ----------
    start, end : int, clock cycles
    stretches : tuple of Stretch
        From `start` to `end`, without a gap.
    writes : tuple of SeenWrite
        Those that concern the signal, by the cycle at which they change registers.
    ticks : tuple of SeenTick
    more_writes, more_ticks : int
        How many there are besides.
    """

    start: int
    end: int
    stretches: tuple[Stretch, ...]
    writes: tuple[SeenWrite, ...]
    ticks: tuple[SeenTick, ...]
    more_writes: int
    more_ticks: int


def window_around(chip: Chip, log: RegisterLog | None, name: str, sides: tuple[Steps, Steps], cycle: int) -> Window:
    """Return the window around a cycle in which two signals differ.

    Parameters
    ----------
    chip : Chip
    log : RegisterLog or None
        None: no writes are listed, and dividers are taken to run undisturbed.
    name : str
        Channel or output.
    sides : tuple of (Steps, Steps)
        Model and dump over the same cycles.
    cycle : int, clock cycles
    """
    model, dump = sides
    near = [_near(steps, cycle) for steps in sides]
    grid = merged_cycles([*near, np.array([cycle], dtype=np.int64)])
    at = int(np.searchsorted(grid, cycle))
    grid, rest = grid[max(0, at - BEFORE) : at + AFTER], grid[at + AFTER :]
    start, end = int(grid[0]), int(rest[0]) if rest.size else _last(sides, int(grid[-1]))
    unknown = dump.unknown_mask()[dump.index_at(grid)]
    levels = zip(grid.tolist(), model.at(grid).tolist(), dump.at(grid).tolist(), unknown.tolist(), strict=True)
    stretches = tuple(Stretch(c, ours, None if hidden else theirs) for c, ours, theirs, hidden in levels)
    writes = _writes(chip, log, name, start, end) if log is not None else []
    ticks = _ticks(chip, log, name, start, end)
    kept_writes, kept_ticks = _nearest(writes, cycle), _nearest(ticks, cycle)
    return Window(
        start,
        end,
        stretches,
        tuple(kept_writes),
        tuple(kept_ticks),
        len(writes) - len(kept_writes),
        len(ticks) - len(kept_ticks),
    )


def start_edges(chip: Chip, log: RegisterLog, name: str, end: int) -> NDArray[np.int64]:
    """Return the edges before `end` at which a start of a channel acts; none for an output."""
    if name not in chip.channels:
        return np.empty(0, dtype=np.int64)
    events = unit_events(chip, log.cut(0, end - chip.bus.write_latency), reset_state(chip))
    acts = np.zeros(events.edge.size, dtype=np.bool_)
    for address, action in write_actions(chip, name).items():
        for bit, kind in action.strobes:
            if kind == "start":
                acts |= (events.address == address) & ((bit < 0) | (events.value >> max(bit, 0) & 1 == 1))
    edges = np.unique(events.edge[acts]) + chip.channels[name].start_delay
    return edges[edges < end]


def _near(steps: Steps, cycle: int) -> NDArray[np.int64]:
    index = int(steps.index_at(cycle))
    return steps.cycle[max(0, index - BEFORE) : index + AFTER + 2]


def _last(sides: tuple[Steps, Steps], after: int) -> int:
    """Return the end of a last stretch, which nothing ends: at most a few thousand cycles of it are looked at."""
    return min(sides[0].end, after + 4096)


def _nearest(items: list[Seen], cycle: int) -> list[Seen]:
    kept = sorted(items, key=lambda item: abs(item.cycle - cycle))[:MOST_LISTED]
    return sorted(kept, key=lambda item: item.cycle)


def _writes(chip: Chip, log: RegisterLog, name: str, start: int, end: int) -> list[SeenWrite]:
    latency = chip.bus.write_latency
    writes, _ = register_writes(chip, log.cut(0, end - latency))
    wanted = np.isin(writes.address, np.fromiter(concerning(chip, name), np.int64)) & (writes.cycle + latency >= start)
    return [
        SeenWrite(cycle + latency, float(cycle / chip.clock_hz), address, value, describe_write(chip, address, value))
        for cycle, address, value in zip(
            writes.cycle[wanted].tolist(), writes.address[wanted].tolist(), writes.value[wanted].tolist(), strict=True
        )
    ]


def _ticks(chip: Chip, log: RegisterLog | None, name: str, start: int, end: int) -> list[SeenTick]:
    """Return the ticks that a channel counts; an output counts none."""
    if name not in chip.channels or log is None:
        return []
    state = reset_state(chip)
    trains, _, _ = tick_trains(chip, unit_events(chip, log.cut(0, end - chip.bus.write_latency), state), state)
    found: list[SeenTick] = []
    for tick in sorted(ticks_of(chip.channels[name])):
        edge = start - 1
        while (edge := trains[tick].nth_after(edge, 1)) < end and len(found) < 4096:
            found.append(SeenTick(edge, tick))
    return sorted(found, key=lambda t: (t.cycle, t.name))
