"""Converter with a reconstruction filter: a code in, the levels at its output, piece by piece.

Stage: output stage, digital side. In: an unsigned code as `Steps`. Out: levels as `Steps` on a clock of
``rate * oversampling``; `LEVEL_UNIT` levels are the peak of a full-scale sine.

The model: samples of the code at the converter's rate (see `Feed`), rounded to its bits and held at their ends, then
an interpolating low-pass (Kaiser window; J. F. Kaiser, Nonrecursive digital filter design using the I0-sinh window
function, 1974) with the pass band, stop band and attenuation of the data sheet, then a hold. Before its start the
first sample has stood for ever. Noise and distortion of its analog side are numbers of the data sheet and are added
where a tone is measured.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.renderer import StepsRenderer
from psgmodel.output_stage.stage.records import CodeSource, Converter, Feed
from psgmodel.steps import Steps, steps_from_changes

FloatArray = NDArray[np.float64]

LEVEL_UNIT = 2**26
"""Levels that stand for the peak of a full-scale sine."""


class ConverterState:
    """A converter that is fed piece by piece.

    Attributes
    ----------
    saturations : int
        Samples that were held at an end of the range.
    first_saturation : int or None
        Index of the first of them.
    """

    def __init__(self, converter: Converter, code: CodeSource) -> None:
        self.saturations = 0
        self.first_saturation: int | None = None
        self._converter, self._code = converter, code
        self._ratio = code.clock / Fraction(converter.rate)
        self._taps = reconstruction_taps(converter)
        self._tail: FloatArray | None = None
        self._next, self._made = 0, 0
        self._renderer: StepsRenderer | None = None
        if converter.feed is Feed.BAND_LIMITED:
            self._renderer = StepsRenderer(code.clock, converter.rate, full_scale=1.0)

    def push(self, code: Steps) -> Steps:
        """Return the levels that a further piece of code makes known."""
        if self._renderer is not None:
            return self._levels(self._renderer.push(code))
        first, self._next = self._next, self._first_at(code.end)
        at = np.arange(first, self._next, dtype=np.int64) * self._ratio.numerator // self._ratio.denominator
        return self._levels(code.at(at).astype(np.float64))

    def finish(self) -> Steps:
        """Return the levels that are still on their way."""
        rest = np.zeros(0) if self._renderer is None else self._renderer.finish()
        return self._levels(rest)

    def _first_at(self, cycle: int) -> int:
        """Return the first sample that does not stand before `cycle`."""
        return -(-cycle * self._ratio.denominator // self._ratio.numerator)

    def _levels(self, codes: FloatArray) -> Steps:
        from scipy.signal import upfirdn

        over = self._converter.oversampling
        samples = self._rounded((codes - self._code.middle) * (self._converter.input_scale / self._code.middle))
        if samples.size:
            if self._tail is None:
                self._tail = self._tail_of_constant(float(samples[0]))
            full = upfirdn(self._taps, samples, up=over)
            full = np.pad(full, (0, samples.size * over + self._tail.size - full.size))
            full[: self._tail.size] += self._tail
            made, self._tail = full[: samples.size * over], full[samples.size * over :]
        else:
            made = np.zeros(0)
        start, self._made = self._made, self._made + made.size
        levels = np.rint(made * LEVEL_UNIT).astype(np.int64)
        return steps_from_changes(np.arange(start, self._made), levels, self._made)

    def _tail_of_constant(self, value: float) -> FloatArray:
        """Return what a sample that has stood for ever leaves in the filter."""
        over = self._converter.oversampling
        rest = self._taps.size - over
        turns = -(-self._taps.size // over)
        taps = np.pad(self._taps, (0, turns * over + rest - self._taps.size))
        return value * np.asarray([taps[at + over :: over].sum() for at in range(rest)], dtype=np.float64)

    def _rounded(self, samples: FloatArray) -> FloatArray:
        half = 2 ** (self._converter.bits - 1)
        wanted = np.rint(samples * half)
        held = np.clip(wanted, -half, half - 1)
        # One step past the top is the top of a full-scale sine, as every converter has it: no overload.
        over = (wanted < -half) | (wanted > half)
        if over.any() and self.first_saturation is None:
            self.first_saturation = self._made // self._converter.oversampling + int(np.argmax(over))
        self.saturations += int(over.sum())
        return np.asarray(held / half, dtype=np.float64)


def reconstruction_taps(converter: Converter) -> FloatArray:
    """Return the taps of the interpolating low-pass; their sum is the oversampling. At least two samples long."""
    from scipy.signal import firwin, kaiserord

    rate = converter.rate * converter.oversampling
    width = (converter.stop_band - converter.pass_band) * converter.rate
    count, beta = kaiserord(converter.stop_attenuation, width / (rate / 2))
    count = max(count | 1, 2 * converter.oversampling + 1)
    middle = (converter.stop_band + converter.pass_band) / 2 * converter.rate
    taps = firwin(count, middle, window=("kaiser", beta), fs=rate)
    return np.asarray(taps * converter.oversampling, dtype=np.float64)


def filter_delay(converter: Converter) -> int:
    """Return the delay of the reconstruction filter in output clocks."""
    return int(reconstruction_taps(converter).size // 2)
