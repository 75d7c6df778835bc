"""Edges of a dump that does not hold its clock: declared by period and phase, never counted, checked by every change.

Stage: dump. In: the changes of a block. Out: the grid edge that first samples each change; errors for changes off
the grid. Grid edge k is at ``phase + k * period``; what is sampled is the value held just before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from psgmodel.dump.clock import BitHeld
from psgmodel.dump.digits import TimeArray
from psgmodel.dump.rules import GridRule
from psgmodel.dump.select import Signal
from psgmodel.dump.settle import Changes
from psgmodel.errors import DumpError, Place, Problem


@dataclass(slots=True)
class GridState:
    """Where cycle 0 is on the grid; None while the reset is not released.

    Invariant: grid edges from `reset_edge` on sample `reset`, unless a later change comes before that edge.
    """

    rule: GridRule
    file: str
    start: int | None = None
    reset: BitHeld = field(default_factory=BitHeld)
    reset_edge: int = 0
    reset_seen: bool = False

    def time_of(self, edge: int) -> int:
        """Return the time of a grid edge."""
        return self.rule.phase + edge * self.rule.period


def edges_after(state: GridState, time: TimeArray) -> NDArray[np.int64]:
    """Return the first grid edge strictly after each time: the one that samples a change made then."""
    return np.maximum((time - state.rule.phase) // state.rule.period + 1, 0)


def follow_reset(state: GridState, reset: Changes | None, until: int) -> None:
    """Find the first grid edge that samples the reset inactive, once all changes before time `until` are known."""
    if state.start is not None:
        return
    if state.rule.reset is None:
        state.start = 0
        return
    if reset is not None:
        edges = edges_after(state, reset.time)
        for edge, value, unknown in zip(edges.tolist(), reset.value.tolist(), reset.unknown.tolist(), strict=True):
            if edge > state.reset_edge and _released(state):
                return
            state.reset, state.reset_edge = BitHeld(value, unknown), edge
    if state.time_of(state.reset_edge) <= until:
        _released(state)


def _released(state: GridState) -> bool:
    rule = state.rule.reset
    if rule is None or state.reset.unknown:
        return False
    if state.reset.value == rule.active:
        state.reset_seen = True
    elif state.reset_seen or not rule.seen_first:
        state.start = state.reset_edge
        return True
    return False


def check_grid(state: GridState, signals: Sequence[Signal], block: Sequence[Changes]) -> None:
    """Raise where changes from cycle 0 on are not `delay` after an edge; one problem a signal."""
    if state.start is None:
        return
    rule = state.rule
    begin = state.time_of(state.start)
    problems: list[tuple[int, Problem]] = []
    for signal, changes in zip(signals, block, strict=True):
        off = (changes.time - (rule.phase + rule.delay)) % rule.period
        for i in np.flatnonzero((off != 0) & (changes.time >= begin))[:1]:
            message = (
                f'"{signal.path}" changes at time {changes.time[i]}, {off[i]} after the place of a change on the grid '
                f"{rule.phase} + k * {rule.period} + {rule.delay}"
            )
            byte = int(changes.byte[i])
            hint = "are period, phase and delay right, and is the signal of this clock?"
            problems.append((byte, Problem(message, Place(state.file, byte=byte), hint)))
    if problems:
        raise DumpError([problem for _, problem in sorted(problems, key=lambda entry: entry[0])])


def no_grid_edges_error(state: GridState, end_time: int | None) -> DumpError:
    """Return the error of a dump in which no grid edge counts."""
    rule, place = state.rule, Place(state.file)
    if end_time is None or end_time < rule.phase:
        ends = "has no time stamp" if end_time is None else f"ends at time {end_time}"
        return DumpError(f"the dump {ends}; the first edge is at time {rule.phase}", place=place)
    reset = rule.reset
    hint = f"is it active {'low' if reset is not None and reset.active else 'high'}?"
    name = reset.signal if reset is not None else "none"
    return DumpError(f"the reset {name} is never sampled inactive", place=place, hint=hint)
