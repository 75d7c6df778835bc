"""First-order sigma-delta: an accumulator whose carry is the pin.

Stage: modulator. In: an unsigned code ``0..2**bits - 1`` as `Steps` on the modulator's clock. Out: the pin, 0 or 1.

Registers (this text is what the Verilog twin is written from; both take their new value at each rising edge):
  acc : `bits` bits, unsigned, reset value 0
  pin : 1 bit, reset value 0
  sum = acc + code, one bit wider than acc;  acc <= low `bits` bits of sum;  pin <= its top bit (the carry).

The pin is high for exactly K of every 2**bits clocks while the code is K: from a zero accumulator bit n is
``floor((n+1) K / 2**bits) - floor(n K / 2**bits)``. 100 % would need code 2**bits, which does not fit; the top code is
one clock short of it. The mean of the pin is K / 2**bits. Constant codes make tones at multiples of
``clock * gcd(K, 2**bits) / 2**bits`` (idle tones); this form has no dither.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.output_stage.modulators.signals import (
    Modulated,
    check_codes,
    flip_places,
    pin_of_flips,
    raise_problems,
    whole_number_problems,
)
from psgmodel.steps import Steps

BLOCK = 2**18
"""Clocks handled at once; small enough for the cache, without effect on the result."""


@dataclass(frozen=True, slots=True)
class FirstOrder:
    """A first-order sigma-delta modulator.

    Attributes
    ----------
    bits : int
        Width of the accumulator and of the code, 1 to 31.

    Raises
    ------
    StageError
        The width is out of range.
    """

    bits: int

    def __post_init__(self) -> None:
        raise_problems(whole_number_problems("accumulator width", self.bits, 1, 31))

    @property
    def top(self) -> int:
        """Largest code accepted."""
        return (1 << self.bits) - 1


@dataclass(frozen=True, slots=True)
class FirstOrderState:
    """Where a run stopped: the accumulator."""

    acc: int = 0


def first_order(code: Steps, form: FirstOrder) -> Modulated:
    """Return the pin of a modulator that leaves reset at the first cycle of `code`.

    Parameters
    ----------
    code : Steps
        Unsigned, ``0..2**bits - 1``.
    form : FirstOrder

    Returns
    -------
    Modulated
        Pin, 0 or 1, over the same cycles; it cannot saturate.

    Raises
    ------
    StageError
        A code is unknown or out of range.
    """
    return Modulated(first_order_part(code, form, FirstOrderState())[0], 1)


def first_order_part(code: Steps, form: FirstOrder, state: FirstOrderState) -> tuple[Steps, FirstOrderState]:
    """Return the pin from a saved state on, and the state at the end: a run can be cut at any cycle.

    Cost: about 8 ns a clock on one core, whatever the code; memory 12 bytes a change of the pin.

    Raises
    ------
    StageError
        A code is unknown or out of range.
    """
    check_codes(code, form.top)
    raise_problems(whole_number_problems("saved accumulator", state.acc, 0, form.top))
    spare = np.uint32(32 - form.bits)
    addend = code.level.astype(np.uint32) << spare
    acc = np.array([state.acc], dtype=np.uint32) << spare
    places, before = [], -1
    for begin in range(code.start, code.end, BLOCK):
        end = min(begin + BLOCK, code.end)
        bits, acc = _carries(_held(code, addend, begin, end), acc)
        places.append(flip_places(bits, before) + begin)
        before = int(bits[-1])
    return pin_of_flips(places, before, code.end), FirstOrderState(int(acc[0] >> spare))


def _carries(addend: NDArray[np.uint32], acc: NDArray[np.uint32]) -> tuple[NDArray[np.uint8], NDArray[np.uint32]]:
    # Must equal the module's register text. The accumulator sits in the top bits of a 32-bit word, so the wrap of
    # uint32 is its wrap; a sum has carried exactly where it is now below what was added.
    total = np.cumsum(addend, dtype=np.uint32)
    total += acc
    return (total < addend).view(np.uint8), total[-1:]


def _held(code: Steps, addend: NDArray[np.uint32], begin: int, end: int) -> NDArray[np.uint32]:
    """Return the addend of each clock in ``begin <= c < end``."""
    first = int(np.searchsorted(code.cycle, begin, side="right")) - 1
    last = int(np.searchsorted(code.cycle, end, side="left"))
    if last == first + 1:
        return np.full(end - begin, addend[first])
    edges = np.append(code.cycle[first:last], np.int64(end))
    edges[0] = begin
    return np.repeat(addend[first:last], np.diff(edges))
