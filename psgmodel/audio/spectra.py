"""Spectra: what a stretch of samples is made of.

Stage: audio. In: float64 samples of one channel, the sample rate in hertz. Out: power per frequency line, over the
whole stretch or over time.

Conventions, for every function here:

- A power is a mean square. A sine of peak 1.0 shows a line of power 0.5 at its frequency, whatever the window;
  0 dBFS is that power (AES17: full scale is the rms of a sine whose peak reaches digital full scale).
- Noise shows in a line as its power within the window's equivalent noise bandwidth `enbw_hz`; the power of a band is
  the sum of its lines times ``spacing_hz / enbw_hz``.
- Windows are periodic (F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier
  transform", Proc. IEEE 66, 1978).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.errors import AudioError

Samples = NDArray[np.float64]
FloatArray = NDArray[np.float64]

Window = Literal["rectangular", "hann", "hamming", "blackman", "blackman-harris", "flat-top"]
"""Names of the windows; 4-term Blackman-Harris, flat top as in ISO 18431-2."""

FULL_SCALE_POWER = 0.5
"""Power at 0 dBFS."""

_SCIPY_NAMES: dict[Window, str] = {
    "rectangular": "boxcar",
    "hann": "hann",
    "hamming": "hamming",
    "blackman": "blackman",
    "blackman-harris": "blackmanharris",
    "flat-top": "flattop",
}
_FRAMES_AT_ONCE = 256


class WindowFigures(NamedTuple):
    """Figures of merit of a window.

    Attributes
    ----------
    coherent_gain : float
        Mean of the window: what it does to the height of a line.
    enbw_bins : float
        Equivalent noise bandwidth, in line spacings.
    """

    coherent_gain: float
    enbw_bins: float


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """Power per line.

    Attributes
    ----------
    hertz : ndarray of float64, shape (lines,)
        From 0 to half the sample rate.
    power : ndarray of float64, shape (lines,), mean square
    window : str
    enbw_hz : float, hertz
        Equivalent noise bandwidth of a line.
    """

    hertz: FloatArray
    power: FloatArray
    window: Window
    enbw_hz: float

    @property
    def spacing_hz(self) -> float:
        """Return the distance between lines."""
        return float(self.hertz[1] - self.hertz[0])

    def dbfs(self, floor_db: float = -200.0) -> FloatArray:
        """Return the lines in dB relative to a full-scale sine, nothing below `floor_db`."""
        return power_to_dbfs(self.power, floor_db)

    def band_power(self, low_hz: float, high_hz: float) -> float:
        """Return the mean square in ``low_hz <= f < high_hz``; a line cut by an edge counts in proportion."""
        return float(band_powers(self, np.array([low_hz]), np.array([high_hz]))[0])


@dataclass(frozen=True, slots=True, eq=False)
class Spectrogram:
    """Short-time spectra.

    Attributes
    ----------
    seconds : ndarray of float64, shape (frames,)
        Middle of each frame, from sample 0.
    hertz : ndarray of float64, shape (lines,)
    dbfs : ndarray of float64, shape (frames, lines)
        Relative to a full-scale sine, never below `floor_db`.
    window : str
    floor_db : float, dB
    """

    seconds: FloatArray
    hertz: FloatArray
    dbfs: FloatArray
    window: Window
    floor_db: float


def window_values(window: Window, length: int) -> FloatArray:
    """Return a periodic window. Shape (length,).

    Raises
    ------
    AudioError
        The window is not known, or shorter than 2 samples.
    """
    from scipy.signal import get_window

    if window not in _SCIPY_NAMES:
        raise AudioError(f'window "{window}" is not known', hint=", ".join(_SCIPY_NAMES))
    if length < 2:
        raise AudioError(f"a window of {length} samples is too short for a spectrum")
    return np.asarray(get_window(_SCIPY_NAMES[window], length, fftbins=True), dtype=np.float64)


def window_figures(window: Window, length: int) -> WindowFigures:
    """Return coherent gain and noise bandwidth of a window; see `window_values`."""
    values = window_values(window, length)
    gain = float(values.mean())
    return WindowFigures(gain, float(np.mean(values**2)) / gain**2)


def power_spectrum(
    samples: Samples,
    rate: int,
    *,
    window: Window = "hann",
    length: int | None = None,
    hop: int | None = None,
) -> Spectrum:
    """Return the power spectrum of one channel.

    Parameters
    ----------
    samples : ndarray of float64, shape (n,)
    rate : int, hertz
    window : str
    length : int, optional
        Samples per frame; the powers of the frames are averaged (P. D. Welch, "The use of fast Fourier transform for
        the estimation of power spectra", 1967). None: one frame of all samples. What follows the last whole frame is
        left out.
    hop : int, optional
        Samples from frame to frame. None: half of `length`.

    Raises
    ------
    AudioError
        Fewer samples than one frame.
    """
    length = samples.shape[0] if length is None else length
    hop = max(1, length // 2) if hop is None else hop
    frames = _frames(samples, length, hop)
    values = window_values(window, length)
    total = np.zeros(length // 2 + 1)
    for at in range(0, frames.shape[0], _FRAMES_AT_ONCE):
        total += _line_powers(frames[at : at + _FRAMES_AT_ONCE], values).sum(axis=0)
    enbw = window_figures(window, length).enbw_bins * rate / length
    return Spectrum(_line_hertz(length, rate), total / frames.shape[0], window, enbw)


def spectrogram(
    samples: Samples,
    rate: int,
    *,
    length: int = 2048,
    hop: int = 512,
    window: Window = "hann",
    floor_db: float = -120.0,
) -> Spectrogram:
    """Return short-time spectra of one channel.

    Parameters
    ----------
    samples : ndarray of float64, shape (n,)
        The first frame begins at sample 0; what follows the last whole frame is left out.
    rate : int, hertz
    length, hop : int, samples
    window : str
    floor_db : float, dB
        Lines below this are shown as this.

    Raises
    ------
    AudioError
        Fewer samples than one frame.
    """
    frames = _frames(samples, length, hop)
    values = window_values(window, length)
    levels = np.empty((frames.shape[0], length // 2 + 1))
    for at in range(0, frames.shape[0], _FRAMES_AT_ONCE):
        part = slice(at, at + _FRAMES_AT_ONCE)
        levels[part] = power_to_dbfs(_line_powers(frames[part], values), floor_db)
    seconds = (np.arange(frames.shape[0]) * hop + length / 2) / rate
    return Spectrogram(seconds, _line_hertz(length, rate), levels, window, floor_db)


def power_to_dbfs(power: FloatArray, floor_db: float) -> FloatArray:
    """Return mean squares in dB relative to a full-scale sine, nothing below `floor_db`."""
    least = FULL_SCALE_POWER * 10 ** (floor_db / 10)
    level = 10 * np.log10(np.maximum(power, least) / FULL_SCALE_POWER)
    return np.asarray(np.maximum(floor_db, level), dtype=np.float64)


def band_powers(spectrum: Spectrum, low_hz: FloatArray, high_hz: FloatArray) -> FloatArray:
    """Return the mean square in each band ``low_hz <= f < high_hz``.

    Every line stands for the frequencies half a spacing either side of it; a line cut by an edge counts in proportion.
    """
    spacing = spectrum.spacing_hz
    edges = np.append(spectrum.hertz - spacing / 2, spectrum.hertz[-1] + spacing / 2)
    sums = np.concatenate([[0.0], np.cumsum(spectrum.power)]) * (spacing / spectrum.enbw_hz)
    return np.asarray(np.interp(high_hz, edges, sums) - np.interp(low_hz, edges, sums), dtype=np.float64)


def _frames(samples: Samples, length: int, hop: int) -> Samples:
    if samples.ndim != 1:
        raise AudioError(f"a spectrum is of one channel, not of samples of shape {samples.shape}")
    if hop < 1 or length < 2:
        raise AudioError(f"frames of {length} samples every {hop} make no spectrum", hint="length from 2, hop from 1")
    if samples.shape[0] < length:
        raise AudioError(f"{samples.shape[0]} samples are fewer than one frame of {length}")
    return np.lib.stride_tricks.sliding_window_view(samples, length)[::hop]


def _line_powers(frames: Samples, window: FloatArray) -> FloatArray:
    """Return the mean square of each line. Shape (frames, lines)."""
    from scipy.fft import rfft

    length = window.size
    lines = np.abs(rfft(frames * window, axis=1)) / window.sum()
    power = np.asarray(lines**2, dtype=np.float64)
    power[:, 1 : (length + 1) // 2] *= 2  # every line but 0 Hz and half the rate stands for two
    return power


def _line_hertz(length: int, rate: int) -> FloatArray:
    return np.arange(length // 2 + 1, dtype=np.float64) * (rate / length)
