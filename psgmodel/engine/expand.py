"""Expand: from stretches of regular stepping to `Steps`.

Stage: engine, the fast one. In: rows that say "from this edge on, this level; the first step at that edge,
then one every so many cycles, through this table at this volume". Out: the channel's `Steps`. All arithmetic
is on whole arrays; only changes of level are ever written out, not steps and not cycles.
"""

from __future__ import annotations

from collections.abc import Callable
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
    table = np.maximum(table, 0)
    turns = _Turns(tables, table, steps)
    position = position % turns.size[table] + turns.base[table]

    # Invariant: entry 0 of a row is its start, entry 1 its first step, the rest are changes in the table.
    stepping = steps > 0
    after_first = np.searchsorted(turns.changed, position + 1, side="right")
    after_last = np.searchsorted(turns.changed, position + steps, side="right")
    more = np.where(stepping, after_last - after_first, 0)
    entries = 1 + stepping + more
    at = np.cumsum(entries) - entries
    total = int(entries.sum())
    # Thin kernel: the changes of all rows in a line; three passes of gathering, no loop.
    is_change = np.ones(total, dtype=np.bool_)
    is_change[at] = False
    s = np.flatnonzero(stepping)
    is_change[at[s] + 1] = False
    index = np.arange(int(more.sum())) + np.repeat(after_first - (np.cumsum(more) - more), more)
    where = turns.changed[index]
    cycles = np.empty(total, dtype=np.int64)
    levels = np.empty(total, dtype=np.int32)
    cycles[at] = start
    cycles[at[s] + 1] = first[s]
    cycles[is_change] = where * np.repeat(length, more) + np.repeat(first - (position + 1) * length, more)
    stood = level_of(turns.raw[position], volume)
    levels[at] = np.where(level == UNKNOWN_LEVEL, stood, level)
    levels[at[s] + 1] = level_of(turns.raw[position[s] + 1], volume[s])
    levels[is_change] = level_of(turns.raw[where], np.repeat(volume, more))
    return steps_from_rising(cycles, levels, end)


class _Turns:
    """Tables one behind the other, each repeated until any row can run through it without coming to its end.

    Attributes
    ----------
    size, base : ndarray of int64, shape (tables,)
        Positions of one turn, and where the table begins in `raw`.
    raw : ndarray of int32, shape (n,)
    changed : ndarray of int64
        Where `raw` differs from the entry before.
    """

    def __init__(self, tables: list[NDArray[np.integer]], table: NDArray[np.int64], steps: NDArray[np.int64]) -> None:
        whole = tables or [np.zeros(1, dtype=np.int32)]
        self.size = np.array([t.size for t in whole], dtype=np.int64)
        most = np.zeros(self.size.size, dtype=np.int64)
        np.maximum.at(most, table, steps)
        reach = (most + self.size) // self.size + 1
        repeated = [np.tile(t.astype(np.int32), n) for t, n in zip(whole, reach, strict=True)]
        lengths = np.array([t.size for t in repeated], dtype=np.int64)
        self.base = np.cumsum(lengths) - lengths
        self.raw = np.concatenate(repeated)
        self.changed = np.flatnonzero(np.diff(self.raw, prepend=self.raw[:1]))
