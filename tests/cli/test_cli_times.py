"""Times as people write them, and cycles to seconds and back."""

from __future__ import annotations

from fractions import Fraction

import pytest

from psgmodel.errors import StepsError
from psgmodel.units import cycles_to_seconds, parse_time, seconds_to_cycles, show_hertz

CLOCK = 6_144_000


@pytest.mark.parametrize(
    ("text", "cycles"),
    [
        ("0", 0),
        ("120000", 120_000),
        ("1s", 6_144_000),
        ("1.5s", 9_216_000),
        ("250ms", 1_536_000),
        ("40us", 246),  # 245.76
        (".5 s", 3_072_000),
        ("7 cycles", 7),
        ("1 cycle", 1),
    ],
)
def test_a_time_is_cycles_unless_it_has_a_unit(text: str, cycles: int) -> None:
    assert parse_time(text, CLOCK) == cycles


@pytest.mark.parametrize("text", ["", "soon", "-1", "1.5", "1m", "1e6", "0x10", "1" * 50])
def test_what_is_no_time_is_refused_with_what_would_be_one(text: str) -> None:
    with pytest.raises(StepsError, match=r'whole clock cycles such as "120000", or a time such as "1\.5s"'):
        parse_time(text, CLOCK)


def test_a_conversion_that_is_not_exact_refuses_unless_a_rounding_is_named() -> None:
    third = Fraction(1, 3) / CLOCK
    with pytest.raises(StepsError, match=r"0\.333 clock cycles \(name a rounding\)"):
        seconds_to_cycles(third, CLOCK)
    assert seconds_to_cycles(Fraction(1, 2), CLOCK) == 3_072_000
    assert [seconds_to_cycles(third, CLOCK, rounding=r) for r in ("down", "nearest", "up")] == [0, 0, 1]
    half = Fraction(5, 2) / CLOCK
    assert [seconds_to_cycles(half, CLOCK, rounding=r) for r in ("down", "nearest", "up")] == [2, 2, 3]


def test_there_and_back_is_exact_for_odd_clock_rates() -> None:
    clock = Fraction(100_000_000, 3)
    for cycles in (0, 1, 7, 10**15):
        assert seconds_to_cycles(cycles_to_seconds(cycles, clock), clock) == cycles


@pytest.mark.parametrize(
    ("hertz", "text"),
    [(6_144_000, "6.144 MHz"), (48_000, "48 kHz"), (440, "440 Hz"), (Fraction(10**8, 3), "33.33333 MHz")],
)
def test_rates_are_shown_with_a_unit(hertz: int | Fraction, text: str) -> None:
    assert show_hertz(hertz) == text
