"""Layout: lines and columns of plain text.

Stage: report. In: rows of text. Out: lines that end in a newline, columns two spaces apart, no trailing spaces.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

WIDTH = 88
"""Widest line of running text."""


def table(header: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> str:
    """Return rows in aligned columns under a header.

    Parameters
    ----------
    header : sequence of str
    rows : sequence of sequence of str
        Each as long as the header.
    right : sequence of int
        Columns whose text stands at the right.
    """
    widths = [max(len(row[i]) for row in (header, *rows)) for i in range(len(header))]
    lines = []
    for row in (header, *rows):
        cells = [
            text.rjust(width) if i in right else text.ljust(width)
            for i, (text, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip() + "\n")
    return "".join(lines)


def paragraph(text: str, *, indent: str = "", first: str | None = None) -> str:
    """Return text broken into lines; `first` replaces the indent of the first line."""
    return (
        textwrap.fill(
            text,
            WIDTH,
            initial_indent=indent if first is None else first,
            subsequent_indent=indent,
            break_long_words=False,
            break_on_hyphens=False,
        )
        + "\n"
    )


def markdown_table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return rows as a GitHub-flavoured Markdown table, columns aligned in the source too."""
    safe = [[cell.replace("|", "\\|") for cell in row] for row in (header, *rows)]
    widths = [max(3, *(len(row[i]) for row in safe)) for i in range(len(header))]
    lines = ["| " + " | ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)) + " |\n" for row in safe]
    lines.insert(1, "| " + " | ".join("-" * w for w in widths) + " |\n")
    return "".join(lines)


def seconds_text(seconds: float) -> str:
    """Return a time with its unit, to the digits that matter: ``11.447 s``, ``3.200 ms``, ``0.163 us``."""
    if seconds == 0 or abs(seconds) >= 1:
        return f"{seconds:.3f} s"
    if abs(seconds) >= 1e-3:
        return f"{seconds * 1e3:.3f} ms"
    return f"{seconds * 1e6:.3f} us"


def counted(number: int, thing: str, things: str = "") -> str:
    """Return ``1 write`` or ``3 writes``."""
    return f"{number} {thing}" if number == 1 else f"{number} {things or thing + 's'}"
