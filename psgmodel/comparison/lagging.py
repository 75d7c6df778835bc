"""Lagging: whether two signals agree at another latency, told piece by piece.

Stage: compare. In: pieces of the model and of the dump over the same cycles, in order. Out: up to where they agree if
the dump is taken to be so late. Of what came only as many cycles are kept as the dump is late.
"""

from __future__ import annotations

from psgmodel.comparison.streams import first_difference, overlap
from psgmodel.steps import Steps, empty_steps


def trimmed(steps: Steps, start: int, end: int) -> Steps:
    """Return a part of a signal that keeps nothing of the rest in memory."""
    part = steps.cut(start, end)
    return Steps(part.cycle, part.level.copy(), part.end, None if part.unknown is None else part.unknown.copy())


class LaggingState:
    """Two signals so far.

    Attributes
    ----------
    latency : int, clock cycles
        The dump is taken to be so late.
    agrees_until : int, clock cycles
        First cycle of the model that differs, or that was not yet compared.
    agrees : bool
    changes : int
        Changes of the model that were compared.
    """

    def __init__(self, latency: int) -> None:
        self.latency, self.agrees, self.changes = latency, True, 0
        self.agrees_until = 0
        self._waiting: tuple[Steps, Steps] | None = None
        self._last: int | None = None

    def add(self, model: Steps, dump: Steps) -> None:
        """Add a piece of both, over the same cycles."""
        if not self.agrees:
            return
        if self._waiting is not None:
            model, dump = self._waiting[0].then(model), self._waiting[1].then(dump)
        ours, theirs = overlap(model, dump, self.latency)
        if not len(ours):
            self._waiting = model, dump
            return
        at = first_difference(ours, theirs)
        if at is not None:
            self.agrees, self.agrees_until, self._waiting = False, at, None
            return
        self.changes += len(ours) - 1 + (self._last is not None and int(ours.level[0]) != self._last)
        self._last, self.agrees_until = int(ours.level[-1]), ours.end
        self._waiting = _from(model, ours.end), _from(dump, ours.end + self.latency)


def _from(steps: Steps, cycle: int) -> Steps:
    """Return what follows from a cycle on, placed there where nothing does."""
    return trimmed(steps, cycle, steps.end) if cycle < steps.end else empty_steps(cycle)
