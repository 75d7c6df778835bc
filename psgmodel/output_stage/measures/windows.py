"""Windows for spectra, and what they do to a level.

Stage: measurement. In: a window's name and a length. Out: its samples (periodic form) and its figures.

Conventions: periodic form (the sample after the last equals the first). Half lobe: bins on each side of a tone that
hold it for sums of power. Coherent gain: mean of the window. ENBW: noise bandwidth in bins, N sum(w**2) / sum(w)**2.
Scallop: loss of the largest bin for a tone half a bin off. (F. J. Harris, On the Use of Windows for Harmonic Analysis
with the Discrete Fourier Transform, 1978.)
"""

from __future__ import annotations

import math
from enum import Enum
from typing import NamedTuple

import numpy as np

from psgmodel.output_stage.measures.checks import Floats, check_record


class Window(Enum):
    """Windows, each with its half lobe in bins."""

    RECTANGULAR = ("rectangular", 0)
    """Only for records of a whole number of periods of everything that matters."""
    HANN = ("hann", 3)
    BLACKMAN_HARRIS = ("blackmanharris", 4)
    """Four terms, side lobes 92 dB down."""
    FLAT_TOP = ("flattop", 5)
    """For reading a line's level off one bin."""
    KAISER_38 = ("kaiser", 13)
    """Kaiser, beta 38: nothing outside its lobe down to rounding error (common practice for converter tests)."""

    @property
    def half_lobe(self) -> int:
        """Bins on each side of a tone."""
        return self.value[1]


class WindowFigures(NamedTuple):
    """coherent_gain: mean; enbw_bins: bins; scallop_db: dB, positive."""

    coherent_gain: float
    enbw_bins: float
    scallop_db: float


def window_samples(window: Window, length: int) -> Floats:
    """Return `length` samples of a window, float64, periodic form."""
    if window is Window.RECTANGULAR:
        return np.ones(length)
    from scipy.signal import get_window

    kind = ("kaiser", 38.0) if window is Window.KAISER_38 else window.value[0]
    return np.asarray(get_window(kind, length, fftbins=True), dtype=np.float64)


def window_figures(samples: Floats) -> WindowFigures:
    """Return the figures of any window.

    Parameters
    ----------
    samples : ndarray of float64, shape (n,)

    Returns
    -------
    WindowFigures

    Raises
    ------
    StageError
        No samples, or one that is not finite.
    """
    row = check_record(samples)
    total = float(row.sum())
    half_bin = abs(complex(np.sum(row * np.exp(-1j * np.pi * np.arange(row.size) / row.size))))
    return WindowFigures(
        total / row.size, row.size * float(np.sum(row**2)) / total**2, -20 * math.log10(half_bin / total)
    )
