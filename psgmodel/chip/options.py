"""Options: how a TOML table becomes a frozen record.

Stage: chip. A record is a frozen dataclass whose fields are made by `option`; the annotation gives the type
and, for a `Literal`, the accepted words; `option` gives the sentence of documentation, the default and the
bounds. `read_record` follows them, collects every problem with its place and never stops at the first.
The same options print the reference of the description language.
"""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Iterable, Iterator
from dataclasses import MISSING, dataclass
from fractions import Fraction
from typing import Any, Literal, TypeVar

from psgmodel.errors import Problem, listed, nearest
from psgmodel.tomlfile import KeyPath, TomlFile

R = TypeVar("R")

MAX_INT = 2**53
"""Largest integer taken anywhere in a description: exact as float64 too."""


MOST_HINTS = 100
"""Problems that are told with a hint; a file with more is not helped by guesses, and they would take long."""


def option(
    doc: str, *, default: Any = MISSING, at_least: int | None = None, at_most: int = MAX_INT, shown: str = ""
) -> Any:
    """Declare one option of a record.

    Parameters
    ----------
    doc : str
        One sentence for the reader of the reference.
    default : any, optional
        Left out: the option must be given.
    at_least, at_most : int, optional
        Bounds for integers, and for each item of a list of integers.
    shown : str, optional
        How the reference prints a default that depends on other options.
    """
    meta = {"doc": doc, "at_least": at_least, "at_most": at_most, "shown": shown}
    return dataclasses.field(default=default, metadata=meta)


@dataclass(slots=True)
class ReadingState:
    """What a reader carries along: the file, the problems found so far, and the paths they are at."""

    file: TomlFile
    problems: list[Problem]
    spoilt_paths: set[KeyPath] = dataclasses.field(default_factory=set)
    above_spoilt: set[KeyPath] = dataclasses.field(default_factory=set)

    def report(self, path: KeyPath, message: str, hint: str = "") -> None:
        """Note a problem with the key at `path`."""
        self.problems.append(Problem(f"{dotted(path)}: {message}", self.file.place(*path), hint))
        self.spoilt_paths.add(path)
        self.above_spoilt.update(path[:length] for length in range(len(path) + 1))

    def spoilt(self, *path: str | int) -> bool:
        """Return whether there is a problem at `path` or within, so that conclusions from it would mislead."""
        return path in self.above_spoilt

    def hint(self, word: str, known: Iterable[str], otherwise: str = "") -> str:
        """Return the nearest of `known`, else `otherwise`, else a list of them; nothing after many problems."""
        if len(self.problems) >= MOST_HINTS:
            return ""
        words = list(known)
        return nearest(word, words) or otherwise or f"known: {listed(words)}"


def dotted(path: KeyPath) -> str:
    """Return a key path as people write it: ``register[3].fields[0].bits``."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def choices_of(kind: Any) -> tuple[Any, ...]:
    """Return the accepted words of a `Literal` type, or nothing."""
    return typing.get_args(kind) if typing.get_origin(kind) is Literal else ()


def plain_type(kind: Any) -> Any:
    """Return ``X`` for the annotation ``X | None``, and any other annotation as it is."""
    if typing.get_origin(kind) in (types.UnionType, typing.Union):
        return next(k for k in typing.get_args(kind) if k is not type(None))
    return kind


def options_of(record: type) -> Iterator[tuple[dataclasses.Field[Any], Any]]:
    """Yield each option of a record class with its type; fields not made by `option` are left out."""
    hints = typing.get_type_hints(record)
    for item in dataclasses.fields(record):
        if "doc" in item.metadata:
            yield item, plain_type(hints[item.name])


def read_record(
    record: type[R], table: Any, path: KeyPath, state: ReadingState, *, known: tuple[str, ...] = (), **given: Any
) -> R:
    """Read a TOML table into a record.

    Problems go into `state`; where a value is unusable or missing, a harmless stand-in is used so that
    reading can go on. `known` names keys of the table that somebody else reads; `given` are the fields of
    the record that are no options.
    """
    if not isinstance(table, dict):
        state.report(path, f"found {show(table)}, a table is expected")
        table = {}
    options = {item.name: (item, kind) for item, kind in options_of(record)}
    for key in table:
        if key not in options and key not in known:
            accepted = (*options, *known)
            hint = state.hint(key, accepted, f"known here: {', '.join(accepted)}")
            state.report((*path, key), "unknown key", hint)
    values = dict(given)
    for name, (item, kind) in options.items():
        if name in table:
            values[name] = read_value(kind, table[name], (*path, name), state, item.metadata)
        elif item.default is MISSING:
            state.report((*path, name), f"missing: {item.metadata['doc'][:1].lower()}{item.metadata['doc'][1:]}")
            values[name] = stand_in(kind, item.metadata)
    return record(**values)


def stand_in(kind: Any, meta: typing.Mapping[str, Any]) -> Any:
    """Return a harmless value of a type, for an option that could not be read."""
    if choices_of(kind):
        return choices_of(kind)[0]
    if dataclasses.is_dataclass(kind) and isinstance(kind, type):
        return kind(**{i.name: stand_in(k, i.metadata) for i, k in options_of(kind) if i.default is MISSING})
    base = typing.get_origin(kind) or kind
    return {int: max(1, meta.get("at_least") or 1), bool: False, str: "", Fraction: Fraction(1), tuple: ()}.get(base)


def read_value(kind: Any, value: Any, path: KeyPath, state: ReadingState, meta: typing.Mapping[str, Any]) -> Any:
    """Read one value of a type, or report it and return a stand-in."""
    if dataclasses.is_dataclass(kind) and isinstance(kind, type):
        return read_record(kind, value, path, state)
    if words := choices_of(kind):
        if value in words and type(value) in {type(w) for w in words}:
            return value
        hint = nearest(value, [w for w in words if isinstance(w, str)]) if isinstance(value, str) else ""
        state.report(path, f"found {show(value)}, accepted: {', '.join(show(w) for w in words)}", hint)
        return words[0]
    if typing.get_origin(kind) is tuple:
        item = typing.get_args(kind)[0]
        if not isinstance(value, list):
            state.report(path, f"found {show(value)}, a list is expected")
            return ()
        return tuple(read_value(item, v, (*path, i), state, meta) for i, v in enumerate(value))
    if kind is Fraction:
        return _read_fraction(value, path, state)
    if type(value) is not kind:
        names = {int: "an integer", bool: "true or false", str: "a text"}
        state.report(path, f"found {show(value)}, {names.get(kind, kind)} is expected")
        return stand_in(kind, meta)
    if kind is int:
        low, high = meta.get("at_least"), meta.get("at_most", MAX_INT)
        if (low is not None and value < low) or abs(value) > MAX_INT or value > high:
            wanted = f"{'-' if low is None else ''}{MAX_INT if low is None else low} to {high}"
            state.report(path, f"found {value}, accepted: {wanted}")
            return stand_in(kind, meta)
    return value


def _read_fraction(value: Any, path: KeyPath, state: ReadingState) -> Fraction:
    """Read a positive rate: an integer, or a text such as "100_000_000 / 3"."""
    result: Fraction | None = None
    if type(value) is int:
        result = Fraction(value)
    elif isinstance(value, str) and len(value) < 64 and not set(value) - set("0123456789_ ./"):
        try:
            result = Fraction(value.replace(" ", "").replace("_", ""))
        except (ValueError, ZeroDivisionError):
            result = None
    if result is None:
        hint = "write 4761900 for 4.7619 MHz" if isinstance(value, float) else ""
        state.report(
            path, f'found {show(value)}, an integer or an exact fraction such as "100_000_000 / 3" is expected', hint
        )
        return Fraction(1)
    if not 1 <= result <= MAX_INT or result.denominator > 2**31:
        state.report(path, f"found {show(value)}, accepted: 1 to {MAX_INT} with a denominator up to 2^31")
        return Fraction(1)
    return result


def show(value: Any) -> str:
    """Return a found value as the user would write it, cut where it is long."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."
