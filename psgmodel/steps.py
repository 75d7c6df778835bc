"""Steps: the one signal type of the project.

Stage: the ground floor. Everything above produces or takes `Steps`: a channel of the model, a signal
of a dump, a mixed output code, a pulse-width pin. Time is an integer count of clock cycles; levels are
integers; seconds, hertz and volts appear only in `audio` and `output_stage`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.errors import StepsError

CycleArray = NDArray[np.int64]
LevelArray = NDArray[np.int32]
MaskArray = NDArray[np.bool_]

MAX_CYCLE = 2**62
"""Largest cycle number accepted anywhere: sums of two cycles still fit int64."""

_INT32_MIN, _INT32_MAX = -(2**31), 2**31 - 1


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """A piecewise-constant integer signal, canonical.

    ``level[i]`` stands from ``cycle[i]`` up to, not including, ``cycle[i + 1]``; the last one stands
    up to `end`. Canonical means: cycles strictly increase and neighbouring entries differ (in level
    or in `unknown`), so that two equal signals are two equal sets of arrays. An empty signal
    (``end == start``) has no entries. Build one with `steps_from_changes`; the constructor checks
    nothing and is for code that already holds canonical arrays.

    Attributes
    ----------
    cycle : ndarray of int64, shape (n,), clock cycles
    level : ndarray of int32, shape (n,), level (0 where unknown)
    end : int, clock cycles
        First cycle that the signal no longer covers.
    unknown : ndarray of bool, shape (n,), or None
        True where the level is not known (X or Z in a dump). None: all known.
    """

    cycle: CycleArray
    level: LevelArray
    end: int
    unknown: MaskArray | None = None

    @property
    def start(self) -> int:
        """First cycle covered; equals `end` for an empty signal."""
        return int(self.cycle[0]) if self.cycle.size else self.end

    def __len__(self) -> int:
        """Number of entries (constant stretches)."""
        return int(self.cycle.size)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Steps):
            return NotImplemented
        return (
            self.end == other.end
            and np.array_equal(self.cycle, other.cycle)
            and np.array_equal(self.level, other.level)
            and np.array_equal(self.unknown_mask(), other.unknown_mask())
        )

    def unknown_mask(self) -> MaskArray:
        """Return `unknown` as an array, all False where it is None. Shape (n,)."""
        if self.unknown is None:
            return np.zeros(self.cycle.size, dtype=np.bool_)
        return self.unknown

    def at(self, cycles: ArrayLike) -> LevelArray:
        """Return the level standing at each cycle.

        Parameters
        ----------
        cycles : array_like of int, clock cycles
            Any shape, each in ``start <= c < end``.

        Returns
        -------
        ndarray of int32, shape of `cycles`

        Raises
        ------
        StepsError
            A cycle lies outside the signal.
        """
        return self.level[self.index_at(cycles)]

    def index_at(self, cycles: ArrayLike) -> NDArray[np.intp]:
        """Return the index of the entry standing at each cycle; same rules as `at`."""
        wanted = np.asarray(cycles, dtype=np.int64)
        if wanted.size and (int(wanted.min()) < self.start or int(wanted.max()) >= self.end):
            raise StepsError(
                f"cycle {int(wanted.min())} to {int(wanted.max())} asked of a signal that covers "
                f"{self.start} to {self.end - 1}"
            )
        return np.searchsorted(self.cycle, wanted, side="right") - 1

    def cut(self, start: int, end: int) -> Steps:
        """Return the part in ``start <= c < end``, clipped to what the signal covers."""
        start, end = max(start, self.start), min(end, self.end)
        if start >= end:
            return empty_steps(min(max(start, self.start), self.end))
        first = int(np.searchsorted(self.cycle, start, side="right")) - 1
        last = int(np.searchsorted(self.cycle, end, side="left"))
        cycle = self.cycle[first:last].copy()
        cycle[0] = start
        unknown = None if self.unknown is None else self.unknown[first:last]
        return Steps(cycle, self.level[first:last], end, unknown if unknown is not None and unknown.any() else None)

    def shifted(self, by: int) -> Steps:
        """Return the same signal `by` cycles later (earlier where negative)."""
        return Steps(self.cycle + np.int64(by), self.level, self.end + by, self.unknown)

    def durations(self) -> CycleArray:
        """Return how long each entry stands. Shape (n,), clock cycles."""
        return np.diff(self.cycle, append=np.int64(self.end))

    def then(self, rest: Self) -> Steps:
        """Return this signal followed by `rest`, which must start where this one ends.

        Raises
        ------
        StepsError
            `rest` starts elsewhere.
        """
        if rest.start != self.end:
            raise StepsError(
                f"a signal that ends at cycle {self.end} cannot be followed by one from cycle {rest.start}"
            )
        mask = None
        if self.unknown is not None or rest.unknown is not None:
            mask = np.concatenate([self.unknown_mask(), rest.unknown_mask()])
        return steps_from_changes(
            np.concatenate([self.cycle, rest.cycle]), np.concatenate([self.level, rest.level]), rest.end, unknown=mask
        )


def empty_steps(at: int) -> Steps:
    """Return the signal that covers nothing, placed at cycle `at`."""
    return Steps(np.empty(0, np.int64), np.empty(0, np.int32), at)


def constant_steps(level: int, start: int, end: int) -> Steps:
    """Return the signal that holds `level` in ``start <= c < end``."""
    return steps_from_changes([start], [level], end) if start < end else empty_steps(end)


def steps_from_changes(cycle: ArrayLike, level: ArrayLike, end: int, *, unknown: ArrayLike | None = None) -> Steps:
    """Make a canonical `Steps` from a list of changes.

    Parameters
    ----------
    cycle : array_like of int, shape (n,), clock cycles
        Not decreasing. Of several entries at one cycle the last one counts.
    level : array_like of int, shape (n,)
        The level from that cycle on. Entries that change nothing are dropped.
    end : int, clock cycles
        Where the signal ends; entries at or past it are an error.
    unknown : array_like of bool, shape (n,), optional
        True where the level is not known; the level there is stored as 0.

    Returns
    -------
    Steps

    Raises
    ------
    StepsError
        Shapes differ, a number is not whole, cycles decrease, a level does not fit 32 bits, or an entry lies
        past `end`.
    """
    at, wide = np.asarray(cycle), np.asarray(level)
    if at.ndim != 1 or at.shape != wide.shape:
        raise StepsError(f"cycles of shape {at.shape} do not go with levels of shape {wide.shape}")
    if at.size and not (at.dtype.kind in "iu" and wide.dtype.kind in "iub"):
        raise StepsError(f"cycles and levels of a signal are whole numbers, found {at.dtype} and {wide.dtype}")
    at = at.astype(np.int64, copy=False)
    if wide.size and (int(wide.min()) < _INT32_MIN or int(wide.max()) > _INT32_MAX):
        raise StepsError(f"level {int(wide.min())} to {int(wide.max())} does not fit 32 bits")
    values = wide.astype(np.int32)
    mask = None if unknown is None else np.asarray(unknown, dtype=np.bool_)
    if mask is not None:
        if mask.shape != at.shape:
            raise StepsError(f"cycles of shape {at.shape} do not go with a mask of shape {mask.shape}")
        values = np.where(mask, np.int32(0), values)
    if at.size == 0:
        return empty_steps(end)
    if np.any(at[1:] < at[:-1]):
        raise StepsError("cycles of a signal must not decrease")
    if int(at[-1]) >= end:
        raise StepsError(f"a signal that ends at cycle {end} has a change at cycle {int(at[-1])}")
    last = np.append(at[1:] != at[:-1], True)
    at, values = at[last], values[last]
    mask = None if mask is None else mask[last]
    differs = np.append(True, values[1:] != values[:-1])
    if mask is not None:
        differs[1:] |= mask[1:] != mask[:-1]
        mask = mask[differs] if mask.any() else None
    return Steps(at[differs], values[differs], int(end), mask)


def steps_from_rising(cycle: CycleArray, level: NDArray[np.integer], end: int) -> Steps:
    """Make a canonical `Steps` from changes that rise and fit, which is not checked; see `steps_from_changes`."""
    differs = np.empty(level.size, dtype=np.bool_)
    differs[:1] = True
    np.not_equal(level[1:], level[:-1], out=differs[1:])
    return Steps(cycle[differs], level[differs].astype(np.int32, copy=False), int(end))


def merged_cycles(lists: list[CycleArray]) -> CycleArray:
    """Return every cycle of some rising lists once, rising. Fast where the lists are sorted, as here."""
    cycles = np.sort(np.concatenate(lists), kind="stable")
    return cycles[np.append(True, cycles[1:] != cycles[:-1])] if cycles.size else cycles


def paired(
    cycle: CycleArray, level: NDArray[Any], other_cycle: CycleArray, other_level: NDArray[Any]
) -> tuple[CycleArray, NDArray[Any], NDArray[Any]]:
    """Return two lists of levels on the changes of both.

    Cheap where one list has few changes.

    Parameters
    ----------
    cycle, other_cycle : ndarray of int64, shapes (n,) and (m,), clock cycles
        Rising; both begin at the same cycle.
    level, other_level : ndarray, shapes (n,) and (m,)

    Returns
    -------
    cycle, level, other_level : ndarray, shape (k,)
    """
    if other_cycle.size > cycle.size:
        cycle, other_level, level = paired(other_cycle, other_level, cycle, level)
        return cycle, level, other_level
    if cycle.size == 0:
        return cycle, level, other_level
    at = np.searchsorted(cycle, other_cycle)
    fresh = cycle[np.minimum(at, cycle.size - 1)] != other_cycle
    if fresh.any():
        to = at[fresh]
        level = np.insert(level, to, level[to - 1])
        cycle = np.insert(cycle, to, other_cycle[fresh])
        at = at + np.cumsum(fresh) - fresh
    return cycle, level, np.repeat(other_level, np.diff(at, append=cycle.size))


def sum_steps(parts: list[Steps]) -> Steps:
    """Add signals that cover the same cycles.

    The result is unknown wherever a part is. Works on changes, not on cycles.

    Raises
    ------
    StepsError
        No parts, or parts that cover different cycles.
    """
    if not parts:
        raise StepsError("a sum of no signals has no length")
    start, end = parts[0].start, parts[0].end
    if any(p.start != start or p.end != end for p in parts):
        raise StepsError("signals of a sum must cover the same cycles")
    if any(p.unknown is not None for p in parts):
        grid = merged_cycles([p.cycle for p in parts])
        levels = sum(p.level[p.index_at(grid)].astype(np.int64) for p in parts)
        mask = np.any([p.unknown_mask()[p.index_at(grid)] for p in parts], axis=0)
        return steps_from_changes(grid, levels, end, unknown=mask)
    few_first = sorted(parts, key=len)
    grid = few_first[0].cycle
    totals: NDArray[np.int64] = few_first[0].level.astype(np.int64)
    for part in few_first[1:]:
        # Invariant: `totals` stands on `grid`, which holds every change of the parts so far.
        grid, totals, levels = paired(grid, totals, part.cycle, part.level)
        totals = totals + levels
    if totals.size and (int(totals.min()) < _INT32_MIN or int(totals.max()) > _INT32_MAX):
        raise StepsError(f"level {int(totals.min())} to {int(totals.max())} does not fit 32 bits")
    return steps_from_rising(grid, totals, end)
