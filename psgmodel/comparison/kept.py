"""Kept: what is kept of a large dump while it goes by, so that what needs samples can be told at its end.

Stage: compare. In: pieces of both sides, in order. Out: both sides over a bounded stretch.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from psgmodel.comparison.alignment import Pair
from psgmodel.comparison.lagging import trimmed
from psgmodel.steps import CycleArray, Steps, empty_steps, steps_from_changes

Pairs = Mapping[str, Pair]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """How much is kept.

    Attributes
    ----------
    opening : int
        Level changes of all signals, on both sides where they differ, from the start of the dump on.
    around, around_entries : int
        For how many clock cycles all signals are kept from the first difference on, and how many changes at most.
    entries : int
        Most changes of one signal from its own first difference on.
    changes, cycles : int
        Fewer do, if they are as many on both sides and last as many cycles.
    past_changes, past_cycles : int
        What is kept of a signal before it differs.
    audio_seconds : int, seconds
        How much of it is compared as audio.
    """

    opening: int = 2**20
    around: int = 2**22
    around_entries: int = 2**20
    entries: int = 2**18
    changes: int = 8200
    cycles: int = 2**25
    past_changes: int = 128
    past_cycles: int = 2**13
    audio_seconds: int = 10


def joined(parts: list[Steps]) -> Steps:
    """Return pieces that follow one another as one signal."""
    if len(parts) == 1:
        return parts[0]
    mask = None
    if any(part.unknown is not None for part in parts):
        mask = np.concatenate([part.unknown_mask() for part in parts])
    cycle, level = np.concatenate([p.cycle for p in parts]), np.concatenate([p.level for p in parts])
    return steps_from_changes(cycle, level, parts[-1].end, unknown=mask)


class PastState:
    """The last changes of a signal whose sides have agreed so far."""

    def __init__(self, bounds: Bounds) -> None:
        self._changes, self._cycles = bounds.past_changes, bounds.past_cycles
        self._steps: Steps = empty_steps(0)

    def add(self, steps: Steps) -> None:
        """Add a piece."""
        begin = self._begin(steps, steps.end)
        if begin is None:
            steps = self._steps.then(steps)
            begin = self._begin(steps, steps.end)
        self._steps = steps if begin is None else trimmed(steps, begin, steps.end)

    def before(self, model: Steps, dump: Steps, at: int) -> Pair:
        """Return a piece in which the sides part at a cycle, with what stands before it and without what need not."""
        begin = self._begin(model, at)
        if begin is None:
            return self._steps.then(model), self._steps.then(dump)
        return model.cut(begin, model.end), dump.cut(begin, dump.end)

    def _begin(self, steps: Steps, until: int) -> int | None:
        """Return from where on enough of a piece stands before a cycle, None where there is not enough."""
        index = int(np.searchsorted(steps.cycle, until)) - self._changes
        if index <= 0 or until - self._cycles < steps.start:
            return None
        return min(int(steps.cycle[index]), until - self._cycles)


class KeptState:
    """Both sides of one signal around its first difference.

    Attributes
    ----------
    at : int, clock cycles
        The first difference.
    full : bool
        Nothing more is taken.
    """

    def __init__(self, at: int, bounds: Bounds) -> None:
        self.at, self.full = at, False
        self._bounds = bounds
        self._model: list[Steps] = []
        self._dump: list[Steps] = []
        self._count = [0, 0]

    @property
    def end(self) -> int:
        """First cycle that is not kept."""
        return self._model[-1].end

    def add(self, model: Steps, dump: Steps) -> None:
        """Add a piece, or as much of it as is wanted."""
        firsts = [int(np.searchsorted(side.cycle, self.at, side="right")) for side in (model, dump)]
        most = [_cycle_of(side, i + self._bounds.entries - n) for side, i, n in self._each(model, dump, firsts)]
        few = [_cycle_of(side, i + self._bounds.changes - n) for side, i, n in self._each(model, dump, firsts)]
        end = min(*most, max(*few, self.at + self._bounds.cycles))
        if end < model.end:
            self.full, model, dump = True, trimmed(model, model.start, end), trimmed(dump, dump.start, end)
        self._model.append(model)
        self._dump.append(dump)
        self._count = [n + len(side) - i for side, i, n in self._each(model, dump, firsts)]

    def sides(self) -> Pair:
        """Return both sides."""
        self._model, self._dump = [joined(self._model)], [joined(self._dump)]
        return self._model[0], self._dump[0]

    def _each(self, model: Steps, dump: Steps, firsts: list[int]) -> list[tuple[Steps, int, int]]:
        """Return each side with the index of its first change after the difference and the changes before that."""
        return list(zip((model, dump), firsts, self._count, strict=True))


def _cycle_of(steps: Steps, index: int) -> int:
    """Return the cycle of a change, or the end of time where a piece has not so many."""
    return int(steps.cycle[max(index, 0)]) if index < len(steps) else np.iinfo(np.int64).max


class StretchState:
    """Both sides of all signals from a cycle on.

    Attributes
    ----------
    end : int, clock cycles
        First cycle that is not kept.
    full : bool
    """

    def __init__(self, start: int, most_entries: int, most_cycles: int | None = None) -> None:
        self.end, self.full = start, False
        self._room = most_entries
        self._last = None if most_cycles is None else start + most_cycles
        self._parts: dict[str, tuple[list[Steps], list[Steps]]] = {}

    def add(self, pairs: Pairs) -> None:
        """Add a piece that goes on where this ends, or as much of it as there is room for."""
        if self.full:
            return
        begin, end = self.end, next(iter(pairs.values()))[0].end
        until = end if self._last is None else min(end, self._last)
        sides = [side.cycle for model, dump in pairs.values() for side in ((dump,) if dump is model else (model, dump))]
        until = self._fitting(sides, begin, until)
        for name, (model, dump) in pairs.items():
            parts = self._parts.setdefault(name, ([], []))
            ours = trimmed(model, begin, until)
            parts[0].append(ours)
            parts[1].append(ours if dump is model else trimmed(dump, begin, until))
        self.end, self.full = until, until < end or until == self._last

    def _fitting(self, changes: list[CycleArray], begin: int, end: int) -> int:
        """Return up to where there is room for the changes of a piece, and take that room."""
        low, high = begin, end
        while low < high:
            middle = (low + high + 1) // 2
            if _between(changes, begin, middle) <= self._room:
                low = middle
            else:
                high = middle - 1
        self._room -= _between(changes, begin, low)
        return low

    def pairs(self) -> dict[str, Pair]:
        """Return both sides of all signals; empty where nothing was added."""
        for name, (model, dump) in self._parts.items():
            same = all(one is other for one, other in zip(model, dump, strict=True))
            ours = joined(model)
            self._parts[name] = [ours], [ours if same else joined(dump)]
        return {name: (model[0], dump[0]) for name, (model, dump) in self._parts.items()}


def _between(changes: list[CycleArray], begin: int, end: int) -> int:
    """Return how many changes lie in ``begin < cycle < end``."""
    return sum(int(np.searchsorted(c, end) - np.searchsorted(c, begin, side="right")) for c in changes)
