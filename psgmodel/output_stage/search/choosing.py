"""Choosing: which of the screened stages are worth a simulation.

Stage: output stage, searching. In: screens and goals. Out: an ordered list of finalists, and, where nothing can meet
the goals, by how much each goal fails at best.

A stage is hopeful where its estimates meet every goal but for a margin that the formulas may err by: 6 dB for SNR,
SINAD and THD, a factor of 2 for ripple, 1 dB for level, 0.3 dB for droop, 10 % for pin current, pop and DC, nothing
for parts and cost. Hopeful stages are ranked by the user's figures and then by how far they stay from their limits,
so that of equally cheap ones the middle of the road comes first; of each modulator with one topology (a family) only
the best few count.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.output_stage.search.digital import DigitalSide
from psgmodel.output_stage.search.records import Goals, ModulatorWord
from psgmodel.output_stage.search.screening import Screen
from psgmodel.output_stage.search.topologies import NetworkSet
from psgmodel.output_stage.stage import Figure, Limit

FloatArray = NDArray[np.float64]

MARGIN_DB = {Figure.SNR: 6.0, Figure.SINAD: 6.0, Figure.THD: 6.0, Figure.LEVEL: 1.0, Figure.DROOP: 0.3}
MARGIN_FACTOR = {Figure.RIPPLE: 2.0, Figure.RIPPLE_RMS: 2.0, Figure.PIN_CURRENT: 1.1, Figure.POP: 1.1, Figure.DC: 1.1}
A_FAMILY = 8
"""Stages of one modulator with one topology that are worth a simulation."""


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """One screened stage.

    Attributes
    ----------
    side : DigitalSide
    networks : NetworkSet
    row : int
        Of the network in its set.
    estimates : dict of Figure to float
    """

    side: DigitalSide
    networks: NetworkSet
    row: int
    estimates: dict[Figure, float]


def misses(limits: Sequence[Limit], values: dict[Figure, FloatArray], *, margin: bool) -> FloatArray:
    """Return by how many margins each stage misses the goals, summed; 0 where all are met. Shape of the values."""
    shape = next(iter(values.values())).shape
    total = np.zeros(shape)
    for limit in limits:
        if limit.figure in values:
            total += miss(limit, values[limit.figure], margin=margin)
    return total


def miss(limit: Limit, value: FloatArray, *, margin: bool) -> FloatArray:
    """Return by how many margins a goal is missed, 0 where it is met within (or, without `margin`, without) one."""
    slack = 1.0 if margin else 0.0
    return np.asarray(np.maximum(_distance(limit, value) - slack, 0.0), dtype=np.float64)


def _distance(limit: Limit, value: FloatArray) -> FloatArray:
    """Return how far a value lies beyond a goal, in margins; negative inside. Exact figures have a tiny margin."""
    figure = limit.figure
    if figure in MARGIN_FACTOR:
        assert limit.high is not None  # all of these are "at most"
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.log(np.maximum(value, 1e-15) / max(limit.high, 1e-12))
        return np.asarray(ratio / math.log(MARGIN_FACTOR[figure]), dtype=np.float64)
    unit = MARGIN_DB.get(figure, 0.1 if figure.unit == "dB" else 1e-9)
    beyond = np.full(value.shape, -np.inf)
    if limit.low is not None:
        beyond = np.maximum(beyond, (limit.low - value) / unit)
    if limit.high is not None:
        beyond = np.maximum(beyond, (value - limit.high) / unit)
    # A figure met exactly is met: a tenth of a margin of rounding does not count for parts and cost.
    return np.asarray(beyond, dtype=np.float64)


def comfort(limits: Sequence[Limit], values: dict[Figure, FloatArray]) -> FloatArray:
    """Return how many margins each stage keeps from the goal it comes nearest to; at most 3."""
    nearest = np.full(next(iter(values.values())).shape, 3.0)
    for limit in limits:
        if limit.figure in values and limit.figure not in (Figure.PARTS, Figure.COST):
            nearest = np.minimum(nearest, -_distance(limit, values[limit.figure]))
    return np.asarray(nearest, dtype=np.float64)


def hopeful_count(screens: Sequence[Screen], goals: Goals) -> int:
    """Return how many screened stages are hopeful."""
    return sum(int(np.sum(misses(goals.limits, s.values, margin=True) == 0)) for s in screens)


def candidates(screens: Sequence[Screen], goals: Goals) -> Iterator[Candidate]:
    """Return hopeful stages in the order in which they deserve a simulation.

    First the best stage of each kind of modulator, so that kinds can be compared; then the best of each family, the
    second of each, and so on, families in the order of their best stage.
    """
    families = [family for screen in screens for family in _families(screen, goals)]
    families.sort(key=lambda family: family[0][0])
    seen: set[ModulatorWord] = set()
    for family in families:
        word = family[0][1].side.word
        if word not in seen:
            seen.add(word)
            yield family.pop(0)[1]
    families = [family for family in families if family]
    for turn in range(A_FAMILY):
        for family in families:
            if turn < len(family):
                yield family[turn][1]


Ranked = tuple[tuple[float, ...], Candidate]


def _families(screen: Screen, goals: Goals) -> Iterator[list[Ranked]]:
    """Return the best hopeful stages of each side of a screen, best first."""
    missed = misses(goals.limits, screen.values, margin=True)
    near = comfort(goals.limits, screen.values)
    for at, side in enumerate(screen.sides):
        rows = np.flatnonzero(missed[at] == 0)
        if not rows.size:
            continue
        keys = rank_key(goals, {f: v[at, rows] for f, v in screen.values.items()}, near[at, rows])
        best = heapq.nsmallest(A_FAMILY, zip(zip(*keys, strict=True), rows.tolist(), strict=True))
        yield [(key, candidate_of(screen, at, side, row)) for key, row in best]


def rank_key(goals: Goals, values: dict[Figure, FloatArray], near: FloatArray) -> list[list[float]]:
    """Return columns to sort by: the user's figures, then comfort (in tenths), all smaller-is-better."""
    columns = []
    for figure in goals.rank_by:
        column = values[figure]
        columns.append(np.round(-column if figure.sense == "at-least" else column, 9).tolist())
    columns.append(np.round(-near, 2).tolist())
    return columns


def candidate_of(screen: Screen, at: int, side: DigitalSide, row: int) -> Candidate:
    """Return one screened stage with its estimates."""
    return Candidate(side, screen.networks, row, {f: float(v[at, row]) for f, v in screen.values.items()})


def nearest_misses(screens: Sequence[Screen], goals: Goals, count: int) -> list[Candidate]:
    """Return the stages that miss the goals by the fewest margins, best first, one of each side and topology."""
    found: list[tuple[float, int, Candidate]] = []
    for screen in screens:
        missed = misses(goals.limits, screen.values, margin=False)
        for at, side in enumerate(screen.sides):
            row = int(np.argmin(missed[at]))
            found.append((float(missed[at, row]), len(found), candidate_of(screen, at, side, row)))
    return [entry[2] for entry in sorted(found, key=lambda e: e[:2])[:count]]


def best_possible(screens: Sequence[Screen], goals: Goals) -> dict[Figure, float]:
    """Return the best estimate of each goal's figure over all screened stages, whatever the other figures are."""
    best: dict[Figure, float] = {}
    for limit in goals.limits:
        for screen in screens:
            column = screen.values.get(limit.figure)
            if column is None or not column.size:
                continue
            flat = column.ravel()
            value = float(flat[int(np.argmin(_distance(limit, flat)))])
            if limit.figure not in best or limit.missed_by(value) < limit.missed_by(best[limit.figure]):
                best[limit.figure] = value
    return best
