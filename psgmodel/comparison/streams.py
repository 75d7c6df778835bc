"""Two signals beside each other: equal or not, where first, and for how many cycles.

Stage: compare. In: two canonical `Steps` that cover the same cycles, model first. Out: a yes or no, a cycle, counts.
An unknown level of the dump equals nothing. The yes or no needs no merging: canonical signals are equal when their
arrays are, so the first entry that differs is the first difference. Merging is done only to count.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.errors import CompareError
from psgmodel.steps import Steps, empty_steps, steps_from_changes

CHUNK = 1 << 16
"""Entries compared at a time; small enough for the cache."""


class Differences(NamedTuple):
    """How much two signals differ.

    Attributes
    ----------
    cycles : int
        Cycles with different levels, unknown ones among them.
    stretches : int
        Runs of such cycles without a gap.
    longest, longest_at : int, clock cycles
        Length of the longest stretch and where it begins (the first of equals).
    unknown_cycles : int
        Cycles in which the dump's level is unknown.
    """

    cycles: int
    stretches: int
    longest: int
    longest_at: int
    unknown_cycles: int


def overlap(model: Steps, dump: Steps, latency: int) -> tuple[Steps, Steps]:
    """Return both signals over the cycles that both cover, the dump's moved `latency` cycles earlier."""
    moved = dump.shifted(-latency) if latency else dump
    start, end = max(model.start, moved.start), min(model.end, moved.end)
    if start >= end:
        return empty_steps(start), empty_steps(start)
    return _within(model, start, end), _within(moved, start, end)


def _within(steps: Steps, start: int, end: int) -> Steps:
    return steps if steps.start == start and steps.end == end else steps.cut(start, end)


def first_difference(model: Steps, dump: Steps) -> int | None:
    """Return the first cycle in which two signals differ, or None where they are equal.

    Raises
    ------
    CompareError
        The signals cover different cycles.
    """
    if (model.start, model.end) != (dump.start, dump.end):
        raise CompareError(
            f"a signal over cycles {model.start} to {model.end} cannot be compared with one over "
            f"{dump.start} to {dump.end}"
        )
    unknown = dump.unknown
    common = min(len(model), len(dump))
    for low in range(0, common, CHUNK):
        part = slice(low, min(low + CHUNK, common))
        same = np.array_equal(model.cycle[part], dump.cycle[part]) and np.array_equal(
            model.level[part], dump.level[part]
        )
        if same and (unknown is None or not unknown[part].any()):
            continue
        differs = (model.cycle[part] != dump.cycle[part]) | (model.level[part] != dump.level[part])
        if unknown is not None:
            differs |= unknown[part]
        index = low + int(np.argmax(differs))
        return int(min(model.cycle[index], dump.cycle[index]))
    if len(model) == len(dump):
        return None
    longer = model if len(model) > len(dump) else dump
    return int(longer.cycle[common])


def count_differences(model: Steps, dump: Steps) -> Differences:
    """Count the cycles in which two signals that cover the same cycles differ."""
    state = DifferencesState()
    state.add(model, dump)
    return state.counted()


class DifferencesState:
    """Counts so far of two signals that come piece by piece, in order.

    Works window by window, so that no merged copy of the whole is made.

    Invariant: `open_at` is where a stretch begins that reached the end of the last window.
    """

    def __init__(self) -> None:
        self.cycles = self.stretches = self.longest = self.longest_at = self.unknown_cycles = 0
        self.open_at: int | None = None
        self.end = 0

    def add(self, model: Steps, dump: Steps) -> None:
        """Add a piece: both sides over the same cycles."""
        for low in range(0, len(model), CHUNK):
            high = min(low + CHUNK, len(model))
            begin = int(model.cycle[low])
            end = int(model.cycle[high]) if high < len(model) else model.end
            first = int(np.searchsorted(dump.cycle, begin, side="right")) - 1
            last = int(np.searchsorted(dump.cycle, end, side="left"))
            ours, theirs = model.cycle[low:high], dump.cycle[first:last]
            grid = np.sort(np.concatenate([ours, theirs[1:]]), kind="stable")
            length = np.diff(grid, append=np.int64(end))
            grid, length = grid[length > 0], length[length > 0]
            at = first + np.searchsorted(theirs, grid, side="right") - 1
            unknown = dump.unknown[at] if dump.unknown is not None else np.zeros(grid.size, dtype=np.bool_)
            differs = dump.level[at] != model.level[low + np.searchsorted(ours, grid, side="right") - 1]
            self._add_window(grid, length, differs | unknown, unknown)

    def counted(self) -> Differences:
        """Return the counts; what comes next begins a stretch of its own."""
        self.close()
        return Differences(self.cycles, self.stretches, self.longest, self.longest_at, self.unknown_cycles)

    def _add_window(
        self,
        grid: NDArray[np.int64],
        length: NDArray[np.int64],
        differs: NDArray[np.bool_],
        unknown: NDArray[np.bool_],
    ) -> None:
        """Add a window: from ``grid[i]`` on, for ``length[i]`` cycles."""
        self.cycles += int(length[differs].sum())
        self.unknown_cycles += int(length[unknown].sum())
        before = np.append(self.open_at is not None, differs[:-1])
        begins = grid[differs & ~before].tolist()
        ends = grid[before & ~differs].tolist()
        self.end = int(grid[-1] + length[-1])
        if self.open_at is not None:
            begins.insert(0, self.open_at)
        self.open_at = begins.pop() if differs[-1] else None
        if begins:
            self._take(np.array(begins, dtype=np.int64), np.array(ends, dtype=np.int64))

    def close(self) -> None:
        """End the stretch that is still open."""
        if self.open_at is not None:
            self._take(np.array([self.open_at], dtype=np.int64), np.array([self.end], dtype=np.int64))
            self.open_at = None

    def _take(self, begins: NDArray[np.int64], ends: NDArray[np.int64]) -> None:
        self.stretches += begins.size
        lengths = ends - begins
        best = int(np.argmax(lengths))
        if int(lengths[best]) > self.longest:
            self.longest, self.longest_at = int(lengths[best]), int(begins[best])


def levels_at(steps: Steps, cycle: int) -> int | None:
    """Return the level standing at a cycle, None where it is unknown."""
    index = int(steps.index_at(cycle))
    return None if steps.unknown is not None and steps.unknown[index] else int(steps.level[index])


def held(model: Steps, strobes: NDArray[np.int64], end: int, latency: int = 0) -> Steps:
    """Return a signal as a strobed register shows it: taken in the strobed cycles, held in between.

    Parameters
    ----------
    model : Steps
    strobes : ndarray of int64, shape (n,), clock cycles
        Cycles of the dump in which a code is valid.
    end : int, clock cycles
        Where the result ends.
    latency : int, clock cycles
        The code of cycle c is the level of ``c - latency``; strobes without such a level are left out.

    Returns
    -------
    Steps
        In cycles of the dump.
    """
    usable = strobes[(strobes - latency >= model.start) & (strobes - latency < model.end) & (strobes < end)]
    return steps_from_changes(usable, model.at(usable - latency), end)
