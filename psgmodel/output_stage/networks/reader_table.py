"""One table of a network file under reading: typed access, unknown keys, problems with file and line.

Stage: reader of network files. A parsed TOML table in; plain values out, and problems into one shared list.
A missing or wrong value is noted as a problem and replaced by a harmless stand-in, so that reading goes on.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from enum import Enum
from typing import TypeVar

from psgmodel.errors import Place, Problem, StageError, nearest
from psgmodel.output_stage.networks.toml_lines import TomlPath
from psgmodel.output_stage.parts_text import Unit, parse_value

_Choice = TypeVar("_Choice", bound=Enum)
_WORD = re.compile(r"[A-Za-z][A-Za-z0-9_]*")


class TableReader:
    """A table, its path, and the problems of the whole file. Remembers which keys were asked for."""

    def __init__(
        self,
        table: Mapping[str, object],
        path: TomlPath,
        file: str,
        lines: Mapping[TomlPath, int],
        problems: list[Problem],
    ) -> None:
        self._table = table
        self._path = path
        self._file = file
        self._lines = lines
        self._problems = problems
        self._asked: dict[str, None] = {}

    def place(self, key: str | None = None) -> Place:
        """Return where `key`, or the table itself, stands."""
        path = self._path if key is None else (*self._path, key)
        return Place(self._file, self._lines.get(path, self._lines.get(self._path)))

    def problem(self, key: str | None, message: str, hint: str = "") -> None:
        """Note a problem at `key`, or at the table where the key is absent."""
        self._problems.append(Problem(message, self.place(key), hint))

    def empty(self) -> bool:
        """Tell whether the table holds nothing, or is absent."""
        return not self._table

    def has(self, key: str) -> bool:
        """Tell whether the key is present."""
        return key in self._table

    def names(self) -> list[str]:
        """Return the keys present."""
        return list(self._table)

    def _take(self, key: str) -> object:
        self._asked[key] = None
        return self._table.get(key)

    def _missing(self, key: str) -> None:
        self.problem(None, f'"{key}" is missing{self._where()}')

    def _where(self) -> str:
        name = ".".join(str(p + 1) if isinstance(p, int) else p for p in self._path)
        return f" in [{name}]" if name else ""

    def text(self, key: str, default: str) -> str:
        """Return free text, one line."""
        value = self._take(key)
        if value is None:
            return default
        if not isinstance(value, str) or not value.strip() or "\n" in value:
            self.problem(key, f"{key} is {value!r}; accepted is one line of text")
            return default
        return value

    def word(self, key: str, default: str | None) -> str:
        """Return a name: a letter, then letters, digits and underscores. No default: required."""
        value = self._take(key)
        if value is None:
            if default is None:
                self._missing(key)
            return "unnamed" if default is None else default
        if not isinstance(value, str) or not _WORD.fullmatch(value):
            self.problem(key, f"{key} is {value!r}; accepted is a letter, then letters, digits and underscores")
            return default or "unnamed"
        return value

    def value(self, key: str, unit: Unit, default: float | None) -> float:
        """Return a value in SI units. No default: required; the stand-in is 1."""
        found = self._take(key)
        if found is None:
            if default is None:
                self._missing(key)
            return 1.0 if default is None else default
        try:
            return parse_value(found, unit, place=self.place(key))
        except StageError as error:
            self._problems += [Problem(f"{key}: {p.message}", p.place, p.hint) for p in error.problems]
            return 1.0 if default is None else default

    def choice(self, key: str, kind: type[_Choice], default: _Choice | None) -> _Choice | None:
        """Return one of a closed set, None where it is wrong. No default: required."""
        found = self._take(key)
        if found is None:
            if default is None:
                self._missing(key)
            return default
        known = [str(c.value) for c in kind]
        if not isinstance(found, str) or found not in known:
            hint = nearest(found, known) if isinstance(found, str) else ""
            self.problem(key, f"{key} is {found!r}; accepted: {', '.join(known)}", hint)
            return None
        return kind(found)

    def table(self, key: str) -> TableReader:
        """Return a table inside this one; empty where absent."""
        found = self._take(key)
        if found is not None and not isinstance(found, Mapping):
            self.problem(key, f"{key} is {found!r}; accepted is a table")
            found = None
        return TableReader(found or {}, (*self._path, key), self._file, self._lines, self._problems)

    def tables(self, key: str) -> list[TableReader]:
        """Return the tables of an array of tables; none where absent."""
        found = self._take(key)
        if found is None:
            return []
        if not isinstance(found, list) or not all(isinstance(t, Mapping) for t in found):
            self.problem(key, f"{key} is {found!r}; accepted is an array of tables, [[{key}]]")
            return []
        path = (*self._path, key)
        return [TableReader(t, (*path, i), self._file, self._lines, self._problems) for i, t in enumerate(found)]

    def finish(self, more: Iterable[str] = ()) -> None:
        """Note every key that nobody asked for; `more` are further keys that are known."""
        known = [*self._asked, *more]
        for key in self._table:
            if key not in known:
                hint = nearest(key, known) or f"accepted: {', '.join(dict.fromkeys(known))}"
                self.problem(key, f'unknown key "{key}"{self._where()}', hint)
