"""Preferred values: the series E3 to E192 of IEC 60063.

Stage: the analog side of the output stage. Series and wanted value in; values that can be bought out (SI units).
A series of n values per decade is 10^(i/n), rounded to two digits (E3 to E24) or three (E48 to E192), except for
the values that the standard rounds otherwise; these stand in `DEVIATIONS`. Source: IEC 60063:2015, Preferred
number series for resistors and capacitors (values from memory; the tests hold them against other lists).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from decimal import ROUND_HALF_UP, Decimal
from enum import Enum
from functools import cache

from psgmodel.errors import StageError


class Series(Enum):
    """A preferred-number series; the enum value is the number of values per decade."""

    E3 = 3
    E6 = 6
    E12 = 12
    E24 = 24
    E48 = 48
    E96 = 96
    E192 = 192


TOLERANCE: Mapping[Series, float] = {
    Series.E3: 0.4, Series.E6: 0.2, Series.E12: 0.1, Series.E24: 0.05, Series.E48: 0.02, Series.E96: 0.01,
    Series.E192: 0.005,
}  # fmt: skip
"""The tolerance (ratio) that goes with a series; E192 also stands for closer ones. E3: above 20 %, 40 % by practice."""

DEVIATIONS: Mapping[int, Mapping[int, int]] = {
    24: {26: 27, 29: 30, 32: 33, 35: 36, 38: 39, 42: 43, 46: 47, 83: 82},
    192: {919: 920},
}
"""Where the standard departs from plain rounding, for the 24 and for the 192 values: rounded to printed."""


@cache
def mantissas(series: Series) -> tuple[int, ...]:
    """Return the printed values of one decade.

    Parameters
    ----------
    series : Series

    Returns
    -------
    tuple of int
        Two digits each for E3 to E24 (10 to 91), three for E48 to E192 (100 to 988), ascending.
    """
    full, lowest = (24, 10) if series.value <= 24 else (192, 100)
    printed = []
    for i in range(full):
        exact = Decimal(lowest * 10 ** (i / full))
        rounded = int(exact.quantize(Decimal(1), rounding=ROUND_HALF_UP))
        printed.append(DEVIATIONS[full].get(rounded, rounded))
    return tuple(printed[:: full // series.value])


def _value(series: Series, index: int) -> float:
    """Return the value number `index`, counted from 1 SI unit upwards; negative below one."""
    decade, place = divmod(index, series.value)
    digits = 1 if series.value <= 24 else 2
    return float(Decimal(mantissas(series)[place]).scaleb(decade - digits))


def _index_at_or_below(value: float, series: Series) -> int:
    """Return the index of the largest preferred value that is not above `value`."""
    if not (value > 0 and math.isfinite(value)):
        raise StageError(f"no preferred value lies near {value}; accepted is a positive number in SI units")
    index = math.floor(math.log10(value)) * series.value
    # Invariant: _value(index) <= value once the first loop ends; the second keeps it and makes it the largest.
    while _value(series, index) > value:
        index -= 1
    while _value(series, index + 1) <= value:
        index += 1
    return index


def preferred_values(series: Series, low: float, high: float) -> tuple[float, ...]:
    """Return every preferred value in ``low <= v <= high``, ascending.

    Parameters
    ----------
    series : Series
    low, high : float, SI unit
        Positive.

    Returns
    -------
    tuple of float, SI unit
        Each the float nearest to its decimal value. Empty where `high` is below `low`.

    Raises
    ------
    StageError
        A bound is not positive and finite.
    """
    first = _index_at_or_below(low, series)
    first += _value(series, first) < low
    return tuple(_value(series, i) for i in range(first, _index_at_or_below(high, series) + 1))


def nearest_values(value: float, series: Series, count: int = 1) -> tuple[float, ...]:
    """Return the `count` preferred values nearest to a wanted one, nearest first.

    Nearest means the least absolute, hence also the least relative, departure from the wanted value; of two
    equally near the lower comes first.

    Parameters
    ----------
    value : float, SI unit
        Positive.
    series : Series
    count : int
        At least 1.

    Returns
    -------
    tuple of float, SI unit

    Raises
    ------
    StageError
        `value` is not positive and finite, or `count` is below 1.
    """
    if count < 1:
        raise StageError(f"{count} nearest values were asked for; accepted is 1 or more")
    at = _index_at_or_below(value, series)
    # Values thin out upwards, so the `count` nearest lie within this window.
    around = [_value(series, i) for i in range(at - count + 1 - series.value, at + count + 1)]
    return tuple(sorted(around, key=lambda v: (abs(v - value), v))[:count])


def nearest_value(value: float, series: Series) -> float:
    """Return the preferred value nearest to `value` (SI unit); rules and errors of `nearest_values`."""
    return nearest_values(value, series)[0]


def tolerance_band(value: float, series: Series) -> tuple[float, float]:
    """Return the lowest and highest value (SI unit) that a part marked `value` may have, by the series' tolerance."""
    part = TOLERANCE[series]
    return value * (1 - part), value * (1 + part)
