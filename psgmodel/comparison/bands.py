"""Third-octave bands: the level of each band over the whole comparison, and where it differs most.

Stage: compare. In: an `AudioPair`. Out: a `BandResult`. Levels are in dB relative to a full-scale sine (0 dBFS), as
`psgmodel.audio.bands` measures them: base-10 bands of IEC 61260-1, Hann window, frames of `LENGTH` samples every
quarter of that, powers averaged so that every sample counts alike. Both ends are faded over 10 ms to the mean, so that
the phase in which a tone is cut makes no difference.

A band counts where two periods of its centre fit and either side is above the floor; a side below it is taken to be
at it.

Two runs of the same noise have levels that differ by chance: by ``4.34 dB * sqrt(2 (1 - c) / (B T))`` (one standard
deviation), with bandwidth B, duration T and coherence c of the two sides (J. S. Bendat, A. G. Piersol, *Random Data*,
2010; from memory). Three times that is allowed for, over the limit. The same waveform on both sides has coherence 1
and is allowed nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.bands import BandLevels, spectrum_bands
from psgmodel.audio.spectra import power_spectrum, window_values
from psgmodel.comparison.options import SpectralOptions
from psgmodel.comparison.sides import AudioPair

FloatArray = NDArray[np.float64]

LENGTH = 32_768
"""Samples of a frame; its lines are 1.5 Hz apart at 48 kHz, three to the narrowest band."""

COHERENCE_LENGTH = 4096
"""Samples of a frame for the coherence, which needs many frames."""

_DEVIATIONS = 3
_DB_PER_NEPER_POWER = float(10 / np.log(10))
_LEAST_FRAMES = 4
_LEAST_PERIODS = 2
_FADE_SECONDS = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class BandResult:
    """Levels of both sides.

    Attributes
    ----------
    nominal_hz : ndarray of float64, shape (bands,)
        Names of the bands.
    model_db, dump_db : ndarray of float64, shape (bands,), dBFS
        Never below `floor_db`.
    allowance_db : ndarray of float64, shape (bands,), dB
        What two runs of the same noise may differ by.
    floor_db : float, dBFS
    worst_hz : float or None
        Band of the largest difference beyond its allowance; None where no band is above the floor.
    worst_db : float, dB
        Dump minus model in that band.
    worst_allowance_db : float, dB
    counted : int
        Bands above the floor.
    """

    nominal_hz: FloatArray
    model_db: FloatArray
    dump_db: FloatArray
    allowance_db: FloatArray
    floor_db: float
    worst_hz: float | None
    worst_db: float
    worst_allowance_db: float
    counted: int


def compare_bands(pair: AudioPair, options: SpectralOptions) -> BandResult:
    """Compare the levels of third-octave bands."""
    one = _levels(pair.model, pair.rate)
    usable = (one.nominal_hz >= options.low_hz) & (one.nominal_hz <= options.high_hz)
    usable &= one.high_hz <= pass_band_hz(pair.rate)
    usable &= one.centre_hz * pair.model.size >= _LEAST_PERIODS * pair.rate
    nominal, ours = one.nominal_hz[usable], one.dbfs[usable]
    theirs, allowance = ours, np.zeros(ours.size)
    if not pair.same:
        theirs = _levels(pair.dump, pair.rate).dbfs[usable]
        allowance = _allowance(pair, one)[usable]
    floor = float(ours.max(initial=-200.0)) + options.floor_db
    model, dump = np.maximum(ours, floor), np.maximum(theirs, floor)
    counted = np.maximum(model, dump) > floor
    if not counted.any():
        return BandResult(nominal, model, dump, allowance, floor, None, 0.0, 0.0, 0)
    difference = np.where(counted, dump - model, 0.0)
    excess = np.where(counted, np.abs(difference) - allowance, -np.inf)
    worst = int(np.argmax(excess if difference.any() else model))
    numbers = float(nominal[worst]), float(difference[worst]), float(allowance[worst])
    return BandResult(nominal, model, dump, allowance, floor, *numbers, int(np.count_nonzero(counted)))


def _levels(samples: FloatArray, rate: int) -> BandLevels:
    """Return band levels of the whole: at a hop of a quarter frame the squared windows add up to a constant."""
    hop = LENGTH // 4
    before = LENGTH - hop
    frames = -(-(samples.size + before) // hop)
    after = (frames - 1) * hop + LENGTH - samples.size - before
    padded = np.pad(faded(samples, rate), (before, after))
    spectrum = power_spectrum(padded, rate, window="hann", length=LENGTH, hop=hop)
    return spectrum_bands(replace(spectrum, power=spectrum.power * (frames * hop / samples.size)))


def faded(samples: FloatArray, rate: int) -> FloatArray:
    """Return samples about their mean, with the first and the last 10 ms (an eighth at most) brought to 0."""
    length = min(int(_FADE_SECONDS * rate), samples.size // 8)
    ramp = np.sin(np.arange(length) * (np.pi / 2 / max(length, 1))) ** 2
    result: FloatArray = samples - samples.mean()
    result[:length] *= ramp
    result[result.size - length :] *= ramp[::-1]
    return result


def _allowance(pair: AudioPair, bands: BandLevels) -> FloatArray:
    """Return three standard deviations of the difference of two runs of the same noise, by band."""
    length, hop = COHERENCE_LENGTH, COHERENCE_LENGTH // 2
    count = 1 + (pair.model.size - length) // hop
    if count < _LEAST_FRAMES:
        return np.zeros(bands.nominal_hz.size)
    from scipy.fft import rfft

    window = window_values("hann", length)
    cross = np.zeros(length // 2 + 1, dtype=np.complex128)
    ours, theirs = np.zeros(length // 2 + 1), np.zeros(length // 2 + 1)
    for at in range(0, count * hop, hop):
        one, other = (rfft(side[at : at + length] * window) for side in (pair.model, pair.dump))
        cross += np.conj(one) * other
        ours += np.abs(one) ** 2
        theirs += np.abs(other) ** 2
    shared = np.abs(cross) ** 2 / np.maximum(theirs, 1e-30)
    hertz = np.arange(ours.size) * (pair.rate / length)
    low = np.minimum(
        np.searchsorted(hertz, bands.low_hz), np.rint(bands.centre_hz * length / pair.rate).astype(np.int64)
    )
    high = np.maximum(np.searchsorted(hertz, bands.high_hz), low + 1)
    sums_shared, sums_ours = (np.append(0.0, np.cumsum(v)) for v in (shared, ours))
    coherence = (sums_shared[high] - sums_shared[low]) / np.maximum(sums_ours[high] - sums_ours[low], 1e-30)
    chance = 1 / count
    coherence = np.clip((coherence - chance) / (1 - chance), 0, 1)
    seconds = pair.model.size / pair.rate
    width = bands.high_hz - bands.low_hz
    deviation: FloatArray = _DB_PER_NEPER_POWER * np.sqrt(2 * (1 - coherence) / (width * seconds))
    return _DEVIATIONS * deviation


def pass_band_hz(rate: int) -> float:
    """Return up to where the rendering is flat at a sample rate (`psgmodel.audio.render`)."""
    return rate * 5 / 12 if rate >= 48_000 else rate * 200 / 441
