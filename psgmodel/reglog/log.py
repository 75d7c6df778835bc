"""RegisterLog: what software wrote, and when.

Stage: reglog. In: arrays. Out: one frozen log. Cycles count clock edges from 0, the first rising edge after
reset is released; a write at cycle c is the one that edge c samples.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.errors import Place, Problem, RegisterLogError
from psgmodel.steps import MAX_CYCLE

MAX_VALUE = 2**32 - 1
"""Largest address and value of any bus."""


@dataclass(frozen=True, slots=True, eq=False)
class RegisterLog:
    """Writes in the order in which they happen.

    Attributes
    ----------
    cycle : ndarray of int64, shape (n,), clock cycles, not decreasing
        Writes of one cycle keep their order.
    address, value : ndarray of int64, shape (n,)
    end : int, clock cycles
        First cycle that the log no longer covers; after every write.
    source : str
        Where the log came from, for messages.
    lines : ndarray of int64, shape (n,), or None
        Line of each write in a text file.
    """

    cycle: NDArray[np.int64]
    address: NDArray[np.int64]
    value: NDArray[np.int64]
    end: int
    source: str = "log"
    lines: NDArray[np.int64] | None = None

    def __len__(self) -> int:
        """Number of writes."""
        return int(self.cycle.size)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, RegisterLog):
            return NotImplemented
        return (
            self.end == other.end
            and np.array_equal(self.cycle, other.cycle)
            and np.array_equal(self.address, other.address)
            and np.array_equal(self.value, other.value)
        )

    def place(self, index: int) -> Place:
        """Return where write number `index` stands in its source."""
        if self.lines is None:
            return Place(f"{self.source}, write {index + 1}")
        return Place(self.source, int(self.lines[index]))

    def cut(self, start: int, end: int) -> RegisterLog:
        """Return the writes in ``start <= cycle < end``, with their cycles as they are."""
        first, last = np.searchsorted(self.cycle, [start, end])
        lines = None if self.lines is None else self.lines[first:last]
        part = slice(first, last)
        return RegisterLog(
            self.cycle[part], self.address[part], self.value[part], min(end, self.end), self.source, lines
        )

    def with_end(self, end: int) -> RegisterLog:
        """Return the same log with another end; writes at or past it are left out."""
        return RegisterLog(self.cycle, self.address, self.value, max(end, self.end), self.source, self.lines).cut(
            0, end
        )


def make_log(
    cycle: ArrayLike,
    address: ArrayLike,
    value: ArrayLike,
    *,
    end: int | None = None,
    source: str = "log",
    lines: ArrayLike | None = None,
) -> RegisterLog:
    """Make a checked log from arrays.

    Parameters
    ----------
    cycle, address, value : array_like of int, shape (n,)
    end : int, clock cycles, optional
        Default: the cycle after the last write.
    source : str, optional
        What messages call it.
    lines : array_like of int, shape (n,), optional

    Raises
    ------
    RegisterLogError
        Shapes differ, cycles run backwards, a number is negative or too large, or a write lies at or past `end`.
    """
    columns = [np.asarray(c) for c in (cycle, address, value)]
    columns = [c.astype(np.int64) if c.size == 0 else c for c in columns]
    if any(c.ndim != 1 or c.shape != columns[0].shape for c in columns):
        shapes = ", ".join(str(c.shape) for c in columns)
        text = f"cycle, address and value have the shapes {shapes}; three equal lists are expected"
        raise RegisterLogError(text, place=Place(source))
    if any(c.dtype.kind not in "iu" for c in columns):
        kinds = ", ".join(str(c.dtype) for c in columns)
        text = f"cycle, address and value have the types {kinds}; integers are expected"
        raise RegisterLogError(text, place=Place(source))
    at = None if lines is None else np.asarray(lines, dtype=np.int64)
    bare = RegisterLog(columns[0], columns[1], columns[2], 0, source, at)
    problems = []
    for name, column, largest in zip(
        ("cycle", "address", "value"), columns, (MAX_CYCLE, MAX_VALUE, MAX_VALUE), strict=True
    ):
        for index in np.flatnonzero((column < 0) | (column > largest)):
            problems.append(Problem(f"{name} {int(column[index])}, accepted: 0 to {largest}", bare.place(int(index))))
    for index in np.flatnonzero(columns[0][1:] < columns[0][:-1]) + 1:
        found, before = int(columns[0][index]), int(columns[0][index - 1])
        problems.append(
            Problem(f"cycle {found} after cycle {before}; cycles must not run backwards", bare.place(int(index)))
        )
    if problems:
        raise RegisterLogError(some_of(problems))
    last = int(columns[0][-1]) if columns[0].size else -1
    until = last + 1 if end is None else int(end)
    if not last < until <= MAX_CYCLE + 1:
        raise RegisterLogError(
            f"a log whose last write is at cycle {last} cannot end at cycle {until}", place=Place(source)
        )
    wide = [c.astype(np.int64) for c in columns]
    return RegisterLog(wide[0], wide[1], wide[2], until, source, at)


def some_of(problems: list[Problem], most: int = 20) -> list[Problem]:
    """Return the first problems and a line that counts the rest."""
    if len(problems) <= most:
        return problems
    return [*problems[:most], Problem(f"and {len(problems) - most} more")]
