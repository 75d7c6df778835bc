"""A log of every channel of Linnet that was made by hand, short enough for many simulations.

Stage: tests. In: nothing. Out: 40 writes in 450 cycles, of which two are one cycle apart; ends at cycle 2000.
"""

from __future__ import annotations

from psgmodel.reglog import RegisterLog, make_log

WRITES = (
    *((0x40 + k, 3 * k) for k in range(20)),
    (0x01, 0x00), (0x08, 0x20), (0x09, 0x10), (0x0A, 0x1F), (0x0E, 0x01),
    (0x18, 0x09), (0x1A, 0x1F), (0x1E, 0x01), (0x20, 0x00), (0x22, 0x0F), (0x26, 0x01),
    (0x10, 0x40), (0x11, 0x10), (0x14, 0x81), (0x12, 0x1F), (0x13, 0x04), (0x16, 0x01),
    (0x0E, 0x02), (0x1E, 0x02), (0x26, 0x02),
)  # fmt: skip


def hand_made_log() -> RegisterLog:
    """Return the log."""
    cycles = [11 * k for k in range(len(WRITES))]
    cycles[1] = 1
    return make_log(cycles, [a for a, _ in WRITES], [v for _, v in WRITES], end=2000, source="hand-made")
