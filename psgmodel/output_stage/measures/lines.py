"""Exact line spectrum of a piecewise-constant signal, from its edge times.

Stage: measurement. In: `Steps` over a whole number of periods. Out: the complex amplitude of each line.

Conventions: with period P = end - start cycles, line k stands at k * clock / P. The signal is ``A[0] + sum over k of
Re(A[k] exp(j 2 pi k t / P))``, t in cycles from `start`: A[0] is the mean, |A[k]| a peak amplitude, the phase that of
a cosine. No sampling, no window, no aliasing: the only error is rounding, about 1e-15 of the largest level. With c[k]
the Fourier coefficient, ``j 2 pi k c[k] = sum of jump * exp(-j 2 pi k t / P)`` over the edges of one period, the jump
from the last level back to the first included (textbook: derivative of a step). The sum is a discrete Fourier
transform of the jumps where many lines are wanted, and taken line by line where few are.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.errors import StageError
from psgmodel.output_stage.measures.checks import Floats, check_positive
from psgmodel.steps import Steps

Complex = NDArray[np.complex128]

MAX_PERIOD = 2**31 - 1
"""Longest period, in cycles: a product of line and cycle still fits 64 bits."""

MAX_TRANSFORM = 2**26
"""Longest period for which all jumps are transformed at once (some gigabytes at worst)."""

_DIRECT_COST = 4e9
_CHUNK = 2**20


@dataclass(frozen=True, slots=True, eq=False)
class LineSpectrum:
    """Lines of a periodic signal.

    Attributes
    ----------
    order : ndarray of int64, shape (n,)
        Line numbers, rising; 0 is the mean.
    amplitude : ndarray of complex128, shape (n,)
        Peak amplitude and phase (cosine at the start), in the signal's unit; the mean for line 0.
    spacing_hz : float, Hz
        Distance of neighbouring lines: 1 / period.
    """

    order: NDArray[np.int64]
    amplitude: Complex
    spacing_hz: float

    @property
    def hz(self) -> Floats:
        """Frequency of each line. Shape (n,), Hz."""
        return np.asarray(self.order * self.spacing_hz, dtype=np.float64)

    @property
    def rms(self) -> Floats:
        """Level of each line. Shape (n,), rms; the magnitude of the mean for line 0."""
        size = np.abs(self.amplitude)
        return np.asarray(np.where(self.order == 0, size, size / math.sqrt(2)), dtype=np.float64)

    def at(self, order: int) -> complex:
        """Return the amplitude of one line.

        Raises
        ------
        StageError
            The spectrum does not hold that line.
        """
        where = int(np.searchsorted(self.order, order))
        if where == self.order.size or int(self.order[where]) != order:
            raise StageError(
                f"line {order} is not in the spectrum", hint="ask for it by `orders` or a higher `highest_hz`"
            )
        return complex(self.amplitude[where])

    def filtered(self, response: Callable[[Floats], ArrayLike]) -> LineSpectrum:
        """Return the lines behind a linear network.

        Parameters
        ----------
        response : callable
            Complex response at frequencies in Hz: float64 (n,) in, complex (n,) out. At 0 Hz it must be real.

        Raises
        ------
        StageError
            The response has another shape or is not finite.
        """
        gain = np.asarray(response(self.hz), dtype=np.complex128)
        if gain.shape != self.order.shape or not bool(np.all(np.isfinite(gain))):
            raise StageError(
                f"a response of shape {gain.shape} for {self.order.size} lines",
                hint="accepted: one finite value a line",
            )
        return LineSpectrum(self.order, self.amplitude * gain, self.spacing_hz)


def line_spectrum(
    steps: Steps,
    clock_hz: float | Fraction,
    start: int,
    end: int,
    *,
    highest_hz: float | None = None,
    orders: ArrayLike | None = None,
    levels: ArrayLike | None = None,
) -> LineSpectrum:
    """Return the lines of a signal that repeats with ``end - start`` cycles.

    Parameters
    ----------
    steps : Steps
        Must cover ``start <= c < end``.
    clock_hz : float or Fraction, Hz
    start, end : int, clock cycles
        A whole number of periods; the caller answers for that.
    highest_hz : float, optional, Hz
        All lines from 0 up to here; half the clock where neither this nor `orders` is given.
    orders : array_like of int, optional
        These lines only, 0 and more; any number of times the clock is allowed.
    levels : array_like of float, optional
        What level 0, 1, 2, ... stands for (volts, say). None: the integers themselves.

    Returns
    -------
    LineSpectrum

    Raises
    ------
    StageError
        The range is empty, too long, not covered or partly unknown; a level has no entry in `levels`; both of
        `highest_hz` and `orders` are given; the work would take minutes.
    """
    clock = check_positive("clock", clock_hz, "Hz")
    part = _checked_part(steps, start, end)
    values = _values(part, levels)
    period = end - start
    wanted = _orders(period, clock, highest_hz, orders)
    jump = np.diff(values, prepend=values[-1:])
    at = part.cycle - start
    if wanted.size > 64 and period <= MAX_TRANSFORM:
        sums = _transformed(jump, at, period, wanted)
    else:
        sums = _direct(jump, at, period, wanted)
    amplitude = np.empty(wanted.size, dtype=np.complex128)
    moving = wanted > 0
    amplitude[moving] = sums[moving] / (1j * np.pi * wanted[moving])
    amplitude[~moving] = float(np.dot(values, part.durations())) / period
    return LineSpectrum(wanted, amplitude, clock / period)


def _checked_part(steps: Steps, start: int, end: int) -> Steps:
    if not start < end or end - start > MAX_PERIOD:
        raise StageError(f"a period from cycle {start} to {end}", hint=f"accepted: 1 to {MAX_PERIOD} cycles")
    if start < steps.start or end > steps.end or not len(steps):
        raise StageError(
            f"a period from cycle {start} to {end} of a signal that covers {steps.start} to {steps.end}",
            hint="make a longer signal or measure a shorter part",
        )
    part = steps.cut(start, end)
    if part.unknown is not None and bool(part.unknown.any()):
        raise StageError(f"the signal is partly unknown between cycles {start} and {end}", hint="measure a known part")
    return part


def _values(part: Steps, levels: ArrayLike | None) -> Floats:
    if levels is None:
        return part.level.astype(np.float64)
    table = np.asarray(levels, dtype=np.float64)
    low, high = int(part.level.min()), int(part.level.max())
    if table.ndim != 1 or low < 0 or high >= table.size or not bool(np.all(np.isfinite(table))):
        raise StageError(
            f"a table of {table.size} levels for a signal from {low} to {high}",
            hint="accepted: one finite value for each level from 0 up to the highest",
        )
    return table[part.level]


def _orders(period: int, clock: float, highest_hz: float | None, orders: ArrayLike | None) -> NDArray[np.int64]:
    if orders is not None:
        if highest_hz is not None:
            raise StageError("both highest_hz and orders are given", hint="accepted: one of them")
        given = np.asarray(orders)
        if given.ndim != 1 or not given.size or given.dtype.kind not in "iu" or int(given.min()) < 0:
            raise StageError(f"line numbers {orders!r}", hint="accepted: a row of whole numbers, 0 and more")
        return np.unique(given).astype(np.int64)
    highest = clock / 2 if highest_hz is None else check_positive("highest frequency", highest_hz, "Hz")
    count = math.floor(highest / clock * period * (1 + 1e-12))
    if count > MAX_TRANSFORM:
        raise StageError(
            f"{count} lines up to {highest:g} Hz", hint=f"accepted: {MAX_TRANSFORM} lines; lower highest_hz"
        )
    return np.arange(count + 1, dtype=np.int64)


def _transformed(jump: Floats, at: NDArray[np.int64], period: int, wanted: NDArray[np.int64]) -> Complex:
    """Return the jump sums by one transform of a whole period; it repeats with `period` and mirrors at its half."""
    train = np.zeros(period)
    train[at] = jump
    half = np.fft.rfft(train)
    place = wanted % period
    mirrored = place > period // 2
    sums = half[np.where(mirrored, period - place, place)]
    return np.where(mirrored, np.conj(sums), sums)


def _direct(jump: Floats, at: NDArray[np.int64], period: int, wanted: NDArray[np.int64]) -> Complex:
    """Return the jump sums line by line; the phase is reduced to one turn in integers, so it never loses bits."""
    if float(wanted.size) * at.size > _DIRECT_COST:
        raise StageError(
            f"{wanted.size} lines of {at.size} edges over {period} cycles would take minutes",
            hint=f"accepted: a period up to {MAX_TRANSFORM} cycles, or fewer lines",
        )
    sums = np.zeros(wanted.size, dtype=np.complex128)
    for index, order in enumerate(wanted % period):
        for first in range(0, at.size, _CHUNK):
            piece = slice(first, first + _CHUNK)
            turn = (at[piece] * order % period) / period
            sums[index] += np.dot(jump[piece], np.exp(-2j * np.pi * turn))
    return sums
