"""Third-octave bands: the level of each band over the whole comparison, and where it differs most.

Stage: compare. In: an `AudioPair`. Out: a `BandResult`. Levels are in dB relative to a full-scale sine (0 dBFS), as
`psgmodel.audio.bands` measures them: base-10 bands of IEC 61260-1, Hann window, frames of `LENGTH` samples with half
overlap, powers averaged over the frames. Before its start and past its end a side is taken to stand at its first
and last sample, so that every sample counts alike.

A band counts where either side is above the floor; a side below it is taken to be at it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.bands import spectrum_bands
from psgmodel.audio.spectra import power_spectrum
from psgmodel.compare.options import SpectralOptions
from psgmodel.compare.sides import AudioPair

FloatArray = NDArray[np.float64]

LENGTH = 32_768
"""Samples of a frame; its lines are 1.5 Hz apart at 48 kHz, three to the narrowest band."""


@dataclass(frozen=True, slots=True, eq=False)
class BandResult:
    """Levels of both sides.

    Attributes
    ----------
    nominal_hz : ndarray of float64, shape (bands,)
        Names of the bands.
    model_db, dump_db : ndarray of float64, shape (bands,), dBFS
        Never below `floor_db`.
    floor_db : float, dBFS
    worst_hz : float or None
        Band of the largest difference; None where no band is above the floor.
    worst_db : float, dB
        Dump minus model in that band.
    counted : int
        Bands above the floor.
    """

    nominal_hz: FloatArray
    model_db: FloatArray
    dump_db: FloatArray
    floor_db: float
    worst_hz: float | None
    worst_db: float
    counted: int


def compare_bands(pair: AudioPair, options: SpectralOptions) -> BandResult:
    """Compare the levels of third-octave bands."""
    nominal, ours = _levels(pair.model, pair.rate, options)
    theirs = ours if pair.same else _levels(pair.dump, pair.rate, options)[1]
    floor = float(ours.max(initial=-200.0)) + options.floor_db
    model, dump = np.maximum(ours, floor), np.maximum(theirs, floor)
    counted = np.maximum(model, dump) > floor
    difference = np.where(counted, dump - model, 0.0)
    if not counted.any():
        return BandResult(nominal, model, dump, floor, None, 0.0, 0)
    worst = int(np.argmax(np.abs(difference)))
    if not difference[worst]:
        worst = int(np.argmax(model))
    return BandResult(
        nominal, model, dump, floor, float(nominal[worst]), float(difference[worst]), int(np.count_nonzero(counted))
    )


def _levels(samples: FloatArray, rate: int, options: SpectralOptions) -> tuple[FloatArray, FloatArray]:
    half = LENGTH // 2
    last = -(-(samples.size + half) // half) * half + half
    padded = np.pad(samples, (half, last - samples.size - half + half), mode="edge")
    bands = spectrum_bands(power_spectrum(padded, rate, window="hann", length=LENGTH))
    usable = (bands.nominal_hz >= options.low_hz) & (bands.nominal_hz <= options.high_hz)
    usable &= bands.high_hz <= pass_band_hz(rate)
    return bands.nominal_hz[usable], bands.dbfs[usable]


def pass_band_hz(rate: int) -> float:
    """Return up to where the rendering is flat at a sample rate (`psgmodel.audio.render`)."""
    return rate * 5 / 12 if rate >= 48_000 else rate * 200 / 441
