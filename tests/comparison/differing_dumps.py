"""Dumps of the short run that differ from it, each in a way that the test knows.

Stage: tests. In: nothing. Out: for each sort of difference what `write_dump` takes: levels, and how many cycles.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from psgmodel.dump.signal_map import SignalMap, parse_map
from psgmodel.engine import run
from tests.comparison.dump_writer import Changes, changes_of, write_dump
from tests.comparison.short_run import CHIP, CYCLES, NAMES, TRACE, WRITES, log_of, moved, signals_of

GRID: SignalMap = parse_map("[clock]\nperiod = 162\nphase = 81\n", CHIP)
RIGHT = signals_of(TRACE)
Levels = dict[str, Changes]


def in_order(changes: Changes) -> Changes:
    """Leave out what a move put before its predecessor."""
    return [e for i, e in enumerate(changes) if e[0] >= (changes[i - 1][0] if i else e[0])]


def changed(name: str, how: Callable[[int, int], int | str], levels: Levels | None = None) -> Levels:
    """Return levels with those of one signal made by a function of (cycle, level)."""
    levels = RIGHT if levels is None else levels
    return {**levels, name: [(c, how(c, v)) for c, v in levels[name] if isinstance(v, int)]}


def late(by: int, names: str = "") -> Levels:
    return {n: moved(c, by) if n.startswith(names) else c for n, c in RIGHT.items()}


def late_from(name: str, *by: tuple[int, int]) -> Levels:
    changes = RIGHT[name]
    for frm, more in by:
        changes = in_order(moved(changes, more, frm))
    return {**RIGHT, name: changes}


def held(name: str, begin: int, end: int, value: int | str) -> Levels:
    """Return levels with one signal held at a value for some cycles."""
    short = {dumped: name for name, dumped in NAMES.items()}[name]
    rest = [e for e in RIGHT[name] if not begin <= e[0] <= end]
    if end < CYCLES - 1:
        rest.append((end, int(TRACE[short].at(end))))
    return {**RIGHT, name: sorted([*rest, (begin, value)], key=lambda e: e[0])}


def quieter() -> Levels:
    """Return levels of a run in which channel a is one quieter, outputs and all."""
    trace = run(CHIP, log_of([*WRITES[:2], (15, 0x0A, 0x13), *WRITES[3:]]))
    return {**RIGHT, **{NAMES[n]: changes_of(trace[n].cycle, trace[n].level) for n in ("a", "left", "right")}}


def a_period_late() -> Levels:
    """Return levels in which a's tone, which has stood since its start, changes one period (2080 cycles) late."""
    before = [e for e in RIGHT["level_a"] if e[0] < 2080]
    return {**RIGHT, "level_a": [*before, *[(c + 2080, v) for c, v in RIGHT["level_a"] if c >= 0]]}


DIFFERING: dict[str, tuple[Levels, int]] = {
    "all 3 cycles late": (late(3), CYCLES),
    "all 200 cycles late": (late(200), CYCLES),
    "all 4 cycles early": ({n: [(max(c - 4, -5), v) for c, v in ch] for n, ch in RIGHT.items()}, CYCLES),
    "outputs a cycle late": (late(1, "out"), CYCLES),
    "late from a cycle on": (late_from("level_n", (6100, 1)), CYCLES),
    "early from a cycle on": (late_from("level_n", (6100, -40)), CYCLES),
    "late, then later": (late_from("level_n", (6100, 1), (15_000, 2)), CYCLES),
    "late, then later still": (
        {**late(3), "level_n": in_order(moved(late(3)["level_n"], 2, 15_000))}, CYCLES
    ),
    "a period late": (a_period_late(), CYCLES),
    "a channel, and outputs with it": (quieter(), CYCLES),
    "a channel, and an output by itself too": (changed("out_left", lambda c, v: v ^ (c > 15_000), quieter()), CYCLES),
    "an output by itself": (changed("out_left", lambda c, v: v ^ (c > 15_000)), CYCLES),
    "a level bit from a cycle on": (changed("level_n", lambda c, v: v ^ (c > 9000)), CYCLES),
    "a level bit throughout": (changed("level_a", lambda c, v: v ^ 4), CYCLES),
    "a stuck bit": (changed("level_b", lambda c, v: v & ~4), CYCLES),
    "a bit that is stuck from a cycle on": (changed("out_left", lambda c, v: v & ~(8 * (c > 9000))), CYCLES),
    "unknown for a while": (held("level_b", 7000, 7010, "x"), CYCLES),
    "unknown to the end": (held("level_b", 7000, CYCLES, "x"), CYCLES),
    "unknown throughout": ({**RIGHT, "level_b": [(-5, "x")]}, CYCLES),
    "an unknown output": (held("out_left", 7000, 7010, "x"), CYCLES),
    "no sound at all": ({n: [(-5, 0)] for n in RIGHT}, CYCLES),
    "a missing start": ({**RIGHT, "level_a": [(-5, 0)]}, CYCLES),
    "stopped early": (held("level_a", 5000, CYCLES, 0), CYCLES),
    "one cycle": (held("level_w", 12_345, 12_346, 5), CYCLES),
    "the last cycle": (held("out_right", CYCLES - 2, CYCLES, 3), CYCLES),
    "an early end": (changed("level_n", lambda c, v: v ^ (c > 9000)), 10_500),
    "here and there": (
        {n: [(c, v if i % 3 or i < 6 else v ^ 1) for i, (c, v) in enumerate(ch) if isinstance(v, int)]
         for n, ch in RIGHT.items()},
        CYCLES,
    ),
}  # fmt: skip


def write_differing(path: Path, sort: str) -> Path:
    levels, cycles = DIFFERING[sort]
    return write_dump(path, levels, WRITES, cycles, clock=False)
