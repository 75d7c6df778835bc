"""Short-time spectra: how far apart both sides are at each moment, and when most.

Stage: compare. In: an `AudioPair`. Out: a `MomentResult`. Frames of `LENGTH` samples, one every `HOP`, Hann window,
levels in dB relative to a full-scale sine. The lines of a frame are gathered into bands: all below 282 Hz in one (but
for the two lowest lines, which hold the mean), then third octaves. The distance of a frame is the root mean square,
over the bands in which either side is above the floor, of the difference in dB (A. H. Gray, J. D. Markel, "Distance
measures for speech processing", IEEE Trans. ASSP 24, 1976, with bands in the place of lines). A side below the floor
is taken to be at it.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.bands import band_centres, band_edges
from psgmodel.audio.spectra import Window, spectrogram, window_figures
from psgmodel.comparison.bands import faded, pass_band_hz
from psgmodel.comparison.options import SpectralOptions
from psgmodel.comparison.sides import AudioPair

FloatArray = NDArray[np.float64]

LENGTH, HOP = 2048, 512
WINDOW: Window = "hann"
_FRAMES_AT_ONCE = 1024
_LOWEST_THIRD = -5  # 315 Hz: the lowest band of three lines at 48 kHz
_LOWEST_LINE = 2
_LEAST = 1e-20


class Moment(NamedTuple):
    """One frame.

    Attributes
    ----------
    seconds : float, seconds
        Middle of the frame, in the model's time.
    distance_db : float, dB
    """

    seconds: float
    distance_db: float


@dataclass(frozen=True, slots=True, eq=False)
class MomentResult:
    """Distances of all frames.

    Attributes
    ----------
    seconds, distance_db : ndarray of float64, shape (frames,)
    floor_db : float, dBFS
        Level below which a band of a frame counts as silent.
    worst : Moment or None
        None where no frame is above the floor.
    counted : int
        Frames with a band above the floor.
    window : str
    length, hop : int, samples
    """

    seconds: FloatArray
    distance_db: FloatArray
    floor_db: float
    worst: Moment | None
    counted: int
    window: str = WINDOW
    length: int = LENGTH
    hop: int = HOP


def compare_moments(pair: AudioPair, clock_hz: Fraction, options: SpectralOptions) -> MomentResult:
    """Compare short-time spectra."""
    ours = frame_levels(pair.model, pair.rate, options)
    theirs = ours if pair.same else frame_levels(pair.dump, pair.rate, options)
    floor = float(ours.max(initial=-200.0)) + options.floor_db
    model, dump = np.maximum(ours, floor), np.maximum(theirs, floor)
    counted = np.maximum(model, dump) > floor
    squares = np.where(counted, (dump - model) ** 2, 0.0).sum(axis=1)
    bands = np.count_nonzero(counted, axis=1)
    distance = np.sqrt(squares / np.maximum(bands, 1))
    middle = np.arange(distance.size) * HOP + LENGTH / 2
    seconds = np.array([pair.seconds_of(float(m), clock_hz) for m in middle])
    worst = None
    if bands.any():
        index = int(np.argmax(distance))
        worst = Moment(float(seconds[index]), float(distance[index]))
    return MomentResult(seconds, distance, floor, worst, int(np.count_nonzero(bands)))


def frame_levels(samples: FloatArray, rate: int, options: SpectralOptions) -> FloatArray:
    """Return the band levels of each frame. Shape (frames, bands), dBFS.

    A signal shorter than a frame is faded at its ends and filled up with its mean.
    """
    if samples.size < LENGTH:
        samples = np.pad(faded(samples, rate), (0, LENGTH - samples.size))
    gather = _gather(rate, options)
    frames = 1 + (samples.size - LENGTH) // HOP
    parts = []
    for first in range(0, frames, _FRAMES_AT_ONCE):
        last = min(first + _FRAMES_AT_ONCE, frames)
        part = samples[first * HOP : (last - 1) * HOP + LENGTH]
        lines = spectrogram(part, rate, length=LENGTH, hop=HOP, window=WINDOW, floor_db=-200.0)
        power = 10 ** (lines.dbfs / 10) @ gather
        parts.append(10 * np.log10(np.maximum(power, _LEAST)))
    return np.concatenate(parts)


def _gather(rate: int, options: SpectralOptions) -> FloatArray:
    """Return which lines make up which band, as a matrix. Shape (lines, bands)."""
    hertz = np.arange(LENGTH // 2 + 1) * (rate / LENGTH)
    low, high = band_edges(band_centres(_LOWEST_THIRD, 13))
    edges = np.append(low, high[-1])
    top = min(options.high_hz * 10**0.05, pass_band_hz(rate))
    columns = [(hertz >= max(options.low_hz / 10**0.05, _LOWEST_LINE * rate / LENGTH)) & (hertz < edges[0])]
    columns += [(hertz >= a) & (hertz < b) for a, b in pairwise(edges) if b <= top * 1.001]
    used = [c for c in columns if c.any() and hertz[c].max() >= options.low_hz]
    share = 1 / window_figures(WINDOW, LENGTH).enbw_bins
    return np.stack(used, axis=1).astype(np.float64) * share
