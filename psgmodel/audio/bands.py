"""Third-octave bands: centres, edges and levels.

Stage: audio. In: samples of one channel, or a spectrum. Out: the level of each band in dB relative to a full-scale
sine. Base-10 system of IEC 61260-1:2014: band x has its exact centre at ``1000 * 10**(x / 10)`` hertz and its edges a
factor of ``10**(1 / 20)`` below and above.

Levels are sums of the lines of a spectrum, not outputs of the standard's filters: for a steady signal both agree but
for the skirts of those filters. A band narrower than two lines has no meaningful level and is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.spectra import Spectrum, Window, band_powers, power_spectrum, power_to_dbfs
from psgmodel.errors import AudioError

FloatArray = NDArray[np.float64]

_FIRST, _LAST = -17, 13  # 20 Hz to 20 kHz
_NOMINAL = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
_EDGE = 10 ** (1 / 20)


@dataclass(frozen=True, slots=True, eq=False)
class BandLevels:
    """Levels of third-octave bands, in rising order.

    Attributes
    ----------
    nominal_hz, centre_hz, low_hz, high_hz : ndarray of float64, shape (bands,)
        Rounded name of the band, its exact centre and its edges.
    dbfs : ndarray of float64, shape (bands,)
        Relative to a full-scale sine.
    """

    nominal_hz: FloatArray
    centre_hz: FloatArray
    low_hz: FloatArray
    high_hz: FloatArray
    dbfs: FloatArray


def band_centres(first: int = _FIRST, last: int = _LAST) -> FloatArray:
    """Return exact centres of the bands `first` to `last`; band 0 is 1 kHz, band -17 is 20 Hz, band 13 is 20 kHz."""
    return 1000 * 10 ** (np.arange(first, last + 1) / 10)


def band_edges(centre_hz: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return lower and upper edges of bands."""
    return centre_hz / _EDGE, centre_hz * _EDGE


def nominal_centres(first: int = _FIRST, last: int = _LAST) -> FloatArray:
    """Return the rounded centres by which bands are named: 20, 25, 31.5 ... 16000, 20000."""
    return np.array([_nominal(x) for x in range(first, last + 1)])


def third_octave_levels(
    samples: FloatArray, rate: int, *, window: Window = "hann", length: int | None = None, floor_db: float = -200.0
) -> BandLevels:
    """Return third-octave levels of one channel.

    Parameters
    ----------
    samples : ndarray of float64, shape (n,)
    rate : int, hertz
    window, length
        As for `power_spectrum`.
    floor_db : float, dB
        Levels below this are shown as this.

    Returns
    -------
    BandLevels
        Bands from 20 Hz to 20 kHz that lie below half the sample rate and are at least two lines wide.

    Raises
    ------
    AudioError
        Fewer samples than one frame, or a frame too short for any band.
    """
    return spectrum_bands(power_spectrum(samples, rate, window=window, length=length), floor_db=floor_db)


def spectrum_bands(spectrum: Spectrum, *, floor_db: float = -200.0) -> BandLevels:
    """Return third-octave levels from a spectrum; see `third_octave_levels`."""
    centre = band_centres()
    low, high = band_edges(centre)
    usable = (high <= spectrum.hertz[-1]) & (high - low >= 2 * spectrum.spacing_hz)
    if not usable.any():
        raise AudioError(
            f"lines {spectrum.spacing_hz:.4g} Hz apart are too coarse for third-octave bands", hint="use a longer frame"
        )
    level = power_to_dbfs(band_powers(spectrum, low, high), floor_db)
    return BandLevels(nominal_centres()[usable], centre[usable], low[usable], high[usable], level[usable])


def _nominal(band: int) -> float:
    decade, step = divmod(band, 10)
    value = 1000 * _NOMINAL[step] * 10.0**decade
    return round(value, 6)
