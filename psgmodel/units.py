"""Units: clock cycles to seconds and back, and times as people write them.

Stage: the ground floor. In: whole clock cycles, or seconds as exact fractions, and the clock rate in hertz. Out: the
other one. Inside the project time is whole cycles; these conversions are used where a person reads or writes a time.
A conversion that is not exact refuses, unless a rounding is named.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Literal

from psgmodel.errors import StepsError

Rounding = Literal["exact", "down", "nearest", "up"]

_TIME = re.compile(r"([0-9]+(?:\.[0-9]*)?|\.[0-9]+)\s*(s|ms|us|cycles?)?")
_SCALE = {"s": Fraction(1), "ms": Fraction(1, 1000), "us": Fraction(1, 1_000_000)}
_ACCEPTED = 'whole clock cycles such as "120000", or a time such as "1.5s", "250ms" or "40us"'


def cycles_to_seconds(cycles: int, clock_hz: int | Fraction) -> Fraction:
    """Return how long a number of clock cycles lasts, exactly, in seconds."""
    return Fraction(cycles) / Fraction(clock_hz)


def seconds_to_cycles(seconds: Fraction, clock_hz: int | Fraction, *, rounding: Rounding = "exact") -> int:
    """Return how many clock cycles a time lasts.

    Parameters
    ----------
    seconds : Fraction, seconds
    clock_hz : int or Fraction, hertz
    rounding : {"exact", "down", "nearest", "up"}
        What happens to a part of a cycle; "nearest" takes halves to the even number.

    Raises
    ------
    StepsError
        The time is no whole number of cycles and no rounding is named.
    """
    cycles = seconds * Fraction(clock_hz)
    if rounding == "down":
        return cycles.numerator // cycles.denominator
    if rounding == "up":
        return -(-cycles.numerator // cycles.denominator)
    if rounding == "nearest":
        return round(cycles)
    if cycles.denominator != 1:
        raise StepsError(f"{float(seconds):g} s is {float(cycles):.3f} clock cycles", hint="name a rounding")
    return cycles.numerator


def parse_time(text: str, clock_hz: int | Fraction) -> int:
    """Return the clock cycle that a text means: ``120000``, ``1.5s``, ``250ms`` or ``40us``.

    A time in seconds is taken to the nearest cycle; a bare number is cycles and must be whole.

    Raises
    ------
    StepsError
        The text is no time.
    """
    found = _TIME.fullmatch(text.strip())
    if found is None or len(text) > 40:
        raise StepsError(f'"{text[:40]}" is no time', hint=_ACCEPTED)
    number, unit = Fraction(found[1]), found[2]
    if unit in _SCALE:
        return seconds_to_cycles(number * _SCALE[unit], clock_hz, rounding="nearest")
    if number.denominator != 1:
        raise StepsError(f'"{text}" is no whole number of clock cycles', hint=_ACCEPTED)
    return number.numerator


def show_hertz(hertz: int | Fraction) -> str:
    """Return a rate as people write it: ``6.144 MHz``, ``48 kHz``, ``33.3333 MHz``."""
    value = float(hertz)
    for scale, unit in ((1e9, "GHz"), (1e6, "MHz"), (1e3, "kHz")):
        if value >= scale:
            return f"{value / scale:.7g} {unit}"
    return f"{value:.7g} Hz"
