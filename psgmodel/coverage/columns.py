"""Columns: what is asked of the rows of a watched channel.

Stage: coverage. In: a `Watched`. Out: an array for each column, with an entry for each edge that was shown, and for
each field before and after the writes of the edge.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.records import Chip
from psgmodel.coverage.following import own_registers
from psgmodel.engine.followed import Watched
from psgmodel.steps import Steps

Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

NEVER = 1 << 50
"""More counts than any step has."""


def mask(found: Any) -> Mask:
    """Return an expression over columns as a mask."""
    return np.asarray(found, dtype=np.bool_)


def ints(found: Any) -> Ints:
    """Return an expression over columns as a column."""
    return np.asarray(found, dtype=np.int64)


class Columns:
    """The edges at which something happened to a channel; attributes are its columns, as `Watched` has them.

    Attributes
    ----------
    chip : Chip
    name : str
    channel : Channel
    routes : Steps
        More than 0 where an output lets the channel through.
    """

    def __init__(self, chip: Chip, name: str, watched: Watched, routed: Steps) -> None:
        self.chip, self.name, self.channel = chip, name, chip.channels[name]
        self._columns, self._old, self._new = watched.columns, watched.old, watched.new
        self._standing = watched.standing
        self._registers = own_registers(chip, name)
        self.routes = routed
        self._told: dict[Hashable, NDArray[Any]] = {}

    def __getattr__(self, column: str) -> NDArray[Any]:
        try:
            found: NDArray[Any] = self.__dict__["_columns"][column]
        except KeyError:
            raise AttributeError(column) from None
        return found

    def once(self, key: Hashable, make: Callable[[], NDArray[Any]]) -> NDArray[Any]:
        """Return what `make` makes, made once for a key: many behaviours ask for the same."""
        if key not in self._told:
            self._told[key] = make()
        return self._told[key]

    def is_(self, flag: str) -> Mask:
        """Return a column of yes and no."""
        return mask(self._columns[flag])

    def old(self, field: str) -> Ints:
        """Return a field as it stood before the edges."""
        return self._old[field] if field in self._old else np.zeros(self.edge.size, np.int64)

    def new(self, field: str) -> Ints:
        """Return a field as the writes of the edges left it."""
        return self._new[field] if field in self._new else np.zeros(self.edge.size, np.int64)

    def stands(self, field: str) -> Ints:
        """Return a field as it stands from each edge on, until the next one that is shown."""
        if field not in self._old or not self.edge.size:
            return self.new(field)
        return np.append(self.old(field)[1:], self._standing[field])

    def seen(self, field: str) -> Ints:
        """Return a field as a start sees it."""
        return self.new(field) if self.channel.start_delay == 0 else self.old(field)

    def at_tick(self, field: str, rule: str) -> Ints:
        """Return a field as a tick sees it under a `write_and_tick` rule."""
        return self.new(field) if rule == "new" else self.old(field)

    def wrote(self, field: str) -> Mask:
        """Return where a register of a field was written."""
        found = self.chip.fields.get(f"{self.name}.{field}")
        addresses = {s.address for s in found.segments} if found else set()
        return mask(
            (self._columns["wrote"] & sum(1 << i for i, a in enumerate(self._registers) if a in addresses)) != 0
        )

    def wrote_register(self, address: int) -> Mask:
        """Return where a register was written."""
        return mask((self._columns["wrote"] >> self._registers.index(address) & 1) == 1)

    def changed(self, field: str, to: int | None = None) -> Mask:
        """Return where a write changed a field, perhaps to a certain value."""
        different: Mask = self.old(field) != self.new(field)
        return different if to is None else different & (self.new(field) == to)

    def total(self, counts: Ints, value: Ints, where: Mask) -> Ints:
        """Return for each edge the sum of `counts` over the run around it in which `value` is one and `where` holds."""
        if counts.size == 0:
            return counts
        new_run = np.append(True, (value[1:] != value[:-1]) | ~where[1:] | ~where[:-1])
        run = np.cumsum(new_run) - 1
        sums = np.zeros(int(run[-1]) + 1, np.int64)
        np.add.at(sums, run, np.where(where, counts, 0))
        return np.where(where, sums[run], 0)

    def last_loaded(self, where: Mask, value: Ints) -> Ints:
        """Return what `value` was at the last edge, before each edge, at which `where` holds; -1 before the first."""
        number = np.arange(self.edge.size)
        last = np.maximum.accumulate(np.append(-1, np.where(where, number, -1)[:-1])) if self.edge.size else number
        return np.where(last >= 0, value[last], -1)

    def lasted(self, before: Ints, after: Ints, was: Mask, is_: Mask, begins: Mask, until: Mask) -> Ints:
        """Return the values that stood from where `begins` holds to where `until` does.

        `before` and `after` are the values before and after the edges; all the while `was` held before them, and `is_`
        after them.
        """
        broken = np.cumsum(~is_ | (~begins & (before != after)))
        whole = self.last_loaded(begins, broken) == np.append(0, broken)[:-1]
        return ints(before[until & was & whole & (self.last_loaded(begins, ints(is_)) == 1)])

    def upcoming(self, column: Ints) -> Ints:
        """Return a column one edge on: what happens where the stretch after each edge ends."""
        return np.append(column[1:], 0)
