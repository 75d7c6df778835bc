"""Countdown: tick arithmetic of the fast engine.

Stage: engine, the fast one. Blocks that count ticks are not visited at ticks: their counters are brought up
to date by arithmetic when something else happens, and the edge of the next thing they do is computed.
"""

from __future__ import annotations

from psgmodel.chip.records import Divider

NEVER = 2**63 - 1
"""An edge that is not reached."""


class TickTrain:
    """The edges of one tick source."""

    __slots__ = ("every", "first")

    def __init__(self, divider: Divider) -> None:
        self.first, self.every = divider.first, divider.every

    def at(self, edge: int) -> bool:
        """Return whether it ticks at an edge."""
        return edge >= self.first and (edge - self.first) % self.every == 0

    def between(self, after: int, up_to: int) -> int:
        """Return the number of ticks in ``after < edge <= up_to``."""
        return max((up_to - self.first) // self.every, -1) - max((after - self.first) // self.every, -1)

    def nth_after(self, edge: int, n: int) -> int:
        """Return the edge of the n-th tick after an edge; n is 1 or more."""
        return self.first + self.every * (max((edge - self.first) // self.every, -1) + n)


def counted_down(count: int, ticks: int, reload: int) -> int:
    """Return a block counter after some ticks.

    The counter acts at the tick that finds it 0 or 1, and reloads there; else it goes down by one.
    """
    if ticks == 0:
        return count
    turn = max(count, 1)
    if ticks < turn:
        return turn - ticks
    return reload - (ticks - turn) % reload
