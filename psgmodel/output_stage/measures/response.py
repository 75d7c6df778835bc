"""Frequency responses: droop, -3 dB points, and the response of a hold.

Stage: measurement. In: frequencies and a (complex or real) response at them. Out: decibels and hertz.

Conventions: a response is an amplitude ratio; only its magnitude counts here. Between the given frequencies the
decibels are a straight line over the logarithm of frequency; nothing is said outside them. "-3 dB" is half power,
3.0103 dB, unless another drop is given. Droop is the gain at a frequency relative to that at 1 kHz, in dB: negative
where it has fallen.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.errors import StageError
from psgmodel.output_stage.measures.checks import Floats, check_positive

HALF_POWER_DB = 10 * math.log10(2)
"""The exact "3 dB"."""


class Cutoffs(NamedTuple):
    """Where the response has fallen by the drop, below and above the reference; None: not within the data. Unit: Hz."""

    low_hz: float | None
    high_hz: float | None


def gain_db(hz: ArrayLike, response: ArrayLike, at_hz: float) -> float:
    """Return the gain at a frequency, between the given ones by a straight line in dB over log f.

    Parameters
    ----------
    hz : array_like of float, shape (n,), Hz
        Rising, above 0.
    response : array_like of complex or float, shape (n,)
    at_hz : float, Hz

    Returns
    -------
    float, dB

    Raises
    ------
    StageError
        Arrays do not fit together, or the frequency lies outside.
    """
    f, db = _checked(hz, response)
    return _interpolated(f, db, at_hz)


def droop_db(hz: ArrayLike, response: ArrayLike, at_hz: float = 20_000.0, reference_hz: float = 1000.0) -> float:
    """Return the gain at `at_hz` relative to that at `reference_hz`, in dB; same rules as `gain_db`."""
    f, db = _checked(hz, response)
    return _interpolated(f, db, at_hz) - _interpolated(f, db, reference_hz)


def cutoffs(
    hz: ArrayLike, response: ArrayLike, *, drop_db: float = HALF_POWER_DB, reference_hz: float | None = None
) -> Cutoffs:
    """Return the first frequencies below and above the reference where the response has fallen by `drop_db`.

    Parameters
    ----------
    hz, response
        As in `gain_db`.
    drop_db : float, dB
        Above 0.
    reference_hz : float, optional, Hz
        Where 0 dB is taken; None: at the largest gain.

    Returns
    -------
    Cutoffs

    Raises
    ------
    StageError
        Arrays do not fit together, the drop is not above 0, or the reference lies outside.
    """
    f, db = _checked(hz, response)
    drop = check_positive("drop", drop_db, "dB")
    middle = float(f[int(np.argmax(db))]) if reference_hz is None else reference_hz
    zero = _interpolated(f, db, middle)
    log_f = np.append(np.log(f), math.log(middle))
    order = np.argsort(log_f, kind="stable")
    log_f, left = log_f[order], np.append(db, zero)[order] - zero + drop
    start = int(np.searchsorted(log_f, math.log(middle)))
    return Cutoffs(_crossing(log_f[start::-1], left[start::-1]), _crossing(log_f[start:], left[start:]))


def hold_response(hz: ArrayLike, rate_hz: float) -> NDArray[np.complex128]:
    """Return the response of a zero-order hold: sinc(f/rate), half an update late.

    Source: textbook (K. Castor-Perry, Why are my DAC and ADC responses drooping?, 2020, for the numbers).

    Parameters
    ----------
    hz : array_like of float, Hz
    rate_hz : float, Hz
        Updates a second.

    Returns
    -------
    ndarray of complex128, shape of `hz`

    Raises
    ------
    StageError
        The rate is not above 0.
    """
    turns = np.asarray(hz, dtype=np.float64) / check_positive("update rate", rate_hz, "Hz")
    return np.asarray(np.sinc(turns) * np.exp(-1j * np.pi * turns), dtype=np.complex128)


def _crossing(log_f: Floats, left: Floats) -> float | None:
    """Return where `left` first falls from above 0 to 0 or below, walking along the arrays."""
    fallen = left <= 0
    if not fallen.any():
        return None
    after = int(np.argmax(fallen))
    here, there = float(left[after - 1]), float(left[after])
    if math.isinf(there):
        return float(math.exp(log_f[after]))
    share = here / (here - there)
    return float(math.exp(log_f[after - 1] + share * (log_f[after] - log_f[after - 1])))


def _checked(hz: ArrayLike, response: ArrayLike) -> tuple[Floats, Floats]:
    f = np.asarray(hz, dtype=np.float64)
    size = np.abs(np.asarray(response))
    if f.ndim != 1 or f.size < 2 or f.shape != size.shape:
        raise StageError(
            f"a response of shape {size.shape} at frequencies of shape {f.shape}",
            hint="accepted: two rows of the same length, at least 2",
        )
    if not bool(np.all(np.isfinite(f)) and f[0] > 0 and np.all(np.diff(f) > 0) and np.all(np.isfinite(size))):
        raise StageError("frequencies or response out of order", hint="accepted: rising hertz above 0, finite response")
    with np.errstate(divide="ignore"):
        return f, np.asarray(20 * np.log10(size), dtype=np.float64)


def _interpolated(f: Floats, db: Floats, at_hz: float) -> float:
    if not f[0] <= at_hz <= f[-1]:
        raise StageError(f"a gain at {at_hz:g} Hz", hint=f"accepted: {f[0]:g} to {f[-1]:g} Hz, where the data are")
    return float(np.interp(math.log(at_hz), np.log(f), db))
