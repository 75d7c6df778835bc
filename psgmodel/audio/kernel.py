"""Kernel rows: what one unit step adds to each output sample.

Stage: audio. In: the sample rate and the phase of a level change within an output cell (the stretch from
one sample to the next) as an exact fraction. Out: integer rows, the differences of the band-limited step
response at that phase, each summing to exactly `ROW_SUM`. No time or level units: one cell is one sample
period, one unit is one level.

The low-pass is a Kaiser-windowed sinc (J. F. Kaiser, "Nonrecursive digital filter design using the
I0-sinh window function", 1974; R. W. Schafer and A. V. Oppenheim, *Discrete-Time Signal Processing*,
1989, section on Kaiser windows). Its integral, the band-limited step, is kept as one integer polynomial
per cell, so that everything after the design is integer arithmetic and comes out alike on every machine.
Because rows are differences of the step itself, their running sum has no droop.

Two designs share the sample rates. The stop band begins at the rate minus the pass band edge: what lies
between folds back above the pass band.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

ROW_BITS = 34
"""Every row sums to 2**34; sums of rows times changes between levels up to `MAX_LEVEL` stay inside int64."""

ROW_SUM = 1 << ROW_BITS

MAX_LEVEL = 1 << 27
"""Largest level magnitude: the low-pass can raise it by 2.2 at most (the total variation of the step)."""

FINE_BITS, WEIGHT_BITS = 13, 10
"""Where phases are too many for a row each: rows of sum 2**24 at 8192 phases, mixed with weights of sum 2**10."""

MAX_EXACT_PHASES = 1 << FINE_BITS
"""Up to this many phases each one has a row of its own."""

_STEP_BITS = 34  # scale of the polynomials
_PHASE_BITS = 25  # scale of their argument, which runs over -1..1
_DEGREE = 12
_NODES_PER_CELL = 24


@dataclass(frozen=True, slots=True)
class KernelDesign:
    """One low-pass design, in units of the sample rate.

    Attributes
    ----------
    width : int, cells
        Length of the impulse response, even.
    attenuation : float, dB
        Sets the Kaiser window's shape.
    cutoff : float, cycles per cell
        Centre of the transition band.
    pass_edge : float, cycles per cell
        Flat below this; nothing folds back to below this from above the rate minus this.
    """

    width: int
    attenuation: float
    cutoff: float
    pass_edge: float

    @property
    def taps(self) -> int:
        """Return the number of output samples that one change touches."""
        return self.width + 1

    @property
    def first_tap(self) -> int:
        """Return the first touched sample, counted from the cell of the change."""
        return 1 - self.width // 2


WIDE = KernelDesign(width=44, attenuation=122.0, cutoff=0.4917, pass_edge=5 / 12)
"""For rates from 48 kHz: pass band to 5/12 of the rate (20 kHz at 48 kHz, 40 kHz at 96 kHz)."""

NARROW = KernelDesign(width=80, attenuation=124.0, cutoff=0.4954, pass_edge=200 / 441)
"""For rates below 48 kHz: pass band to 200/441 of the rate (20 kHz at 44.1 kHz)."""


def design_for_rate(rate: int) -> KernelDesign:
    """Return the design used at a sample rate in hertz."""
    return WIDE if rate >= 48_000 else NARROW


def step_curve(design: KernelDesign) -> FloatArray:
    """Return Chebyshev coefficients of the band-limited step, one polynomial per cell.

    Returns
    -------
    ndarray of float64, shape (13, width)
        Column c describes the step over cell c of the response (its argument runs from -1 at the start of
        the cell to 1 at its end); the step rises from 0 to 1 over all cells.
    """
    nodes, weights = np.polynomial.legendre.leggauss(_NODES_PER_CELL)
    start = np.arange(design.width) - design.width / 2

    def area(upto: float) -> FloatArray:
        """Return the integral of the impulse response from the start of each cell to `upto` cells later."""
        where = start[:, None] + upto * (nodes + 1) / 2
        return np.asarray((_impulse(design, where) * (weights * upto / 2)).sum(axis=1), dtype=np.float64)

    whole = area(1.0)
    before = np.concatenate([[0.0], np.cumsum(whole)])
    points = np.polynomial.chebyshev.chebpts1(_DEGREE + 1)
    values = np.stack([before[:-1] + area((float(p) + 1) / 2) for p in points]) / before[-1]
    orders = np.arange(_DEGREE + 1)
    transform = np.cos(np.outer(orders, np.arccos(points))) * (2 / (_DEGREE + 1))
    transform[0] /= 2
    return np.asarray((transform[:, :, None] * values[None, :, :]).sum(axis=1), dtype=np.float64)


def _impulse(design: KernelDesign, t: FloatArray) -> FloatArray:
    beta = 0.1102 * (design.attenuation - 8.7)
    inside = np.sqrt(np.maximum(0.0, 1 - (2 * t / design.width) ** 2))
    return np.asarray(np.sinc(2 * design.cutoff * t) * np.i0(beta * inside), dtype=np.float64)


@lru_cache(maxsize=4)
def step_polynomials(design: KernelDesign) -> IntArray:
    """Return the step as integer power-series coefficients, scaled by 2**34. Shape (13, width).

    The rounding to integers happens on the Chebyshev coefficients; a test shows that none of them lies
    near enough to a rounding boundary for another machine's last-digit differences to matter.
    """
    rounded = np.rint(np.ldexp(step_curve(design), _STEP_BITS)).astype(np.int64)
    power = np.zeros((_DEGREE + 1, _DEGREE + 1), dtype=np.int64)  # power[k] = coefficients of Chebyshev T_k
    power[0, 0] = power[1, 1] = 1
    for k in range(2, _DEGREE + 1):
        power[k, 1:] = 2 * power[k - 1, :-1]
        power[k] -= power[k - 2]
    return np.asarray((power.T[:, :, None] * rounded[None, :, :]).sum(axis=1), dtype=np.int64)


def step_at(design: KernelDesign, numerator: IntArray, denominator: int) -> IntArray:
    """Return the step at the samples around a change, for phases ``numerator / denominator``.

    Parameters
    ----------
    numerator : ndarray of int64, shape (n,)
        0 to `denominator`: how far into its cell the change lies.
    denominator : int
        At most 2**36.

    Returns
    -------
    ndarray of int64, shape (n, width), scaled by 2**34
    """
    # Equals numpy.polynomial.chebyshev.chebval(x, step_curve(design)) to within 2**-30.
    x = (1 << _PHASE_BITS) - ((numerator << (_PHASE_BITS + 1)) + denominator // 2) // denominator
    coefficients = step_polynomials(design)
    value = np.broadcast_to(coefficients[-1], (x.size, design.width)).copy()
    for row in coefficients[-2::-1]:
        value *= x[:, None]
        value >>= _PHASE_BITS
        value += row
    return value


def _rows(design: KernelDesign, numerator: IntArray, denominator: int, bits: int) -> IntArray:
    step = np.zeros((numerator.size, design.width + 2), dtype=np.int64)
    lost = _STEP_BITS - bits
    step[:, 1:-1] = (step_at(design, numerator, denominator) + ((1 << lost) >> 1)) >> lost
    step[:, -1] = 1 << bits
    return np.diff(step, axis=1)


@lru_cache(maxsize=8)
def exact_rows(design: KernelDesign, denominator: int) -> IntArray:
    """Return one row per exact phase. Shape (denominator, taps); each row sums to 2**34."""
    return _rows(design, np.arange(denominator, dtype=np.int64), denominator, ROW_BITS)


@lru_cache(maxsize=4)
def fine_rows(design: KernelDesign) -> IntArray:
    """Return rows at the phases i / 8192. Shape (8193, taps); each row sums to 2**24."""
    phases = np.arange(MAX_EXACT_PHASES + 1, dtype=np.int64)
    return _rows(design, phases, MAX_EXACT_PHASES, ROW_BITS - WEIGHT_BITS)
