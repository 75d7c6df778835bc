"""Sound at the load: level, loudness, and how closely it follows the code.

Stage: output stage, measuring. In: what the load hears (volts at 48 kHz) and the code it was made from. Out: V rms,
dBV, LKFS, decibels.

Conventions
  LKFS     ITU-R BS.1770 (see `psgmodel.output_stage.measures.loudness`); 0 dBFS is the full-scale sine of 1 kHz at the
           load of this stage, so that stages of other levels can be compared as they will sound once turned up alike
  follows  power that follows the code in a linear way over power that does not (noise, distortion, folded parts), 20 Hz
           to 20 kHz, by the coherence between the load and what a perfect modulator would give it: J. S. Bendat,
           A. G. Piersol, Random Data (textbook, from memory). Windows of 4096 samples, Hann, half overlapping
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.renderer import StepsRenderer
from psgmodel.output_stage.measures import Levels, levels, loudness_lkfs, volt_to_dbv
from psgmodel.output_stage.networks import state_space
from psgmodel.output_stage.stage.analog import Response, response_of, slowest_time
from psgmodel.output_stage.stage.converter import filter_delay
from psgmodel.output_stage.stage.heard import RATE
from psgmodel.output_stage.stage.records import Converter, Stage
from psgmodel.output_stage.stage.spectral import transfer_of
from psgmodel.steps import Steps

FloatArray = NDArray[np.float64]

_WINDOW = 4096
_GATED_FROM = 19_200
_LONGEST_PAD_S = 20


@dataclass(frozen=True, slots=True)
class HeardSound:
    """What a load heard, in figures.

    Attributes
    ----------
    seconds : float, s
    levels : Levels
        Volt; the mean stands in `Levels.dc`.
    loudness : float, LKFS
        Gated where the sound is 400 ms or longer.
    follows_db : float or None, dB
        None where the sound is too short for it, or silent.
    """

    seconds: float
    levels: Levels
    loudness: float
    follows_db: float | None

    @property
    def dbv(self) -> float:
        """Level without DC, dBV."""
        return volt_to_dbv(self.levels.ac_rms)


class SoundFollower:
    """Renders the code itself, piece by piece, to hold against what the load heard."""

    def __init__(self, stage: Stage) -> None:
        self._renderer = StepsRenderer(stage.code.clock, RATE, full_scale=1.0)
        self._made: list[FloatArray] = []

    def push(self, code: Steps) -> None:
        """Take a further piece of code."""
        self._made.append(self._renderer.push(code))

    def finish(self) -> FloatArray:
        """Return the code as samples at 48 kHz, in codes."""
        self._made.append(self._renderer.finish())
        return np.concatenate(self._made)


def follow_code(stage: Stage, heard: FloatArray, code: FloatArray | None) -> HeardSound:
    """Return what a load heard, in figures.

    Parameters
    ----------
    stage : Stage
    heard : ndarray of float64, shape (n,), V
        At 48 kHz.
    code : ndarray of float64, shape (m,), codes, or None
        The same stretch of code at 48 kHz, by `SoundFollower`. None: not followed.

    Returns
    -------
    HeardSound

    Raises
    ------
    StageError
        There are no samples.
    """
    full_scale = full_scale_volts(stage, response_of(state_space(stage.network)))
    gated = heard.size >= _GATED_FROM
    loudness = loudness_lkfs((heard - heard.mean()) / full_scale, gated=gated)
    return HeardSound(
        heard.size / RATE, levels(heard), loudness, None if code is None else _follows(stage, heard, code)
    )


def full_scale_volts(stage: Stage, response: Response) -> float:
    """Return the peak of a full-scale sine of 1 kHz at the load, volt; a scaled input makes it smaller."""
    return stage.full_scale_peak * stage.input_scale * response.gain_1k


def _follows(stage: Stage, heard: FloatArray, code: FloatArray) -> float | None:
    from scipy.signal import coherence, welch

    lag = 0
    if isinstance(stage.output, Converter):
        lag = round(filter_delay(stage.output) / stage.output.oversampling * RATE / stage.output.rate)
    count = min(heard.size - lag, code.size)
    if count < 4 * _WINDOW:
        return None
    late, plain = heard[lag : lag + count], through_network(stage, code)[:count]
    hz, found = coherence(plain, late, RATE, nperseg=_WINDOW)
    _, power = welch(late, RATE, nperseg=_WINDOW)
    band = (hz >= 20) & (hz <= 20_000) & np.isfinite(found)
    good = float(np.dot(power[band], found[band]))
    rest = float(np.dot(power[band], 1 - found[band]))
    return 10 * math.log10(good / rest) if good > 0 and rest > 0 else None


def loudness_at_load(stage: Stage, code: Steps) -> float:
    """Return the loudness of a code at the load, LKFS, the modulator taken as perfect; ungated.

    Only the network shapes it: this compares channels, and a modulator treats them alike.

    Parameters
    ----------
    stage : Stage
    code : Steps
        On the code's clock.

    Returns
    -------
    float, LKFS
    """
    follower = SoundFollower(stage)
    follower.push(code)
    samples = follower.finish() / stage.code.middle
    heard = through_network(stage, samples) / response_of(state_space(stage.network)).gain_1k
    return loudness_lkfs(heard - heard.mean(), RATE, gated=False)


def through_network(stage: Stage, samples: FloatArray) -> FloatArray:
    """Return samples behind a stage's network, which starts settled at the first of them; its DC is left out."""
    space = state_space(stage.network)
    moved = samples - samples[0]
    pad = min(_LONGEST_PAD_S * RATE, RATE // 10 + round(12 * slowest_time(space) * RATE))
    spectrum = np.fft.rfft(np.pad(moved, (0, pad)))
    gain = transfer_of(space, space.output())(np.fft.rfftfreq(samples.size + pad, 1 / RATE))
    return np.asarray(np.fft.irfft(spectrum * gain, samples.size + pad)[: samples.size], dtype=np.float64)
