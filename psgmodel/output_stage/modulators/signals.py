"""Signals in and out of a modulator, and the checks they share.

Stage: the door of the output stage. In: an unsigned code as `Steps` at its source clock, or as integer
samples at an update rate. Out: the same code as `Steps` on the modulator's own clock.

Time. A modulator works on one clock. Cycle c of its input is the code that edge c samples; cycle c of its
output is what its registers show between edge c and edge c + 1. Where the code itself comes out of a register on
the same clock, that register adds one clock: shift the output by one (``steps.shifted(1)``).

Units: codes and pin levels are integers; clocks are hertz as an int or an exact Fraction.
"""

from __future__ import annotations

import operator
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from typing import SupportsIndex

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.errors import Problem, StageError
from psgmodel.steps import MAX_CYCLE, Steps, empty_steps, steps_from_changes

Hertz = int | Fraction
"""An exact frequency."""

CodeArray = NDArray[np.int64]

_MAX_RATIO_PART = 2**31 - 1


class Rounding(Enum):
    """Where a change goes that does not fall on an edge of the new clock."""

    UP = "up"
    """The first edge at or after it: what a register on the new clock does."""
    DOWN = "down"
    """The last edge at or before it."""
    NEAREST = "nearest"
    """The nearest edge, the later one of two equally near."""


@dataclass(frozen=True, slots=True)
class Modulated:
    """What a modulator made.

    Attributes
    ----------
    steps : Steps
        Level of the pin (0 or 1) or code of the converter, on the modulator's clock.
    full_scale : int
        The level that stands for the reference voltage: volts = level / full_scale * reference. 1 for a pin,
        2**bits for a converter (whose top code therefore stays one step below the reference).
    saturations : int
        Clocks (or samples) at which a register or the output was held at its limit. More than a few: overload.
    first_saturation : int or None, clock cycles
        Where the first of them happened.
    """

    steps: Steps
    full_scale: int
    saturations: int = 0
    first_saturation: int | None = None


def whole_number_problems(name: str, value: object, low: int, high: int) -> list[Problem]:
    """Return the problem (or none) of a value that must be an integer in ``low..high``."""
    accepted = f"accepted: a whole number from {low} to {high}"
    if isinstance(value, bool) or not isinstance(value, SupportsIndex):
        return [Problem(f"{name} is {value!r}", hint=accepted)]
    try:
        number = operator.index(value)  # an array has it, but only one of a single whole number lets it be called
    except TypeError:
        return [Problem(f"{name} is {value!r}", hint=accepted)]
    return [] if low <= number <= high else [Problem(f"{name} is {number}", hint=accepted)]


def raise_problems(problems: list[Problem]) -> None:
    """Raise one `StageError` that holds all of `problems`; nothing where there are none."""
    if problems:
        raise StageError(problems)


def check_hertz(name: str, value: object) -> Fraction:
    """Return an exact positive frequency as a Fraction.

    Raises
    ------
    StageError
        Not an int or a Fraction, or not positive.
    """
    if isinstance(value, bool) or not isinstance(value, (int, Fraction)):
        raise StageError(f"{name} is {value!r}", hint="accepted: hertz as an int or a fractions.Fraction, above 0")
    if value <= 0:
        raise StageError(f"{name} is {value} Hz", hint="accepted: hertz above 0")
    return Fraction(value)


def check_codes(code: Steps, top: int) -> None:
    """Refuse a code signal that a modulator with codes ``0..top`` cannot take.

    Raises
    ------
    StageError
        The signal is empty, has unknown levels, or a level lies outside ``0..top``.
    """
    if not len(code):
        raise StageError("the code signal is empty", hint="accepted: at least one clock cycle of code")
    if code.unknown is not None and bool(code.unknown.any()):
        first = int(code.cycle[int(np.argmax(code.unknown))])
        raise StageError(
            f"the code is unknown (X or Z) from cycle {first}", hint="cut the signal to where the code is known"
        )
    outside = (code.level < 0) | (code.level > top)
    if outside.any():
        at = int(np.argmax(outside))
        raise StageError(
            f"code {int(code.level[at])} at cycle {int(code.cycle[at])}",
            hint=f"accepted: 0 to {top}; scale or offset the code first",
        )


def check_samples(samples: ArrayLike, low: int, high: int) -> CodeArray:
    """Return integer samples as int64, each in ``low..high``.

    Raises
    ------
    StageError
        Not a one-dimensional integer array, empty, or a value outside.
    """
    values = np.asarray(samples)
    if values.ndim != 1 or not values.size:
        raise StageError(f"samples of shape {values.shape}", hint="accepted: a row of at least one sample")
    if values.dtype.kind not in "iu":
        raise StageError(
            f"samples of type {values.dtype}", hint="accepted: integers; round by a rule of your own first"
        )
    outside = (values < low) | (values > high)
    if outside.any():
        at = int(np.argmax(outside))
        raise StageError(f"sample {at} is {int(values[at])}", hint=f"accepted: {low} to {high}")
    return values.astype(np.int64)


def steps_to_clock(code: Steps, source_hz: Hertz, target_hz: Hertz, rounding: Rounding | None = None) -> Steps:
    """Hold a signal of one clock on another one.

    A change at source cycle c happens at target time ``c * target_hz / source_hz``, in exact integers, and shows
    from that target cycle on. The end moves likewise. With a rounding rule, changes that land on one target cycle
    leave only the last of them, and a change that lands on the end is never seen: that is what sampling does.

    Parameters
    ----------
    code : Steps
        Signal on the source clock.
    source_hz, target_hz : int or Fraction, Hz
    rounding : Rounding, optional
        None: a time that is not a whole target cycle is refused.

    Returns
    -------
    Steps
        The signal on the target clock.

    Raises
    ------
    StageError
        A time is not exact and no rule was named; a clock is not positive; the ratio or the result is too large.
    """
    ratio = check_hertz("target clock", target_hz) / check_hertz("source clock", source_hz)
    if max(ratio.numerator, ratio.denominator) > _MAX_RATIO_PART:
        raise StageError(
            f"clock ratio {ratio.numerator}/{ratio.denominator}", hint=f"accepted: both parts up to {_MAX_RATIO_PART}"
        )
    if (abs(code.end) + 1) * ratio > MAX_CYCLE:
        raise StageError(
            f"cycle {code.end} at {target_hz} Hz is past cycle {MAX_CYCLE}", hint="use a shorter signal or slower clock"
        )
    times, rest = _scaled(np.append(code.cycle, np.int64(code.end)), ratio)
    if rounding is None:
        if rest.any():
            at = int(np.argmax(rest > 0))
            what = "the end" if at == len(code) else "a change"
            cycle = code.end if at == len(code) else int(code.cycle[at])
            raise StageError(
                f"{what} at cycle {cycle} of {source_hz} Hz is cycle {cycle * ratio} of {target_hz} Hz, no whole cycle",
                hint="name a rounding rule: up (what a register does), down or nearest",
            )
    elif rounding is Rounding.UP:
        times += rest > 0
    elif rounding is Rounding.NEAREST:
        times += 2 * rest >= ratio.denominator
    end = int(times[-1])
    kept = times[:-1] < end
    if not kept.any():
        return empty_steps(end)
    return steps_from_changes(times[:-1][kept], code.level[kept], end, unknown=code.unknown_mask()[kept])


def _scaled(cycles: CodeArray, ratio: Fraction) -> tuple[CodeArray, CodeArray]:
    """Return ``cycles * ratio`` as whole part (rounded down) and remainder over the denominator, in int64."""
    turns, left = np.divmod(cycles, np.int64(ratio.denominator))
    part, rest = np.divmod(left * np.int64(ratio.numerator), np.int64(ratio.denominator))
    return turns * np.int64(ratio.numerator) + part, rest


def steps_of_samples(samples: ArrayLike, period: int = 1, start: int = 0) -> Steps:
    """Hold each sample for `period` clock cycles.

    Parameters
    ----------
    samples : array_like of int, shape (n,)
        One code an update, each fitting 32 bits.
    period : int, clock cycles
        Length of one update, 1 to 2**31 - 1.
    start : int, clock cycles
        Where the first sample begins.

    Returns
    -------
    Steps

    Raises
    ------
    StageError
        Samples are not integers or do not fit, or the period is out of range.
    """
    raise_problems(whole_number_problems("update period", period, 1, _MAX_RATIO_PART))
    values = check_samples(samples, -(2**31), 2**31 - 1)
    cycle = start + period * np.arange(values.size, dtype=np.int64)
    return steps_from_changes(cycle, values, start + period * values.size)


def samples_of_steps(code: Steps, period: int = 1) -> CodeArray:
    """Return the level at the start of each update: cycles start, start + period, ... before the end.

    Parameters
    ----------
    code : Steps
    period : int, clock cycles

    Returns
    -------
    ndarray of int64, shape (ceil(length / period),)

    Raises
    ------
    StageError
        The period is out of range.
    """
    raise_problems(whole_number_problems("update period", period, 1, _MAX_RATIO_PART))
    if period == 1:
        return np.repeat(code.level.astype(np.int64), code.durations())
    return code.at(np.arange(code.start, code.end, period, dtype=np.int64)).astype(np.int64)


def flip_places(bits: NDArray[np.uint8], before: int) -> NDArray[np.intp]:
    """Return where a pin (0 or 1, one level a clock) differs from the clock before it.

    Parameters
    ----------
    bits : ndarray of uint8, shape (n,), n at least 1
    before : int
        Level before the first clock; -1 where the pin begins there.

    Returns
    -------
    ndarray of intp, rising
    """
    flips = np.empty(bits.size, dtype=np.bool_)
    flips[0] = int(bits[0]) != before
    np.not_equal(bits[1:], bits[:-1], out=flips[1:])
    return np.flatnonzero(flips)


def pin_of_flips(places: list[NDArray[np.intp]], last: int, end: int) -> Steps:
    """Return the pin that flips at each of `places` (clock cycles, the first its start) and ends at level `last`."""
    cycle = np.concatenate(places, dtype=np.int64)
    level = np.empty(cycle.size, dtype=np.int32)
    level[::-2], level[-2::-2] = last, 1 - last
    return Steps(cycle, level, end)
