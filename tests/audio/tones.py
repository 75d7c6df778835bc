"""Signals with a known spectrum, and what their spectrum must be; nothing here comes from the package but `Steps`."""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.steps import Steps, steps_from_changes

LEAD = 256
"""Samples left out at the start of a rendering, so that what came before the signal has died away."""


def pulse_steps(period: int, high: int, repeats: int) -> Steps:
    """A pulse of level 1 for `high` of every `period` cycles, rising at cycle 0."""
    rise = np.arange(repeats, dtype=np.int64) * period
    cycle = np.stack([rise, rise + high], axis=1).ravel()
    return steps_from_changes(cycle, np.tile([1, 0], repeats), repeats * period)


def pattern_steps(levels: list[int], cycles_each: int, repeats: int) -> Steps:
    """A held waveform: each level for `cycles_each` cycles, the whole repeated."""
    cycle = np.arange(len(levels) * repeats, dtype=np.int64) * cycles_each
    return steps_from_changes(cycle, np.tile(levels, repeats), cycle.size * cycles_each)


class CoherentLines(NamedTuple):
    """DFT of a stretch that holds a whole number of periods: every line falls on a bin of its own."""

    amplitude: NDArray[np.complex128]
    hertz: NDArray[np.float64]
    fundamental_bin: int

    def harmonics_below(self, hertz: float) -> NDArray[np.int64]:
        spacing = float(self.hertz[self.fundamental_bin])
        return np.arange(1, int(hertz / spacing + 1e-9) + 1)

    def at_harmonic(self, number: NDArray[np.int64]) -> NDArray[np.complex128]:
        return self.amplitude[number * self.fundamental_bin]

    def worst_other_line(self, hertz: float) -> float:
        """Largest amplitude up to `hertz` that is neither 0 Hz nor a harmonic."""
        others = self.hertz <= hertz
        others[0] = False
        others[np.arange(0, others.size, self.fundamental_bin)] = False
        return float(np.abs(self.amplitude[others]).max())


def coherent_length(clock_hz: int | Fraction, period: int, rate: int) -> tuple[int, int] | None:
    """Samples that hold a whole number of periods, and that number; None where it would need too many samples.

    At least 300 periods of samples are asked for, so that an alias does not fall onto a harmonic.
    """
    per_sample = Fraction(clock_hz) / period / rate
    if not 300 < per_sample.denominator < 2**16:
        return None
    length = per_sample.denominator * -(-2048 // per_sample.denominator)
    return length, int(length * per_sample)


def cycles_needed(clock_hz: int | Fraction, length: int, rate: int) -> int:
    return int(Fraction(length + 2 * LEAD) * Fraction(clock_hz) / rate)


def coherent_lines(samples: NDArray[np.float64], length: int, periods: int, rate: int) -> CoherentLines:
    """Peak amplitude of each line; the phase is told from sample 0 of the whole rendering."""
    bins = np.arange(length // 2 + 1)
    lines = np.fft.rfft(samples[LEAD : LEAD + length]) * (2 / length)
    lines = lines * np.exp(-2j * np.pi * bins * LEAD / length)
    return CoherentLines(lines, bins * rate / length, periods)


def pulse_line(number: NDArray[np.int64], duty: float) -> NDArray[np.complex128]:
    """Complex peak amplitude of harmonics of a 0..1 pulse that rises at time 0 (any signals text)."""
    return (2 / (np.pi * number)) * np.sin(np.pi * number * duty) * np.exp(-1j * np.pi * number * duty)


def decibels(ratio: float) -> float:
    return 20 * float(np.log10(max(ratio, 1e-300)))
