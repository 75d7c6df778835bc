"""How the event engine's time grows with the length of a log and with its writes: linear, or it says so.

Run by hand: ``python tests/bench/growth.py [FOLDER]``; draws FOLDER/growth.png (out). Times are processor seconds of
one process, the best of two; the noise clock is the same in every log, so that level changes grow with the length and
not with the writes. Linear means: no point is off the straight line by more than `TOLERANCE` of the largest time, and
the line starts near 0. Exit status 1 where that is not so.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import matplotlib as mpl

mpl.use("Agg")

import matplotlib.pyplot as plt
import numpy as np

from psgmodel.chip import load_chip
from psgmodel.engine import run_pieces
from tests.bench.busy_logs import CLOCK_HZ, busy_log

ROOT = Path(__file__).parents[2]
MINUTES = (1, 2, 5, 10, 20, 60)
WRITES_PER_SECOND = (100, 1_000, 5_000, 20_000, 100_000)
TOLERANCE = 0.15


def cost(seconds: float, writes_per_second: float) -> float:
    """Return the processor seconds of a run in pieces of ten seconds."""
    chip = load_chip(ROOT / "patches" / "linnet.toml")
    log = busy_log(seconds, writes_per_second)
    times = []
    for _ in range(2):
        begin = time.process_time()
        for _ in run_pieces(chip, log, 10 * CLOCK_HZ):
            pass
        times.append(time.process_time() - begin)
    return min(times)


def main() -> int:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "out"
    linear = True
    cost(5, 1_000)  # tables that are made once
    by_length = [cost(60 * minutes, 100) for minutes in MINUTES]
    by_writes = [cost(10, rate) for rate in WRITES_PER_SECOND]
    figure, (left, right) = plt.subplots(1, 2, figsize=(9, 4), layout="constrained")
    lengths, writes = np.array(MINUTES), np.array(WRITES_PER_SECOND) * 10
    for axes, x, y, label in (
        (left, lengths, by_length, "length in minutes, 100 writes/s"),
        (right, writes, by_writes, "writes in 10 s"),
    ):
        slope, rest = np.polyfit(x, y, 1)
        worst = float(np.max(np.abs(np.polyval((slope, rest), x) - y)) / max(y))
        axes.plot(x, y, "o", color="C0")
        axes.plot(x, np.polyval((slope, rest), x), color="C1")
        linear &= worst <= TOLERANCE and abs(float(rest)) <= TOLERANCE * max(y)
        axes.set(xlabel=label, ylabel="processor time in s", title=f"off the line by at most {100 * worst:.1f} %")
        axes.grid(alpha=0.3)
        print(label, "|", ", ".join(f"{a:g}: {b:.2f} s" for a, b in zip(x, y, strict=True)), f"| {axes.get_title()}")
    figure.savefig(folder / "growth.png", dpi=120)
    print("linear" if linear else f"NOT LINEAR within {100 * TOLERANCE:.0f} %")
    return 0 if linear else 1


if __name__ == "__main__":
    sys.exit(main())
