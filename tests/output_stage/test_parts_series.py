from __future__ import annotations

import itertools

import eseries
import numpy as np
import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.parts import (
    DEVIATIONS,
    TOLERANCE,
    Series,
    mantissas,
    nearest_value,
    nearest_values,
    preferred_values,
    tolerance_band,
)

# IEC 60063:2015 (values from memory), as printed in checks.md section 6.
PRINTED = {
    Series.E6: "10 15 22 33 47 68",
    Series.E12: "10 12 15 18 22 27 33 39 47 56 68 82",
    Series.E24: "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91",
    Series.E96: (
        "100 102 105 107 110 113 115 118 121 124 127 130 133 137 140 143 147 150 154 158 162 165 169 174 178 182 187 "
        "191 196 200 205 210 215 221 226 232 237 243 249 255 261 267 274 280 287 294 301 309 316 324 332 340 348 357 "
        "365 374 383 392 402 412 422 432 442 453 464 475 487 499 511 523 536 549 562 576 590 604 619 634 649 665 681 "
        "698 715 732 750 768 787 806 825 845 866 887 909 931 953 976"
    ),
}


@pytest.mark.parametrize("series", PRINTED)
def test_a_series_holds_the_printed_values(series: Series) -> None:
    assert mantissas(series) == tuple(int(v) for v in PRINTED[series].split())


# PyPI eseries 1.2.1, an independent library.
@pytest.mark.parametrize("series", Series)
def test_a_series_holds_the_values_of_the_eseries_library(series: Series) -> None:
    theirs = eseries.series(eseries.ESeries[series.name])
    assert [float(v) for v in mantissas(series)] == [float(v) for v in theirs]


# checks.md section 6: E24 departs from plain rounding in exactly eight values, E192 in 920 only, E48 and E96 never.
def test_only_eight_values_of_e24_and_one_of_e192_depart_from_plain_rounding() -> None:
    def departures(series: Series) -> dict[int, int]:
        low = 10 if series.value <= 24 else 100
        plain = [int(np.floor(low * 10 ** (i / series.value) + 0.5)) for i in range(series.value)]
        return {p: v for p, v in zip(plain, mantissas(series), strict=True) if p != v}

    assert departures(Series.E24) == {26: 27, 29: 30, 32: 33, 35: 36, 38: 39, 42: 43, 46: 47, 83: 82}
    assert departures(Series.E192) == {919: 920}
    assert departures(Series.E96) == departures(Series.E48) == {}
    assert DEVIATIONS[24] == departures(Series.E24)


def test_e24_and_e96_share_only_six_values() -> None:
    shared = {10 * v for v in mantissas(Series.E24)} & set(mantissas(Series.E96))
    assert shared == {100, 110, 130, 150, 200, 750}


# checks.md section 6: worst half-gap, distance to the nearest value relative to the sum of its neighbours.
@pytest.mark.parametrize(
    ("series", "worst"), [(Series.E6, 0.200), (Series.E12, 0.111), (Series.E24, 0.0714), (Series.E96, 0.0148)]
)
def test_the_worst_gap_of_a_series_is_about_its_tolerance(series: Series, worst: float) -> None:
    decade = [*mantissas(series), 10 * mantissas(series)[0]]
    gaps = [(b - a) / (b + a) for a, b in itertools.pairwise(decade)]
    assert max(gaps) == pytest.approx(worst, abs=5e-4 * (1 if worst > 0.05 else 0.2))


# IEC 60063 and common practice: E6 20 %, E12 10 %, E24 5 %, E48 2 %, E96 1 %, E192 0.5 % and better.
def test_each_series_has_its_tolerance() -> None:
    assert [TOLERANCE[s] for s in Series] == [0.4, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005]
    assert tolerance_band(1000, Series.E24) == pytest.approx((950, 1050))


# eseries.find_nearest as the judge, over values of all sizes.
@pytest.mark.parametrize("series", Series)
def test_the_nearest_value_is_that_of_the_eseries_library(series: Series) -> None:
    rng = np.random.default_rng(5)
    for value in 10 ** rng.uniform(-12, 8, 300):
        theirs = eseries.find_nearest(eseries.ESeries[series.name], float(value))
        assert nearest_value(float(value), series) == pytest.approx(theirs, rel=1e-12)


@pytest.mark.parametrize("series", Series)
def test_the_few_nearest_values_are_those_of_a_search_over_decades(series: Series) -> None:
    rng = np.random.default_rng(6)
    everything = [m * 10.0**e for m in mantissas(series) for e in range(-9, 9)]
    for value in 10 ** rng.uniform(-4, 4, 40):
        wanted = sorted(everything, key=lambda v: abs(v - value))[:7]
        assert nearest_values(float(value), series, 7) == pytest.approx(wanted, rel=1e-12)


def test_the_values_of_a_range_include_both_ends_and_are_the_decimal_numbers_themselves() -> None:
    assert preferred_values(Series.E6, 1e-9, 1e-8) == (1e-9, 1.5e-9, 2.2e-9, 3.3e-9, 4.7e-9, 6.8e-9, 1e-8)
    assert preferred_values(Series.E3, 3.0, 21.0) == (4.7, 10.0)
    assert preferred_values(Series.E3, 3.0, 4.0) == ()
    assert len(preferred_values(Series.E192, 100, 999_999)) == 4 * 192


def test_of_two_equally_near_values_the_lower_comes_first() -> None:
    assert nearest_values(105, Series.E24, 2) == (100.0, 110.0)


@pytest.mark.parametrize("value", [0, -1, float("nan"), float("inf")])
def test_no_value_lies_near_nothing(value: float) -> None:
    with pytest.raises(StageError, match=r"^no preferred value lies near .*; accepted is a positive number in"):
        nearest_value(value, Series.E12)


def test_at_least_one_nearest_value_must_be_asked_for() -> None:
    with pytest.raises(StageError, match=r"^0 nearest values were asked for; accepted is 1 or more$"):
        nearest_values(1, Series.E12, 0)
