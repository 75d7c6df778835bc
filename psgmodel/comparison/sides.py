"""Both sides as audio: rendered alike, and laid on each other where gain or delay are not known.

Stage: compare. In: a signal of the model and one of the dump (levels, codes, a pin) or a recording. Out: an
`AudioPair` of float64 samples, 1.0 at the level that a full-scale output has.

- Levels and codes have a known gain; both sides are rendered with the same full scale.
- A pin or a recording has not: its gain is fitted by least squares, its mean is taken out.
- A delay is estimated by cross-correlation, in the range that the options allow, and taken out where the peak is
  clear (a normalised correlation of at least `CLEAR`). Of peaks as high as the highest, the nearest to no delay counts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.files import read_audio
from psgmodel.audio.render import render_steps
from psgmodel.audio.traces import full_scale_level
from psgmodel.chip.records import Chip
from psgmodel.comparison.exact import aligned
from psgmodel.comparison.options import SpectralOptions
from psgmodel.dump.observe import Kind, Observed
from psgmodel.dump.signal_map import RecordingEntry
from psgmodel.errors import CompareError, Place
from psgmodel.steps import Steps

Samples = NDArray[np.float64]

CLEAR = 0.7
"""Normalised correlation from which on a delay is believed."""

SILENCE = 10 ** (-90 / 20)
"""Rms about the mean below which a side is silent: 90 dB below full scale."""

_SAME_PEAK = 0.995


@dataclass(frozen=True, slots=True, eq=False)
class AudioPair:
    """Two sides, sample by sample.

    Attributes
    ----------
    name : str
        Channel or output.
    model, dump : ndarray of float64, shape (n,), 1.0 at full scale
    rate : int, hertz
    origin : int, clock cycles
        Cycle of the model `skipped` samples before sample 0.
    delay_seconds : float, seconds
        Taken out of the dump's side; positive where it was late. Beyond the latency in cycles.
    gain_db : float or None, dB
        Gain of the dump's side that was taken out; None where it was known.
    inverted : bool
        The dump's side was upside down.
    same : bool
        Both sides are the same signal to the cycle.
    skipped : int
        Samples of the model that the delay left without a partner at the start.
    """

    name: str
    model: Samples
    dump: Samples
    rate: int
    origin: int
    delay_seconds: float = 0.0
    gain_db: float | None = None
    inverted: bool = False
    same: bool = False
    skipped: int = 0

    def seconds_of(self, sample: float, clock_hz: Fraction) -> float:
        """Return the time of a sample in the model, from cycle 0."""
        return float(self.origin / clock_hz) + (self.skipped + sample) / self.rate

    def silent_sides(self) -> tuple[bool, bool]:
        """Return whether the model's side and the dump's side are silent."""
        return _rms(self.model) < SILENCE, _rms(self.dump) < SILENCE


def level_pair(chip: Chip, model: Steps, observed: Observed, latency: int, options: SpectralOptions) -> AudioPair:
    """Render a channel or an output; unknown levels sound as the last known one."""
    ours, theirs = aligned(model, observed, latency)
    scale = full_scale_level(chip, observed.name)
    rendered = render_steps(ours, chip.clock_hz, options.rate, full_scale=scale)
    if ours == theirs:
        return AudioPair(observed.name, rendered, rendered, options.rate, ours.start, same=True)
    first = int(np.argmin(theirs.unknown_mask()))
    other = render_steps(
        theirs, chip.clock_hz, options.rate, full_scale=scale, start_level=int(theirs.level[first]), unknown="last"
    )
    pair = AudioPair(observed.name, rendered, other, options.rate, ours.start)
    return _moved(pair, options) if observed.kind is Kind.OUTPUT else pair


def pin_pair(chip: Chip, model: Steps, observed: Observed, latency: int, options: SpectralOptions) -> AudioPair:
    """Render an output and a one-bit pin."""
    ours, theirs = aligned(model, observed, latency)
    scale = full_scale_level(chip, observed.name)
    rendered = render_steps(ours, chip.clock_hz, options.rate, full_scale=scale)
    pin = render_steps(theirs, chip.clock_hz, options.rate, full_scale=1.0, unknown="last")
    return _moved(AudioPair(observed.name, rendered, pin, options.rate, ours.start), options, fit_gain=True)


def recording_pair(chip: Chip, name: str, model: Steps, entry: RecordingEntry, options: SpectralOptions) -> AudioPair:
    """Read a recording and render the model at its rate.

    Raises
    ------
    AudioError
        The file cannot be read.
    CompareError
        It has no such channel.
    """
    audio = read_audio(entry.file)
    if entry.channel > audio.samples.shape[1]:
        raise CompareError(
            f"has {audio.samples.shape[1]} channels; channel {entry.channel} was asked for", place=Place(entry.file)
        )
    scale = full_scale_level(chip, name)
    if entry.sampling == "points":
        rendered = _points(model, chip, audio.rate, scale)
    else:
        rendered = render_steps(model, chip.clock_hz, audio.rate, full_scale=scale)
    count = min(rendered.size, audio.samples.shape[0])
    theirs = np.ascontiguousarray(audio.samples[:, entry.channel - 1])
    return _moved(AudioPair(name, rendered[:count], theirs[:count], audio.rate, model.start), options, fit_gain=True)


def _points(model: Steps, chip: Chip, rate: int, scale: float) -> Samples:
    """Return the code that stands at the time of each sample."""
    clock = chip.clock_hz / rate
    count = -(-(model.end - model.start) * clock.denominator // clock.numerator)
    cycle = np.arange(count, dtype=np.int64) * clock.numerator // clock.denominator
    return model.at(model.start + cycle[cycle < model.end - model.start]) / scale


def _moved(pair: AudioPair, options: SpectralOptions, *, fit_gain: bool = False) -> AudioPair:
    """Return the pair with delay and perhaps gain taken out of the dump's side."""
    model, dump = pair.model, pair.dump
    if fit_gain:
        model, dump = model - model.mean(), dump - dump.mean()
        pair = replace(pair, model=model, dump=dump)
    if model.size < 16 or True in pair.silent_sides():
        return pair
    whole = _whole_delay(model, dump, int(options.delay_reach_seconds * pair.rate), fit_gain)
    if whole is None:
        return pair
    model = model[max(0, -whole) : model.size - max(0, whole)]
    dump = dump[max(0, whole) : dump.size - max(0, -whole)]
    part, gain = _part_and_gain(model - model.mean(), dump - dump.mean())
    delay = (whole + part) / pair.rate
    pair = replace(pair, model=model, dump=dump, delay_seconds=delay, skipped=max(0, -whole))
    if not fit_gain or gain == 0:
        return pair
    return replace(pair, dump=dump / gain, gain_db=float(20 * np.log10(abs(gain))), inverted=gain < 0)


def _whole_delay(model: Samples, dump: Samples, reach: int, either_sign: bool) -> int | None:
    """Return how many samples `dump` is late, or None where that is not clear."""
    from scipy.fft import irfft, next_fast_len, rfft

    reach = min(reach, model.size // 2)
    size = next_fast_len(model.size + reach + 1, real=True)
    model, dump = model - model.mean(), dump - dump.mean()
    correlation = irfft(np.conj(rfft(model, size)) * rfft(dump, size), size)
    lags = np.arange(-reach, reach + 1)
    value = correlation[lags] / (np.linalg.norm(model) * np.linalg.norm(dump))
    height = np.abs(value) if either_sign else value
    if float(height.max()) < CLEAR:
        return None
    peaks = np.append(True, height[1:] >= height[:-1]) & np.append(height[:-1] >= height[1:], True)
    usable = lags[peaks & (height >= _SAME_PEAK * height.max())]
    return int(usable[np.argmin(np.abs(usable))])


def _part_and_gain(model: Samples, dump: Samples) -> tuple[float, float]:
    """Return the rest of the delay in samples (from the slope of the phase), and the gain with it taken out."""
    from scipy.fft import next_fast_len, rfft

    size = next_fast_len(2 * model.size, real=True)
    one, other = rfft(model, size), rfft(dump, size)
    cross = np.conj(one) * other
    sign = 1.0 if float(np.sum(cross.real)) >= 0 else -1.0
    turn = 2 * np.pi * np.arange(one.size) / size
    phase = np.angle(sign * cross)
    weight = np.where(np.abs(phase) < np.pi / 2, np.abs(cross), 0.0) * turn
    slope = float(np.sum(weight * turn))
    part = float(np.clip(-np.sum(weight * phase) / slope, -1, 1)) if slope > 0 else 0.0
    gain = float(np.sum((cross * np.exp(1j * turn * part)).real) / np.sum(np.abs(one) ** 2))
    return part, gain


def _rms(samples: Samples) -> float:
    return float(np.std(samples)) if samples.size else 0.0
