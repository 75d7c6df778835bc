"""TOML with places: every key remembers the line it stood on.

Stage: the ground floor, used by every reader of a description. In: the text of a TOML 1.0 file. Out: the
plain tables of `tomllib` and a `Place` for each key path. The scanner here runs only over text that
`tomllib` has accepted, so it looks for structure and checks nothing.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from psgmodel.errors import Place, Problem, PsgmodelError

KeyPath = tuple[str | int, ...]

_KEY = re.compile(r"""\s*("(?:[^"\\]|\\.)*"|'[^']*'|[A-Za-z0-9_-]+)\s*""")
DEEPEST_KEY = 64
"""Most parts of a dotted key: reading one takes the square of their number."""
_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+"""
_DEEP_KEY = re.compile(rf"""(?<![\w"'-])(?:{_PART}){{{DEEPEST_KEY}}}""")
_BLANK = re.compile(r"(?:[ \t\r\n,]|\#[^\n]*)*")
_STRING = re.compile(r"\"{3}(?:[^\\]|\\.)*?\"{3,5}|'{3}.*?'{3,5}|\"(?:[^\"\\]|\\.)*\"|'[^']*'", re.DOTALL)
_PLAIN = re.compile(r"[^,\]\}\n#]*")


@dataclass(frozen=True, slots=True)
class TomlFile:
    """A parsed TOML file.

    Attributes
    ----------
    name : str
        As the user gave it.
    data : dict
        What `tomllib` returned.
    lines : dict from key path to int
        Line of each key, table header and array item, counted from 1.
    """

    name: str
    data: dict[str, Any]
    lines: dict[KeyPath, int] = field(repr=False)

    def place(self, *path: str | int) -> Place:
        """Return where the key at `path` stands, or the nearest key that encloses it."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.lines:
                return Place(self.name, self.lines[path[:length]])
        return Place(self.name)


def load_toml(path: str | Path, error: type[PsgmodelError]) -> TomlFile:
    """Read a TOML file.

    Parameters
    ----------
    path : str or Path
    error : subclass of PsgmodelError
        Raised, with the place, when the file cannot be read or is not TOML.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except OSError as reason:
        raise error(f"cannot read: {reason.strerror or reason}", place=Place(str(path))) from reason
    except UnicodeDecodeError as reason:
        place = Place(str(path), byte=reason.start)
        raise error("not UTF-8 text", place=place, hint="a TOML file is UTF-8") from reason
    return parse_toml(text, str(path), error)


def parse_toml(text: str, name: str, error: type[PsgmodelError]) -> TomlFile:
    """Parse TOML `text`; `name` is what problems call the file. Raises `error` as `load_toml` does."""
    text = text.replace("\r\n", "\n")
    deep = _DEEP_KEY.search(text)
    if deep is not None:
        line = text.count("\n", 0, deep.start()) + 1
        raise error(f"a key of more than {DEEPEST_KEY} parts", place=Place(name, line))
    try:
        data = tomllib.loads(text)
    except ValueError as reason:  # TOMLDecodeError, or an integer with thousands of digits
        raise error(_syntax_problem(str(reason), name)) from reason
    except RecursionError as reason:
        raise error("nested too deeply", place=Place(name)) from reason
    return TomlFile(name, data, _Scanner(text).scan())


def _syntax_problem(message: str, name: str) -> Problem:
    found = re.search(r"\(at line (\d+), column (\d+)\)", message)
    reason = message[: found.start()].strip() if found else message
    place = Place(name, int(found[1]), int(found[2])) if found else Place(name)
    return Problem(f"not valid TOML: {reason[:1].lower()}{reason[1:]}", place)


def _key_name(word: str) -> str:
    """Return a key as `tomllib` names it: without quotes, escapes resolved."""
    if word[0] == '"' and "\\" in word:
        return next(iter(tomllib.loads(f"{word} = 0")))
    return word[1:-1] if word[0] in "\"'" else word


class _Scanner:
    """One pass over valid TOML text that notes the line of each key."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.counted_to, self.line = 0, 1
        self.lines: dict[KeyPath, int] = {}
        self.items: dict[KeyPath, int] = {}

    def scan(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        while self._skip():
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._key_value(table)
        return self.lines

    def _skip(self) -> bool:
        found = _BLANK.match(self.text, self.at)
        self.at = found.end() if found else self.at
        return self.at < len(self.text)

    def _note(self, path: KeyPath) -> None:
        self.line += self.text.count("\n", self.counted_to, self.at)
        self.counted_to = self.at
        self.lines.setdefault(path, self.line)

    def _dotted(self) -> list[str]:
        keys = []
        while found := _KEY.match(self.text, self.at):
            self.at = found.end()
            keys.append(_key_name(found[1]))
            if self.text[self.at : self.at + 1] != ".":
                break
            self.at += 1
        return keys

    def _header(self) -> KeyPath:
        array = self.text.startswith("[[", self.at)
        start = self.at
        self.at += 2 if array else 1
        keys = self._dotted()
        end, self.at = self.at, start
        path: KeyPath = ()
        for key in keys[:-1]:
            path = (*path, key)
            self._note(path)
            if path in self.items:
                path = (*path, self.items[path])
        path = (*path, keys[-1])
        self._note(path)
        if array:
            self.items[path] = self.items.get(path, -1) + 1
            path = (*path, self.items[path])
            self._note(path)
        self.at = end + (2 if array else 1)
        return path

    def _key_value(self, table: KeyPath) -> None:
        start = self.at
        keys = self._dotted()
        end, self.at = self.at, start
        for length in range(1, len(keys) + 1):
            self._note((*table, *keys[:length]))
        self.at = end + 1  # past "="
        self._value((*table, *keys))

    def _value(self, path: KeyPath) -> None:
        while self.text[self.at : self.at + 1] in (" ", "\t"):
            self.at += 1
        first = self.text[self.at : self.at + 1]
        if first in ("[", "{"):
            self.at += 1
            index = 0
            while self._skip() and self.text[self.at] not in "]}":
                if first == "[":
                    self._note((*path, index))
                    self._value((*path, index))
                    index += 1
                else:
                    self._key_value(path)
            self.at += 1
            return
        found = (_STRING if first in ('"', "'") else _PLAIN).match(self.text, self.at)
        self.at = found.end() if found else self.at + 1
