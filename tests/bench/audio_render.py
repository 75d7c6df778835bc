"""Benchmark: level changes to samples. Run by hand: ``python tests/bench/audio_render.py``.

Prints ratios measured in one run: signal time over processor time, and the same work done by soxr (VHQ) on the dense
signal, which first has to be made. Dense noise and sparse tones are made here, not by an engine.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from fractions import Fraction

import numpy as np
import soxr

from psgmodel.audio import render_steps
from psgmodel.steps import Steps, steps_from_changes

SECONDS = 60
CHANGES = 6_500_000
JUDGE_SECONDS = 4


def noise(clock_hz: int | Fraction, seconds: int, changes: int) -> Steps:
    """Changes at random multiples of 8 cycles, 9-bit levels."""
    rng = np.random.default_rng(1)
    span = int(clock_hz * seconds)
    at = np.sort(rng.integers(0, span // 8, changes)) * 8
    return steps_from_changes(at, rng.integers(0, 512, changes), span)


def processor_seconds(work: Callable[[], object], runs: int = 3) -> float:
    times = []
    for _ in range(runs):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return statistics.median(times)


def main() -> None:
    print(f"{CHANGES / 1e6:.1f} M changes over {SECONDS} s")
    print(f"{'clock Hz':>14} {'rate':>7} {'signal':>8} {'x real time':>12}")
    for clock_hz in (6_144_000, 4_761_900, Fraction(100_000_000, 3)):
        dense = noise(clock_hz, SECONDS, CHANGES)
        sparse = noise(clock_hz, SECONDS, 60_000)
        for rate in (44_100, 48_000, 96_000):
            for name, steps in (("noise", dense), ("tones", sparse)):
                taken = processor_seconds(lambda s=steps, c=clock_hz, r=rate: render_steps(s, c, r, full_scale=511))
                print(f"{clock_hz!s:>14} {rate:>7} {name:>8} {SECONDS / taken:>12.0f}")
    clock_hz, rate = 6_144_000, 48_000
    steps = noise(clock_hz, JUDGE_SECONDS, CHANGES * JUDGE_SECONDS // SECONDS)

    def judge() -> object:
        every_cycle = np.repeat(steps.level.astype(np.float32), steps.durations())
        return soxr.resample(every_cycle, clock_hz, rate, quality="VHQ")

    ours = processor_seconds(lambda: render_steps(steps, clock_hz, rate, full_scale=511))
    theirs = processor_seconds(judge, runs=1)
    print(f"{clock_hz} Hz to {rate} Hz, noise: soxr VHQ on every cycle takes {theirs / ours:.0f} times as long")


if __name__ == "__main__":
    main()
