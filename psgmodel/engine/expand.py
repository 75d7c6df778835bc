"""Expand: from stretches of regular stepping to `Steps`.

Stage: engine, the fast one. In: rows that say "from this edge on, this level; the first step at that edge,
then one every so many cycles, through this table at this volume". Out: the channel's `Steps`. All arithmetic
is on whole arrays; only changes of level are ever written out, not steps and not cycles.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.steps import Steps, empty_steps, steps_from_rising

UNKNOWN_LEVEL = -(1 << 60)
"""Level of a row that is to be looked up in its table."""

LevelRule = Callable[[NDArray[np.int64], NDArray[np.int64]], NDArray[np.int64]]


class Row(NamedTuple):
    """One stretch of a channel.

    Attributes
    ----------
    start : int
        Edge from which `level` stands.
    level : int
        `UNKNOWN_LEVEL`: what the table has at `position`.
    first : int
        Edge of the first step within the stretch.
    length : int
        Cycles from one step to the next.
    steps : int
        Number of steps within the stretch.
    position : int
        Position in the table before the first step; counts on without end.
    table : int
        Index of the table; any where nothing is looked up.
    volume : int
    """

    start: int
    level: int
    first: int
    length: int
    steps: int
    position: int
    table: int
    volume: int


def expand_rows(rows: list[Row], tables: list[NDArray[np.integer]], level_of: LevelRule, end: int) -> Steps:
    """Return the signal that the rows describe.

    Parameters
    ----------
    rows : list of Row
        In order of time; a row lasts until the next one starts.
    tables : list of integer arrays, each shape (length,)
        Raw values by position; a position past the end begins again.
    level_of : function of (raw values, volumes) to levels
    end : int, clock cycles
    """
    if not rows:
        return empty_steps(end)
    start, level, first, length, steps, position, table, volume = np.array(rows, dtype=np.int64).T
    turns = _Turns(tables, np.maximum(table, 0), position)

    # Invariant: entry 0 of a row is its start, entry 1 its first step, the rest are changes in the table.
    stepping = steps > 0
    after_first = turns.changes_until(turns.position + 1)
    after_last = np.where(stepping, turns.changes_until(turns.position + steps), after_first)
    more = after_last - after_first
    entries = 1 + stepping + more
    at = np.cumsum(entries) - entries
    total = int(entries.sum())
    # Thin kernel: the changes of all rows in a line; three passes of gathering, no loop.
    is_change = np.ones(total, dtype=np.bool_)
    is_change[at] = False
    s = np.flatnonzero(stepping)
    is_change[at[s] + 1] = False
    index, late, turn = turns.changes(after_first, after_last)
    cycles = np.empty(total, dtype=np.int64)
    levels = np.empty(total, dtype=np.int32)
    cycles[at] = start
    cycles[at[s] + 1] = first[s]
    when = index * np.repeat(length, more) + np.repeat(first - (turns.base + turns.position + 1) * length, more)
    when[late] += turn * np.repeat(turns.size * length, more)[late]
    cycles[is_change] = when
    stood = level_of(turns.raw_at(turns.position), volume)
    levels[at] = np.where(level == UNKNOWN_LEVEL, stood, level)
    levels[at[s] + 1] = level_of(turns.raw_at(turns.position + 1)[s], volume[s])
    levels[is_change] = level_of(turns.raw[index], np.repeat(volume, more))
    return steps_from_rising(cycles, levels, end)


class _Turns:
    """Tables that repeat for ever, one for each row; none is written out more than once.

    Attributes
    ----------
    raw : ndarray of int64
        All tables, one behind the other.
    base, size : ndarray of int64, shape (rows,)
        Where the table of a row begins in `raw`, and its length.
    position : ndarray of int64, shape (rows,)
        Where each row begins, within the first turn of its table.
    """

    def __init__(
        self, tables: Sequence[NDArray[np.integer]], table: NDArray[np.int64], position: NDArray[np.int64]
    ) -> None:
        whole = [t.astype(np.int64) for t in tables] or [np.zeros(1, dtype=np.int64)]
        bases = _begins([t.size for t in whole])
        places = [np.flatnonzero(t != np.roll(t, 1)) for t in whole]
        counts = [p.size for p in places]
        self.raw = np.concatenate(whole)
        self._changed = np.concatenate([p + base for p, base in zip(places, bases, strict=True)])
        self.base, self.size = bases[table], np.array([t.size for t in whole], dtype=np.int64)[table]
        self._first, self._count = _begins(counts)[table], np.array(counts, dtype=np.int64)[table]
        self.position = position % self.size

    def raw_at(self, position: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the raw value at a position of each row. Shape (rows,)."""
        found: NDArray[np.int64] = self.raw[position % self.size + self.base]
        return found

    def changes_until(self, position: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the number of changes, from the beginning of its table, up to and with a position of each row."""
        turn, place = np.divmod(position, self.size)
        return turn * self._count + np.searchsorted(self._changed, place + self.base, side="right") - self._first

    def changes(
        self, begin: NDArray[np.int64], end: NDArray[np.int64]
    ) -> tuple[NDArray[np.int64], NDArray[np.intp], NDArray[np.int64]]:
        """Return the changes ``begin <= number < end`` of each row, row by row.

        Returns
        -------
        index : ndarray of int64, shape (n,)
            Of each change in `raw`, in the first turn of its table.
        late : ndarray of int, shape (m,)
            Which of them are in a later turn.
        turn : ndarray of int64, shape (m,)
            The turn in which these are.
        """
        more = end - begin
        number = np.arange(int(more.sum())) + np.repeat(begin - (np.cumsum(more) - more), more)
        late = np.flatnonzero(np.repeat(end > self._count, more))
        turn, number[late] = np.divmod(number[late], np.repeat(self._count, more)[late])
        return self._changed[number + np.repeat(self._first, more)], late, turn


def _begins(sizes: Sequence[int]) -> NDArray[np.int64]:
    """Return where each of some lists begins when they stand one behind the other."""
    return np.cumsum(np.array([0, *sizes[:-1]], dtype=np.int64))
