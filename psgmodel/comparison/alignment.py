"""Alignment: how late the dump is, and where that changes.

Stage: compare. In: pairs of `Steps`, model first. Out: a latency in whole clock cycles, positive where the dump
is late.

A latency is found by voting: every change of the dump is put beside every change of the model between the same two
levels that lies within the range, and their distance gets a vote. The distances with the most votes are candidates;
the one under which the signals agree for longest from the start wins, the smallest of equals. A latency that holds from
the start to the end is a constant offset. One that changes on the way is a dropped or doubled sample, and a fault:
`find_offset_change` votes again on what follows the first difference.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.comparison.streams import first_difference, overlap
from psgmodel.steps import Steps

EARLIEST, LATEST = -64, 4096
"""Range in which a latency is looked for, in clock cycles."""

_CHANGES_USED = 512
_CANDIDATES = 24
_WINDOW = 4096
_LEAST_CHANGES = 16
_LEAST_LAST = 8
_TRIES = 6
_BEGINNING = 1 << 16

Pair = tuple[Steps, Steps]


class LatencyEstimate(NamedTuple):
    """A constant latency.

    Attributes
    ----------
    latency : int, clock cycles
        Positive: the dump is late.
    agreeing_changes, changes : int
        Changes of the model before the first difference, and all, summed over the signals.
    everywhere : bool
        All signals agree from start to end.
    """

    latency: int
    agreeing_changes: int
    changes: int
    everywhere: bool


class Fit(NamedTuple):
    """A latency that fits what follows a first difference.

    Attributes
    ----------
    after : int, clock cycles
    begin : int or None, clock cycles
        Cycle of the model from which on the signals agree; None: from their start to their end.
    """

    after: int
    begin: int | None


class OffsetChange(NamedTuple):
    """A place from which on a signal is the model's, but later or earlier than before.

    Attributes
    ----------
    cycle : int, clock cycles
        Cycle of the model in which the difference begins.
    before, after : int, clock cycles
        Latency up to there and from there on.
    agrees_until : int, clock cycles
        First cycle of the model that differs even with the new latency, or the end.
    to_the_end : bool
        Nothing differs with the new latency.
    """

    cycle: int
    before: int
    after: int
    agrees_until: int
    to_the_end: bool

    def __str__(self) -> str:
        by = self.after - self.before
        how = "to the end" if self.to_the_end else f"until cycle {self.agrees_until}"
        plural = "" if abs(by) == 1 else "s"
        return (
            f"the offset changed at cycle {self.cycle}: from here on the dump is {abs(by)} cycle{plural} "
            f"{'later' if by > 0 else 'earlier'} than before and agrees {how} (a dropped or doubled sample, "
            f"or a late or early start)"
        )


def estimate_latency(
    pairs: Sequence[Pair], *, earliest: int = EARLIEST, latest: int = LATEST
) -> LatencyEstimate | None:
    """Return the one latency of a set of signals, or None where nothing changes or nothing fits.

    Parameters
    ----------
    pairs : sequence of (Steps, Steps)
        Model and dump, each in its own cycles.
    earliest, latest : int, clock cycles
        Range of the latency.
    """
    nearest_first = likely_latencies(pairs, earliest=earliest, latest=latest)
    if not nearest_first:
        return None
    beginnings = [(_beginning(model), _beginning(dump)) for model, dump in pairs]
    tried = [_tried(beginnings, latency) for latency in nearest_first]
    most = max(e.agreeing_changes for e in tried)
    tried = [_tried(pairs, e.latency) for e in tried if e.everywhere or e.agreeing_changes == most]
    best = max(tried, key=lambda e: (e.everywhere, e.agreeing_changes))
    return best if best.agreeing_changes else None


def likely_latencies(pairs: Sequence[Pair], *, earliest: int = EARLIEST, latest: int = LATEST) -> list[int]:
    """Return the latencies for which most changes speak, and none; the nearest to none first.

    Empty where nothing speaks for any. Parameters are those of `estimate_latency`.
    """
    votes = np.zeros(latest - earliest + 1, dtype=np.int64)
    for model, dump in pairs:
        votes += _votes(model, dump, earliest, latest)
    candidates = {earliest + int(i) for i in np.argsort(-votes, kind="stable")[:_CANDIDATES] if votes[i]}
    if candidates and earliest <= 0 <= latest:
        candidates.add(0)
    return sorted(candidates, key=lambda c: (abs(c), c))


def find_offset_change(model: Steps, dump: Steps, latency: int, cycle: int, reach: int = LATEST) -> OffsetChange | None:
    """Tell whether what follows the first difference is the model at another latency.

    It is not where both sides soon agree again at the old one: a single wrong level moves nothing. Of several
    latencies that fit (a steady tone) the nearest to the old one is told.

    Parameters
    ----------
    model, dump : Steps
        Each in its own cycles.
    latency : int, clock cycles
        Latency up to `cycle`.
    cycle : int, clock cycles
        First difference, in cycles of the model.
    reach : int, clock cycles
        How far the latency may have changed.
    """
    for after, begin in offsets_after(model, dump, latency, cycle, reach):
        if begin is None:
            return OffsetChange(cycle, latency, after, min(model.end, dump.end - after), True)
        ours, theirs = overlap(model, dump, after)
        until = first_difference(ours.cut(begin, ours.end), theirs.cut(begin, theirs.end))
        return OffsetChange(cycle, latency, after, ours.end if until is None else until, until is None)
    return None


def offsets_after(model: Steps, dump: Steps, latency: int, cycle: int, reach: int = LATEST) -> Iterator[Fit]:
    """Yield the latencies that fit what follows the first difference, the most likely one first.

    Parameters are those of `find_offset_change`. A latency that fits from start to end may be yielded once more, with
    where it fits after the difference.
    """
    rest = _rest(dump, cycle + latency)
    near = _rest(model, max(cycle - reach, model.start), reach)
    if _agreeing_from(near, rest, latency, cycle) is not None:
        return
    votes = _votes(near, rest, latency - reach, latency + reach)
    best = np.argsort(-votes, kind="stable")[:_CANDIDATES]
    candidates = [latency - reach + int(i) for i in best if votes[i]]
    for after in sorted(candidates, key=lambda c: (abs(c - latency), c)):
        if _is_constant(model, dump, after):
            yield Fit(after, None)
        begin = _agreeing_from(near, rest, after, cycle + max(0, latency - after))
        if begin is not None:
            yield Fit(after, begin)


def _agreeing_from(model: Steps, dump: Steps, latency: int, cycle: int) -> int | None:
    """Return from where on signals agree with a latency, within `_TRIES` changes from `cycle` on, or None.

    They must agree over `_LEAST_CHANGES` changes, or to the end over `_LEAST_LAST`.
    """
    ours, theirs = overlap(model, dump, latency)
    for begin in _common_changes(ours, theirs, cycle):
        mine, other = ours.cut(begin, ours.end), theirs.cut(begin, theirs.end)
        until = first_difference(mine, other)
        if until is None and len(mine) > _LEAST_LAST:
            return begin
        if until is not None and int(np.searchsorted(mine.cycle, until)) - 1 >= _LEAST_CHANGES:
            return begin
    return None


def _is_constant(model: Steps, dump: Steps, latency: int) -> bool:
    """Tell whether signals agree from start to end with a latency, over one change at least."""
    ours, theirs = overlap(_beginning(model), _beginning(dump), latency)
    if len(ours) < 2 or first_difference(ours, theirs) is not None:
        return False
    return first_difference(*overlap(model, dump, latency)) is None


def _common_changes(ours: Steps, theirs: Steps, cycle: int) -> list[int]:
    """Return those of the first cycles from `cycle` on at which both signals change to the same level."""
    low = int(np.searchsorted(ours.cycle, cycle))
    near = ours.cycle[low : low + _TRIES]
    if near.size == 0 or len(theirs) == 0:
        return []
    at = theirs.index_at(near)
    same = (theirs.cycle[at] == near) & (theirs.level[at] == ours.level[low : low + _TRIES])
    return [int(c) for c in near[same]]


def _rest(steps: Steps, begin: int, reach: int = 0) -> Steps:
    """Return the part from `begin` on with at most `_WINDOW` changes past ``begin + 2 * reach``."""
    begin = min(max(begin, steps.start), steps.end)
    low = int(np.searchsorted(steps.cycle, begin + 2 * reach))
    end = int(steps.cycle[low + _WINDOW]) if low + _WINDOW < len(steps) else steps.end
    return steps.cut(begin, max(end, begin))


def _beginning(steps: Steps) -> Steps:
    return steps.cut(steps.start, int(steps.cycle[_BEGINNING])) if len(steps) > _BEGINNING else steps


def _tried(pairs: Sequence[Pair], latency: int) -> LatencyEstimate:
    agreeing = changes = 0
    everywhere = True
    for model, dump in pairs:
        ours, theirs = overlap(model, dump, latency)
        at = first_difference(ours, theirs)
        total = max(0, len(ours) - 1)
        changes += total
        agreeing += total if at is None else max(0, int(np.searchsorted(ours.cycle, at)) - 1)
        everywhere &= at is None
    return LatencyEstimate(latency, agreeing, changes, everywhere)


def _votes(model: Steps, dump: Steps, earliest: int, latest: int) -> NDArray[np.int64]:
    """Count, for each latency, the changes of the dump that a change of the model between the same levels explains."""
    votes = np.zeros(latest - earliest + 1, dtype=np.int64)
    chosen = _spread(dump)
    if chosen.size == 0 or len(model) < 2:
        return votes
    at = dump.cycle[chosen]
    low = np.searchsorted(model.cycle, at - latest, side="left")
    high = np.searchsorted(model.cycle, at - earliest, side="right")
    low = np.maximum(low, 1)
    count = np.maximum(high - low, 0)
    which = np.repeat(np.arange(chosen.size), count)
    entry = np.arange(int(count.sum())) + np.repeat(low - (np.cumsum(count) - count), count)
    same = (model.level[entry] == dump.level[chosen[which]]) & (model.level[entry - 1] == dump.level[chosen[which] - 1])
    distance = at[which[same]] - model.cycle[entry[same]] - earliest
    np.add.at(votes, distance, 1)
    return votes


def _spread(dump: Steps) -> NDArray[np.intp]:
    """Return indices of changes between known levels: the first ones, and as many spread over the rest."""
    known = ~dump.unknown_mask()
    usable = np.flatnonzero(known[1:] & known[:-1]) + 1
    if usable.size <= 2 * _CHANGES_USED:
        return usable
    rest = usable[_CHANGES_USED:]
    return np.concatenate([usable[:_CHANGES_USED], rest[:: max(1, rest.size // _CHANGES_USED)]])
