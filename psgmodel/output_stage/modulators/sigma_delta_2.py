"""Second-order sigma-delta with a one-bit quantiser: two accumulators in a loop.

Stage: modulator. In: an unsigned code ``0..2**code_bits - 1`` as `Steps` on the modulator's clock. Out: the pin, 0/1.

Registers (this text is what the Verilog twin is written from; all take their new value at each rising edge):
  a1  : `first_bits` bits, signed, reset value 0
  a2  : `second_bits` bits, signed, reset value 0
  pin : 1 bit, reset value 0
  s   : the shift register of the dither, if any (see `lfsr`)
With half = 2**(code_bits-1) and the input scale num/den:
  u  = num * (code - half)                    the input, signed
  f  = +den * half if pin is 1, else -den * half     the feedback
  n1 = a1 + u - f,  held within `first_bits`
  n2 = a2 + n1 - f, held within `second_bits`
  a1 <= n1;  a2 <= n2;  pin <= (n2 + dither >= 0), the dither of this clock, 0 where there is none
"Held within B bits" means clamped to -2**(B-1) .. 2**(B-1) - 1; every clock where a clamp acts is counted.

Signal transfer 1, noise transfer (1 - z**-1)**2 (J. C. Candy, A Use of Double Integration in Sigma Delta Modulation,
1985, from memory). The mean of the pin is 1/2 + scale * (code/2**code_bits - 1/2): at scale 1 that of the first order.

Stability: bounds |a1| <= (|x| + 2) f and |a2| <= (5 - |x|)**2 / (8 (1 - |x|)) f for a constant input x = u/f (S. Hein,
A. Zakhor, 1993, as given by R. Schreier, G. C. Temes, Understanding Delta-Sigma Data Converters; from memory). At
scale 1 the second one has no limit near full scale: scale the input down (3/4 is usual) or accept clamping.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.errors import Problem, StageError
from psgmodel.output_stage.modulators.lfsr import LfsrDither, dither_words
from psgmodel.output_stage.modulators.sigma_delta_2_loops import Loop, run_loop, run_loops
from psgmodel.output_stage.modulators.signals import (
    Modulated,
    check_codes,
    flip_places,
    pin_of_flips,
    raise_problems,
    whole_number_problems,
)
from psgmodel.steps import Steps

BLOCK = 2**16
"""Clocks handled at once; without effect on the result."""


@dataclass(frozen=True, slots=True)
class SecondOrder:
    """A second-order one-bit sigma-delta modulator. `second_order_of_width` fills in usual word lengths.

    Attributes
    ----------
    code_bits : int
        Width of the code, 1 to 24.
    first_bits, second_bits : int
        Widths of the two accumulators, from the width of the feedback to 48.
    input_scale : Fraction
        Input at full-scale code over feedback, above 0, at most 1; its parts at most 256.
    dither : LfsrDither or None
        Added at the quantiser.

    Raises
    ------
    StageError
        A value is out of range; all of them are told together.
    """

    code_bits: int
    first_bits: int
    second_bits: int
    input_scale: Fraction = Fraction(3, 4)
    dither: LfsrDither | None = None

    def __post_init__(self) -> None:
        problems = whole_number_problems("code width", self.code_bits, 1, 24)
        scale = self.input_scale
        if not isinstance(scale, (int, Fraction)) or not 0 < scale <= 1 or Fraction(scale).denominator > 256:
            problems.append(
                Problem(
                    f"input scale is {scale!r}", hint="accepted: a Fraction above 0, at most 1, denominator up to 256"
                )
            )
        raise_problems(problems)
        least = self.feedback.bit_length() + 1
        problems += whole_number_problems("first accumulator width", self.first_bits, least, 48)
        problems += whole_number_problems("second accumulator width", self.second_bits, least, 48)
        raise_problems(problems)

    @property
    def top(self) -> int:
        """Largest code accepted."""
        return (1 << self.code_bits) - 1

    @property
    def feedback(self) -> int:
        """Magnitude f of the feedback."""
        return Fraction(self.input_scale).denominator << (self.code_bits - 1)


def second_order_of_width(
    code_bits: int, input_scale: Fraction = Fraction(3, 4), dither: LfsrDither | None = None
) -> SecondOrder:
    """Return a modulator whose accumulators have room for 4 and 16 times the feedback.

    Enough for constant inputs up to about 0.85 of the feedback by the bounds of the module's text, without dither.

    Raises
    ------
    StageError
        A value is out of range.
    """
    probe = SecondOrder(code_bits, 48, 48, input_scale, dither)
    room = probe.feedback.bit_length() + 1
    return SecondOrder(code_bits, room + 2, room + 4, input_scale, dither)


class SecondOrderState(NamedTuple):
    """Where a run stopped: accumulators, pin, and the dither register (None: still at its seed)."""

    a1: int = 0
    a2: int = 0
    pin: int = 0
    register: int | None = None


class Overloads(NamedTuple):
    """How often a clamp acted, and at which clock of the run first (None: never)."""

    clamped: int = 0
    first: int | None = None


def second_order(code: Steps, form: SecondOrder) -> Modulated:
    """Return the pin of a modulator that leaves reset at the first cycle of `code`.

    Cost: about 0.2 us a clock (a plain Python loop); `second_order_batch` is cheaper for many codes side by side.

    Parameters
    ----------
    code : Steps
        Unsigned, ``0..2**code_bits - 1``.
    form : SecondOrder

    Returns
    -------
    Modulated
        Pin, 0 or 1; `saturations` counts the clocks at which an accumulator was clamped: above 0 the loop is
        overloaded and its noise no longer shaped as promised.

    Raises
    ------
    StageError
        A code is unknown or out of range.
    """
    pin, _, over = second_order_part(code, form, SecondOrderState())
    return Modulated(pin, 1, over.clamped, over.first)


def second_order_part(
    code: Steps, form: SecondOrder, state: SecondOrderState
) -> tuple[Steps, SecondOrderState, Overloads]:
    """Return the pin from a saved state on, the state at the end, and the overloads: a run can be cut at any cycle.

    Raises
    ------
    StageError
        A code is unknown or out of range.
    """
    check_codes(code, form.top)
    loop = _loop(form)
    places, before = [], -1
    count, first = 0, None
    for begin, size in _blocks(code):
        u = _input(code.at(np.arange(begin, begin + size)), form)
        dither, register = _dither(form, size, state.register)
        bits = np.empty(size, dtype=np.uint8)
        a1, a2, pin, acted, where = run_loop(u, dither, loop, (state.a1, state.a2, state.pin), bits)
        state = SecondOrderState(a1, a2, pin, register)
        count += acted
        if first is None and acted:
            first = begin + where
        places.append(flip_places(bits, before) + begin)
        before = int(bits[-1])
    return pin_of_flips(places, before, code.end), state, Overloads(count, first)


def second_order_batch(codes: ArrayLike, form: SecondOrder) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    """Run several modulators side by side, each from reset, one code a clock; all see the same dither.

    Worth it from some tens of channels on (a sweep of constant codes, say).

    Parameters
    ----------
    codes : array_like of int, shape (channels, clocks)
        A read-only broadcast view will do for constant codes.
    form : SecondOrder

    Returns
    -------
    bits : ndarray of uint8, shape (channels, clocks)
    saturations : ndarray of int64, shape (channels,)
        Clocks at which an accumulator was clamped.

    Raises
    ------
    StageError
        Not a table of integers, or a code is out of range.
    """
    table = np.asarray(codes)
    if table.ndim != 2 or not table.size or table.dtype.kind not in "iu":
        raise StageError(
            f"codes of shape {table.shape} and type {table.dtype}", hint="accepted: integers, channels by clocks"
        )
    if int(table.min()) < 0 or int(table.max()) > form.top:
        raise StageError(f"codes from {int(table.min())} to {int(table.max())}", hint=f"accepted: 0 to {form.top}")
    dither, _ = _dither(form, table.shape[1], None)
    bits, saturations = run_loops(np.ascontiguousarray(_input(table.T, form)), dither, _loop(form))
    return np.ascontiguousarray(bits.T), saturations


def _loop(form: SecondOrder) -> Loop:
    return Loop(form.feedback, 2 ** (form.first_bits - 1), 2 ** (form.second_bits - 1))


def _input(codes: NDArray[np.int32], form: SecondOrder) -> NDArray[np.int64]:
    half = np.int64(1 << (form.code_bits - 1))
    return (codes.astype(np.int64) - half) * np.int64(Fraction(form.input_scale).numerator)


def _dither(form: SecondOrder, count: int, register: int | None) -> tuple[NDArray[np.int64] | None, int | None]:
    if form.dither is None:
        return None, None
    return dither_words(form.dither, count, register)


def _blocks(code: Steps) -> Iterator[tuple[int, int]]:
    for begin in range(code.start, code.end, BLOCK):
        yield begin, min(BLOCK, code.end - begin)


def constant_input_bound(x: float) -> tuple[float, float]:
    """Return the bounds of both accumulators for a constant input, in units of the feedback.

    Source: S. Hein, A. Zakhor, 1993, by way of R. Schreier, G. C. Temes (from memory).

    Parameters
    ----------
    x : float
        Input over feedback, magnitude below 1.

    Raises
    ------
    StageError
        The magnitude is 1 or more: there is no bound.
    """
    size = abs(x)
    if not size < 1 or math.isnan(size):
        raise StageError(f"constant input {x} of the feedback", hint="accepted: between -1 and 1, both excluded")
    return size + 2, (5 - size) ** 2 / (8 * (1 - size))
