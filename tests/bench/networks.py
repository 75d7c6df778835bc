"""How quick the exact runs and the screening are. Run by hand: ``python tests/bench/networks.py``.

Medians of five, one process; read the ratios, not the seconds.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np

from psgmodel.output_stage.loads import LINE_INPUT
from psgmodel.output_stage.networks import (
    Drive,
    Ladder,
    PartKind,
    burdens,
    compile_ladder,
    frequency_response,
    run_from,
    sampled,
    screen_ladder,
    screen_network,
    series,
    shunt,
    state_space,
)
from psgmodel.output_stage.networks.kernels import march_plain, march_scalar
from psgmodel.steps import Steps, steps_from_changes

CLOCK = 6_144_000
R, C = PartKind.RESISTOR, PartKind.CAPACITOR
LADDER = Ladder(
    "two RC, coupled",
    (series(R, 1e3), shunt(C, 10e-9), series(R, 10e3), shunt(C, 1e-9), series(C, 10e-6)),
    LINE_INPUT,
    25.0,
)


def pulse_width(seconds: float) -> Steps:
    """Return nine-bit pulses at 12 kHz whose width follows a 1 kHz sine."""
    count = int(seconds * CLOCK / 512)
    width = np.rint(256 + 200 * np.sin(2 * np.pi * 1000 * np.arange(count) * 512 / CLOCK)).astype(np.int64)
    cycle = np.stack([512 * np.arange(count), 512 * np.arange(count) + width], axis=1).reshape(-1)
    return steps_from_changes(cycle, np.tile([1, 0], count), 512 * count)


def dense(seconds: float) -> Steps:
    """Return one random bit a cycle: the densest pin signal there is."""
    count = int(seconds * CLOCK)
    return steps_from_changes(np.arange(count), np.random.default_rng(1).integers(0, 2, count), count)


def seconds_of(work: Callable[[], object]) -> float:
    """Return the median time of five runs."""
    times = []
    for _ in range(5):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return statistics.median(times)


def exact_runs() -> None:
    """Print what exact runs cost against the length of the signal."""
    space = state_space(compile_ladder(LADDER))
    for name, steps, length in (
        ("pulse width, 0.1 s", pulse_width(0.1), 0.1),
        ("one bit a cycle, 0.1 s", dense(0.1), 0.1),
        ("pulse width, 10 s", pulse_width(10.0), 10.0),
    ):
        drive = Drive(steps, CLOCK, 3.3)
        edges = seconds_of(lambda d=drive: run_from(space, d))
        grid = seconds_of(lambda d=drive: sampled(space, d, space.output(), 384_000))
        run = run_from(space, drive)
        peaks = seconds_of(lambda r=run: r.extremes(space.output()))
        print(
            f"{name:24s} {len(steps):7d} edges: states at edges {1e3 * edges:8.2f} ms ({1e9 * edges / len(steps):5.0f} "
            f"ns an edge), samples at 384 kHz {1e3 * grid:8.2f} ms ({length / grid:5.0f} x real time), "
            f"extremes {1e3 * peaks:8.2f} ms"
        )
    run = run_from(space, Drive(pulse_width(0.1), CLOCK, 3.3))
    print(f"currents and heat of {len(burdens(run))} parts over 0.1 s: {1e3 * seconds_of(lambda: burdens(run)):.1f} ms")
    decay = np.exp(-np.random.default_rng(2).exponential(1.0, 100_000))
    plain = seconds_of(lambda: march_plain(decay, decay, np.float64(0)))
    quick = seconds_of(lambda: march_scalar(decay, decay, np.float64(0)))
    print(f"march of 100 000 edges, plain loop over rows at once: {plain / quick:.0f}")


def screening() -> None:
    """Print how many candidates a second are screened at ten frequencies."""
    rng = np.random.default_rng(3)
    count, frequency = 5000, np.logspace(2, 6, 10)
    values = {n: 10 ** rng.uniform(2.5, 4, count) for n in ("R1", "R2")}
    values |= {n: 10 ** rng.uniform(-9, -7.5, count) for n in ("C1", "C2")}
    network = compile_ladder(LADDER)
    ladder = count / seconds_of(lambda: screen_ladder(LADDER, frequency, values))
    nodal = count / seconds_of(lambda: screen_network(network, frequency, values))
    single = 200 / seconds_of(lambda: [frequency_response(network, frequency) for _ in range(200)])
    print(f"candidates a second at ten frequencies: ladder {ladder:,.0f}, nodal {nodal:,.0f}, one by one {single:,.0f}")
    print(f"ratios: ladder / nodal {ladder / nodal:.1f}, nodal / one by one {nodal / single:.1f}")


if __name__ == "__main__":
    exact_runs()
    screening()
