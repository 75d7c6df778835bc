"""Quantising: float samples to the integers that a file holds, and the watch over full scale.

Stage: audio. In: float64 samples, 1.0 at full scale. Out: integer codes of 16 or 24 bits, or a statement of what
lies above full scale.

A code is ``sample × 2**(bits - 1)``, rounded to the nearest integer, halves to the even one; a reader that divides
by ``2**(bits - 1)`` gets the sample back to within half a code. The codes reach from -1.0 to one code below +1.0, so a
sample of exactly +1.0 (or within half a code of it) is stored as the largest code and counted as `at_top`; it is no
overload. What lies beyond ±1.0 is.
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.errors import AudioError

Samples = NDArray[np.float64]


class Peak(NamedTuple):
    """The largest magnitude of a signal and where it first stood.

    Attributes
    ----------
    value : float, 1.0 at full scale
        Never negative.
    sample : int
        Sample number.
    channel : int
        Counted from 0.
    """

    value: float
    sample: int
    channel: int

    @property
    def dbfs(self) -> float:
        """Return the peak in dB; 0 dB is a peak of 1.0. Minus infinity for silence."""
        return 20 * math.log10(self.value) if self.value > 0 else -math.inf


NO_PEAK = Peak(0.0, 0, 0)


def peak_of(samples: Samples, before: Peak = NO_PEAK, first_sample: int = 0) -> Peak:
    """Return the peak of a block, or `before` where that is as large.

    Parameters
    ----------
    samples : ndarray of float64, shape (n, channels)
    before : Peak
        Peak of the blocks before this one.
    first_sample : int
        Number of the block's first sample.

    Raises
    ------
    AudioError
        A sample is infinite or not a number.
    """
    if samples.size == 0:
        return before
    magnitude = np.abs(samples)
    at = int(np.argmax(magnitude))  # argmax stops at a NaN
    sample, channel = divmod(at, samples.shape[1])
    value = float(magnitude[sample, channel])
    if not math.isfinite(value):
        raise AudioError(f"sample {first_sample + sample} of channel {channel + 1} is {samples[sample, channel]}")
    return Peak(value, first_sample + sample, channel) if value > before.value else before


def overload_error(peak: Peak, rate: int, clock_hz: int | Fraction | None, origin: int) -> AudioError:
    """Return the error that says how far and where a signal passes full scale."""
    where = f"{peak.sample / rate:.6f} s (sample {peak.sample}"
    if clock_hz is not None:
        where += f", cycle {origin + math.floor(Fraction(peak.sample) * clock_hz / rate)}"
    return AudioError(
        f"peak of +{peak.dbfs:.2f} dBFS at {where}, channel {peak.channel + 1}) is above full scale",
        hint=f'render with full_scale at least {peak.value:.4f} times as large, or name overload="scale" or "clip"',
    )


class TpdfDither:
    """Triangular dither of two codes peak to peak, the same for the same seed however it is cut into blocks.

    It makes the mean and the power of the rounding error independent of the signal (S. P. Lipshitz, R. A. Wannamaker,
    J. Vanderkooy, "Quantization and dither: a theoretical survey", JAES 40, 1992).

    Parameters
    ----------
    seed : int
        0 or more.
    """

    def __init__(self, seed: int) -> None:
        if seed < 0:
            raise AudioError(f"dither seed {seed} is below 0")
        self._bits = np.random.PCG64(seed)

    def draw(self, shape: tuple[int, int]) -> Samples:
        """Return dither in units of one code, above -1 and below 1."""
        raw = np.asarray(self._bits.random_raw(shape[0] * shape[1]), dtype=np.uint64)
        high = (raw >> np.uint64(32)).astype(np.float64)
        low = (raw & np.uint64(0xFFFFFFFF)).astype(np.float64)
        return ((high - low) * 2.0**-32).reshape(shape)


class Codes(NamedTuple):
    """Integer codes and how many samples did not get the code they asked for.

    Attributes
    ----------
    code : ndarray of int32, shape (n, channels)
    clipped : int
        Samples beyond ±1.0, stored as the outermost code.
    at_top : int
        Samples up to ±1.0 whose rounded (and dithered) value lies one or two codes outside the codes.
    """

    code: NDArray[np.int32]
    clipped: int
    at_top: int


def to_codes(samples: Samples, bits: int, dither: TpdfDither | None = None) -> Codes:
    """Round samples to signed integer codes.

    Parameters
    ----------
    samples : ndarray of float64, shape (n, channels), 1.0 at full scale
    bits : int
        8 to 32.
    dither : TpdfDither, optional
        Added before rounding.
    """
    scale = float(1 << (bits - 1))
    wanted = samples * scale
    if dither is not None:
        wanted = wanted + dither.draw((samples.shape[0], samples.shape[1]))
    rounded = np.rint(wanted)
    code = np.clip(rounded, -scale, scale - 1)
    beyond = np.abs(samples) > 1.0
    moved = code != rounded
    return Codes(code.astype(np.int32), int(beyond.sum()), int((moved & ~beyond).sum()))
