"""Frequency of a segment: from samples, or exactly from the repetition of level changes.

Stage: audio. In: samples of one channel with the sample rate in hertz, or `Steps`. Out: the fundamental in hertz with
a measure of how periodic the segment is, or the period as an exact number of clock cycles.

From samples: the period is found as the first high peak of the normalised square difference function (P. McLeod,
G. Wyvill, "A smarter way to find pitch", ICMC 2005), on autocorrelation values four to the sample. It is then refined
at the strongest of the first ten harmonics: a parabola through the logarithm of the three highest lines of a
Blackman-Harris spectrum (J. O. Smith, *Spectral Audio Signal Processing*, 2011), padded to four times its length.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.spectra import window_values
from psgmodel.errors import AudioError
from psgmodel.steps import Steps

Samples = NDArray[np.float64]
FloatArray = NDArray[np.float64]

_FINER = 4
_PEAK_SHARE = 0.93
_HARMONICS = 10
_PERIODS_FOR_LINES = 10
_LEAST_POWER = 1e-24


class Pitch(NamedTuple):
    """The fundamental of a segment.

    Attributes
    ----------
    hertz : float
    clarity : float
        1 for an exactly periodic segment, near 0 for noise.
    """

    hertz: float
    clarity: float


def estimate_pitch(
    samples: Samples, rate: int, *, low_hz: float = 25.0, high_hz: float = 12_000.0, least_clarity: float = 0.7
) -> Pitch | None:
    """Return the fundamental of a segment, or None where it has none.

    Within 1 cent for a steady tone of ten periods or more; within 10 cents from three periods.

    Parameters
    ----------
    samples : ndarray of float64, shape (n,)
    rate : int, hertz
    low_hz, high_hz : float, hertz
        Where to look. Periods longer than half the segment are not found.
    least_clarity : float
        Segments less periodic than this have no pitch.

    Raises
    ------
    AudioError
        More than one channel, or a range that holds no frequency.
    """
    if samples.ndim != 1:
        raise AudioError(f"a pitch is of one channel, not of samples of shape {samples.shape}")
    if not 0 < low_hz < high_hz:
        raise AudioError(f"no frequency lies between {low_hz} Hz and {high_hz} Hz")
    if samples.shape[0] < 8:
        return None
    x = samples - samples.mean()
    if float(np.mean(x**2)) < _LEAST_POWER:
        return None
    coarse = _first_period(x, rate / high_hz, min(rate / low_hz, x.size / 2))
    if coarse is None or coarse.clarity < least_clarity:
        return None
    period = coarse.hertz  # in samples so far
    hertz = rate / period
    if x.size / period >= _PERIODS_FOR_LINES:
        hertz = _refined(x, rate, hertz)
    return Pitch(hertz, coarse.clarity)


def repetition_cycles(steps: Steps) -> int | None:
    """Return the shortest exact period of a signal in clock cycles, or None where it does not repeat.

    The first and the last entry may be cut and are left out; the rest must hold two whole periods.

    Parameters
    ----------
    steps : Steps
        A segment with known levels.

    Raises
    ------
    AudioError
        Levels that are not known.
    """
    if steps.unknown is not None and steps.unknown.any():
        raise AudioError("a signal with unknown levels has no exact period")
    inner = slice(1, -1)
    entries = list(zip(steps.level[inner].tolist(), steps.durations()[inner].tolist(), strict=True))
    # border[i]: length of the longest proper prefix of entries[: i + 1] that also ends it (Knuth, Morris, Pratt 1977).
    border = [0] * len(entries)
    length = 0
    for i in range(1, len(entries)):
        while length and entries[i] != entries[length]:
            length = border[length - 1]
        length += entries[i] == entries[length]
        border[i] = length
    shift = len(entries) - length
    if length == 0 or 2 * shift > len(entries):
        return None
    return int(sum(duration for _, duration in entries[:shift]))


def _first_period(x: Samples, least: float, most: float) -> Pitch | None:
    """Return period (in samples, in the place of hertz) and height of the first high peak."""
    from scipy.fft import irfft, next_fast_len, rfft

    n = x.size
    size = next_fast_len(2 * n, real=True)
    lags = int(most * _FINER) + 2
    power = np.abs(rfft(x, size)) ** 2
    correlation = irfft(power, size * _FINER)[:lags] * _FINER
    squares = np.concatenate([[0.0], np.cumsum(x**2)])
    at = np.arange(lags) / _FINER
    kept = np.interp(n - at, np.arange(n + 1), squares)
    dropped = np.interp(at, np.arange(n + 1), squares)
    square_sum = kept + squares[-1] - dropped
    likeness = 2 * correlation / np.maximum(square_sum, _LEAST_POWER)
    below = np.flatnonzero(likeness < 0)
    begin = max(int(least * _FINER), int(below[0]) if below.size else lags)
    inner = likeness[1:-1]
    peaks = np.flatnonzero((inner >= likeness[:-2]) & (inner > likeness[2:])) + 1
    peaks = peaks[peaks >= begin]
    if peaks.size == 0 or likeness[peaks].max() <= 0:
        return None
    high = peaks[likeness[peaks] >= _PEAK_SHARE * likeness[peaks].max()]
    offset, height = _parabola(likeness[high[0] - 1 : high[0] + 2])
    return Pitch((high[0] + offset) / _FINER, min(1.0, height))


def _refined(x: Samples, rate: int, hertz: float) -> float:
    """Return the fundamental from the strongest line near one of its first harmonics."""
    from scipy.fft import next_fast_len, rfft

    size = next_fast_len(x.size * _FINER, real=True)
    power = np.abs(rfft(x * window_values("blackman-harris", x.size), size)) ** 2
    best = (0.0, hertz)
    for harmonic in range(1, _HARMONICS + 1):
        middle = harmonic * hertz * size / rate
        reach = 0.4 * hertz * size / rate
        low, high = max(1, int(middle - reach)), min(power.size - 1, int(middle + reach) + 2)
        if high - low < 3:
            break
        top = low + int(np.argmax(power[low:high]))
        if power[top] > best[0] and 0 < top < power.size - 1:
            offset, _ = _parabola(np.log(np.maximum(power[top - 1 : top + 2], _LEAST_POWER)))
            best = (float(power[top]), (top + offset) * rate / size / harmonic)
    return best[1]


def _parabola(three: FloatArray) -> tuple[float, float]:
    """Return where the top of the parabola through three values lies, from the middle one, and its height."""
    left, middle, right = (float(v) for v in three)
    bend = left - 2 * middle + right
    offset = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return offset, middle - 0.25 * (left - right) * offset
