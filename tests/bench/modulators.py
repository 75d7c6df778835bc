"""Cost of the modulators: one second of output beside one second, and nanoseconds a clock.

Run by hand: ``python tests/bench/modulators.py``. Processor time, so that a busy machine matters little; ratios come
from one run; compare them with one another only.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from psgmodel.output_stage.measures import line_spectrum
from psgmodel.output_stage.modulators import (
    FirstOrder,
    LfsrDither,
    NoiseShaper,
    Pwm,
    first_order,
    pwm,
    second_order,
    second_order_batch,
    second_order_of_width,
    shape_noise,
    steps_of_samples,
)

CLOCK = 49_152_000
UPDATE = 48_000


def timed(run: Callable[[], object]) -> float:
    """Return the median processor time of three runs. Unit: s."""
    spent = []
    for _ in range(3):
        begin = time.process_time()
        run()
        spent.append(time.process_time() - begin)
    return sorted(spent)[1]


def report(name: str, seconds: float, clocks: int) -> None:
    """Print the cost of a run of `clocks` clocks."""
    real = clocks / CLOCK
    print(f"{name:44s} {seconds / clocks * 1e9:8.2f} ns a clock  {real / seconds:8.3f} x real time at {CLOCK} Hz")


def main() -> None:
    """Measure and print."""
    codes = np.random.default_rng(1).integers(100, 412, UPDATE)
    second = steps_of_samples(codes, CLOCK // UPDATE)
    report("first order, 9 bits, 1 s", timed(lambda: first_order(second, FirstOrder(9))), CLOCK)
    carrier = steps_of_samples(codes, 1024)
    report("PWM, 512 positions, 1 s", timed(lambda: pwm(carrier, Pwm(512))), CLOCK)
    short = second.cut(0, 2**20)
    form = second_order_of_width(9)
    report("second order, one loop", timed(lambda: second_order(short, form)), 2**20)
    dithered = second_order_of_width(9, dither=LfsrDither(16, (16, 15, 13, 4), 8, 2))
    report("second order, one loop, dithered", timed(lambda: second_order(short, dithered)), 2**20)
    for channels in (16, 256):
        table = np.broadcast_to(np.arange(channels)[:, np.newaxis], (channels, 2**13))
        seconds = timed(lambda t=table: second_order_batch(t, form))
        report(f"second order, {channels} loops side by side, each", seconds, channels * 2**13)
    fine = np.random.default_rng(2).integers(10_000, 50_000, 1_000_000)
    for seed in (None, 3):
        seconds = timed(lambda s=seed: shape_noise(fine, NoiseShaper(2, 256, 255, s)))
        print(f"{'shaper, order 2, dither ' + str(seed is not None):44s} {seconds * 1e3:8.2f} ns an update")
    pin = pwm(carrier, Pwm(512)).steps
    seconds = timed(lambda: line_spectrum(pin, CLOCK, 0, CLOCK, highest_hz=20_000))
    print(f"{'20 k exact lines of 1 s of a PWM pin':44s} {seconds:8.2f} s")


if __name__ == "__main__":
    main()
