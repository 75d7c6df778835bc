"""A short run of Linnet that the tests of comparisons share, with the levels that the model gives.

Stage: tests. The levels are the model's, for dumps that should agree; what a test changes in them it knows.
"""

from __future__ import annotations

from psgmodel.chip import load_chip
from psgmodel.engine import Trace, run
from psgmodel.reglog import RegisterLog, make_log
from tests.comparison.dump_writer import Changes, changes_of

CHIP = load_chip("patches/linnet.toml")
CYCLES = 20_001
NAMES = {
    "a": "level_a",
    "b": "level_b",
    "wave": "level_w",
    "noise": "level_n",
    "left": "out_left",
    "right": "out_right",
}
WRITES = [
    (10, 0x08, 0x40), (13, 0x09, 0x20), (15, 0x0A, 0x14), (20, 0x0E, 0x01),
    (40, 0x10, 0x31), (44, 0x12, 0x0F), (46, 0x16, 0x01),
    (60, 0x20, 0x12), (62, 0x22, 0x11), (64, 0x26, 0x01),
    (9000, 0x09, 0x10), (12000, 0x00, 0x3F),
]  # fmt: skip


def log_of(writes: list[tuple[int, int, int]], end: int = CYCLES) -> RegisterLog:
    return make_log(*zip(*writes, strict=True), end=end)


TRACE = run(CHIP, log_of(WRITES))


def signals_of(trace: Trace, **changed: Changes) -> dict[str, Changes]:
    found = {NAMES[n]: changes_of(trace[n].cycle, trace[n].level) for n in NAMES}
    return {**found, **changed}


def moved(changes: Changes, by: int, frm: int = 0) -> Changes:
    return [(c + by if c >= frm else c, v) for c, v in changes]
