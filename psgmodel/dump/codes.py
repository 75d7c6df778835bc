"""Identifier codes to slots: which kept signal, if any, a change belongs to.

Stage: dump, kernel. In: spans of codes in a chunk. Out: one slot number per change. A slot is a distinct
code that is kept; codes that are declared but not kept, and codes that nobody declared, have fixed numbers.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from psgmodel.dump.digits import ByteArray, IndexArray, words_at

SlotArray = NDArray[np.int32]

NOT_KEPT = -1
UNDECLARED = -2

_U = np.uint64
_LOW_BYTES = np.array([2 ** (8 * n) - 1 for n in range(9)], dtype=np.uint64)
"""Entry n keeps the low n bytes of a word."""

_HIGH_BITS = _U(0x8080808080808080)


class CodeTable:
    """Look-up from identifier codes to slots.

    Codes of one to three characters (some 830 000 of them) go through a direct table, up to eight
    through a sorted list, longer ones through a dictionary.

    Parameters
    ----------
    slots : mapping of bytes to int
        Every declared code, with its slot (0 and up) or `NOT_KEPT`.
    """

    def __init__(self, slots: Mapping[bytes, int]) -> None:
        self._slots = dict(slots)
        self._longest = max((len(code) for code in slots), default=1)
        self._table = np.empty(0, dtype=np.int32)
        self._keys = np.empty(0, dtype=np.uint64)
        if self._longest <= 3:
            self._table = np.full(2 ** (7 * self._longest), UNDECLARED, dtype=np.int32)
            for code, slot in slots.items():
                self._table[sum(c << (7 * i) for i, c in enumerate(code))] = slot
        else:
            short = {int.from_bytes(code, "little"): slot for code, slot in slots.items() if len(code) <= 8}
            self._keys = np.array(sorted(short), dtype=np.uint64)
            self._table = np.array([short[key] for key in sorted(short)], dtype=np.int32)

    def slots(self, buffer: ByteArray, start: IndexArray, end: IndexArray) -> SlotArray:
        """Return the slot of each code.

        Parameters
        ----------
        buffer : ndarray of uint8, padded
        start, end : ndarray of int64, shape (n,), index into `buffer`
            Spans of the codes; an empty span is `UNDECLARED`.

        Returns
        -------
        ndarray of int32, shape (n,)
        """
        # must equal slots.get(bytes, UNDECLARED) for every span
        length = end - start
        if self._longest == 1:
            return self._one_character(buffer[start], length)
        words = words_at(buffer)[start] & _LOW_BYTES[np.minimum(length, 8)]
        if self._longest <= 3:
            return self._short(words, length)
        found = self._sorted(words, length)
        for i in np.flatnonzero(length > 8):
            found[i] = self._slots.get(buffer[start[i] : end[i]].tobytes(), UNDECLARED)
        return found

    def _one_character(self, first: ByteArray, length: IndexArray) -> SlotArray:
        found: SlotArray = self._table[first & np.uint8(0x7F)]
        found[(length != 1) | (first > 0x7F)] = UNDECLARED
        return found

    def _short(self, words: NDArray[np.uint64], length: IndexArray) -> SlotArray:
        key = (words & _U(0x7F)) | ((words >> _U(1)) & _U(0x3F80)) | ((words >> _U(2)) & _U(0x1FC000))
        found: SlotArray = self._table[(key & _U(self._table.size - 1)).astype(np.int64)]
        found[(length < 1) | (length > self._longest) | ((words & _HIGH_BITS) != 0)] = UNDECLARED
        return found

    def _sorted(self, words: NDArray[np.uint64], length: IndexArray) -> SlotArray:
        if self._keys.size == 0:
            return np.full(words.size, UNDECLARED, dtype=np.int32)
        at = np.minimum(np.searchsorted(self._keys, words), self._keys.size - 1)
        found: SlotArray = self._table[at]
        found[(self._keys[at] != words) | (length < 1)] = UNDECLARED
        return found
