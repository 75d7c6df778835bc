"""Part values as text: read "4.7k", "4k7" and "100 nF", write "4.7 kΩ" and "4K7".

Stage: the analog side of the output stage. Numbers and text in, SI units out (ohm, farad, henry, hertz, volt).
Two spellings are read: a number with an SI prefix and, if wanted, its unit; and the letter-and-digit code of
IEC 60062:2016 (clause from memory), where the multiplier letter stands in place of the decimal point.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from enum import Enum

from psgmodel.errors import Place, StageError


class Unit(Enum):
    """SI unit of a value; the enum value is its symbol."""

    OHM = "Ω"
    FARAD = "F"
    HENRY = "H"
    HERTZ = "Hz"
    VOLT = "V"
    AMPERE = "A"
    WATT = "W"
    SECOND = "s"
    NONE = ""


_SPELLED: dict[Unit, tuple[str, ...]] = {
    Unit.OHM: ("Ω", "\N{OHM SIGN}", "ohm", "ohms", "Ohm", "Ohms", "R"),
    Unit.FARAD: ("F", "farad"),
    Unit.HENRY: ("H", "henry"),
    Unit.HERTZ: ("Hz", "hertz"),
    Unit.VOLT: ("V", "volt", "volts"),
    Unit.AMPERE: ("A", "ampere"),
    Unit.WATT: ("W", "watt"),
    Unit.SECOND: ("s", "second"),
    Unit.NONE: (),
}
_NAMES: dict[Unit, str] = {u: _SPELLED[u][1] if len(_SPELLED[u]) > 1 else "plain numbers" for u in Unit}
_NAMES[Unit.OHM] = "ohm"

_EXPONENT: dict[str, int] = {
    "": 0, "f": -15, "p": -12, "n": -9, "u": -6, "µ": -6, "μ": -6, "m": -3, "k": 3, "K": 3, "meg": 6, "Meg": 6,
    "M": 6, "G": 9, "T": 12,
}  # fmt: skip
_PREFIX = {-15: "f", -12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T"}
_CODE_POINT = {Unit.OHM: "R", Unit.FARAD: "F"}
"""The IEC 60062 letter for a multiplier of one; other units have none."""

_PLAIN = re.compile(r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(.*)")
_CODE = re.compile(r"([0-9]*)([A-Za-zµμ])([0-9]+)")


def parse_value(value: object, unit: Unit, *, place: Place | None = None) -> float:
    """Read a value in SI units from a number or from text.

    Parameters
    ----------
    value : int, float or str
        A number in the SI unit, or text such as "4.7k", "4k7", "4.7 kΩ", "100n", "22uF". ``m`` is milli and
        ``M`` is mega; ``k`` and ``K`` are both a thousand; "meg" is read as mega.
    unit : Unit
        What is wanted; a text in another unit is an error.
    place : Place, optional
        Where the value stands, for the message.

    Returns
    -------
    float, SI unit
        The float nearest to the decimal value. May be zero or negative: checks on size come later.

    Raises
    ------
    StageError
        Not a finite number, not readable, or in another unit.
    """
    accepted = f'a number in {_NAMES[unit]}, or text such as "4.7k", "4k7" or "4.7 k{unit.value}"'
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise StageError(f"found {value!r}; accepted is {accepted}", place=place)
    if not isinstance(value, str):
        if not math.isfinite(value):
            raise StageError(f"found {value!r}; accepted is a finite number in {_NAMES[unit]}", place=place)
        return float(value)
    number = _read(value.strip(), unit)
    if number is not None:
        return number
    other = next((u for u in Unit if u is not Unit.NONE and _read(value.strip(), u) is not None), None)
    if other is not None and other is not unit:
        raise StageError(f'found "{value}", which is in {_NAMES[other]}; accepted is {accepted}', place=place)
    raise StageError(f'found "{value}"; accepted is {accepted}', place=place)


def _read(text: str, unit: Unit) -> float | None:
    """Return the value of `text` in `unit`, or None where it is not one."""
    code = _CODE.fullmatch(text)
    if code and (code[2] in _EXPONENT or code[2] == _CODE_POINT.get(unit)):
        return float(Decimal(f"{code[1] or 0}.{code[3]}").scaleb(_EXPONENT.get(code[2], 0)))
    plain = _PLAIN.fullmatch(text)
    if plain is None:
        return None
    for ending in ("", *_SPELLED[unit]):
        prefix = plain[2].removesuffix(ending).strip() if plain[2].endswith(ending) else None
        if prefix is not None and prefix in _EXPONENT:
            return float(Decimal(plain[1]).scaleb(_EXPONENT[prefix]))
    return None


def _engineering(value: float, digits: int) -> tuple[Decimal, int]:
    """Return mantissa (1 to below 1000, rounded half-even to `digits`) and exponent, a multiple of three."""
    if not math.isfinite(value):
        raise StageError(f"a value of {value} cannot be written")
    rounded = Decimal(f"{value:.{digits - 1}e}")
    if not rounded:
        return Decimal(0), 0
    exponent = min(12, max(-15, 3 * (rounded.adjusted() // 3)))
    return rounded.scaleb(-exponent).normalize(), exponent


def format_value(value: float, unit: Unit, *, digits: int = 4) -> str:
    """Write a value with SI prefix and unit, such as "4.7 kΩ".

    Parameters
    ----------
    value : float, SI unit
    unit : Unit
    digits : int
        Significant digits kept (rounded half to even on the decimal text); trailing zeros are dropped.

    Returns
    -------
    str

    Raises
    ------
    StageError
        The value is not finite.
    """
    mantissa, exponent = _engineering(value, digits)
    return f"{mantissa:f} {_PREFIX[exponent]}{unit.value}".rstrip()


def format_code(value: float, unit: Unit, *, digits: int = 3) -> str:
    """Write a resistance or capacitance as the letter-and-digit code of IEC 60062, such as "4K7" or "2µ2".

    Parameters
    ----------
    value : float, SI unit
        Positive.
    unit : Unit
        `Unit.OHM` or `Unit.FARAD`; the standard has no code for others.
    digits : int
        Significant digits kept.

    Returns
    -------
    str
        The standard writes the thousand as ``K``; `parse_value` also reads the common ``k``.

    Raises
    ------
    StageError
        Another unit, or a value that is not positive and finite.
    """
    if unit not in _CODE_POINT:
        raise StageError(f"IEC 60062 has no letter code for {_NAMES[unit]}; accepted are ohm and farad")
    if not value > 0:
        raise StageError(f"a value of {value} has no letter code; accepted is a positive value")
    mantissa, exponent = _engineering(value, digits)
    if unit is Unit.OHM and exponent == -3:
        mantissa, exponent = mantissa.scaleb(-3), 0
    letter = {0: _CODE_POINT[unit], 3: "K"}.get(exponent, _PREFIX[exponent])
    whole, _, part = f"{mantissa:f}".partition(".")
    return f"{'' if whole == '0' else whole}{letter}{part}"
