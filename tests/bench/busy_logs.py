"""Busy logs for the benchmarks: Linnet driven at a stated number of writes per second, from a stated seed.

First a triangle is written to the wave memory. All four channels play; each note sets up period, note, shape and start;
in between, periods slide and volumes change, as a music routine would. Half of the time the noise runs dense: lowest
divisor, so a shift every 4 << s cycles, with s drawn evenly from 0 to 7; every 4 cycles is as dense as Linnet can. Half
of the shifts or so change the level; `engine_speed` tells how many changes come out.
"""

from __future__ import annotations

import random

import numpy as np

from psgmodel.reglog import RegisterLog, make_log

CLOCK_HZ = 6_144_000
BASES = (0x08, 0x10, 0x18, 0x20)
WAVE_MEMORY, WAVE_SAMPLES, LARGEST_SAMPLE = 0x40, 64, 63


def busy_log(seconds: float, writes_per_second: float, seed: int = 1) -> RegisterLog:
    """Return a log of the given length and density."""
    rng = random.Random(seed)
    end = round(seconds * CLOCK_HZ)
    count = round(seconds * writes_per_second)
    cycles = np.linspace(2000, end - 2000, count).astype(np.int64)
    ramp = range(1, LARGEST_SAMPLE + 1, 2)
    rows = [(WAVE_MEMORY + index, sample) for index, sample in enumerate([*ramp, *reversed(ramp)])]
    assert len(rows) == WAVE_SAMPLES
    while len(rows) < count:
        base = rng.choice(BASES)
        burst = [
            (base, rng.randrange(256)),
            (base + 2, 0x80 | rng.randrange(8, 32)),
            (base + 3, rng.randrange(20, 200)),
        ]
        burst += [(base + 4, rng.choice((1, 2, 3, 0x82))), (base + 6, 1)]
        if base == 0x20:
            dense = len(rows) % 4000 < 2000
            burst[0] = (base, rng.randrange(8) << 4 | (0 if dense else rng.randrange(4, 9)))
        else:
            burst.insert(1, (base + 1, rng.choice((0, 1, 2, 3)) | rng.randrange(4) << 4))
            burst += [(base, rng.randrange(256)) for _ in range(rng.randrange(6))]
        if base == 0x08:
            burst.append((0x0D, rng.choice((0, 0x12, 0x2B))))
        if rng.random() < 0.05:
            burst.append((0x00, rng.choice((0xFF, 0xE7, 0xDB))))
        rows += burst
    address, value = np.array(rows[:count], dtype=np.int64).T
    return make_log(cycles, address, value, end=end)
