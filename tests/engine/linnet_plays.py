"""Linnet played by all engines: register addresses copied from the prose, and a helper that runs a table of writes."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from psgmodel.chip import Chip, load_chip
from psgmodel.engine import Trace
from psgmodel.engine.state import reset_state
from psgmodel.reglog import make_log
from psgmodel.steps import Steps
from tests.engine.engines import ENGINES, QUICK_ENGINES, agreed

# Addresses as section 4 of patches/linnet.md lists them.
ROUTE, TRIM = 0x00, 0x01
A_PITCH, A_TONE, A_NOTE, A_LENGTH, A_SHAPE, A_BEND, A_GO = 0x08, 0x09, 0x0A, 0x0B, 0x0C, 0x0D, 0x0E
B_PITCH, B_TONE, B_NOTE, B_LENGTH, B_SHAPE, B_GO = 0x10, 0x11, 0x12, 0x13, 0x14, 0x16
W_PITCH, W_TONE, W_NOTE, W_LENGTH, W_SHAPE, W_GO = 0x18, 0x19, 0x1A, 0x1B, 0x1C, 0x1E
N_CLOCK, N_TONE, N_NOTE, N_LENGTH, N_SHAPE, N_GO = 0x20, 0x21, 0x22, 0x23, 0x24, 0x26
W_MEMORY = 0x40
START, STOP, BOTH = 1, 2, 3

Write = tuple[int, int, int]
Table = list[tuple[int, int]]


@cache
def linnet() -> Chip:
    return load_chip(Path(__file__).parents[2] / "patches" / "linnet.toml")


def table_of(steps: Steps) -> Table:
    """The signal as (cycle, level) pairs."""
    return list(zip(steps.cycle.tolist(), steps.level.tolist(), strict=True))


DIVIDERS = {"timing": (20479, 20480), "shaping": (9999, 32768), "bending": (30000, 51200)}
"""Edge of the first tick and cycles from tick to tick, from section 3 of the prose."""


def play(
    setup: list[tuple[int, int]], then: list[Write], *, start: int = 0, end: int, fast_only: bool = False
) -> Trace:
    """Run `setup` (address, value) written at edge `start` of an idle unit, then (cycle, address, value) writes.

    An idle unit stands still but for its dividers, which count from cycle 0: so a run may begin anywhere. All
    engines must agree, or the two quick ones where the reference would take too long.
    """
    rows = [(start, address, value) for address, value in setup] + then
    log = make_log(*([row[i] for row in rows] for i in range(3)), end=end)
    state = reset_state(linnet())
    state.cycle = start
    for name, (first, every) in DIVIDERS.items():
        state.dividers[name] = [first - start if start <= first else (first - start) % every, 0]
    return agreed(linnet(), log, state=state, engines=QUICK_ENGINES if fast_only else ENGINES)
