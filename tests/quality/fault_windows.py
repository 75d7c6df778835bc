"""Windows: a short part of a long log that still shows a difference, to begin shrinking with.

Stage: tests. In: a chip, a log, the cycle of the first difference. Out: logs, the shortest first. What was written
before the window is told once, the last write to each address; then everything moves to the front by whole turns of all
dividers together, so that ticks come where they came. Whether such a log still fails is for a simulator to say.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import lcm

import numpy as np

from psgmodel.chip import Chip
from psgmodel.diagnose.shrinking.judging import least_distance
from psgmodel.diagnose.shrinking.passes import only, with_columns
from psgmodel.reglog import RegisterLog
from psgmodel.reglog.bus import register_writes

WIDTHS = tuple(1 << bits for bits in range(13, 24, 2))
"""In clock cycles."""


def windows(chip: Chip, log: RegisterLog, first: int) -> Iterator[RegisterLog]:
    """Yield logs that end where `log` does and have only what was written in some cycles before `first`."""
    address, cycle = (getattr(register_writes(chip, log)[0], name) for name in ("address", "cycle"))
    turn = lcm(*(d.every * d.steps for d in chip.dividers.values())) if chip.dividers else 1
    apart = least_distance(log)
    for width in WIDTHS:
        begin = first - width
        earlier = np.flatnonzero(cycle < begin)
        if not earlier.size:
            return
        last = np.unique(address[earlier][::-1], return_index=True)[1]
        kept = np.concatenate([np.sort(earlier.size - 1 - last), np.flatnonzero(cycle >= begin)])
        part = only(chip, log, kept.tolist())
        moved = part.cycle.copy()
        early = int(np.count_nonzero(moved < begin))
        moved[:early] = begin - apart * np.arange(early, 0, -1)
        by = int(moved[0]) // turn * turn
        if by > 0:
            yield with_columns(part, moved - by, part.address, part.value, part.end - by)
