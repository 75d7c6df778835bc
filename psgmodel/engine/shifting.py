"""Shifting: noise registers as linear maps, jumped and unrolled by arithmetic.

Stage: engine, the fast one. In: a shift register's options, a mode, contents. Out: output bits of many
shifts at once, and the contents after any number of shifts. A shift is an affine map over GF(2): with a
constant 1 as one more bit it is a matrix, and 2^k shifts are its k-th square (Golomb, *Shift Register
Sequences*, 1967).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.channel import ShiftRegister

Columns = tuple[int, ...]

CYCLE_BITS = 22
"""Registers up to this width are followed once around their cycle; wider ones only as far as needed."""


class ShiftMap:
    """The shift of one register in one mode."""

    def __init__(self, register: ShiftRegister, short: bool) -> None:
        mode = register.short if short and register.short is not None else register
        self.bits = register.bits
        self.taps = mode.taps
        self.output = mode.output
        self.inverted = register.feedback == "xnor"
        self.left = register.shift == "left"
        places = {1 if self.left else register.bits}
        if short and register.short is not None:
            places |= set(register.short.insert)
        self.places = sum(1 << place - 1 for place in places)
        self.squares: list[Columns] = [self._matrix()]

    def _matrix(self) -> Columns:
        """Return one shift as columns: where each bit, and the constant in bit `bits`, goes."""
        full = (1 << self.bits) - 1
        columns = []
        for bit in range(self.bits):
            moved = (1 << bit << 1 & full if self.left else 1 << bit >> 1) & ~self.places
            columns.append(moved | (self.places if bit + 1 in self.taps else 0))
        columns.append(1 << self.bits | (self.places if self.inverted else 0))
        return tuple(columns)

    def power(self, exponent: int) -> Columns:
        """Return 2^exponent shifts as columns."""
        while len(self.squares) <= exponent:
            last = self.squares[-1]
            self.squares.append(tuple(_times(last, column) for column in last))
        return self.squares[exponent]

    def contents_after(self, contents: int, shifts: int) -> int:
        """Return the contents after a number of shifts."""
        vector = contents | 1 << self.bits
        exponent = 0
        while shifts:
            if shifts & 1:
                vector = _times(self.power(exponent), vector)
            shifts >>= 1
            exponent += 1
        return vector & (1 << self.bits) - 1

    def contents_list(self, contents: int, count: int) -> NDArray[np.uint64]:
        """Return the contents after 0, 1, ... count - 1 shifts. Shape (count,).

        Equals stepping `NoisePlayer` of the reference. Rows start a power of two apart, found by doubling;
        then all rows are stepped together.
        """
        stride = max(0, (count - 1).bit_length() // 2)
        starts = np.array([contents | 1 << self.bits], dtype=np.uint64)
        exponent = stride
        while starts.size << stride < count:
            starts = np.concatenate([starts, _times_many(self.power(exponent), starts)])
            exponent += 1
        table = np.empty((1 << stride, starts.size), dtype=np.uint64)
        rows = starts & np.uint64((1 << self.bits) - 1)
        for index in range(1 << stride):
            table[index] = rows
            rows = self._step(rows)
        return table.T.reshape(-1)[:count]

    def outputs(self, states: NDArray[np.uint64]) -> NDArray[np.uint8]:
        """Return the output bit of each state."""
        return (states >> np.uint64(self.output - 1) & np.uint64(1)).astype(np.uint8)

    def _step(self, rows: NDArray[np.uint64]) -> NDArray[np.uint64]:
        bit = np.full(rows.shape, int(self.inverted), dtype=np.uint64)
        for tap in self.taps:
            bit ^= rows >> np.uint64(tap - 1)
        bit &= np.uint64(1)
        full = np.uint64((1 << self.bits) - 1)
        moved = rows << np.uint64(1) & full if self.left else rows >> np.uint64(1)
        return moved & ~np.uint64(self.places) | bit * np.uint64(self.places)


@lru_cache(maxsize=64)
def shift_map(register: ShiftRegister, short: bool) -> ShiftMap:
    """Return the shift of a register in a mode; made once."""
    return ShiftMap(register, short)


@lru_cache(maxsize=16)
def _whole_cycle(register: ShiftRegister, short: bool, contents: int) -> NDArray[np.uint8] | None:
    """Return one cycle of output bits from some contents, or None where the register never comes back to them."""
    shift = shift_map(register, short)
    states = shift.contents_list(contents, (1 << register.bits) + 1)
    back = np.flatnonzero(states[1:] == np.uint64(contents))
    if not back.size:
        return None
    bits = shift.outputs(states[: int(back[0]) + 1])
    bits.flags.writeable = False
    return bits


def output_bits(register: ShiftRegister, short: bool, contents: int, count: int) -> NDArray[np.uint8]:
    """Return the output bit after 0, 1, ... shifts.

    At least `count` bits, or one whole cycle where the register comes back to `contents` sooner: then the
    list repeats.
    """
    if register.bits <= CYCLE_BITS and count > 1 << register.bits - 3:
        cycle = _whole_cycle(register, short, contents)
        if cycle is not None:
            return cycle
    shift = shift_map(register, short)
    return shift.outputs(shift.contents_list(contents, count))


def _times(columns: Columns, vector: int) -> int:
    """Return matrix times vector over GF(2)."""
    result = 0
    for bit, column in enumerate(columns):
        if vector >> bit & 1:
            result ^= column
    return result


def _times_many(columns: Columns, vectors: NDArray[np.uint64]) -> NDArray[np.uint64]:
    result = np.zeros_like(vectors)
    for bit, column in enumerate(columns):
        result ^= (vectors >> np.uint64(bit) & np.uint64(1)) * np.uint64(column)
    return result
