"""What sampling gives: the values held just before each counted clock edge, and `Steps` made of them.

Stage: dump. In: pairs (edge, value), one for each edge at which a sampled value differs from the one before.
Out: `Steps` over cycles. The one rule, everywhere: an edge samples the value held just before it; a change
with the time stamp of the edge itself comes too late for it.

Cycle c is counted edge c. ``level[c]`` of a level signal stands between edge c and edge c + 1, so it is what edge
c + 1 samples; of N counted edges the last one begins a cycle that no further edge samples, so a level signal
covers the cycles 0 to N - 2 and ends at N - 1. What edge c itself samples is the bus of cycle c (module `bus`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.dump.header import Timescale
from psgmodel.dump.select import one_path
from psgmodel.errors import DumpError, Place, Problem
from psgmodel.steps import Steps, steps_from_changes

_INT32_MIN, _INT32_MAX = -(2**31), 2**31 - 1


@dataclass(frozen=True, slots=True, eq=False)
class EdgeSamples:
    """One signal as the counted edges sample it.

    Edge k samples ``value[i]`` of the last i with ``edge[i] <= k``; the first entry is at edge 0 and
    neighbours differ.

    Attributes
    ----------
    path : str
    width : int, bits
    edge : ndarray of int64, shape (n,), counted edges
    value : ndarray of uint8, uint16, uint32 or uint64, shape (n,)
        Bits as an unsigned number; 0 where unknown.
    unknown : ndarray of bool, shape (n,)
    edges : int
        How many edges were counted.
    """

    path: str
    width: int
    edge: NDArray[np.int64]
    value: NDArray[np.unsignedinteger]
    unknown: NDArray[np.bool_]
    edges: int

    def numbers(self, *, signed: bool = False) -> NDArray[np.int64]:
        """Return the values as numbers; two's complement where `signed`.

        Returns
        -------
        ndarray of int64, shape (n,)

        Raises
        ------
        DumpError
            An unsigned value does not fit 63 bits.
        """
        if self.width == 64 and not signed and self.value.size and int(self.value.max()) >= 2**63:
            raise DumpError(f'"{self.path}" holds an unsigned value of 2**63 or more', hint="read it as signed")
        number: NDArray[np.int64] = self.value.astype(np.uint64).view(np.int64)
        if signed and self.width < 64:
            number = number - ((number >> (self.width - 1)) << self.width)
        return number

    def index_at(self, edges: ArrayLike) -> NDArray[np.intp]:
        """Return the index of the entry that each edge samples."""
        return np.searchsorted(self.edge, np.asarray(edges, dtype=np.int64), side="right") - 1

    def edges_where(self, level: int) -> NDArray[np.int64]:
        """Return every edge that samples the known value `level`. Its length grows with the edges."""
        return _expanded(self, (self.value == level) & ~self.unknown)

    def edges_unknown(self) -> NDArray[np.int64]:
        """Return every edge that samples an unknown value. Its length grows with the edges."""
        return _expanded(self, self.unknown)

    def count_where(self, level: int) -> int:
        """Return how many edges sample the known value `level`."""
        length = np.diff(self.edge, append=np.int64(self.edges))
        return int(length[(self.value == level) & ~self.unknown].sum())


def _expanded(samples: EdgeSamples, mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    length = np.diff(samples.edge, append=np.int64(samples.edges))[mask]
    first = samples.edge[mask]
    before = np.cumsum(length) - length
    expanded: NDArray[np.int64] = np.arange(int(length.sum()), dtype=np.int64) + np.repeat(first - before, length)
    return expanded


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Chosen signals of a dump as the counted edges sample them.

    Attributes
    ----------
    file : str
    rule : str
        The sampling rule in words, for reports.
    timescale : Timescale or None
    edges : int
        Counted edges, from cycle 0 on.
    skipped_edges : int
        Edges before cycle 0: in reset, or with an unknown reset.
    first_time, end_time : int or None, dump time units
        First and last time stamp of the dump.
    signals : mapping of str to EdgeSamples
        By full path.
    asked : mapping of str to tuple of str
        The paths that each name asked for stands for.
    anchor_edge, anchor_time : ndarray of int64, shape (n,)
        Some counted edges and their times, for `time_of`.
    reset_again : int or None
        First cycle whose edge samples a reset that is not inactive again.
    notes : tuple of Problem
        What was tolerated, with places.
    """

    file: str
    rule: str
    timescale: Timescale | None
    edges: int
    skipped_edges: int
    first_time: int | None
    end_time: int | None
    signals: Mapping[str, EdgeSamples]
    asked: Mapping[str, tuple[str, ...]]
    anchor_edge: NDArray[np.int64]
    anchor_time: NDArray[np.int64]
    reset_again: int | None
    notes: tuple[Problem, ...]

    def __getitem__(self, name: str) -> EdgeSamples:
        """Return the signal that a name stands for: as asked for, a full path, or the end of one.

        Raises
        ------
        DumpError
            The name stands for no sampled signal, or for several.
        """
        return self.signals[one_path(name, self.signals, self.asked, self.file)]

    def steps(self, name: str, *, signed: bool = False) -> Steps:
        """Return a level signal over cycles: the level of cycle c is what edge c + 1 samples.

        Parameters
        ----------
        name : str
        signed : bool
            Read the bits as two's complement.

        Returns
        -------
        Steps
            From cycle 0 to ``edges - 1``; unknown levels are in its mask.

        Raises
        ------
        DumpError
            No such signal, or a value that does not fit 32 bits.
        """
        return level_steps(self[name], signed=signed)

    def time_of(self, cycle: int) -> int:
        """Return the time of counted edge `cycle`, in dump time units, for finding it in a wave viewer.

        Exact for a steady clock; otherwise the edges between two anchors are taken as evenly spaced.

        Raises
        ------
        DumpError
            No such edge was counted.
        """
        if not 0 <= cycle < self.edges:
            raise DumpError(f"cycle {cycle} of a dump with cycles 0 to {self.edges - 1}", place=Place(self.file))
        i = int(np.searchsorted(self.anchor_edge, cycle, side="right")) - 1
        edge, time = int(self.anchor_edge[i]), int(self.anchor_time[i])
        if i + 1 == self.anchor_edge.size:
            return time
        span, length = int(self.anchor_time[i + 1]) - time, int(self.anchor_edge[i + 1]) - edge
        return time + (cycle - edge) * span // length


def level_steps(samples: EdgeSamples, *, signed: bool = False) -> Steps:
    """Return a sampled signal as levels over cycles; see `Samples.steps`.

    Raises
    ------
    DumpError
        A value does not fit 32 bits.
    """
    number = samples.numbers(signed=signed)
    if number.size and (int(number.min()) < _INT32_MIN or int(number.max()) > _INT32_MAX):
        message = f'"{samples.path}" holds {int(number.min())} to {int(number.max())}, which does not fit 32 bits'
        raise DumpError(message, hint="" if signed or samples.width != 32 else "read it as signed")
    cycle = np.maximum(samples.edge - 1, 0)
    end = max(samples.edges - 1, 0)
    inside = cycle < end
    return steps_from_changes(cycle[inside], number[inside], end, unknown=samples.unknown[inside])
