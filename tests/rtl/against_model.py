"""RTL against the model: what the tests of both demo chips share.

Stage: tests. What goes in: a dump of a bench, made without its clock, and the log that the bench was given. What comes
out: how many cycles of each channel and output differ from the model. And: logs that one bus can drive.
"""

from __future__ import annotations

from collections.abc import Mapping, Set
from pathlib import Path

import numpy as np

from psgmodel.chip import Chip
from psgmodel.dump import GridRule, ResetRule, sample
from psgmodel.engine import run
from psgmodel.reglog import RegisterLog, make_log
from tests.rtl.simulate import EdgeTimes

RESET_EDGES = 5


def differing_cycles(
    chip: Chip,
    log: RegisterLog,
    dump: Path,
    times: EdgeTimes,
    signals: Mapping[str, str],
    *,
    reset: ResetRule,
    signed: Set[str] = frozenset(),
) -> dict[str, int]:
    """Return the number of cycles in which each signal of a dump differs from the model; the dump is removed."""
    rule = GridRule(times.period, times.phase - RESET_EDGES * times.period, reset=reset)
    samples = sample(dump, signals.values(), rule)
    dump.unlink()
    trace = run(chip, log)
    differing = {}
    for name, signal in signals.items():
        seen = samples.steps(signal, signed=name in signed)
        assert (seen.start, seen.end) == (0, log.end), "the dump covers the whole log"
        assert seen.unknown is None
        grid = np.union1d(seen.cycle, trace[name].cycle)
        apart = seen.at(grid) != trace[name].at(grid)
        differing[name] = int(np.diff(np.append(grid, log.end))[apart].sum())
    return differing


def one_write_a_cycle(log: RegisterLog, end: int) -> RegisterLog:
    """Keep the last of several writes in one cycle: a bench has one bus."""
    log = log.cut(0, end)
    last = np.append(log.cycle[1:] != log.cycle[:-1], True)[: len(log)]
    return make_log(log.cycle[last], log.address[last], log.value[last], end=end)


def spread_pairs(log: RegisterLog, end: int) -> RegisterLog:
    """Give the index and the data of each pair a cycle of their own; the data keep theirs where they can."""
    rows: list[tuple[int, int, int]] = []
    free = 0
    address, value = log.address.tolist(), log.value.tolist()
    for pair in range(0, len(log) - 1, 2):
        at = max(int(log.cycle[pair]), free + 1)
        if at >= end:
            break
        rows += [(at - 1, address[pair], value[pair]), (at, address[pair + 1], value[pair + 1])]
        free = at + 1
    return make_log(*(np.array(rows, dtype=np.int64).reshape(-1, 3).T), end=end)
