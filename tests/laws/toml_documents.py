"""TOML documents with odd but legal form, and the line on which each key stands, for Hypothesis.

The writer keeps its own account of lines while it writes; `tomllib` says that the document is TOML.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from random import Random

Path = tuple[str | int, ...]

SCALARS = (
    "1",
    "-17",
    "0xFF_EE",
    "1_000",
    "3.25",
    "-inf",
    "nan",
    "6.02e23",
    "true",
    "false",
    "1979-05-27",
    "07:32:00.5",
    "1979-05-27 07:32:00",
    "1979-05-27T00:32:00.999-07:00",
    '""',
    "''",
    '"plain"',
    r'"a \" quote, ] } # \\"',
    r'"\\\\"',
    r"'a \ backslash, ] } # \'",
    "'''one line'''",
    "''''two'' quotes'''",
    '"""\nlines, ] } #\n[not.a.table]\nkey = 1\n"""',
    '"""a "" b ""\\" c"""',
    '"""ends in two"""""',
    '"""folded \\\n    on"""',
    "'''\n\n[[nor.this]]\n'' ''\n'''",
    "'''ends in one''''",
    '"""\\\\"""',
)


@dataclass(slots=True)
class WriterState:
    """Text so far and the line of each key path."""

    rng: Random
    text: str = ""
    lines: dict[Path, int] = field(default_factory=dict)
    count: int = 0

    def put(self, text: str) -> None:
        self.text += text

    def note(self, path: Path) -> None:
        self.lines.setdefault(path, 1 + self.text.count("\n"))

    def gap(self) -> None:
        """Blanks and perhaps lines and comments, where an array or the top level allows them."""
        for _ in range(self.rng.randint(0, 2)):
            self.put(self.rng.choice((" ", "\t", "\n", '# a comment, [x] = { "\n', "\n\n")))

    def key(self) -> tuple[str, str]:
        """A new key: its name, and how it is written."""
        self.count += 1
        name = f"k{self.count}"
        form = self.rng.randint(0, 6)
        if form == 0:
            return f"{name} x.y", f'"{name} x.y"'
        if form == 1:
            return f"{name}#]", f"'{name}#]'"
        if form == 2:
            return f'{name}"A', f'"{name}\\"\\u0041"'
        if form == 3:
            return str(self.count), str(self.count)
        return name, name

    def dotted(self, most: int) -> tuple[list[str], str]:
        keys = [self.key() for _ in range(self.rng.randint(1, most))]
        text = keys[0][1]
        for _, written in keys[1:]:
            text += self.rng.choice((".", " . ", "\t.")) + written
        return [name for name, _ in keys], text

    def pair(self, table: Path, depth: int) -> None:
        names, text = self.dotted(3)
        for length in range(1, len(names) + 1):
            self.note((*table, *names[:length]))
        self.put(text + self.rng.choice((" = ", "=", "\t=  ")))
        self.value((*table, *names), depth)

    def value(self, path: Path, depth: int) -> None:
        form = self.rng.random() if depth < 4 else 1.0
        if form < 0.2:
            self.array(path, depth + 1)
        elif form < 0.4:
            self.inline_table(path, depth + 1)
        else:
            self.put(self.rng.choice(SCALARS))

    def array(self, path: Path, depth: int) -> None:
        self.put("[")
        count = self.rng.randint(0, 3)
        for index in range(count):
            self.gap()
            self.note((*path, index))
            self.value((*path, index), depth)
            self.gap()
            if index < count - 1 or self.rng.random() < 0.3:
                self.put(",")
        self.gap()
        self.put("]")

    def inline_table(self, path: Path, depth: int) -> None:
        self.put("{")
        count = self.rng.randint(0, 3)
        for index in range(count):
            self.put(self.rng.choice(("", " ", "\t")))
            self.pair(path, depth)
            self.put(self.rng.choice(("", " ")) + (", " if index < count - 1 else ""))
        self.put("}")

    def end_line(self) -> None:
        self.put(self.rng.choice(("\n", " \n", " # [a comment] = 'x\n", "\t#\n\n")))

    def table(self, parent: Path, depth: int) -> None:
        """A [header] or some [[headers]], their keys, and tables within."""
        keys, text = self.dotted(2)
        above = _written(parent)
        array = self.rng.random() < 0.4
        path = (*parent, *keys)
        for index in range(self.rng.randint(1, 3) if array else 1):
            self.put(self.rng.choice(("", "  ")))
            for length in range(1, len(path) + 1):
                self.note(path[:length])
            here = (*path, index) if array else path
            self.note(here)
            pad = self.rng.choice(("", " "))
            self.put(f"{'[[' if array else '['}{pad}{above}{text}{pad}{']]' if array else ']'}")
            self.end_line()
            for _ in range(self.rng.randint(0, 2)):
                self.pair(here, 0)
                self.end_line()
            if depth < 2 and self.rng.random() < 0.5:
                self.table(here, depth + 1)


def _written(path: Path) -> str:
    """The keys of a path as a header prefix; items of arrays of tables are not written."""
    return "".join(json.dumps(key) + "." for key in path if isinstance(key, str))


def document(rng: Random) -> WriterState:
    """Write a document."""
    state = WriterState(rng)
    state.gap()
    for _ in range(rng.randint(0, 3)):
        state.pair((), 0)
        state.end_line()
    for _ in range(rng.randint(0, 3)):
        state.gap()
        state.table((), 0)
    if rng.random() < 0.3:
        state.text = state.text.rstrip("\n")
    return state
