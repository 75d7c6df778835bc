"""Lines of a TOML text: where each key and table stands, which the standard reader does not tell.

Stage: reader of network files. TOML text that `tomllib` has already accepted in; a map from path to line out. A path
is a tuple of keys and, inside arrays, indices from 0: ``("ladder", 2, "value")``.
"""

from __future__ import annotations

import json
import re

TomlPath = tuple[str | int, ...]

_KEY = re.compile(r"""\s*("(?:[^"\\]|\\.)*"|'[^']*'|[A-Za-z0-9_-]+)\s*""")
_SKIP = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_STRING = re.compile(r'"""(?:[^\\]|\\.)*?"""+|\'\'\'.*?\'\'\'+|"(?:[^"\\]|\\.)*"|\'[^\']*\'', re.DOTALL)
_BARE = re.compile(r"[^,\]}\n#]+")


class _LineState:
    """A place in the text and the lines found so far."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[TomlPath, int] = {}
        self.arrays: dict[TomlPath, int] = {}

    def skip(self) -> None:
        found = _SKIP.match(self.text, self.at)
        self.at = found.end() if found else self.at

    def mark(self, path: TomlPath) -> None:
        """Note where `path`, and each table around it that is not yet known, stands."""
        line = self.text.count("\n", 0, self.at) + 1
        for length in range(1, len(path) + 1):
            self.lines.setdefault(path[:length], line)

    def key(self) -> TomlPath:
        """Read a dotted key and the white space after it."""
        parts: list[str] = []
        while True:
            found = _KEY.match(self.text, self.at)
            assert found is not None, "the text was accepted by tomllib"
            word = found[1]
            parts.append(json.loads(word) if word[0] == '"' else word.strip("'"))
            self.at = found.end()
            if self.text[self.at] != ".":
                return tuple(parts)
            self.at += 1

    def entry(self, table: TomlPath) -> None:
        """Read ``key = value``."""
        start = self.at
        path = table + self.key()
        self.at, after = start, self.at
        self.mark(path)
        self.at = after + 1
        self.value(path)

    def value(self, path: TomlPath) -> None:
        self.skip()
        first = self.text[self.at]
        if first in "[{":
            self.at += 1
            count = 0
            while True:
                self.skip()
                if self.text[self.at] in "]}":
                    self.at += 1
                    return
                if self.text[self.at] == ",":
                    self.at += 1
                elif first == "{":
                    self.entry(path)
                else:
                    self.mark((*path, count))
                    self.value((*path, count))
                    count += 1
        found = (_STRING if first in "\"'" else _BARE).match(self.text, self.at)
        assert found is not None, "the text was accepted by tomllib"
        self.at = found.end()

    def resolved(self, key: TomlPath) -> TomlPath:
        """Return the path of a header: a table inside an array of tables belongs to its last entry."""
        path: TomlPath = ()
        for part in key:
            path = (*path, part)
            if path in self.arrays:
                path = (*path, self.arrays[path])
        return path

    def header(self) -> TomlPath:
        """Read ``[table]`` or ``[[array of tables]]`` and return the path that it opens."""
        start = self.at
        double = self.text.startswith("[[", start)
        self.at += 1 + double
        key = self.key()
        self.at, after = start, self.at + 1 + double
        if double:
            outer = (*self.resolved(key[:-1]), key[-1])
            self.arrays[outer] = self.arrays.get(outer, -1) + 1
            path: TomlPath = (*outer, self.arrays[outer])
        else:
            path = self.resolved(key)
        self.mark(path)
        self.at = after
        return path


def toml_lines(text: str) -> dict[TomlPath, int]:
    """Return the line (from 1) of every key, table and array entry.

    Parameters
    ----------
    text : str
        TOML that `tomllib` accepts.

    Returns
    -------
    dict of path to int
        Path: a tuple of keys and array indices (from 0).
    """
    state = _LineState(text)
    table: TomlPath = ()
    while True:
        state.skip()
        if state.at >= len(text):
            return state.lines
        if text[state.at] == "[":
            table = state.header()
        else:
            state.entry(table)
