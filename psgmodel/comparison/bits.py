"""Bits: whether two signals differ in one bit alone, wherever they differ.

Stage: compare. In: pieces of two signals over the same cycles, in order, model first. Out: the bit, and whether the
dump's never changes. Unknown levels are left out.
"""

from __future__ import annotations

import numpy as np

from psgmodel.comparison.streams import CHUNK
from psgmodel.steps import Steps, merged_cycles


class BitState:
    """What is known so far. Nothing more is looked at once two bits have differed."""

    def __init__(self) -> None:
        self._mask = 0
        self._wrong: set[int] = set()
        self._ones, self._zeros = 0, 0

    def add(self, model: Steps, dump: Steps) -> None:
        """Add a piece."""
        for low in range(0, len(model), CHUNK):
            end = int(model.cycle[low + CHUNK]) if low + CHUNK < len(model) else model.end
            self._add_window(model.cut(int(model.cycle[low]), end), dump.cut(int(model.cycle[low]), end))

    def add_equal(self, dump: Steps) -> None:
        """Add a piece that agrees."""
        if not self._is_lost() and len(dump):
            self._ones |= int(np.bitwise_or.reduce(dump.level))
            self._zeros |= int(np.bitwise_or.reduce(~dump.level))

    def found(self) -> tuple[int, bool] | None:
        """Return which one bit differs and whether the dump's never changes; None: several, none, or too little."""
        if not self._mask or self._is_lost() or len({level & ~self._mask for level in self._wrong}) < 2:
            return None
        return self._mask.bit_length() - 1, not self._ones & self._zeros & self._mask

    def _is_lost(self) -> bool:
        return self._mask < 0 or bool(self._mask & (self._mask - 1))

    def _add_window(self, model: Steps, dump: Steps) -> None:
        if self._is_lost():
            return
        grid = merged_cycles([model.cycle, dump.cycle])
        known = ~dump.unknown_mask()[dump.index_at(grid)]
        ours, theirs = model.at(grid)[known], dump.at(grid)[known]
        wrong = ours != theirs
        if wrong.any():
            self._mask |= int(np.bitwise_or.reduce(ours[wrong] ^ theirs[wrong]))
            self._wrong.update(np.unique(ours[wrong]).tolist())
        if theirs.size:
            self._ones |= int(np.bitwise_or.reduce(theirs))
            self._zeros |= int(np.bitwise_or.reduce(~theirs))
