"""What coverage costs, as ratios in one run to a plain run of the same log, and what closing logs come to.

Run by hand: ``python tests/bench/coverage.py [SECONDS]``. The logs are the shipped jingle repeated, and `busy_logs` at
2,000 writes/s. Each ratio is the best of some: coverage and run take turns. What is worked out from the chip alone is
kept after the first time, by both.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from psgmodel.chip import load_chip
from psgmodel.coverage import cover
from psgmodel.coverage.covering import watch
from psgmodel.engine import run
from psgmodel.reglog import RegisterLog, load_log, make_log
from psgmodel.stimulus import closing_logs
from tests.bench.busy_logs import CLOCK_HZ, busy_log

ROOT = Path(__file__).parents[2]


def repeated(log: RegisterLog, times: int) -> RegisterLog:
    """Return a log that many times, one after another."""
    cycle = np.concatenate([log.cycle + i * log.end for i in range(times)])
    return make_log(cycle, np.tile(log.address, times), np.tile(log.value, times), end=log.end * times)


def taken(act: Callable[[], object]) -> float:
    """Return the wall seconds that something takes."""
    begin = time.perf_counter()
    act()
    return time.perf_counter() - begin


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    chip = load_chip(ROOT / "patches" / "linnet.toml")
    jingle = load_log(ROOT / "patches" / "jingle.csv")
    tune = repeated(jingle, max(1, round(seconds * CLOCK_HZ / jingle.end)))
    for name, log in (("jingle repeated", tune), ("2,000 writes/s", busy_log(seconds, 2_000))):
        runs, follows, covers = [], [], []
        for _ in range(4):
            runs.append(taken(lambda log=log: run(chip, log)))
            follows.append(taken(lambda log=log: watch(chip, log)))
            covers.append(taken(lambda log=log: cover(chip, [log])))
        print(f"{name}: {log.end / CLOCK_HZ:.1f} s, {len(log)} writes; a run takes {min(runs):.3f} s")
        print(f"  channels followed  {min(follows) / min(runs):6.2f} x a run")
        print(f"  coverage in all    {min(covers) / min(runs):6.2f} x a run", flush=True)
    for path in [
        ROOT / "patches/linnet.toml",
        ROOT / "patches/siskin.toml",
        *(ROOT / "tests/chip/units").glob("*.toml"),
    ]:
        unit = load_chip(path)
        begin = time.perf_counter()
        (log,) = closing_logs(unit, 1)
        took = time.perf_counter() - begin
        found = cover(unit, [log])
        length = float(log.end / unit.clock_hz)
        print(
            f"{unit.unit.name}: closing log of {len(log)} writes, {length:.3f} s of sound, made in {took:.1f} s;",
            end=" ",
        )
        print(f"{len(found.reachable) - len(found.missing)} of {len(found.reachable)} behaviours")


if __name__ == "__main__":
    main()
