"""The output grid: clock cycles on one side, output samples on the other, exact integers between.

Stage: audio. In: a clock rate in hertz (integer or fraction) and a sample rate in hertz. Out: for any
cycle, the output cell it falls into and its phase in that cell as an exact fraction. Output sample k
stands at time k / rate; cell k is the time from sample k to sample k + 1. Cycles here are counted from
the time of sample 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from psgmodel.errors import AudioError

IntArray = NDArray[np.int64]

MIN_RATE, MAX_RATE = 8_000, 768_000
"""Sample rates accepted, hertz."""

_MAX_DENOMINATOR = 1 << 36


@dataclass(frozen=True, slots=True)
class OutputGrid:
    """Samples per cycle as the exact fraction ``num / den``, in lowest terms."""

    num: int
    den: int

    def cell_of(self, cycle: int) -> int:
        """Return the cell that a cycle falls into."""
        return cycle * self.num // self.den

    def first_cycle_in(self, cell: int) -> int:
        """Return the first cycle that falls into a cell, or into a later one where it holds none."""
        return -(-cell * self.den // self.num)

    def samples_before(self, cycle: int) -> int:
        """Return how many samples stand at times from 0 up to, not including, a cycle."""
        return -(-cycle * self.num // self.den)

    def place(self, cycle: IntArray, first_cell: int) -> tuple[IntArray, IntArray]:
        """Return cell and phase of cycles that lie at most 2**20 cells past the start of `first_cell`.

        Returns
        -------
        cell : ndarray of int64
            Counted from `first_cell`.
        phase : ndarray of int64
            0 to ``den - 1``, in units of ``1 / den`` cells.
        """
        first = self.first_cycle_in(first_cell)
        position = (cycle - first) * self.num + (first * self.num - first_cell * self.den)
        cell, phase = np.divmod(position, self.den)
        return cell, phase


def output_grid(clock_hz: int | Fraction, rate: int) -> OutputGrid:
    """Return the grid for a clock and a sample rate.

    Parameters
    ----------
    clock_hz : int or fractions.Fraction, hertz
        Clock rate, exact.
    rate : int, hertz
        Sample rate, 8000 to 768000.

    Raises
    ------
    AudioError
        A rate that is not exact, not positive, or out of range.
    """
    if isinstance(clock_hz, bool) or not isinstance(clock_hz, int | Fraction):
        raise AudioError(
            f"clock rate {clock_hz!r} is not exact", hint="give hertz as an int, or as a fractions.Fraction"
        )
    if clock_hz <= 0:
        raise AudioError(f"clock rate {clock_hz} Hz is not above 0")
    if isinstance(rate, bool) or not isinstance(rate, int | np.integer):
        raise AudioError(f"sample rate {rate!r} is not an integer", hint="usual rates: 44100, 48000, 96000")
    if not MIN_RATE <= rate <= MAX_RATE:
        raise AudioError(f"sample rate {rate} Hz is not in {MIN_RATE} to {MAX_RATE} Hz")
    ratio = Fraction(int(rate)) / Fraction(clock_hz)
    if max(ratio.denominator, ratio.numerator) > _MAX_DENOMINATOR:
        raise AudioError(
            f"clock rate {clock_hz} Hz against {rate} Hz is the ratio {ratio}, finer than 1 / 2**36",
            hint="give the clock rate as a simpler fraction",
        )
    return OutputGrid(ratio.numerator, ratio.denominator)
