"""Extremes of a reading between the edges, with a bound that makes sure that none is missed.

Stage: the analog side of the output stage. Deviations at the start of each stretch in; lowest and highest reading
and when they occur (seconds from cycle 0) out.

Branch and bound: within a piece of width h, with M a bound on the second derivative from there on, no reading
exceeds the larger end by more than ``h**2 M / 8`` (interpolation error of a line: any textbook of numerical analysis),
and the reading is monotone where the slope at the start exceeds ``h M``. Pieces that cannot hold a new extreme
are dropped, the others halved, down to 1e-13 of the largest reading.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.output_stage.networks.flow import ComplexArray, Flow, read
from psgmodel.output_stage.networks.states import Probe

FloatArray = NDArray[np.float64]

_CHUNK = 1 << 16
_TOLERANCE = 1e-13


class Extremes(NamedTuple):
    """Lowest and highest reading (unit of the probe) and when (seconds from cycle 0)."""

    low: float
    high: float
    low_at: float
    high_at: float

    @property
    def peak_to_peak(self) -> float:
        """Highest less lowest."""
        return self.high - self.low

    @property
    def peak(self) -> float:
        """Largest absolute reading."""
        return max(abs(self.low), abs(self.high))


@dataclass(slots=True)
class _BestState:
    """The extremes found so far."""

    low: float = np.inf
    high: float = -np.inf
    low_at: float = 0.0
    high_at: float = 0.0

    def take(self, value: FloatArray, at: FloatArray) -> None:
        i, j = int(np.argmin(value)), int(np.argmax(value))
        if value[i] < self.low:
            self.low, self.low_at = float(value[i]), float(at[i])
        if value[j] > self.high:
            self.high, self.high_at = float(value[j]), float(at[j])


def extremes_of(
    flow: Flow, probe: Probe, w: ComplexArray, seconds: FloatArray, settled: FloatArray, starts: FloatArray
) -> Extremes:
    """Return the extremes over stretches.

    Parameters
    ----------
    flow : Flow
    probe : Probe
    w : ndarray of complex128, shape (m, n)
        Deviation at the start of each stretch.
    seconds, settled, starts : ndarray of float64, shape (n,)
        Length of each stretch, what it settles to, and when it begins.

    Returns
    -------
    Extremes
        Both ends of each stretch count: a reading that jumps is seen on both sides of the jump.
    """
    weights = flow.weights(probe.row)
    best = _BestState()
    for first in range(0, seconds.size, _CHUNK):
        part = slice(first, first + _CHUNK)
        begin = settled[part] + read(weights, w[:, part])
        best.take(begin, starts[part])
    for first in range(0, seconds.size, _CHUNK):
        part = slice(first, first + _CHUNK)
        _search(flow, weights, w[:, part], seconds[part], settled[part], starts[part], best)
    return Extremes(best.low, best.high, best.low_at, best.high_at)


def _search(
    flow: Flow,
    weights: ComplexArray,
    w: ComplexArray,
    width: FloatArray,
    settled: FloatArray,
    at: FloatArray,
    best: _BestState,
) -> None:
    """Search pieces for extremes beyond those in `best`, halving what may hold one."""
    slope = flow.slope(weights)
    curve = flow.slope(slope)
    end = flow.advance(w, width)
    begin_value, end_value = settled + read(weights, w), settled + read(weights, end)
    best.take(end_value, at + width)
    while width.size:
        # Invariant: both ends of every piece are in `best`; an extreme beyond `best` lies inside some piece.
        curvature = flow.bound(curve, w)
        margin = width**2 * curvature / 8
        gain = _TOLERANCE * max(abs(best.low), abs(best.high))
        higher = np.maximum(begin_value, end_value) + margin > best.high + gain
        lower = np.minimum(begin_value, end_value) - margin < best.low - gain
        turning = np.abs(read(slope, w)) <= width * curvature
        keep = (higher | lower) & turning & (at + width / 2 > at)
        w, width, settled, at = w[:, keep], width[keep] / 2, settled[keep], at[keep]
        begin_value, end_value = begin_value[keep], end_value[keep]
        middle = flow.advance(w, width)
        value = settled + read(weights, middle)
        if value.size:
            best.take(value, at + width)
        w, width = np.concatenate([w, middle], axis=1), np.concatenate([width, width])
        settled, at = np.concatenate([settled, settled]), np.concatenate([at, at + width[: at.size]])
        begin_value, end_value = np.concatenate([begin_value, value]), np.concatenate([value, end_value])
