"""Digits of a dump to numbers, eight characters to a machine word.

Stage: dump, kernel. In: the padded bytes of a chunk and the spans of digit strings in it. Out: arrays of
numbers. A word is loaded so that it ends where the digits end; what lies before them is masked off.
The word tricks are common practice (Warren, Hacker's Delight, 2nd ed. 2012, chapters 7 and 9, for the style).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

ByteArray = NDArray[np.uint8]
IndexArray = NDArray[np.int64]
TimeArray = NDArray[np.int64]
ValueArray = NDArray[np.uint64]
MaskArray = NDArray[np.bool_]

PAD = 72
"""Bytes of blank before and after a chunk, so that eight words can be loaded at every token."""

MAX_VALUE_BITS = 64

MAX_TIME = 2**63 - 1

_U = np.uint64
_TOP_BYTES = np.array([(2**64 - 1) ^ (2 ** (64 - 8 * n) - 1) for n in range(9)], dtype=np.uint64)
"""Entry n keeps the top n bytes of a word."""

_ZEROS = _U(0x3030303030303030)
_LOW_BITS = _U(0x0101010101010101)
_OTHER_BITS = _U(0xFEFEFEFEFEFEFEFE)
_GATHER = _U(0x8040201008040201)

_SAFE_TIME_DIGITS = 18

ZERO, ONE, UNKNOWN, NO_STATE = 0, 1, 2, 3
"""What a state character stands for."""


def _state_table() -> ByteArray:
    table = np.full(256, NO_STATE, dtype=np.uint8)
    for characters, state in ((b"0Ll", ZERO), (b"1Hh", ONE), (b"xXzZuUwW-", UNKNOWN)):
        table[list(characters)] = state
    return table


STATE_OF = _state_table()
"""Nine-valued logic (IEEE 1164) to 0, 1 or unknown: weak levels are levels, all else is unknown."""


class Levels(NamedTuple):
    """Decoded values of one kernel call, one entry per change.

    `value` is 0 where `unknown`; `wrong` is true where a character is no state or there are too many.
    """

    value: ValueArray
    unknown: MaskArray
    wrong: MaskArray


def words_at(buffer: ByteArray) -> NDArray[np.uint64]:
    """Return the view whose entry i is the little-endian 64-bit word of bytes i to i + 7."""
    return np.ndarray((buffer.size - 7,), dtype="<u8", buffer=buffer.data, strides=(1,))


def decode_times(buffer: ByteArray, start: IndexArray, end: IndexArray) -> tuple[TimeArray, MaskArray]:
    """Decode decimal numbers.

    Parameters
    ----------
    buffer : ndarray of uint8, padded
    start, end : ndarray of int64, shape (n,), index into `buffer`
        Spans of the digits; an empty span is wrong.

    Returns
    -------
    ndarray of int64, shape (n,), dump time units
        0 where wrong.
    ndarray of bool, shape (n,)
        True where a span is no decimal number, or one past 2**63 - 1.
    """
    # must equal int(bytes) for every span
    length = end - start
    wrong = length == 0
    words = words_at(buffer)
    value = np.zeros(start.size, dtype=np.uint64)
    longest = int(length.max(initial=0))
    for group in range((min(longest, _SAFE_TIME_DIGITS) + 7) // 8):
        used = np.clip(length - 8 * group, 0, 8)
        word = (words[end - 8 * (group + 1)] ^ _ZEROS) & _TOP_BYTES[used]
        wrong |= (((word + _U(0x7676767676767676)) | word) & _U(0x8080808080808080)) != 0
        word = word * _U(10) + (word >> _U(8))
        word = (word & _U(0x000000FF000000FF)) * _U(0x000F424000000064) + (
            (word >> _U(16)) & _U(0x000000FF000000FF)
        ) * _U(0x0000271000000001)
        value += (word >> _U(32)) * _U(10 ** (8 * group))
    result = value.astype(np.int64)
    if longest > _SAFE_TIME_DIGITS:
        for i in np.flatnonzero(length > _SAFE_TIME_DIGITS):
            text = buffer[start[i] : end[i]].tobytes()
            number = int(text) if text.isdigit() and len(text.lstrip(b"0")) < 20 else MAX_TIME + 1
            wrong[i] = number > MAX_TIME
            result[i] = 0 if wrong[i] else number
    result[wrong] = 0
    return result, wrong


def decode_levels(buffer: ByteArray, start: IndexArray, end: IndexArray, width: IndexArray) -> Levels:
    """Decode vector values (the digits after "b").

    A short value is left-extended (IEEE 1364-2005, table 18-1): 0 and 1 with 0, an unknown state with
    itself, so it stays unknown.

    Parameters
    ----------
    buffer : ndarray of uint8, padded
    start, end : ndarray of int64, shape (n,), index into `buffer`
    width : ndarray of int64, shape (n,), bits, at most 64
    """
    # must equal _decode_states for every span
    length = end - start
    words = words_at(buffer)
    wrong = (length == 0) | (length > width)
    value = np.zeros(start.size, dtype=np.uint64)
    odd = np.zeros(start.size, dtype=np.bool_)
    groups = (min(int(length.max(initial=0)), MAX_VALUE_BITS) + 7) // 8
    for group in range(groups):
        long = np.flatnonzero(length > 8 * group) if group else slice(None)
        used = np.minimum(length[long] - 8 * group, 8)
        word = (words[end[long] - 8 * (group + 1)] ^ _ZEROS) & _TOP_BYTES[used]
        odd[long] |= (word & _OTHER_BITS) != 0
        value[long] |= (((word & _LOW_BITS) * _GATHER) >> _U(56)) << _U(8 * group)
    unknown = np.zeros(start.size, dtype=np.bool_)
    rest = np.flatnonzero(odd | wrong)
    if rest.size:
        value[rest], unknown[rest], wrong[rest] = _decode_states(buffer, start[rest], end[rest], width[rest])
    return Levels(value, unknown, wrong)


def _decode_states(buffer: ByteArray, start: IndexArray, end: IndexArray, width: IndexArray) -> Levels:
    """Decode character by character: the slow twin of `decode_levels`, which also knows x, z and the like."""
    prefixed = (end - start > 2) & (buffer[start] == ord("0")) & ((buffer[start + 1] | 32) == ord("b"))
    length = end - start - 2 * prefixed
    wrong = (length == 0) | (length > width)
    value = np.zeros(start.size, dtype=np.uint64)
    unknown = np.zeros(start.size, dtype=np.bool_)
    for place in range(min(int(length.max(initial=0)), MAX_VALUE_BITS)):
        inside = place < length
        state = np.where(inside, STATE_OF[buffer[end - 1 - place]], ZERO)
        wrong |= state == NO_STATE
        unknown |= state == UNKNOWN
        value |= (state == ONE).astype(np.uint64) << _U(place)
    value[unknown | wrong] = 0
    return Levels(value, unknown & ~wrong, wrong)
