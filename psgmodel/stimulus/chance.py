"""Chance: numbers drawn from a seed, the same for all time.

Stage: stimulus. In: a seed. Out: integers. Only the raw 64-bit words of PCG64 (M. E. O'Neill, "PCG: a family of simple
fast space-efficient statistically good algorithms for random number generation", 2014) are taken from numpy: it
promises that stream for good, but not those of its distributions (numpy enhancement proposal 19; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from numpy.random import PCG64

Thing = TypeVar("Thing")


class ChanceState:
    """A stream of draws."""

    def __init__(self, seed: int) -> None:
        self._words = PCG64(seed)

    def below(self, count: int) -> int:
        """Draw from 0 to count - 1; the bias is below count / 2^64."""
        return int(self._words.random_raw()) * count >> 64

    def among(self, things: Sequence[Thing]) -> Thing:
        """Draw one of several things."""
        return things[self.below(len(things))]

    def bits(self, width: int) -> int:
        """Draw a number of up to 64 bits."""
        return int(self._words.random_raw()) >> 64 - width if width else 0

    def once_in(self, count: int) -> bool:
        """Say yes once in `count` times."""
        return self.below(count) == 0
