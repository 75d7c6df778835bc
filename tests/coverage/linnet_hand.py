"""Short logs for Linnet, written by hand from patches/linnet.md, for the tests of coverage.

Registers (section 4): A at 0x08 (PITCH, TONE, NOTE, LENGTH, SHAPE, BEND, GO), noise at 0x20. Ticks (section 3): timing
at 20479 + 20480 k, shaping at 9999 + 32768 k, bending at 30000 + 51200 k. A start of A acts one edge after its write.
"""

from __future__ import annotations

from pathlib import Path

from psgmodel.chip import load_chip
from psgmodel.coverage import Coverage, cover
from psgmodel.reglog import RegisterLog, make_log

LINNET = load_chip(Path(__file__).parents[2] / "patches" / "linnet.toml")
PITCH, TONE, NOTE, LENGTH, SHAPE, BEND, GO = range(0x08, 0x0F)
TIMER_ON, LOUD = 0x80, 31

Row = tuple[int, int, int]


def log_of(*rows: Row, end: int) -> RegisterLog:
    """A log of some writes, in the order of their cycles."""
    ordered = sorted(rows)
    return make_log([c for c, _, _ in ordered], [a for _, a, _ in ordered], [v for _, _, v in ordered], end=end)


def covered(*rows: Row, end: int) -> Coverage:
    return cover(LINNET, [log_of(*rows, end=end)])


def hit(*rows: Row, end: int, part: str = "a") -> set[str]:
    """The behaviours of a channel that some writes show, without the values of fields."""
    coverage = covered(*rows, end=end)
    prefix = part + "."
    names = {b.name for b in coverage.bins if coverage.count(b) and b.name.startswith(prefix)}
    return {name.removeprefix(prefix) for name in names}


def note(
    start: int, *, period: int = 99, note: int = LOUD, length: int = 0, shape: int = 0, bend: int = 0
) -> list[Row]:
    """The writes of a note of A whose start acts at an edge: a step of it lasts 2 x (period + 1) cycles."""
    at = start - 1
    fields = [(PITCH, period & 0xFF), (TONE, period >> 8 | 0x20), (NOTE, note), (LENGTH, length), (SHAPE, shape)]
    rows = [(at - 4 * (7 - i), address, value) for i, (address, value) in enumerate([*fields, (BEND, bend)])]
    return [*rows, (at, GO, 1)]
