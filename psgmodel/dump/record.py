"""What each counted edge samples of one signal, gathered block by block.

Stage: dump. In: changes of a signal in a block. Out, at the end: `EdgeSamples`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from psgmodel.dump.digits import MaskArray, TimeArray, ValueArray
from psgmodel.dump.samples import EdgeSamples
from psgmodel.dump.select import Signal
from psgmodel.dump.settle import Changes


@dataclass(slots=True)
class RecordState:
    """The samples of one signal so far.

    Invariant: `held` and `held_unknown` are the signal after the changes seen so far, which the next counted edge
    will sample unless more changes come before it.
    """

    signal: Signal
    held: int = 0
    held_unknown: bool = True
    edge: list[NDArray[np.int64]] = field(default_factory=list)
    value: list[NDArray[np.unsignedinteger]] = field(default_factory=list)
    unknown: list[MaskArray] = field(default_factory=list)

    def add(self, edge: NDArray[np.int64], value: ValueArray, unknown: MaskArray) -> None:
        """Add entries; of several at one edge the last one counts."""
        if edge.size == 0:
            return
        use = np.append(edge[1:] != edge[:-1], True)
        edge, value, unknown = edge[use], value[use], unknown[use]
        differs = np.append(True, (value[1:] != value[:-1]) | (unknown[1:] != unknown[:-1]))
        self.edge.append(edge[differs])
        self.value.append(value[differs].astype(_dtype_for(self.signal.width)))
        self.unknown.append(unknown[differs])


def record_clocked(state: RecordState, changes: Changes, edge_time: TimeArray, counted: int) -> None:
    """Record what the edges of a block sample.

    Parameters
    ----------
    state : RecordState
    changes : Changes
        Those of the block.
    edge_time : ndarray of int64, shape (m,), dump time units
        The counted edges of the block.
    counted : int
        Counted edges before the block.
    """
    if edge_time.size and (changes.time.size or state.edge == [] or _is_stale(state)):
        # entry 0 is what stands before the block's first edge unless a change comes before it
        edge = np.append(0, np.searchsorted(edge_time, changes.time, side="right"))
        value = np.append(np.uint64(state.held), changes.value)
        unknown = np.append(state.held_unknown, changes.unknown)
        inside = edge < edge_time.size
        state.add(edge[inside] + counted, value[inside], unknown[inside])
    if changes.time.size:
        state.held, state.held_unknown = int(changes.value[-1]), bool(changes.unknown[-1])


def _is_stale(state: RecordState) -> bool:
    """Tell whether the last entry differs from what is held."""
    return int(state.value[-1][-1]) != state.held or bool(state.unknown[-1][-1]) != state.held_unknown


def finish(state: RecordState, start: int, edges: int) -> EdgeSamples:
    """Return the samples of `edges` edges from edge `start` on, renumbered from 0.

    Before its first entry a signal is unknown.
    """
    dtype = _dtype_for(state.signal.width)
    edge = np.concatenate([np.zeros(1, dtype=np.int64), *state.edge]) - start
    value = np.concatenate([np.zeros(1, dtype=dtype), *state.value])
    unknown = np.concatenate([np.ones(1, dtype=np.bool_), *state.unknown])
    np.maximum(edge, 0, out=edge)
    use = np.append(edge[1:] != edge[:-1], True) & (edge < edges)
    edge, value, unknown = edge[use], value[use], unknown[use]
    differs = np.append(True, (value[1:] != value[:-1]) | (unknown[1:] != unknown[:-1]))[: edge.size]
    return EdgeSamples(state.signal.path, state.signal.width, edge[differs], value[differs], unknown[differs], edges)


def _dtype_for(width: int) -> type[np.unsignedinteger]:
    """Return the smallest unsigned type that holds `width` bits."""
    if width <= 8:
        return np.uint8
    if width <= 16:
        return np.uint16
    return np.uint32 if width <= 32 else np.uint64
