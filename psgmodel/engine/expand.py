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

from psgmodel.steps import Steps, empty_steps, steps_from_changes

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
    start, level, first, length, count, position, table, volume = np.array(rows, dtype=np.int64).T
    table = np.maximum(table, 0)
    sizes = np.array([t.size for t in tables] or [1], dtype=np.int64)
    base = np.cumsum(sizes) - sizes
    raw = np.concatenate([np.asarray(t, dtype=np.int64) for t in tables]) if tables else np.zeros(1, np.int64)
    before = np.concatenate([np.roll(t, 1) for t in tables]) if tables else raw
    changed = np.flatnonzero(raw != before)
    offset = np.searchsorted(changed, base)
    per_turn = np.append(offset[1:], changed.size) - offset

    def changes_up_to(x: NDArray[np.int64], t: NDArray[np.int64]) -> NDArray[np.int64]:
        """Count the changes at table positions 0 to x, position x included."""
        within = np.searchsorted(changed, base[t] + x % sizes[t], side="right") - offset[t]
        return x // sizes[t] * per_turn[t] + within

    # Invariant: entry 0 of a row is its start, entry 1 its first step, the rest are changes in the table.
    stepping = count > 0
    more = np.zeros(count.size, dtype=np.int64)
    done = changes_up_to(position + 1, table)
    more[stepping] = (changes_up_to(position + count, table) - done)[stepping]
    entries = 1 + stepping + more
    at = np.cumsum(entries) - entries
    cycles = np.empty(int(entries.sum()), dtype=np.int64)
    levels = np.empty(cycles.size, dtype=np.int64)
    stood = level_of(raw[base[table] + position % sizes[table]], volume)
    cycles[at], levels[at] = start, np.where(level == UNKNOWN_LEVEL, stood, level)
    s = np.flatnonzero(stepping)
    cycles[at[s] + 1] = first[s]
    levels[at[s] + 1] = level_of(raw[base[table[s]] + (position[s] + 1) % sizes[table[s]]], volume[s])
    row = np.repeat(np.arange(count.size), more)
    rank = np.arange(row.size) - np.repeat(np.cumsum(more) - more, more)
    t = table[row]
    turn, index = np.divmod(done[row] + rank, np.maximum(per_turn[t], 1))
    where = changed[np.minimum(offset[t] + index, max(changed.size - 1, 0))] if row.size else row
    step = turn * sizes[t] + where - base[t]
    to = at[row] + 2 + rank
    cycles[to] = first[row] + (step - position[row] - 1) * length[row]
    levels[to] = level_of(raw[where], volume[row])
    return steps_from_changes(cycles, levels, end)
