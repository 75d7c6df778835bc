"""Counting the edges of a clock, block by block; no edge is kept.

Stage: dump. In: the changes of clock, enable and reset in one block. Out: the times of the counted edges in it.
Everything is sampled by the value held just before the edge.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.dump.digits import MaskArray, TimeArray
from psgmodel.dump.rules import ClockRule, ResetRule
from psgmodel.dump.settle import Changes
from psgmodel.errors import DumpError, Place, Problem

_ANCHOR_EVERY = 1024
"""Every so many edges the time of one is kept, for `Samples.time_of`."""


class BitHeld(NamedTuple):
    """The level of a one-bit signal after the changes seen so far."""

    value: int = 0
    unknown: bool = True

    def after(self, changes: Changes) -> BitHeld:
        """Return the level after more changes."""
        if changes.time.size == 0:
            return self
        return BitHeld(int(changes.value[-1]), bool(changes.unknown[-1]))


@dataclass(slots=True)
class ResetState:
    """Whether the reset was released, and what it did after."""

    rule: ResetRule | None
    held: BitHeld = field(default_factory=BitHeld)
    seen: bool = False
    skipped: int = 0
    again: int | None = None

    def first_counted(self, level: NDArray[np.uint64], unknown: MaskArray) -> int:
        """Return how many edges of a block come before cycle 0, given the reset as each edge samples it."""
        if self.rule is None:
            return 0
        active = ~unknown & (level == self.rule.active)
        inactive = ~unknown & (level != self.rule.active)
        if self.rule.seen_first and not self.seen:
            was_active = np.maximum.accumulate(active)
            inactive &= was_active
            self.seen = bool(active.any())
        count = int(np.argmax(inactive)) if inactive.any() else level.size
        self.skipped += count
        return count


class _Edges(NamedTuple):
    """Edges of one block, with what they sample; `unclear` where the enable is unknown."""

    time: TimeArray
    byte: NDArray[np.int64]
    unclear: MaskArray
    reset: NDArray[np.uint64]
    reset_unknown: MaskArray

    def taken(self, which: MaskArray | slice) -> _Edges:
        return _Edges(
            self.time[which], self.byte[which], self.unclear[which], self.reset[which], self.reset_unknown[which]
        )


@dataclass(slots=True)
class ClockState:
    """What carries over from block to block while edges are counted."""

    rule: ClockRule
    file: str
    clock: BitHeld = field(default_factory=BitHeld)
    enable: BitHeld = field(default_factory=BitHeld)
    reset: ResetState = field(default_factory=lambda: ResetState(None))
    counted: int = 0
    all_edges: int = 0
    unclear: int = 0
    unclear_time: int | None = None
    lost_at: int | None = None
    unknown_enables: int = 0
    anchors: list[tuple[int, int]] = field(default_factory=list)
    start_time: int | None = None
    last_edge_time: int = 0


def before_edges(edge_time: TimeArray, changes: Changes, held: BitHeld) -> tuple[NDArray[np.uint64], MaskArray]:
    """Return level and unknown mask of a signal just before each edge."""
    at = np.searchsorted(changes.time, edge_time, side="left")
    value = np.append(np.uint64(held.value), changes.value)[at]
    return value, np.append(held.unknown, changes.unknown)[at]


def count_edges(state: ClockState, clock: Changes, enable: Changes | None, reset: Changes | None) -> TimeArray:
    """Return the times of the edges of a block that count, from cycle 0 on.

    Raises
    ------
    DumpError
        From cycle 0 on: the clock goes on after it was unknown, or the enable is unknown at an edge.
    """
    edges = _all_edges(state, clock)
    if enable is not None:
        level, unclear = before_edges(edges.time, enable, state.enable)
        state.enable = state.enable.after(enable)
        edges = edges._replace(unclear=unclear).taken(unclear | (level == 1))
    if reset is not None:
        level, unknown = before_edges(edges.time, reset, state.reset.held)
        state.reset.held = state.reset.held.after(reset)
        edges = edges._replace(reset=level, reset_unknown=unknown)
    edges = _from_cycle_0(state, edges)
    _refuse_gap(state, clock, edges)
    for i in np.flatnonzero(edges.unclear)[:1]:
        raise DumpError(
            f"the clock enable {state.rule.enable} is unknown at the edge at time {edges.time[i]}, "
            f"which would be that of cycle {state.counted + int(i)}",
            place=Place(state.file, byte=int(edges.byte[i])),
        )
    _note_reset(state, edges)
    _add_anchors(state, edges.time)
    state.counted += edges.time.size
    return edges.time


def _all_edges(state: ClockState, clock: Changes) -> _Edges:
    """Return every change of the clock that is an edge of the wanted kind."""
    target = 1 if state.rule.edge == "rising" else 0
    old_value = np.append(np.uint64(state.clock.value), clock.value)[:-1]
    old_unknown = np.append(state.clock.unknown, clock.unknown)[:-1]
    arrives = ~clock.unknown & (clock.value == target)
    unclear = np.flatnonzero(arrives & old_unknown)
    state.unclear += unclear.size
    if unclear.size and state.unclear_time is None:
        state.unclear_time = int(clock.time[unclear[0]])
    state.clock = state.clock.after(clock)
    edge = arrives & ~old_unknown & (old_value != target)
    count = int(np.count_nonzero(edge))
    state.all_edges += count
    no = np.zeros(count, dtype=np.bool_)
    return _Edges(clock.time[edge], clock.byte[edge], no, np.zeros(count, dtype=np.uint64), no)


def _from_cycle_0(state: ClockState, edges: _Edges) -> _Edges:
    """Leave out the edges before cycle 0; those with an unknown enable are none that could be cycle 0."""
    if state.counted:
        return edges
    clear = np.flatnonzero(~edges.unclear)
    skipped = state.reset.first_counted(edges.reset[clear], edges.reset_unknown[clear])
    first = int(clear[skipped]) if skipped < clear.size else edges.time.size
    state.unknown_enables += int(np.count_nonzero(edges.unclear[:first]))
    if first < edges.time.size:
        state.start_time = int(edges.time[first])
    return edges.taken(slice(first, None))


def _refuse_gap(state: ClockState, clock: Changes, edges: _Edges) -> None:
    """Raise where the clock goes on after it was unknown past cycle 0: edges in between were not seen."""
    if state.start_time is None:
        return
    if state.lost_at is None:
        for i in np.flatnonzero(clock.unknown & (clock.time > state.start_time))[:1]:
            state.lost_at = int(clock.time[i])
    if state.lost_at is None:
        return
    for i in np.flatnonzero(edges.time > state.lost_at)[:1]:
        raise DumpError(
            f"the clock {state.rule.clock} is unknown from time {state.lost_at} on and has an edge again at time "
            f"{edges.time[i]}: the edges between cannot be counted",
            place=Place(state.file, byte=int(edges.byte[i])),
            hint="was the dump switched off and on?",
        )


def _note_reset(state: ClockState, edges: _Edges) -> None:
    rule = state.reset.rule
    if rule is not None and state.reset.again is None:
        for i in np.flatnonzero(edges.reset_unknown | (edges.reset == rule.active))[:1]:
            state.reset.again = state.counted + int(i)


def _add_anchors(state: ClockState, time: TimeArray) -> None:
    first = -state.counted % _ANCHOR_EVERY
    state.anchors += [(state.counted + i, int(time[i])) for i in range(first, time.size, _ANCHOR_EVERY)]
    if time.size:
        state.last_edge_time = int(time[-1])


def clock_notes(state: ClockState) -> list[Problem]:
    """Return what was tolerated while counting."""
    notes: list[Problem] = []
    place = Place(state.file)
    if state.unclear:
        message = f"{state.unclear} changes of the clock from unknown were not counted as edges"
        notes.append(Problem(message, place, f"the first at time {state.unclear_time}"))
    if state.lost_at is not None:
        notes.append(Problem(f"the clock is unknown from time {state.lost_at} to the end", place))
    if state.unknown_enables:
        notes.append(Problem(f"{state.unknown_enables} edges before cycle 0 had an unknown clock enable", place))
    return notes


def no_edges_error(state: ClockState) -> DumpError:
    """Return the error of a dump in which no edge counts, with the likely reason."""
    place = Place(state.file)
    rule = state.rule
    if state.all_edges == 0:
        hint = f"{state.unclear} changes came from an unknown level" if state.unclear else "is this the clock?"
        return DumpError(f"the clock {rule.clock} has no {rule.edge} edge in this dump", place=place, hint=hint)
    if rule.reset is not None and state.reset.skipped:
        message = f"the reset {rule.reset.signal} is never sampled inactive: {state.reset.skipped} edges skipped"
        return DumpError(message, place=place, hint=f"is it active {'low' if rule.reset.active else 'high'}?")
    message = f"none of the {state.all_edges} edges of {rule.clock} samples {rule.enable} = 1"
    return DumpError(message, place=place)
