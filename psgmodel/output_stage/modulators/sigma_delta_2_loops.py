"""The loops of the second-order modulator: one channel in plain Python, many channels in NumPy.

Stage: modulator, inner part of `sigma_delta_2`, whose register text both must equal. In: the signed input of each
clock, the dither of each clock. Out: the pin of each clock and the count of clamped clocks. A compiled loop can
stand in for `run_loop`: it takes and fills plain arrays.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Loop(NamedTuple):
    """The numbers the loop needs."""

    feedback: int
    limit1: int
    limit2: int


def run_loop(
    u: NDArray[np.int64],
    dither: NDArray[np.int64] | None,
    loop: Loop,
    state: tuple[int, int, int],
    bits: NDArray[np.uint8],
) -> tuple[int, int, int, int, int]:
    """Run one loop over `u`, fill `bits`; return a1, a2, pin, clamped clocks, and the first of them (-1: none)."""
    # Must equal the register text of `sigma_delta_2`.
    feedback, top1, top2 = loop.feedback, loop.limit1, loop.limit2
    a1, a2, pin = state
    acted, where = 0, -1
    f = feedback if pin else -feedback
    words = [0] * u.size if dither is None else dither.tolist()
    out = bytearray(u.size)
    for n, (x, d) in enumerate(zip(u.tolist(), words, strict=True)):
        a1 += x - f
        if not -top1 <= a1 < top1:
            a1, acted, where = (top1 - 1 if a1 > 0 else -top1), acted + 1, (n if where < 0 else where)
            a2 += a1 - f
            if not -top2 <= a2 < top2:
                a2 = top2 - 1 if a2 > 0 else -top2
        else:
            a2 += a1 - f
            if not -top2 <= a2 < top2:
                a2, acted, where = (top2 - 1 if a2 > 0 else -top2), acted + 1, (n if where < 0 else where)
        if a2 + d >= 0:
            out[n] = 1
            f = feedback
        else:
            f = -feedback
    bits[:] = np.frombuffer(out, dtype=np.uint8)
    return a1, a2, int(f > 0), acted, where


def run_loops(
    u: NDArray[np.int64], dither: NDArray[np.int64] | None, loop: Loop
) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    """Run many loops from reset; `u` and the bits have shape (clocks, channels), the clamped clocks (channels,)."""
    # Must equal `run_loop`, channel by channel.
    clocks, channels = u.shape
    a1, a2 = np.zeros(channels, dtype=np.int64), np.zeros(channels, dtype=np.int64)
    f = np.full(channels, -loop.feedback, dtype=np.int64)
    bits = np.empty((clocks, channels), dtype=np.uint8)
    acted = np.zeros(channels, dtype=np.int64)
    for n in range(clocks):
        wide1 = a1 + u[n] - f
        a1 = np.minimum(np.maximum(wide1, -loop.limit1), loop.limit1 - 1)
        wide2 = a2 + a1 - f
        a2 = np.minimum(np.maximum(wide2, -loop.limit2), loop.limit2 - 1)
        acted += (wide1 != a1) | (wide2 != a2)
        high = a2 >= (0 if dither is None else -dither[n])
        bits[n] = high
        f = np.where(high, loop.feedback, -loop.feedback)
    return bits, acted
