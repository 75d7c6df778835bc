"""Tables of stage and goal files: whole numbers, exact clocks, ratios, lists and limits, each with its place.

Stage: reader of output-stage files. In: a parsed TOML table. Out: plain values, and problems into one shared list.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction
from typing import Self

from psgmodel.errors import Problem, StageError
from psgmodel.output_stage.networks.reader_table import TableReader
from psgmodel.output_stage.parts_text import Unit, parse_value
from psgmodel.output_stage.stage.figures import FIGURES, Limit

MAX_CLOCK_HZ = 10**9
"""Fastest clock accepted: past it a pin is no pin."""


class StageTable(TableReader):
    """A table of a stage or goal file; see `TableReader` for what is noted and what is replaced."""

    def table(self, key: str) -> Self:
        """Return a table inside this one; empty where absent."""
        inner = super().table(key)
        return type(self)(inner._table, inner._path, self._file, self._lines, self._problems)

    def take(self, key: str) -> object:
        """Return what stands at a key as it was parsed, None where it is absent."""
        return self._take(key)

    def value_or(self, key: str, unit: Unit, default: str) -> float:
        """Return a value in SI units; where the key is absent, that of a text such as "4.7k"."""
        return self.value(key, unit, parse_value(default, unit))

    def raw(self, key: str) -> Mapping[str, object]:
        """Return a table as it was parsed; empty where it is absent or no table."""
        found = self._take(key)
        return found if isinstance(found, Mapping) else {}

    def holds_list(self, key: str) -> bool:
        """Tell whether the key holds a list."""
        return isinstance(self._table.get(key), list)

    def stage_tables(self, key: str) -> list[Self]:
        """Return the tables of an array of tables; none where absent."""
        return [type(self)(t._table, t._path, self._file, self._lines, self._problems) for t in self.tables(key)]

    def whole(self, key: str, low: int, high: int, default: int | None) -> int:
        """Return a whole number in ``low..high``. No default: required; the stand-in is `low`."""
        found = self._take(key)
        if found is None:
            if default is None:
                self._missing(key)
            return low if default is None else default
        if isinstance(found, bool) or not isinstance(found, int) or not low <= found <= high:
            self.problem(key, f"{key} is {found!r}; accepted is a whole number from {low} to {high}")
            return low if default is None else default
        return found

    def number(self, key: str, low: float, high: float, default: float | None, unit: Unit = Unit.NONE) -> float:
        """Return a finite number in ``low..high``. No default: required; the stand-in is `low`."""
        stand_in = low if default is None else default
        value = self.value(key, unit, default)
        if self.has(key) and not low <= value <= high:
            self.problem(key, f"{key} is {value:g}; accepted is {low:g} to {high:g}")
            return stand_in
        return value if self.has(key) else stand_in

    def optional(self, key: str, low: float, high: float, unit: Unit = Unit.NONE) -> float | None:
        """Return a finite number in ``low..high``, or None where the key is absent."""
        return self.number(key, low, high, low, unit) if self.has(key) else None

    def clock(self, key: str, default: Fraction | None) -> Fraction:
        """Return an exact clock. No default: required; the stand-in is 1 MHz."""
        found = self._take(key)
        stand_in = Fraction(10**6) if default is None else default
        if found is None:
            if default is None:
                self._missing(key)
            return stand_in
        try:
            return exact_clock(found)
        except StageError as error:
            self._problems += [Problem(f"{key}: {p.message}", self.place(key), p.hint) for p in error.problems]
            return stand_in

    def ratio(self, key: str, default: Fraction) -> Fraction:
        """Return an exact ratio written as a number or as text such as "3/4"."""
        found = self._take(key)
        if found is None:
            return default
        try:
            if isinstance(found, bool) or not isinstance(found, int | str):
                raise ValueError
            return Fraction(found)
        except (ValueError, ZeroDivisionError):
            self.problem(key, f'{key} is {found!r}; accepted is a whole number or text such as "3/4"')
            return default

    def whole_list(self, key: str, low: int, high: int, default: tuple[int, ...]) -> tuple[int, ...]:
        """Return a list of whole numbers, each in ``low..high``; not empty."""
        found = self._take(key)
        if found is None:
            return default
        items = found if isinstance(found, list) else [found]
        good = all(isinstance(i, int) and not isinstance(i, bool) and low <= i <= high for i in items)
        if not items or not good:
            self.problem(key, f"{key} is {found!r}; accepted is a list of whole numbers from {low} to {high}")
            return default
        return tuple(dict.fromkeys(items))

    def word_list(self, key: str, known: tuple[str, ...], default: tuple[str, ...]) -> tuple[str, ...]:
        """Return a list of words, each from a closed set; not empty."""
        found = self._take(key)
        if found is None:
            return default
        items = found if isinstance(found, list) else [found]
        for item in items:
            if item not in known:
                self.problem(key, f"{key} holds {item!r}; accepted: {', '.join(known)}")
        if not items:
            self.problem(key, f"{key} is empty; accepted: {', '.join(known)}")
        return tuple(dict.fromkeys(i for i in items if i in known)) or default

    def value_list(self, key: str, unit: Unit) -> tuple[float, ...]:
        """Return a list of positive values in SI units; empty where absent."""
        found = self._take(key)
        if found is None:
            return ()
        values = []
        for index, item in enumerate(found if isinstance(found, list) else [found]):
            try:
                value = parse_value(item, unit)
            except StageError as error:
                self._problems += [Problem(f"{key}[{index}]: {p.message}", self.place(key)) for p in error.problems]
                continue
            if value > 0:
                values.append(value)
            else:
                self.problem(key, f"{key}[{index}] is {value:g}; accepted is a positive value")
        return tuple(dict.fromkeys(values))

    def limits(self) -> tuple[Limit, ...]:
        """Return the limits that this table holds, one a key."""
        return tuple(limit for word in FIGURES if self.has(word) and (limit := self._limit(word)) is not None)

    def _limit(self, word: str) -> Limit | None:
        figure = FIGURES[word]
        found = self._take(word)
        ends: list[float] = []
        for item in found if isinstance(found, list) else [found]:
            try:
                ends.append(parse_value(item, figure.parse_unit))
            except StageError as error:
                self._problems += [Problem(f"{word}: {p.message}", self.place(word), p.hint) for p in error.problems]
                return None
        place = self.place(word)
        if figure.sense == "between":
            if len(ends) == 2 and ends[0] < ends[1]:
                return Limit(figure, ends[0], ends[1], place)
            self.problem(word, f"{word} is {found!r}; accepted is a range such as [-12, -8], in {figure.unit}")
            return None
        if len(ends) != 1 or (figure.unit != "dB" and ends[0] < 0):
            self.problem(word, f"{word} is {found!r}; accepted is one number, not negative")
            return None
        return (
            Limit(figure, ends[0], None, place) if figure.sense == "at-least" else Limit(figure, None, ends[0], place)
        )


def exact_clock(found: object) -> Fraction:
    """Return a clock in hertz, exactly.

    Parameters
    ----------
    found : int, float or str
        A whole number of hertz, text such as "49.152 MHz", or an exact fraction such as "100_000_000 / 3".

    Returns
    -------
    Fraction, Hz

    Raises
    ------
    StageError
        Not readable, not exact, not above 0, or past 1 GHz.
    """
    accepted = 'accepted is hertz: a whole number, text such as "49.152 MHz", or a fraction such as "100_000_000 / 3"'
    if isinstance(found, str) and found.count("/") == 1:
        above, below = (part.strip().replace("_", "") for part in found.split("/"))
        if not (above.isascii() and below.isascii() and above.isdigit() and below.isdigit() and int(below)):
            raise StageError(f'found "{found}"; {accepted}')
        clock = Fraction(int(above), int(below))
    else:
        value = parse_value(found, Unit.HERTZ)
        if value != math.floor(value):
            raise StageError(f"found {found!r}, which is no whole number of hertz; {accepted}")
        clock = Fraction(int(value))
    if not 0 < clock <= MAX_CLOCK_HZ:
        raise StageError(f"found {found!r}; accepted is above 0 and up to 1 GHz")
    return clock
