"""Power spectrum: the mean square of a signal, told by frequency.

Stage: measurement. In: samples and their rate, or exact lines. Out: power a bin, in the square of the signal's unit.

Conventions
  power    of a bin: its share of the mean square; all bins sum to the mean square of the record, so a sine of
           peak A sums to A**2/2 over its lobe and noise to its variance, whatever the window (each bin is divided
           by N sum(w**2))
  DC       the mean is taken off before the window is put on and stands in bin 0 alone
  window   periodic Kaiser, beta 38, unless another is named; a rectangular one is for whole periods only
  band     bins whose centre lies in low <= f <= high
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from psgmodel.errors import StageError
from psgmodel.output_stage.measures.checks import Floats, check_band, check_positive, check_record
from psgmodel.output_stage.measures.lines import LineSpectrum
from psgmodel.output_stage.measures.windows import Window, window_samples
from psgmodel.output_stage.weighting import a_weighting_gain


@dataclass(frozen=True, slots=True, eq=False)
class PowerSpectrum:
    """Power by frequency.

    Attributes
    ----------
    hz : ndarray of float64, shape (n,), Hz
        Centre of each bin, rising from 0 in even steps.
    power : ndarray of float64, shape (n,)
        Share of the mean square.
    dc : float
        The mean, with its sign.
    half_lobe : int
        Bins on each side of a tone that hold its power; 0 for exact lines and rectangular windows.
    """

    hz: Floats
    power: Floats
    dc: float
    half_lobe: int

    @property
    def spacing_hz(self) -> float:
        """Distance of neighbouring bins. Unit: Hz."""
        return float(self.hz[1] - self.hz[0])

    def band_rms(self, low_hz: float, high_hz: float, *, a_weighted: bool = False) -> float:
        """Return the rms of everything in ``low_hz <= f <= high_hz``, A-weighted on demand.

        Parameters
        ----------
        low_hz, high_hz : float, Hz
        a_weighted : bool
            Weight by A of IEC 61672-1 (0 dB at 1 kHz).

        Returns
        -------
        float, rms in the signal's unit

        Raises
        ------
        StageError
            The band is empty or reaches past the spectrum.
        """
        check_band(low_hz, high_hz, float(self.hz[-1]))
        inside = (self.hz >= low_hz) & (self.hz <= high_hz)
        power = self.power[inside]
        if a_weighted:
            power = power * a_weighting_gain(self.hz[inside]) ** 2
        return math.sqrt(float(power.sum()))


def power_spectrum(samples: ArrayLike, rate_hz: float, window: Window = Window.KAISER_38) -> PowerSpectrum:
    """Return the power spectrum of a record.

    Parameters
    ----------
    samples : array_like of float, shape (n,)
        At least 4 lobes long: 8 samples, 108 for the default window.
    rate_hz : float, Hz
    window : Window

    Returns
    -------
    PowerSpectrum
        Bins from 0 to half the rate.

    Raises
    ------
    StageError
        Too few samples, one that is not finite, or a rate that is not above 0.
    """
    row = check_record(samples, max(8, 4 * (2 * window.half_lobe + 1)))
    rate = check_positive("sample rate", rate_hz, "Hz")
    shape = window_samples(window, row.size)
    dc = float(row.mean())
    power = np.abs(np.fft.rfft((row - dc) * shape)) ** 2 * (2 / (row.size * float(np.sum(shape**2))))
    if row.size % 2 == 0:
        power[-1] /= 2
    power[0] = dc * dc
    hz = np.asarray(np.arange(power.size) * (rate / row.size), dtype=np.float64)
    return PowerSpectrum(hz, power, dc, window.half_lobe)


def power_of_lines(lines: LineSpectrum) -> PowerSpectrum:
    """Return the power spectrum of exact lines; they must run from 0 without gaps.

    Raises
    ------
    StageError
        The first line is not the mean, a line is missing, or there is only one.
    """
    if lines.order.size < 2 or not np.array_equal(lines.order, np.arange(lines.order.size)):
        raise StageError("the lines do not run from 0 without gaps", hint="make them by `highest_hz`, not by `orders`")
    return PowerSpectrum(lines.hz, lines.rms**2, float(lines.amplitude[0].real), 0)
