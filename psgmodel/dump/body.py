"""Where the reading of a body stands, and how it is refused.

Stage: dump, kernel. `BodyState` carries over from chunk to chunk; a `Fault` at an index of the padded chunk becomes
a `DumpError` with byte, line and the last time stamp whose changes are complete.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from psgmodel.dump.digits import PAD, IndexArray, TimeArray
from psgmodel.errors import DumpError, Place


class Opened(NamedTuple):
    """A ``$`` group that is open, and where it was opened."""

    keyword: str
    place: Place


class Fault(NamedTuple):
    """Something wrong at an index of the padded chunk; `stamp`: in a time stamp."""

    at: int
    message: str
    hint: str = ""
    stamp: bool = False


@dataclass(slots=True)
class BodyState:
    """What carries over from one chunk to the next.

    Invariant: `rest` begins with the first token not yet taken, at `byte`, in `line`; `time` is the last time
    stamp before it and `before` the last one that is lower than `time`.
    """

    file: str
    byte: int
    line: int
    token_limit: int
    rest: bytes = b""
    time: int | None = None
    before: int | None = None
    first_time: int | None = None
    comment: Opened | None = None
    section: Opened | None = None


def place_in(state: BodyState, text: bytes, at: int) -> Place:
    """Return the place of index `at` of the padded `text`, which begins where `state` stands."""
    line = state.line + text.count(b"\n", 0, at - PAD)
    return Place(state.file, line=line, byte=state.byte + at - PAD)


def cut_error(message: str, place: Place, good: int | None, hint: str = "") -> DumpError:
    """Return the error whose message says how far the dump is complete."""
    known = "no time stamp is complete" if good is None else f"complete up to time {good}"
    return DumpError(f"{message}; {known}", place=place, hint=hint, last_good_time=good)


def fault_error(
    state: BodyState, text: bytes, fault: Fault, stamp_start: IndexArray, stamps: TimeArray, *, cut: bool
) -> DumpError:
    """Return the error for a fault in the chunk `text`, whose time stamps are given."""
    time, before = _last_times(state, stamps[stamp_start < fault.at])
    # a new time stamp, even a broken one, completes the time before it
    good = time if fault.stamp else before
    message = f"the dump ends in the middle of a line: {fault.message}" if cut else fault.message
    return cut_error(message, place_in(state, text, fault.at), good, fault.hint)


def advance(state: BodyState, text: bytes, taken: int, lines: int, stamp_start: IndexArray, stamps: TimeArray) -> None:
    """Move the state behind the first `taken` bytes of `text`, which hold `lines` line ends and the given time stamps.

    A section that was still open at a time stamp is taken as closed there: the sections of some
    writers have no ``$end`` of their own.
    """
    if stamps.size:
        last_stamp = state.byte + int(stamp_start[-1]) - PAD
        if state.section is not None and (state.section.place.byte or 0) < last_stamp:
            state.section = None
        if state.first_time is None:
            state.first_time = int(stamps[0])
        state.time, state.before = _last_times(state, stamps)
    state.rest = text[taken:]
    state.line += lines
    state.byte += taken
    if len(state.rest) > state.token_limit:
        place = Place(state.file, line=state.line, byte=state.byte)
        raise cut_error(f"a word of more than {state.token_limit} bytes", place, state.before)


def _last_times(state: BodyState, stamps: TimeArray) -> tuple[int | None, int | None]:
    """Return the last time stamp, and the last one below it, once `stamps` were seen."""
    if stamps.size == 0:
        return state.time, state.before
    time = int(stamps[-1])
    lower = int(np.searchsorted(stamps, time, side="left"))
    if lower:
        return time, int(stamps[lower - 1])
    return time, state.before if state.time == time else state.time
