"""Loudness by ITU-R BS.1770: how loud channels are beside one another.

Stage: measurement. In: samples at 48 kHz, full scale +-1, one or two front channels. Out: LKFS (the same as LUFS).

Conventions: loudness = -0.691 + 10 log10 of the summed mean squares behind the K filters, weight 1 a front channel. A
997 Hz sine at 0 dBFS in one channel reads -3.01. Gated (integrated) loudness: blocks of 400 ms, one every 100 ms;
blocks at or below -70 are left out, then those 10 LU or more below the mean of the rest. Short tones of equal length
are compared ungated. Silence: minus infinity.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from psgmodel.errors import StageError
from psgmodel.output_stage.measures.checks import Floats, check_record
from psgmodel.output_stage.weighting import K_RATE_HZ, K_SECTIONS

BLOCK = 19_200
"""Samples of a gating block: 400 ms."""

HOP = 4_800
"""Samples from one block to the next: 100 ms."""

ABSOLUTE_GATE = -70.0
RELATIVE_GATE = -10.0


def k_weighted(samples: ArrayLike, rate_hz: float) -> Floats:
    """Return samples behind the K filters, which start from rest.

    Parameters
    ----------
    samples : array_like of float, shape (n,) or (n, 2)
    rate_hz : float, Hz
        48000.

    Returns
    -------
    ndarray of float64, shape (n, channels)

    Raises
    ------
    StageError
        Another rate, more than two channels, no samples, or one that is not finite.
    """
    from scipy.signal import sosfilt

    if rate_hz != K_RATE_HZ:
        raise StageError(f"a sample rate of {rate_hz:g} Hz", hint=f"accepted: {K_RATE_HZ} Hz; resample first")
    table = np.asarray(samples)
    if table.ndim == 1:
        table = table[:, np.newaxis]
    if table.ndim != 2 or table.shape[1] not in (1, 2):
        raise StageError(f"samples of shape {table.shape}", hint="accepted: (n,) or (n, 2)")
    columns = [check_record(table[:, c]) for c in range(table.shape[1])]
    return np.asarray(sosfilt(np.asarray(K_SECTIONS), np.stack(columns, axis=1), axis=0), dtype=np.float64)


def loudness_lkfs(samples: ArrayLike, rate_hz: float = K_RATE_HZ, *, gated: bool = True) -> float:
    """Return the loudness of a record.

    Parameters
    ----------
    samples : array_like of float, shape (n,) or (n, 2)
        Full scale +-1.
    rate_hz : float, Hz
        48000.
    gated : bool
        True: integrated loudness with both gates; needs 400 ms. False: of the whole record.

    Returns
    -------
    float, LKFS

    Raises
    ------
    StageError
        As `k_weighted`; or a gated record shorter than 400 ms.
    """
    power = np.sum(k_weighted(samples, rate_hz) ** 2, axis=1)
    if not gated:
        return _lkfs(float(power.mean()))
    if power.size < BLOCK:
        raise StageError(
            f"a record of {power.size} samples", hint=f"accepted: at least {BLOCK} (400 ms) for gated loudness"
        )
    total = np.append(0.0, np.cumsum(power))
    starts = np.arange(0, power.size - BLOCK + 1, HOP)
    blocks = (total[starts + BLOCK] - total[starts]) / BLOCK
    heard = blocks[blocks > _power(ABSOLUTE_GATE)]
    if not heard.size:
        return -math.inf
    return _lkfs(float(heard[heard > heard.mean() * 10 ** (RELATIVE_GATE / 10)].mean()))


def _lkfs(power: float) -> float:
    return -0.691 + 10 * math.log10(power) if power > 0 else -math.inf


def _power(lkfs: float) -> float:
    return float(10 ** ((lkfs + 0.691) / 10))
