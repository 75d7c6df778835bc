"""Noise shaping in front of a converter or a pulse-width counter: fewer bits, the error moved up in frequency.

Stage: before a modulator. In: unsigned integer samples on a fine scale, one an update. Out: unsigned codes on a coarse
scale, one an update, for `steps_of_samples` and then `ideal_dac` or `pwm`.

Registers, at each update (e1, e2: errors of the last two updates, reset value 0; d: dither of this update, or 0):
  v = x + e1            first order
  v = x + 2 e1 - e2     second order
  q = floor((v + d) / step)          `step` fine units make one coarse unit
  e2 <= e1;  e1 <= v - q * step      from q before it is held
  code = q held within 0 .. top      every hold is counted
The loop sees q, not the held code, so it cannot run away: with a power of two for `step` and no dither, e1 is simply
the low bits of v. The held codes lose what was held. Room the signal needs below and above, in coarse units (derived
here): first order 0 and 1, with dither 2 and 3; second order 1 and 2, with dither 5 and 6.

Noise transfer (1 - z**-1)**order; quantisation error power step**2/12 without dither (a model, not a law), step**2/4
with triangular dither of two steps peak to peak (exact; S. P. Lipshitz, R. A. Wannamaker, J. Vanderkooy, Quantization
and Dither: A Theoretical Survey, 1992, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.errors import Problem
from psgmodel.output_stage.modulators.signals import CodeArray, check_samples, raise_problems, whole_number_problems

BLOCK = 2**16
"""Updates handled at once: keeps the double sums far inside 64 bits; without effect on the result."""

MAX_FINE = 2**28
"""Largest fine sample and largest step."""


@dataclass(frozen=True, slots=True)
class NoiseShaper:
    """An error-feedback noise shaper with a quantiser of many levels.

    Attributes
    ----------
    order : 1 or 2
    step : int
        Fine units of one coarse unit, 2 to 2**28.
    top : int
        Largest coarse code, 1 to 2**24.
    tpdf_seed : int or None
        Seed (0 to 2**63 - 1) of triangular dither, two steps peak to peak; None: no dither. The same seed gives the
        same dither everywhere.

    Raises
    ------
    StageError
        A value is out of range; all of them are told together.
    """

    order: Literal[1, 2]
    step: int
    top: int
    tpdf_seed: int | None = None

    def __post_init__(self) -> None:
        problems = [] if self.order in (1, 2) else [Problem(f"shaper order is {self.order!r}", hint="accepted: 1 or 2")]
        problems += whole_number_problems("shaper step", self.step, 2, MAX_FINE)
        problems += whole_number_problems("top code of the shaper", self.top, 1, 2**24)
        if self.tpdf_seed is not None:
            problems += whole_number_problems("dither seed", self.tpdf_seed, 0, 2**63 - 1)
        raise_problems(problems)


class ShaperState(NamedTuple):
    """Where a run stopped: the last two errors, and how many updates of dither were used."""

    e1: int = 0
    e2: int = 0
    updates: int = 0


@dataclass(frozen=True, slots=True)
class Shaped:
    """What a noise shaper made.

    Attributes
    ----------
    samples : ndarray of int64, shape (n,)
        Codes ``0..top``.
    saturations : int
        Updates at which the code was held at 0 or at the top.
    first_saturation : int or None
        Index of the first of them.
    """

    samples: CodeArray
    saturations: int
    first_saturation: int | None


def shape_noise(samples: ArrayLike, form: NoiseShaper) -> Shaped:
    """Return the coarse codes of a shaper that starts at the first sample.

    No loop over samples: summed `order` times, the codes are the floor of the summed input over the step.

    Parameters
    ----------
    samples : array_like of int, shape (n,)
        Fine units, 0 to 2**28.
    form : NoiseShaper

    Returns
    -------
    Shaped

    Raises
    ------
    StageError
        Samples are not integers or out of range.
    """
    return shape_noise_part(samples, form, ShaperState())[0]


def shape_noise_part(samples: ArrayLike, form: NoiseShaper, state: ShaperState) -> tuple[Shaped, ShaperState]:
    """Return the coarse codes from a saved state on, and the state at the end: a run can be cut at any update.

    Raises
    ------
    StageError
        Samples are not integers or out of range.
    """
    fine = check_samples(samples, 0, MAX_FINE)
    dither = tpdf_dither(form.tpdf_seed, form.step, fine.size, state.updates)
    codes = np.empty(fine.size, dtype=np.int64)
    e1, e2 = state.e1, state.e2
    for begin in range(0, fine.size, BLOCK):
        part = slice(begin, min(begin + BLOCK, fine.size))
        codes[part], e1, e2 = _block(fine[part], dither[part], form, e1, e2)
    held = np.clip(codes, 0, form.top)
    lost = held != codes
    first = int(np.argmax(lost)) if lost.any() else None
    return Shaped(held, int(lost.sum()), first), ShaperState(e1, e2, state.updates + fine.size)


def _block(fine: CodeArray, dither: CodeArray, form: NoiseShaper, e1: int, e2: int) -> tuple[CodeArray, int, int]:
    # Must equal the module's register text. With Q the codes summed `order` times and X the input summed likewise,
    # X - step * Q = +-e at every update, so that Q = floor((X + d) / step). The old errors enter as input.
    total = fine.copy()
    if form.order == 1:
        total[0] += e1
    else:
        total[0] += 2 * e1 - e2
        total[1:2] -= e1
    for _ in range(form.order):
        total = np.cumsum(total)
    sums = (total + dither) // form.step
    errors = total - sums * form.step
    codes = sums
    for _ in range(form.order):
        codes = np.diff(codes, prepend=np.int64(0))
    return codes, int(errors[-1]), int(errors[-2]) if errors.size > 1 else e1


def tpdf_dither(seed: int | None, step: int, count: int, skip: int = 0) -> NDArray[np.int64]:
    """Return triangular dither: the sum of two even numbers of 0..step-1, less step - 1.

    Parameters
    ----------
    seed : int or None
        None: all zero.
    step : int
        Fine units of one coarse unit.
    count, skip : int
        Updates wanted, and updates passed over before them.

    Returns
    -------
    ndarray of int64, shape (count,)
        From ``-(step-1)`` to ``step - 1``, mean 0, variance (step**2 - 1)/6.
    """
    if seed is None:
        return np.zeros(count, dtype=np.int64)
    source = np.random.PCG64(seed)
    source.advance(2 * skip)
    halves = (source.random_raw(2 * count) >> np.uint64(32)).astype(np.int64)
    # Thirty-two even bits times the step, over 2**32: uneven by at most step / 2**32.
    values = (halves * step) >> 32
    return values[0::2] + values[1::2] - (step - 1)
