"""Dither from a shift register: the words a feedback register shows, clock by clock.

Stage: part of a modulator. In: width, taps and seed. Out: a signed integer a clock.

Register (this text is what the Verilog twin is written from): `width` bits s, reset to the seed; at each edge
``s <= {s[width-2:0], s[width-1] ^ s[t-1] ^ ...}`` for taps (width, t, ...), counted from 1, the highest the oldest bit.
The dither of a clock is the low `bits` bits of s before that clock's edge, read as two's complement, times 2**shift.

The register moves one place a clock, so neighbouring words share all but one bit: the dither is coloured (its bits
are white, its words are not). Taps that reach every state: P. Alfke, Efficient Shift Registers, LFSR Counters, and Long
Pseudo-Random Sequence Generators, 1996, table 3; any other taps are taken as given.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from psgmodel.errors import Problem
from psgmodel.output_stage.modulators.signals import raise_problems, whole_number_problems


@dataclass(frozen=True, slots=True)
class LfsrDither:
    """A shift register used as a dither source.

    Attributes
    ----------
    width : int
        Bits of the register, 2 to 32.
    taps : tuple of int
        Bit numbers from 1 that are fed back, highest first; the highest is `width`.
    bits : int
        Low bits of the register that make a dither word, 1 to `width`.
    shift : int
        Places the word is moved up, 0 to 40.
    seed : int
        Reset value, 1 to 2**width - 1.

    Raises
    ------
    StageError
        A value is out of range; all of them are told together.
    """

    width: int
    taps: tuple[int, ...]
    bits: int
    shift: int = 0
    seed: int = 1

    def __post_init__(self) -> None:
        problems = whole_number_problems("dither register width", self.width, 2, 32)
        raise_problems(problems)
        problems += whole_number_problems("dither bits", self.bits, 1, self.width)
        problems += whole_number_problems("dither shift", self.shift, 0, 40)
        problems += whole_number_problems("dither seed", self.seed, 1, 2**self.width - 1)
        taps = tuple(self.taps)
        falling = all(a > b for a, b in pairwise(taps))
        if len(taps) < 2 or taps[0] != self.width or taps[-1] < 1 or not falling:
            problems.append(
                Problem(
                    f"dither taps are {taps}",
                    hint=f"accepted: at least two bit numbers, falling, from {self.width} down to 1 at most",
                )
            )
        raise_problems(problems)

    @property
    def largest(self) -> int:
        """Largest magnitude of a dither word."""
        return int(2 ** (self.bits - 1 + self.shift))


def lfsr_bits(width: int, taps: tuple[int, ...], seed: int, count: int) -> NDArray[np.uint8]:
    """Return what the register's oldest bit shows, from the seed on.

    Parameters
    ----------
    width, taps, seed
        As in `LfsrDither`.
    count : int
        Number of bits wanted.

    Returns
    -------
    ndarray of uint8, shape (count,)
        Bit n is ``s[width-1]`` after n edges.
    """
    bits = np.empty(max(count, width), dtype=np.uint8)
    bits[:width] = [(seed >> (width - 1 - i)) & 1 for i in range(width)]
    filled = width
    while filled < count:
        # Invariant: bits[m] is the xor of bits[m - t * stride] for every m >= width * stride, since squaring a
        # polynomial over two elements only spreads its exponents.
        stride = 1 << ((filled // width).bit_length() - 1)
        size = min(taps[-1] * stride, count - filled)
        block = np.zeros(size, dtype=np.uint8)
        for tap in taps:
            block ^= bits[filled - tap * stride : filled - tap * stride + size]
        bits[filled : filled + size] = block
        filled += size
    return bits[:count]


def dither_words(source: LfsrDither, count: int, seed: int | None = None) -> tuple[NDArray[np.int64], int]:
    """Return the dither of `count` clocks and the register after them.

    Parameters
    ----------
    source : LfsrDither
    count : int, clock cycles
    seed : int, optional
        Register to start from where a run goes on; None: the seed of `source`.

    Returns
    -------
    words : ndarray of int64, shape (count,)
        ``-2**(bits-1) .. 2**(bits-1) - 1``, times 2**shift.
    register : int
    """
    start = source.seed if seed is None else seed
    bits = lfsr_bits(source.width, source.taps, start, count + source.width).astype(np.int64)
    words = np.zeros(count, dtype=np.int64)
    for place in range(source.bits):
        weight = -(1 << place) if place == source.bits - 1 else 1 << place
        first = source.width - 1 - place
        words += weight * bits[first : first + count]
    register = int("".join(map(str, bits[count : count + source.width])), 2)
    return words << source.shift, register
