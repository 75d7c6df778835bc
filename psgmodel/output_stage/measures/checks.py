"""Checks that the measurements share.

Stage: measurement. In: what a caller gave. Out: clean float arrays, or a `StageError` that says what is accepted.
"""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.errors import StageError

Floats = NDArray[np.float64]


def check_record(samples: ArrayLike, least: int = 1) -> Floats:
    """Return a row of finite samples as float64.

    Raises
    ------
    StageError
        Not one-dimensional, fewer than `least` samples, complex, or a sample that is not finite.
    """
    given = np.asarray(samples)
    if given.ndim != 1 or given.size < least:
        raise StageError(f"samples of shape {given.shape}", hint=f"accepted: a row of at least {least} samples")
    if given.dtype.kind not in "iuf":
        raise StageError(f"samples of type {given.dtype}", hint="accepted: real numbers")
    row = given.astype(np.float64)
    bad = ~np.isfinite(row)
    if bad.any():
        raise StageError(f"sample {int(np.argmax(bad))} is {row[int(np.argmax(bad))]}", hint="accepted: finite numbers")
    return row


def check_positive(name: str, value: object, unit: str = "") -> float:
    """Return a finite number above 0 as a float.

    Raises
    ------
    StageError
        Anything else.
    """
    said = f"{name} is {value!r}{' ' + unit if unit else ''}"
    if isinstance(value, bool) or not isinstance(value, (int, float, Fraction, np.integer, np.floating)):
        raise StageError(said, hint="accepted: a number above 0")
    if not 0 < value < math.inf:
        raise StageError(said, hint="accepted: a finite number above 0")
    return float(value)


def check_band(low_hz: float, high_hz: float, highest_hz: float) -> None:
    """Refuse a band that is empty, below 0, or reaches past what the record holds.

    Raises
    ------
    StageError
        See above.
    """
    if not 0 <= low_hz < high_hz <= highest_hz * (1 + 1e-12):
        raise StageError(
            f"a band from {low_hz:g} to {high_hz:g} Hz", hint=f"accepted: 0 <= low < high <= {highest_hz:g} Hz"
        )
