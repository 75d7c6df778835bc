"""Countdown: tick arithmetic of the fast engine.

Stage: engine, the fast one. Blocks that count ticks are not visited at ticks: their counters are brought up
to date by arithmetic when something else happens, and the edge of the next thing they do is computed.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.records import Divider

NEVER = 2**63 - 1
"""An edge that is not reached."""


class Epoch(NamedTuple):
    """A stretch in which a divider runs undisturbed.

    Attributes
    ----------
    begin : int
        First edge of the stretch; it lasts until the next one begins.
    lowest : int
        First edge within it at which a step can be.
    origin : int
        Edge at which step 0 is, or would have been.
    """

    begin: int
    lowest: int
    origin: int


def epochs_of(divider: Divider, begin: int, state: Sequence[int], restarts: Sequence[int]) -> list[Epoch]:
    """Return how a divider runs from edge `begin`, given its state there and the edges of its restarts."""
    wait, step = state
    first = begin + wait
    epochs = [Epoch(begin, first, first - step * divider.every)]
    for edge in restarts:
        after = edge + divider.after_restart
        if divider.restart_steps:
            epochs += [Epoch(edge, edge, edge), Epoch(edge + 1, after, after - divider.every)]
        else:
            epochs.append(Epoch(edge, after, after))
    return epochs


def divider_state(divider: Divider, epochs: Sequence[Epoch], end: int) -> list[int]:
    """Return edges until the next step from edge `end`, and its number."""
    epoch = [e for e in epochs if e.begin <= end][-1]
    turn = -(-(max(end, epoch.lowest) - epoch.origin) // divider.every)
    return [epoch.origin + turn * divider.every - end, turn % divider.steps]


class TickTrain:
    """The edges of one tick source."""

    def __init__(self, divider: Divider, at: Sequence[int], epochs: Sequence[Epoch]) -> None:
        self.every, self.turn = divider.every, divider.every * divider.steps
        self.at_steps = tuple(a * divider.every for a in at)
        self.epochs = epochs

    @cached_property
    def begins(self) -> list[int]:
        """First edge of each epoch."""
        return [e.begin for e in self.epochs]

    @cached_property
    def before(self) -> list[int]:
        """Ticks of the whole train before each epoch begins."""
        counts = [0]
        for index, begin in enumerate(self.begins[1:]):
            counts.append(counts[-1] + self._within(index, begin - 1))
        return counts

    def epoch_table(self) -> NDArray[np.int64]:
        """Return the epochs as an array. Shape (epochs, 3)."""
        return np.array(self.epochs, dtype=np.int64)

    def _number(self, epoch: Epoch, edge: int) -> int:
        """Return the number of the first tick after an edge, if the epoch went on for ever both ways."""
        turns, since = divmod(edge - epoch.origin, self.turn)
        return turns * len(self.at_steps) + bisect_right(self.at_steps, since)

    def _within(self, index: int, edge: int) -> int:
        """Return the ticks of one epoch up to and with an edge."""
        epoch = self.epochs[index]
        floor = max(epoch.begin, epoch.lowest) - 1
        return self._number(epoch, edge) - self._number(epoch, floor) if edge > floor else 0

    def _until(self, edge: int) -> int:
        """Return the ticks of the whole train up to and with an edge."""
        index = max(bisect_right(self.begins, edge) - 1, 0)
        return self.before[index] + self._within(index, edge)

    def at(self, edge: int) -> bool:
        """Return whether it ticks at an edge."""
        epoch = self.epochs[max(bisect_right(self.begins, edge) - 1, 0)]
        return edge >= epoch.lowest and (edge - epoch.origin) % self.turn in self.at_steps

    def between(self, after: int, up_to: int) -> int:
        """Return the number of ticks in ``after < edge <= up_to``."""
        return self._until(up_to) - self._until(after)

    def nth_after(self, edge: int, n: int) -> int:
        """Return the edge of the n-th tick after an edge; n is 1 or more."""
        wanted = self._until(edge) + n
        index = bisect_left(self.before, wanted) - 1
        epoch = self.epochs[index]
        number = self._number(epoch, max(epoch.begin, epoch.lowest) - 1) + wanted - self.before[index] - 1
        turn, place = divmod(number, len(self.at_steps))
        return epoch.origin + turn * self.turn + self.at_steps[place]


class PlainTrain(TickTrain):
    """The same for a divider that is never restarted and ticks once a turn: the common case, in fewer steps."""

    def __init__(self, divider: Divider, at: Sequence[int], epochs: Sequence[Epoch]) -> None:
        super().__init__(divider, at, epochs)
        self.origin = epochs[0].origin + self.at_steps[0]
        self.lowest = epochs[0].lowest - 1

    def at(self, edge: int) -> bool:
        """Return whether it ticks at an edge."""
        return edge > self.lowest and (edge - self.origin) % self.turn == 0

    def between(self, after: int, up_to: int) -> int:
        """Return the number of ticks in ``after < edge <= up_to``."""
        after, up_to = max(after, self.lowest), max(up_to, self.lowest)
        return (up_to - self.origin) // self.turn - (after - self.origin) // self.turn

    def nth_after(self, edge: int, n: int) -> int:
        """Return the edge of the n-th tick after an edge; n is 1 or more."""
        return self.origin + ((max(edge, self.lowest) - self.origin) // self.turn + n) * self.turn


def tick_train(divider: Divider, at: Sequence[int], epochs: Sequence[Epoch]) -> TickTrain:
    """Return the edges of one tick source: the steps `at` of a divider that runs as its epochs say."""
    plain = len(epochs) == 1 and len(at) == 1
    return (PlainTrain if plain else TickTrain)(divider, at, epochs)


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
