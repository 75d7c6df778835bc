"""Benchmark: comparing two streams, against numpy.array_equal on the same arrays in the same run.

Run by hand: ``python tests/bench/compare_streams.py [changes]`` (50 million where not given). The goal: the yes of two
equal streams costs at most twice what numpy.array_equal on cycles and levels costs.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable

import numpy as np

from psgmodel.comparison.alignment import estimate_latency, find_offset_change
from psgmodel.comparison.streams import count_differences, first_difference
from psgmodel.steps import Steps


def seconds(action: Callable[[], object], runs: int = 5) -> float:
    """Median of some runs, after one that does not count."""
    action()
    taken = []
    for _ in range(runs):
        begin = time.perf_counter()
        action()
        taken.append(time.perf_counter() - begin)
    return statistics.median(taken)


def main() -> None:
    changes = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000_000
    rng = np.random.default_rng(1)
    cycle = np.cumsum(rng.integers(1, 40, changes, dtype=np.int64))
    level = np.cumsum(rng.integers(1, 4, changes, dtype=np.int32)) & np.int32(15)
    end = int(cycle[-1]) + 10
    model = Steps(cycle, level.astype(np.int32), end)
    dump = Steps(cycle.copy(), model.level.copy(), end)

    def whole() -> bool:
        return np.array_equal(model.cycle, dump.cycle) and np.array_equal(model.level, dump.level)

    base = seconds(whole)
    print(f"{changes} changes; numpy.array_equal on cycles and levels: 1 ({base:.3f} s here)")
    print(f"first_difference, equal streams: {seconds(lambda: first_difference(model, dump)) / base:.2f}")
    dump.level[changes // 2] ^= 16
    print(f"first_difference, one level differs half way: {seconds(lambda: first_difference(model, dump)) / base:.2f}")
    at = first_difference(model, dump)
    assert at == int(cycle[changes // 2])
    print(f"count_differences: {seconds(lambda: count_differences(model, dump), 1) / base:.2f}")
    print(f"find_offset_change: {seconds(lambda: find_offset_change(model, dump, 0, at), 1) / base:.2f}")
    late = Steps(np.append(0, dump.cycle + 3), np.append(0, model.level), end + 3)
    print(f"estimate_latency: {seconds(lambda: estimate_latency([(model, late)]), 1) / base:.2f}")


if __name__ == "__main__":
    main()
