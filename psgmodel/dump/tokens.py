"""The kernel: bytes of a dump's body to changes of the kept signals (IEEE 1364-2005, 18.2.1).

Stage: dump, kernel. In: chunks of bytes, cut anywhere. Out: `Kept` arrays in file order; times in dump time units.
The result does not depend on where the chunks are cut: what is not complete at the end of one is kept
as `BodyState.rest`, from the start of its first token.

A token is a run of bytes other than blank, tab, line feed, carriage return, form feed and vertical tab.
What a token is follows from its first character, but for one rule: the token after a vector, real or
string value is an identifier code, whatever it looks like. So in a run of tokens that all look like
values, every second one is a code. ``$comment`` and ``$end`` look like no value and end such a run; hence
codes are marked first and comments taken out after.

All tokens are checked: known kind, declared code, time stamps that do not decrease. The digits of values are
checked for kept signals only.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.dump.body import BodyState, Fault, Opened, advance, fault_error, place_in
from psgmodel.dump.codes import UNDECLARED, CodeTable
from psgmodel.dump.digits import (
    ONE,
    PAD,
    STATE_OF,
    UNKNOWN,
    ByteArray,
    IndexArray,
    MaskArray,
    TimeArray,
    ValueArray,
    decode_levels,
    decode_times,
)
from psgmodel.dump.source import shown
from psgmodel.errors import nearest

SCALAR, TIME, KEYWORD, OTHER, VECTOR, REAL, TEXT, CODE, LEFT_OUT = range(9)
"""Kinds of token; VECTOR, REAL and TEXT are followed by a code."""

SECTIONS = (b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff")

_BLANKS = b" " * PAD


def _kind_table() -> ByteArray:
    table = np.full(256, OTHER, dtype=np.uint8)
    for characters, kind in ((b"01xXzZuUwWhHlL-", SCALAR), (b"bB", VECTOR), (b"rR", REAL), (b"sS", TEXT)):
        table[list(characters)] = kind
    table[ord("#")], table[ord("$")] = TIME, KEYWORD
    return table


_KIND_OF = _kind_table()


class Kept(NamedTuple):
    """Changes of kept signals in file order, one entry each.

    `slot` says which code, `time` is in dump time units, `value` is 0 where `unknown`, and `byte` is the
    offset of the value in the dump.
    """

    slot: NDArray[np.int32]
    time: TimeArray
    value: ValueArray
    unknown: MaskArray
    byte: IndexArray

    def taken(self, which: IndexArray | MaskArray | slice) -> Kept:
        """Return some of the changes."""
        return Kept(self.slot[which], self.time[which], self.value[which], self.unknown[which], self.byte[which])


class _Tokens(NamedTuple):
    buffer: ByteArray
    start: IndexArray
    end: IndexArray
    kind: ByteArray

    def text(self, i: int) -> bytes:
        return self.buffer[self.start[i] : self.end[i]].tobytes()

    def shown(self, i: int) -> str:
        return shown(self.text(i))


def scan(state: BodyState, data: bytes, table: CodeTable, width: NDArray[np.int64], *, last: bool = False) -> Kept:
    """Take the complete tokens of ``state.rest + data``.

    Parameters
    ----------
    state : BodyState
        Moved on to behind the last complete token.
    data : bytes
    table : CodeTable
    width : ndarray of int64, shape (number of slots,), bits
        Declared widths of the kept codes, at most 64.
    last : bool
        `data` is the line end that the dump lacks; a fault is then a cut in the middle of a token.

    Raises
    ------
    DumpError
        At the first fault, with its place and `last_good_time`.
    """
    text = state.rest + data
    buffer = np.frombuffer(b"".join((_BLANKS, text, _BLANKS)), dtype=np.uint8)
    start, end, tail = _split(buffer, len(text))
    kind = _KIND_OF[buffer[start]]
    complete = _mark_codes(kind)
    if complete < kind.size:
        tail = int(start[complete])
        start, end, kind = start[:complete], end[:complete], kind[:complete]
    tokens = _Tokens(buffer, start, end, kind)
    faults = _keywords(state, tokens, text)
    at, stamps = _times(state, tokens, faults)
    kept = _changes(state, tokens, table, width, at, stamps, faults)
    faults += [Fault(int(start[i]), *_unknown_token(tokens, int(i))) for i in np.flatnonzero(kind == OTHER)[:1]]
    if faults:
        first = min(faults, key=lambda fault: fault.at)
        raise fault_error(state, text, first, start[at], stamps, cut=last)
    lines = int(np.count_nonzero(buffer[PAD:tail] == ord("\n")))
    advance(state, text, tail - PAD, lines, start[at], stamps)
    return kept


def _split(buffer: ByteArray, size: int) -> tuple[IndexArray, IndexArray, int]:
    """Return start and end of every complete token, and the start of the incomplete rest."""
    inside = buffer[: PAD + size]
    blank = (inside == 32) | ((inside - np.uint8(9)) <= 4)
    turns = np.flatnonzero(blank[1:] != blank[:-1])
    turns += 1
    start, end = turns[0::2], turns[1::2]
    if start.size > end.size:
        return start[:-1], end, int(start[-1])
    return start, end, PAD + size


def _mark_codes(kind: ByteArray) -> int:
    """Mark the tokens that are codes; return how many tokens are complete (a value needs its code)."""
    value = np.flatnonzero(kind >= VECTOR)
    if value.size == 0:
        return kind.size
    apart = value[1:] - value[:-1] != 1
    if not apart.all():
        order = np.arange(value.size)
        run_start = np.maximum.accumulate(np.where(np.append(True, apart), order, 0))
        value = value[(order - run_start) & 1 == 0]
    complete = kind.size
    if value[-1] == kind.size - 1:
        complete -= 1
        value = value[:-1]
    kind[value + 1] = CODE
    return complete


def _keywords(state: BodyState, tokens: _Tokens, text: bytes) -> list[Fault]:
    """Take comments out, follow sections; keywords become LEFT_OUT."""
    kind = tokens.kind
    dollars = np.flatnonzero(tokens.buffer[tokens.start] == ord("$"))
    if state.comment is None and not np.any(kind[dollars] == KEYWORD):
        return []
    faults: list[Fault] = []
    comment_from = 0 if state.comment else -1
    for i in dollars.tolist():
        word = tokens.text(i)
        if comment_from >= 0:
            if word == b"$end":
                kind[comment_from : i + 1] = LEFT_OUT
                state.comment, comment_from = None, -1
            continue
        if kind[i] != KEYWORD:
            continue
        kind[i] = LEFT_OUT
        opened = Opened(shown(word), place_in(state, text, int(tokens.start[i])))
        if word == b"$comment":
            state.comment, comment_from = opened, i
        elif word in SECTIONS:
            state.section = opened
        elif word == b"$end":
            state.section = None
        else:
            hint = nearest(opened.keyword, ["$comment", "$end", *(s.decode() for s in SECTIONS)])
            faults.append(Fault(int(tokens.start[i]), f'unknown keyword "{opened.keyword}" in the body', hint))
            break
    if comment_from >= 0:
        kind[comment_from:] = LEFT_OUT
    return faults


def _times(state: BodyState, tokens: _Tokens, faults: list[Fault]) -> tuple[IndexArray, TimeArray]:
    """Return which tokens are time stamps, and their times."""
    at = np.flatnonzero(tokens.kind == TIME)
    stamps, wrong = decode_times(tokens.buffer, tokens.start[at] + 1, tokens.end[at])
    if at.size == 0:
        return at, stamps
    for i in np.flatnonzero(wrong)[:1]:
        message = f'time stamp "{tokens.shown(int(at[i]))}"; expected # and a whole number below 2**63'
        faults.append(Fault(int(tokens.start[at[i]]), message, stamp=True))
    earlier = np.append(stamps[0] if state.time is None else state.time, stamps[:-1])
    for i in np.flatnonzero(stamps < earlier)[:1]:
        message = f"time runs backwards: {stamps[i]} after {earlier[i]}"
        faults.append(Fault(int(tokens.start[at[i]]), message, stamp=True))
    return at, stamps


def _changes(
    state: BodyState,
    tokens: _Tokens,
    table: CodeTable,
    width: NDArray[np.int64],
    at: IndexArray,
    stamps: TimeArray,
    faults: list[Fault],
) -> Kept:
    """Return the changes of kept signals."""
    buffer, start, end, kind = tokens
    coded = np.flatnonzero((kind == SCALAR) | (kind == CODE))
    code_start = start[coded] + (kind[coded] == SCALAR)
    slot = table.slots(buffer, code_start, end[coded])
    for i in np.flatnonzero(slot == UNDECLARED)[:1]:
        faults.append(Fault(int(start[coded[i]]), *_undeclared(tokens, int(coded[i]))))
    kept = np.flatnonzero(slot >= 0)
    slot, token = slot[kept], coded[kept]
    time = np.append(state.time or 0, stamps)[np.searchsorted(at, token)]
    token = token - (kind[token] == CODE)
    shape = kind[token]
    value_start = start[token]
    first_state = STATE_OF[buffer[value_start]]
    value = (first_state == ONE).astype(np.uint64)
    unknown = first_state == UNKNOWN
    vector = np.flatnonzero(shape == VECTOR)
    if vector.size:
        levels = decode_levels(buffer, value_start[vector] + 1, end[token[vector]], width[slot[vector]])
        value[vector], unknown[vector] = levels.value, levels.unknown
        for i in np.flatnonzero(levels.wrong)[:1]:
            wide = int(width[slot[vector[i]]])
            message = f'value "{tokens.shown(int(token[vector[i]]))}"; expected b and 1 to {wide} of 0, 1, x, z'
            faults.append(Fault(int(value_start[vector[i]]), message, "nine-valued U, W, H, L and - are read too"))
    for i in np.flatnonzero((shape == REAL) | (shape == TEXT))[:1]:
        message = f'value "{tokens.shown(int(token[i]))}" of a signal that was declared as bits'
        faults.append(Fault(int(value_start[i]), message, "a real or string value has no bits"))
    return Kept(slot, time, value, unknown, value_start + (state.byte - PAD))


def _undeclared(tokens: _Tokens, i: int) -> tuple[str, str]:
    change = tokens.shown(i)
    if tokens.kind[i] == CODE:
        return f'identifier code "{change}" is not declared in the header', ""
    if len(change) == 1:
        return f'value "{change}" without an identifier code directly behind it', ""
    hint = 'write "b10 code", not "0b10 code"' if change[:2].lower() == "0b" else ""
    return f'identifier code "{change[1:]}" of the change "{change}" is not declared in the header', hint


def _unknown_token(tokens: _Tokens, i: int) -> tuple[str, str]:
    hint = "extended (port) dumps are not read" if tokens.text(i)[:1] in b"pP" else ""
    return f'found "{tokens.shown(i)}"; expected a value change, a time stamp (#...) or a $ keyword', hint
