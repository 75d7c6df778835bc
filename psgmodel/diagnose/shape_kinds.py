"""Shape kinds: levels that are off, periods that are off, patterns that are others.

Stage: diagnose. In: two signals that differ. Out: a sentence with the numbers where levels or times are off in one
simple way; else nothing.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from psgmodel.comparison.bits import BitState
from psgmodel.comparison.streams import levels_at
from psgmodel.diagnose.differing import LEAST_RUNS, Differing, rest_of
from psgmodel.steps import Steps, merged_cycles

ORDER_RUNS = 6
"""Levels that come in the same order on both sides before only their times are called off."""

_MOST_GRID = 1 << 20
_COMMON = 0.5

Pairs = NDArray[np.int64]
"""Levels of model and dump that stand at the same time, each pair once, shape (n, 2)."""


def one_bit(model: Steps, dump: Steps) -> tuple[int, bool] | None:
    """Return which one bit differs, wherever anything does, and whether the dump's never changes; None for several."""
    if len(model) + len(dump) > _MOST_GRID:
        return None
    bits = BitState()
    bits.add(model, dump)
    return bits.found()


def stuck_bit(d: Differing) -> str:
    """Tell of a bit that never changes."""
    found = d.bit
    if found is None or not found[1]:
        return ""
    value = levels_at(d.dump, d.at) or 0
    return f"bit {found[0]} of the dump is {value >> found[0] & 1} throughout, and nothing else differs"


def level_bit(d: Differing) -> str:
    """Tell of levels that differ in one bit only."""
    found = d.bit
    return f"wherever the levels differ, they do so in bit {found[0]} alone" if found is not None else ""


def _pairs(d: Differing) -> Pairs | None:
    """Return the levels that stand at the same time after the first difference; None: the times of changes differ."""
    ours, theirs = rest_of(d.model, d.at), rest_of(d.dump, d.at)
    end = min(ours.end, theirs.end)
    ours, theirs = ours.cut(d.at, end), theirs.cut(d.at, end)
    shared = np.intersect1d(ours.cycle, theirs.cycle).size
    if shared < 2 or shared < _COMMON * max(len(ours), len(theirs)):
        return None
    grid = merged_cycles([ours.cycle, theirs.cycle])
    return np.unique(np.stack([ours.at(grid), theirs.at(grid)], axis=1).astype(np.int64), axis=0)


def _one_to_one(pairs: Pairs) -> bool:
    """Return whether each level of the model stands beside one of the dump, so that the levels alone explain it."""
    return bool(np.unique(pairs[:, 0]).size == pairs.shape[0])


def level_factor(d: Differing) -> str:
    """Tell of levels that are all the same multiple of the model's."""
    pairs = _pairs(d)
    if pairs is None or not _one_to_one(pairs):
        return ""
    sounding = pairs[(pairs != 0).any(axis=1)]
    if not sounding.size or (sounding == 0).any():
        return ""
    ratios = {Fraction(int(b), int(a)) for a, b in sounding}
    ratio = ratios.pop()
    several = sounding.shape[0] > 1
    if ratios or ratio == 1 or not (several or max(ratio.numerator, ratio.denominator) <= 4):
        return ""
    return f"the levels change at the same cycles, and the dump's are {ratio} times the model's"


def level_other(d: Differing) -> str:
    """Tell of levels that are off, each in its own way."""
    pairs = _pairs(d)
    if pairs is None:
        return ""
    wrong = pairs[pairs[:, 0] != pairs[:, 1]]
    by = wrong[:, 1] - wrong[:, 0]
    told = ", ".join(f"{theirs} for {ours}" for ours, theirs in wrong[: 2 * LEAST_RUNS].tolist())
    if not _one_to_one(pairs):
        if (by != by[0]).any() or abs(int(by[0])) > 1 or wrong.shape[0] < 2:
            return ""
        which = "high" if by[0] > 0 else "low"
        return f"the levels change at the same cycles, and the dump's are now and then 1 too {which} ({told})"
    if np.unique(wrong[:, 1]).size == 1 and wrong.shape[0] > 1:
        return f"the levels change at the same cycles; the dump has {int(wrong[0, 1])} for several others ({told})"
    if (by == by[0]).all():
        which = "high" if by[0] > 0 else "low"
        return f"the levels change at the same cycles, and the dump's are {abs(int(by[0]))} too {which} ({told})"
    return f"the levels change at the same cycles, and each of the model stands for one of the dump ({told})"


def period_off(d: Differing) -> str:
    """Tell of stretches that last longer or shorter, all by the same ratio or not."""
    shared = np.intersect1d(d.model.cut(d.model.start, d.at).cycle[-64:], d.dump.cut(d.dump.start, d.at).cycle[-64:])
    if not shared.size:
        return ""
    one, two = rest_of(d.model, int(shared[-1])), rest_of(d.dump, int(shared[-1]))
    count = min(len(one), len(two)) - 1
    differs = np.flatnonzero(one.level[:count] != two.level[:count])
    count = int(differs[0]) if differs.size else count
    mine, other = np.diff(one.cycle)[:count], np.diff(two.cycle)[:count]
    for skipped in range(min(3, count)):  # the first ones can have begun before the period went wrong
        found = _same_ratio(mine[skipped:], other[skipped:])
        if found:
            return found
    if count < ORDER_RUNS or np.array_equal(mine, other) or _on_one_grid(one, two):
        return ""
    wrong = np.flatnonzero(mine != other)[:LEAST_RUNS]
    return f"the levels come in the same order, but not at the same times: {_lengths(mine[wrong], other[wrong])}"


def _same_ratio(mine: NDArray[np.int64], other: NDArray[np.int64]) -> str:
    if mine.size < LEAST_RUNS:
        return ""
    ratio = Fraction(int(other[0]), int(mine[0]))
    alike = other * ratio.denominator == mine * ratio.numerator
    count = mine.size if alike.all() else int(np.argmin(alike))
    if ratio == 1 or count < LEAST_RUNS:
        return ""
    lengths = _lengths(mine[:LEAST_RUNS], other[:LEAST_RUNS])
    return f"{count} stretches on end last {ratio} times as long as the model's: {lengths}"


def _lengths(mine: NDArray[np.int64], other: NDArray[np.int64]) -> str:
    pairs = zip(mine.tolist(), other.tolist(), strict=True)
    return ", ".join(f"{theirs} for {ours}" for ours, theirs in pairs) + " cycles"


def wrong_pattern(d: Differing) -> str:
    """Tell of levels that are the model's, on the same grid of steps, but in another order."""
    ours, theirs = rest_of(d.model, d.at), rest_of(d.dump, d.at)
    if len(ours) <= LEAST_RUNS or len(theirs) <= LEAST_RUNS:
        return ""
    if not _on_one_grid(ours, theirs) and np.intersect1d(ours.cycle, theirs.cycle).size < _COMMON * max(
        len(ours), len(theirs)
    ):
        return ""
    return "both sides change at the same steps, but the levels that follow one another are others"


def _on_one_grid(ours: Steps, theirs: Steps) -> bool:
    """Return whether the steps in which one side changes are multiples of those of the other, at the same cycles."""
    if min(len(ours), len(theirs)) <= LEAST_RUNS:
        return False
    one, two = (int(np.gcd.reduce(np.diff(side.cycle[1:]))) for side in (ours, theirs))
    step = min(one, two)
    apart = int(theirs.cycle[1]) - int(ours.cycle[1])
    return step > 1 and max(one, two) % step == 0 and apart % step == 0
