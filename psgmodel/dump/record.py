"""What each counted edge samples of one signal, gathered block by block.

Stage: dump. In: changes of a signal in a block. Out, at the end: `EdgeSamples`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.dump.digits import MaskArray, TimeArray, ValueArray
from psgmodel.dump.samples import EdgeSamples
from psgmodel.dump.select import Signal
from psgmodel.dump.settle import Changes

_PIECES = 64
"""So many small pieces are put together to one: small ones would fill the heap with holes that stay."""


class _Entries(NamedTuple):
    """What edges sample, in order; neighbours differ within a piece."""

    edge: NDArray[np.int64]
    value: NDArray[np.unsignedinteger]
    unknown: MaskArray

    def taken(self, which: MaskArray) -> _Entries:
        return self if which.all() else _Entries(self.edge[which], self.value[which], self.unknown[which])


def _together(pieces: list[_Entries]) -> _Entries:
    return _Entries(
        np.concatenate([piece.edge for piece in pieces]),
        np.concatenate([piece.value for piece in pieces]),
        np.concatenate([piece.unknown for piece in pieces]),
    )


def _settled(entries: _Entries) -> _Entries:
    """Leave out what a later entry at the same edge replaces, then what repeats the entry before."""
    last = np.ones(entries.edge.size, dtype=np.bool_)
    last[:-1] = entries.edge[1:] != entries.edge[:-1]
    entries = entries.taken(last)
    differs = np.ones(entries.edge.size, dtype=np.bool_)
    differs[1:] = (entries.value[1:] != entries.value[:-1]) | (entries.unknown[1:] != entries.unknown[:-1])
    return entries.taken(differs)


@dataclass(slots=True)
class RecordState:
    """The samples of one signal so far.

    Invariant: `held` and `held_unknown` are the signal after the changes seen so far, which the next counted edge
    will sample unless more changes come before it.
    """

    signal: Signal
    held: int = 0
    held_unknown: bool = True
    whole: list[_Entries] = field(default_factory=list)
    small: list[_Entries] = field(default_factory=list)

    def add(self, edge: NDArray[np.int64], value: ValueArray, unknown: MaskArray) -> None:
        """Add entries; of several at one edge the last one counts."""
        if edge.size == 0:
            return
        self.small.append(_settled(_Entries(edge, value.astype(_dtype_for(self.signal.width)), unknown)))
        if len(self.small) == _PIECES:
            self.whole.append(_together(self.small))
            self.small.clear()

    @property
    def entries(self) -> int:
        """How many entries are kept."""
        return sum(piece.edge.size for piece in (*self.whole, *self.small))

    def forget(self, before: int) -> None:
        """Forget the entries that no edge from `before` on samples."""
        pieces = [*self.whole, *self.small]
        if pieces:
            entries = _together(pieces)
            first = max(int(np.searchsorted(entries.edge, before, side="right")) - 1, 0)
            kept = _Entries(entries.edge[first:].copy(), entries.value[first:].copy(), entries.unknown[first:].copy())
            self.whole, self.small = [kept], []

    def is_stale(self) -> bool:
        """Tell whether the last entry, if any, differs from what is held."""
        pieces = self.small or self.whole
        if not pieces:
            return True
        return int(pieces[-1].value[-1]) != self.held or bool(pieces[-1].unknown[-1]) != self.held_unknown


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
    stale = state.is_stale()
    if edge_time.size and (changes.time.size or stale):
        edge, value, unknown = np.searchsorted(edge_time, changes.time, side="right"), changes.value, changes.unknown
        if stale:
            # what stands before the block's first edge, unless a change comes before it
            edge = np.append(0, edge)
            value = np.append(np.uint64(state.held), value)
            unknown = np.append(state.held_unknown, unknown)
        inside = edge < edge_time.size
        state.add(edge[inside] + counted, value[inside], unknown[inside])
    if changes.time.size:
        state.held, state.held_unknown = int(changes.value[-1]), bool(changes.unknown[-1])


def finish(state: RecordState, start: int, edges: int, *, keep: bool = False) -> EdgeSamples:
    """Return the samples of `edges` edges from edge `start` on, renumbered from 0; empties `state` unless `keep`.

    Before its first entry a signal is unknown.
    """
    pieces = [*state.whole, *state.small]
    if not pieces or pieces[0].edge[0] > start:
        first = _Entries(np.zeros(1, np.int64), np.zeros(1, _dtype_for(state.signal.width)), np.ones(1, np.bool_))
        pieces.insert(0, first)
    entries = _together(pieces)
    pieces.clear()
    if not keep:
        state.whole.clear()
        state.small.clear()
    edge = entries.edge
    edge -= start
    np.maximum(edge, 0, out=edge)
    found = _settled(entries.taken(edge < edges))
    return EdgeSamples(state.signal.path, state.signal.width, found.edge, found.value, found.unknown, edges)


def _dtype_for(width: int) -> type[np.unsignedinteger]:
    """Return the smallest unsigned type that holds `width` bits."""
    if width <= 8:
        return np.uint8
    if width <= 16:
        return np.uint16
    return np.uint32 if width <= 32 else np.uint64
