"""Changes in file order to canonical lists, one a signal.

Stage: dump. In: the `Kept` arrays of one chunk. Out: `Changes` for each signal. Changes at the time that still
runs are held back, since a later chunk may add to them; vectors that the dump holds in pieces are joined.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.dump.digits import IndexArray, MaskArray, TimeArray, ValueArray
from psgmodel.dump.select import Part, Signal
from psgmodel.dump.tokens import Kept


class Changes(NamedTuple):
    """Changes of one signal: from ``time[i]`` on it holds ``value[i]``.

    Attributes
    ----------
    time : ndarray of int64, shape (n,), dump time units, strictly increasing
    value : ndarray of uint64, shape (n,)
        Bits as an unsigned number; 0 where unknown.
    unknown : ndarray of bool, shape (n,)
        True where any bit is neither 0 nor 1.
    byte : ndarray of int64, shape (n,)
        Offset in the dump at which the change stands.
    """

    time: TimeArray
    value: ValueArray
    unknown: MaskArray
    byte: IndexArray


@dataclass(slots=True)
class SettleState:
    """What carries over from one chunk to the next.

    Invariant: `held`, `held_unknown` and `seen` give each slot's value after the last settled change; `pending`
    holds changes at one time only, later than all settled ones.
    """

    signals: tuple[Signal, ...]
    slots: tuple[tuple[int, ...], ...]
    held: ValueArray
    held_unknown: MaskArray
    seen: MaskArray
    pending: Kept | None = None
    several: int = 0
    several_byte: int | None = None

    @classmethod
    def for_signals(cls, signals: Sequence[Signal], codes: Sequence[bytes]) -> SettleState:
        """Return the state before the first chunk."""
        slot_of = {code: slot for slot, code in enumerate(codes)}
        slots = tuple(tuple(slot_of[part.code] for part in signal.parts) for signal in signals)
        count = len(codes)
        held, unknown = np.zeros(count, dtype=np.uint64), np.zeros(count, dtype=np.bool_)
        return cls(tuple(signals), slots, held, unknown, np.zeros(count, dtype=np.bool_))


def settle(state: SettleState, kept: Kept | None, now: int | None) -> tuple[Changes, ...]:
    """Return the changes of every signal at times before `now`; all of them where `now` is None."""
    ready = _ready(state, kept, now)
    before = {
        s: (state.held[list(s)], state.seen[list(s)] & ~state.held_unknown[list(s)]) for s in state.slots if len(s) > 1
    }
    lists = _by_slot(state, ready)
    return tuple(
        lists[slots[0]] if len(slots) == 1 else _join([lists[s] for s in slots], signal.parts, *before[slots])
        for signal, slots in zip(state.signals, state.slots, strict=True)
    )


def _ready(state: SettleState, kept: Kept | None, now: int | None) -> Kept:
    """Return pending and new changes before `now`; keep the others pending."""
    parts = [part for part in (state.pending, kept) if part is not None]
    if len(parts) == 1:
        whole = parts[0]
    elif parts:
        whole = Kept(*(np.concatenate(column) for column in zip(*parts, strict=True)))
    else:
        empty = np.empty(0, dtype=np.int64)
        whole = Kept(empty.astype(np.int32), empty, empty.astype(np.uint64), empty.astype(np.bool_), empty)
    if now is None and kept is None:
        state.pending = None
        return whole
    # until a first time stamp stands, everything is at time 0 and may still be added to
    split = int(np.searchsorted(whole.time, now or 0, side="left"))
    state.pending = whole.taken(slice(split, None))
    return whole.taken(slice(split))


def _by_slot(state: SettleState, ready: Kept) -> list[Changes]:
    """Sort by slot, leave out what a later change at the same time replaces and what changes nothing."""
    count = state.held.size
    key = ready.slot.astype(np.int16) if count < 2**15 else ready.slot
    order = np.argsort(key, kind="stable")
    slot, time, value, unknown, byte = ready.taken(order)
    last = np.append((slot[1:] != slot[:-1]) | (time[1:] != time[:-1]), True)[: slot.size]
    replaced = slot.size - int(np.count_nonzero(last))
    if replaced:
        state.several += replaced
        if state.several_byte is None:
            state.several_byte = int(byte[~last].min())
        slot, time, value, unknown, byte = Kept(slot, time, value, unknown, byte).taken(last)
    first = np.append(True, slot[1:] != slot[:-1])[: slot.size]
    opening = slot[first]
    old_value, old_unknown = np.roll(value, 1), np.roll(unknown, 1)
    old_value[first], old_unknown[first] = state.held[opening], state.held_unknown[opening]
    differs = (value != old_value) | (unknown != old_unknown)
    differs[first] |= ~state.seen[opening]
    closing = np.roll(first, -1)
    state.held[slot[closing]], state.held_unknown[slot[closing]] = value[closing], unknown[closing]
    state.seen[opening] = True
    if not differs.all():
        slot, time, value, unknown, byte = Kept(slot, time, value, unknown, byte).taken(differs)
    bounds = np.searchsorted(slot, np.arange(count + 1)).tolist()
    return [Changes(time[a:b], value[a:b], unknown[a:b], byte[a:b]) for a, b in pairwise(bounds)]


def _join(lists: list[Changes], parts: tuple[Part, ...], held: ValueArray, known: MaskArray) -> Changes:
    """Return the vector that pieces make up; unknown while any piece is."""
    time = np.unique(np.concatenate([piece.time for piece in lists]))
    value = np.zeros(time.size, dtype=np.uint64)
    unknown = np.zeros(time.size, dtype=np.bool_)
    byte = np.zeros(time.size, dtype=np.int64)
    for piece, part, before, before_known in zip(lists, parts, held, known, strict=True):
        at: NDArray[np.intp] = np.searchsorted(piece.time, time, side="right")
        value |= np.append(before, piece.value)[at] << np.uint64(part.shift)
        unknown |= np.append(~before_known, piece.unknown)[at]
        byte = np.maximum(byte, np.append(0, piece.byte)[at])
    value[unknown] = 0
    return Changes(time, value, unknown, byte)
