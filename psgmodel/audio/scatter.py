"""Scatter: level changes into differences between output samples, in exact integers.

Stage: audio. In: level changes with their output cell and exact phase, sorted by cell. Out: what they add
to the difference of each output sample, in units of 2**-34 level. Sums are exact, so the order of
additions, the cutting into blocks and the library that multiplies cannot be told from the bytes.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio import kernel
from psgmodel.audio.kernel import KernelDesign

IntArray = NDArray[np.int64]
Table = NDArray[np.int64] | NDArray[np.float64]

_EXACT_FLOAT = 1 << 53
_ROW_GAIN = 4
"""More than the sum over taps of the largest row entry at any phase (3.04 at most), as a multiple of the row sum."""


def differences(
    design: KernelDesign, cells: int, cell: IntArray, phase: IntArray, den: int, delta: IntArray
) -> IntArray:
    """Return what level changes add to the sample differences.

    Parameters
    ----------
    design : KernelDesign
    cells : int
        How many cells the changes may fall into.
    cell, phase, delta : ndarray of int64, shape (n,)
        Cell (0 to ``cells - 1``, not decreasing), phase (0 to ``den - 1``) and change of level.
    den : int
        Phases per cell.

    Returns
    -------
    ndarray of int64, shape (cells + taps - 1,), units of 2**-34 level
        Entry 0 belongs to sample ``design.first_tap``, counted from cell 0.
    """
    count = np.bincount(cell, minlength=cells)
    if den <= kernel.MAX_EXACT_PHASES:
        index, weight = phase, delta
    else:
        index, weight = _mixed_phases(phase, den, delta)
        count = 2 * count
    largest = int(np.abs(delta).max(initial=0))
    exact_in_float = int(count.max(initial=0)) * largest * _ROW_GAIN * kernel.ROW_SUM < _EXACT_FLOAT
    bounds = np.concatenate([[0], np.cumsum(count)])
    rows = _table(design, den if den <= kernel.MAX_EXACT_PHASES else None, exact_in_float)
    return _spread(bounds, index, weight, rows)


@lru_cache(maxsize=6)
def _table(design: KernelDesign, den: int | None, in_float: bool) -> Table:
    """Return the rows for `den` exact phases, or for mixed ones, in the type that the sums are made in."""
    rows = kernel.fine_rows(design) if den is None else kernel.exact_rows(design, den)
    return rows.astype(np.float64) if in_float else rows


def _mixed_phases(phase: IntArray, den: int, delta: IntArray) -> tuple[IntArray, IntArray]:
    """Return two table rows and weights for each change: linear mixing between 8192 phases.

    The phase is cut to a multiple of 2**-23 cell here.
    """
    fine = (phase << (kernel.FINE_BITS + kernel.WEIGHT_BITS)) // den
    low = fine >> kernel.WEIGHT_BITS
    part = fine & ((1 << kernel.WEIGHT_BITS) - 1)
    index = np.stack([low, low + 1], axis=1).ravel()
    weight = np.stack([delta * ((1 << kernel.WEIGHT_BITS) - part), delta * part], axis=1).ravel()
    return index, weight


def _spread(bounds: IntArray, index: IntArray, weight: IntArray, rows: Table) -> IntArray:
    # Equals: for each cell c and each change i in it, out[c : c + taps] += weight[i] * rows[index[i]].
    # With float64 every partial sum is an integer below 2**53; with int64 sums may wrap, which undoes itself.
    from scipy.sparse import csr_array

    cells, taps = bounds.size - 1, rows.shape[1]
    changes = csr_array((weight.astype(rows.dtype), index, bounds), shape=(cells, rows.shape[0]))
    by_cell = np.asarray(changes @ rows)
    out = np.zeros(cells + taps - 1, dtype=rows.dtype)
    for tap in range(taps):
        out[tap : tap + cells] += by_cell[:, tap]
    return out.astype(np.int64)
