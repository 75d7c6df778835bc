"""Levels: rms, peak, DC, and the decibels of audio.

Stage: measurement. In: samples in V (or any unit), or `Steps`. Out: numbers in the same unit, or decibels.

Conventions
  rms        root of the mean square, DC included; `ac_rms` has the mean taken off first
  peak       largest magnitude; peak-to-peak: largest less smallest, of the samples as given (not of the curve between)
  dBV        20 log10(V rms / 1 V)
  dBu        20 log10(V rms / sqrt(0.6) V), 0.774597 V: 1 mW in 600 ohm
  dBFS       20 log10(rms / rms of the full-scale sine): a full-scale sine is 0 dBFS, a full-scale square +3.01 dBFS
             (AES17). Full scale is a peak amplitude; a pin between 0 and V has a full scale of V/2.
A level of 0 has no decibels: minus infinity.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from psgmodel.errors import StageError
from psgmodel.output_stage.measures.checks import check_positive, check_record
from psgmodel.steps import Steps

DBU_REFERENCE_VOLT = math.sqrt(0.6)
"""0 dBu. Unit: V rms."""


class Levels(NamedTuple):
    """Levels of a record, in its unit.

    rms : DC included; ac_rms : without the mean; dc : the mean; peak : largest magnitude; peak_to_peak.
    """

    rms: float
    ac_rms: float
    dc: float
    peak: float
    peak_to_peak: float


def levels(samples: ArrayLike) -> Levels:
    """Return the levels of a record.

    Parameters
    ----------
    samples : array_like of float, shape (n,)

    Returns
    -------
    Levels

    Raises
    ------
    StageError
        No samples, or one that is not finite.
    """
    row = check_record(samples)
    dc = float(row.mean())
    return Levels(
        float(np.sqrt(np.mean(row**2))),
        float(np.sqrt(np.mean((row - dc) ** 2))),
        dc,
        float(np.abs(row).max()),
        float(row.max() - row.min()),
    )


def levels_of_steps(signal: Steps) -> Levels:
    """Return the levels of a piecewise-constant signal over all it covers, in its integer unit, from exact sums.

    Raises
    ------
    StageError
        The signal is empty or partly unknown.
    """
    if not len(signal) or (signal.unknown is not None and bool(signal.unknown.any())):
        raise StageError("the signal is empty or partly unknown", hint="cut it to where its level is known")
    values, which = np.unique(signal.level, return_inverse=True)
    stood = np.zeros(values.size, dtype=np.int64)
    np.add.at(stood, which, signal.durations())
    length = signal.end - signal.start
    parts = list(zip(map(int, values), map(int, stood), strict=True))
    first = sum(v * s for v, s in parts)
    second = sum(v * v * s for v, s in parts)
    low, high = int(values[0]), int(values[-1])
    return Levels(
        math.sqrt(second / length),
        math.sqrt((second * length - first * first) / (length * length)),
        first / length,
        float(max(abs(low), abs(high))),
        float(high - low),
    )


def to_db(ratio: float) -> float:
    """Return 20 log10 of an amplitude ratio; minus infinity for 0.

    Raises
    ------
    StageError
        The ratio is negative or not a number.
    """
    if math.isnan(ratio) or ratio < 0:
        raise StageError(f"an amplitude ratio of {ratio}", hint="accepted: 0 and more")
    return 20 * math.log10(ratio) if ratio else -math.inf


def volt_to_dbv(volt_rms: float) -> float:
    """Return V rms in dBV."""
    return to_db(volt_rms)


def dbv_to_volt(dbv: float) -> float:
    """Return dBV in V rms."""
    return _from_db(dbv)


def volt_to_dbu(volt_rms: float) -> float:
    """Return V rms in dBu."""
    return to_db(volt_rms / DBU_REFERENCE_VOLT)


def dbu_to_volt(dbu: float) -> float:
    """Return dBu in V rms."""
    return _from_db(dbu) * DBU_REFERENCE_VOLT


def rms_to_dbfs(rms: float, full_scale: float) -> float:
    """Return an rms level in dBFS, a full-scale sine being 0.

    Parameters
    ----------
    rms : float
    full_scale : float
        Peak amplitude of the full-scale sine, same unit.

    Raises
    ------
    StageError
        Full scale is not above 0, or the level is negative.
    """
    return to_db(rms * math.sqrt(2) / check_positive("full scale", full_scale))


def dbfs_to_rms(dbfs: float, full_scale: float) -> float:
    """Return the rms level of a value in dBFS; inverse of `rms_to_dbfs`."""
    return _from_db(dbfs) * check_positive("full scale", full_scale) / math.sqrt(2)


def _from_db(db: float) -> float:
    if math.isnan(db) or db > 1000:
        raise StageError(f"a level of {db} dB", hint="accepted: up to 1000 dB")
    return float(10 ** (db / 20))
