from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from psgmodel.errors import Place, StageError
from psgmodel.output_stage.parts import Series, mantissas
from psgmodel.output_stage.parts_text import Unit, format_code, format_value, parse_value


# IEC 60062:2016 letter codes, from memory (the examples every data book prints).
@pytest.mark.parametrize(
    ("code", "unit", "value"),
    [
        ("R47", Unit.OHM, 0.47),
        ("4R7", Unit.OHM, 4.7),
        ("470R", Unit.OHM, 470.0),
        ("4K7", Unit.OHM, 4700.0),
        ("47K", Unit.OHM, 47e3),
        ("4M7", Unit.OHM, 4.7e6),
        ("59K04", Unit.OHM, 59040.0),
        ("p33", Unit.FARAD, 0.33e-12),
        ("3p32", Unit.FARAD, 3.32e-12),
        ("330p", Unit.FARAD, 330e-12),
        ("59n", Unit.FARAD, 59e-9),
        ("3µ32", Unit.FARAD, 3.32e-6),
        ("590µ", Unit.FARAD, 590e-6),
    ],
)
def test_a_letter_code_of_iec_60062_is_read(code: str, unit: Unit, value: float) -> None:
    assert parse_value(code, unit) == value


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("4.7k", Unit.OHM, 4700.0),
        ("4k7", Unit.OHM, 4700.0),
        ("4.7 kΩ", Unit.OHM, 4700.0),
        ("4.7 k\N{OHM SIGN}", Unit.OHM, 4700.0),
        ("4.7kohm", Unit.OHM, 4700.0),
        ("32", Unit.OHM, 32.0),
        ("32 ohm", Unit.OHM, 32.0),
        ("1M", Unit.OHM, 1e6),
        ("1Meg", Unit.OHM, 1e6),
        ("10m", Unit.OHM, 0.01),
        ("100n", Unit.FARAD, 1e-7),
        ("100 nF", Unit.FARAD, 1e-7),
        ("22u", Unit.FARAD, 22e-6),
        ("22 μF", Unit.FARAD, 22e-6),
        ("2u2", Unit.HENRY, 2.2e-6),
        ("1.5mH", Unit.HENRY, 1.5e-3),
        ("3 MHz", Unit.HERTZ, 3e6),
        ("1e-8", Unit.FARAD, 1e-8),
        ("-4.7k", Unit.OHM, -4700.0),
        (1e-9, Unit.FARAD, 1e-9),
        (10, Unit.OHM, 10.0),
        ("1e5", Unit.NONE, 1e5),
    ],
)
def test_a_value_is_read_as_a_number_or_with_prefix_and_unit(text: object, unit: Unit, value: float) -> None:
    assert parse_value(text, unit) == value


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("4.7q", Unit.OHM, 'found "4.7q"; accepted is a number in ohm, or text such as "4.7k", "4k7" or "4.7 kΩ"'),
        ("", Unit.OHM, 'found ""; accepted is a number in ohm'),
        ("100 nH", Unit.FARAD, 'found "100 nH", which is in henry; accepted is a number in farad'),
        ("10 kΩ", Unit.HENRY, 'found "10 kΩ", which is in ohm; accepted is a number in henry'),
        (True, Unit.OHM, "found True; accepted is a number in ohm"),
        ([1], Unit.OHM, r"found \[1\]; accepted is a number in ohm"),
        (float("nan"), Unit.OHM, "found nan; accepted is a finite number in ohm"),
        ("1 k 2", Unit.OHM, 'found "1 k 2"; accepted'),
        ("4k7k", Unit.OHM, 'found "4k7k"; accepted'),
    ],
)
def test_what_is_no_value_is_refused_with_what_would_be(text: object, unit: Unit, message: str) -> None:
    with pytest.raises(StageError, match=f"^stage.toml:3: {message}"):
        parse_value(text, unit, place=Place("stage.toml", 3))


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (4700, Unit.OHM, "4.7 kΩ"),
        (1e-7, Unit.FARAD, "100 nF"),
        (22e-6, Unit.FARAD, "22 µF"),
        (32, Unit.OHM, "32 Ω"),
        (999.96, Unit.OHM, "1 kΩ"),
        (0.175367, Unit.VOLT, "175.4 mV"),
        (0, Unit.OHM, "0 Ω"),
        (-4700, Unit.OHM, "-4.7 kΩ"),
        (15625, Unit.HERTZ, "15.62 kHz"),
        (1e-17, Unit.FARAD, "0.01 fF"),
        (100000.0, Unit.NONE, "100 k"),
    ],
)
def test_a_value_is_written_with_prefix_and_unit(value: float, unit: Unit, text: str) -> None:
    assert format_value(value, unit) == text


@pytest.mark.parametrize(
    ("value", "unit", "code"),
    [
        (0.47, Unit.OHM, "R47"),
        (0.022, Unit.OHM, "R022"),
        (4.7, Unit.OHM, "4R7"),
        (470, Unit.OHM, "470R"),
        (4700, Unit.OHM, "4K7"),
        (1e6, Unit.OHM, "1M"),
        (2.2e-6, Unit.FARAD, "2µ2"),
        (330e-12, Unit.FARAD, "330p"),
    ],
)
def test_a_value_is_written_as_a_letter_code(value: float, unit: Unit, code: str) -> None:
    assert format_code(value, unit) == code


@given(
    st.sampled_from([m for s in (Series.E24, Series.E192) for m in mantissas(s)]),
    st.integers(-13, 9),
    st.sampled_from([Unit.OHM, Unit.FARAD]),
)
def test_a_preferred_value_survives_writing_and_reading_in_both_spellings(digits: int, power: int, unit: Unit) -> None:
    value = float(f"{digits}e{power}")
    assert parse_value(format_value(value, unit), unit) == value
    assert parse_value(format_code(value, unit), unit) == value


@given(st.floats(1e-14, 1e14))
def test_a_value_written_with_four_digits_reads_back_to_four_digits(value: float) -> None:
    assert parse_value(format_value(value, Unit.OHM), Unit.OHM) == pytest.approx(value, rel=5.01e-4)


def test_a_letter_code_is_for_ohm_and_farad_only() -> None:
    with pytest.raises(StageError, match=r"^IEC 60062 has no letter code for henry; accepted are ohm and farad$"):
        format_code(1e-3, Unit.HENRY)
    with pytest.raises(StageError, match=r"^a value of 0 has no letter code; accepted is a positive value$"):
        format_code(0, Unit.OHM)
    with pytest.raises(StageError, match=r"^a value of inf cannot be written$"):
        format_value(float("inf"), Unit.OHM)
