"""Frequency weightings: A of IEC 61672-1 and K of ITU-R BS.1770.

Stage: measurement. In: frequencies. Out: gains (linear) or decibels.

Conventions: A is 0 dB at 1 kHz by its rounded constant of 2.000 dB, to within 0.0004 dB. K is given as two filters at
48 kHz, the only rate for which the recommendation prints coefficients; it is +0.69 dB at 997 Hz, which loudness takes
off again.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.errors import StageError

Floats = NDArray[np.float64]

A_POLES_HZ = (20.598997057568145, 107.65264864304628, 737.8622307362899, 12194.21714799801)
"""Pole frequencies f1..f4 of A (IEC 61672-1 Annex E: from 1000 Hz, 10**1.5, 10**3.9, 10**2.45 Hz and 1/sqrt 2)."""

K_RATE_HZ = 48_000
"""The sample rate of the K coefficients."""

K_SECTIONS = (
    (1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585),
    (1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621),
)
"""K at 48 kHz, shelf then high-pass: b0 b1 b2 a0 a1 a2 (ITU-R BS.1770-4, pages 4 and 5)."""


def a_weighting_db(hz: ArrayLike) -> Floats:
    """Return A at each frequency.

    Source: IEC 61672-1, as 20 log10 R(f) + 2.000.

    Parameters
    ----------
    hz : array_like of float, Hz
        0 and more; 0 gives minus infinity.

    Returns
    -------
    ndarray of float64, dB, shape of `hz`

    Raises
    ------
    StageError
        A frequency is negative or not finite.
    """
    with np.errstate(divide="ignore"):
        return np.asarray(20 * np.log10(a_weighting_gain(hz)), dtype=np.float64)


def a_weighting_gain(hz: ArrayLike) -> Floats:
    """Return A at each frequency as a linear gain; same rules as `a_weighting_db`."""
    f = np.asarray(hz, dtype=np.float64)
    if not bool(np.all(np.isfinite(f) & (f >= 0))):
        raise StageError("a frequency is negative or not finite", hint="accepted: hertz, 0 and more")
    f1, f2, f3, f4 = A_POLES_HZ
    square = f * f
    below = (square + f1**2) * (square + f4**2) * np.sqrt((square + f2**2) * (square + f3**2))
    return np.asarray(10**0.1 * f4**2 * square**2 / below, dtype=np.float64)


def k_weighting_gain(hz: ArrayLike) -> Floats:
    """Return the linear gain of K, as realised at 48 kHz, at each frequency.

    Parameters
    ----------
    hz : array_like of float, Hz
        0 to 24 kHz.

    Returns
    -------
    ndarray of float64, shape of `hz`

    Raises
    ------
    StageError
        A frequency is outside.
    """
    f = np.asarray(hz, dtype=np.float64)
    if not bool(np.all((f >= 0) & (f <= K_RATE_HZ / 2))):
        raise StageError("a frequency lies outside the K filters", hint=f"accepted: 0 to {K_RATE_HZ // 2} Hz")
    z = np.exp(-2j * np.pi * f / K_RATE_HZ)
    gain = np.ones_like(f)
    for b0, b1, b2, a0, a1, a2 in K_SECTIONS:
        gain = gain * np.abs((b0 + b1 * z + b2 * z * z) / (a0 + a1 * z + a2 * z * z))
    return np.asarray(gain, dtype=np.float64)
