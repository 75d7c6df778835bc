"""DC block: a first-order high-pass, as a coupling capacitor into a resistor makes it.

Stage: audio. In: samples, block by block. Out: as many samples without their mean.

Difference equation, with ``K = tan(pi * corner / rate)``::

    y[n] = (x[n] - x[n - 1]) / (1 + K) + (1 - K) / (1 + K) * y[n - 1]

It is the bilinear transform of ``s / (s + wc)`` with the corner warped beforehand, so the gain is exactly
1 / sqrt(2) (-3.01 dB) at `corner_hz`, 0 at 0 Hz and 1 at half the sample rate (A. V. Oppenheim and R. W. Schafer,
*Discrete-Time Signal Processing*, 1989, chapter on filter design). The input is taken to have stood at its first
sample for ever, so a constant comes out as zeros and nothing thumps at the start.

The samples do not depend on the cutting into blocks. Unlike the renderer this is floating-point arithmetic: last
digits may differ from one kind of machine to another.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.files import as_channels
from psgmodel.errors import AudioError

Samples = NDArray[np.float64]


@dataclass(slots=True)
class DcBlockState:
    """What the filter remembers.

    Attributes
    ----------
    memory : ndarray of float64, shape (1, channels), or None
        None before the first sample.
    """

    memory: Samples | None = None


class DcBlock:
    """The high-pass as a stream.

    Parameters
    ----------
    corner_hz : float, hertz
        Above 0, below half the sample rate.
    rate : int, hertz

    Attributes
    ----------
    state : DcBlockState
        May be copied out and put back to resume.

    Raises
    ------
    AudioError
        A corner that the sample rate does not allow.
    """

    def __init__(self, corner_hz: float, rate: int) -> None:
        if not 0 < corner_hz < rate / 2:
            raise AudioError(
                f"DC block corner {corner_hz} Hz is not between 0 and {rate / 2:g} Hz", hint="usual: 5 to 30 Hz"
            )
        k = math.tan(math.pi * corner_hz / rate)
        self._b = [1 / (1 + k), -1 / (1 + k)]
        self._a = [1.0, -(1 - k) / (1 + k)]
        self.state = DcBlockState()

    def process(self, block: Samples) -> Samples:
        """Filter the next block.

        Parameters
        ----------
        block : ndarray of float64, shape (n,) or (n, channels)

        Returns
        -------
        ndarray of float64, shape of `block`
        """
        from scipy.signal import lfilter

        x = as_channels(block)
        if x.shape[0] == 0:
            return x.reshape(np.shape(block))
        if self.state.memory is None:
            self.state.memory = self._b[1] * x[:1]
        y, memory = lfilter(self._b, self._a, x, axis=0, zi=self.state.memory)
        self.state.memory = np.asarray(memory, dtype=np.float64)
        return np.asarray(y, dtype=np.float64).reshape(np.shape(block))


def block_dc(samples: Samples, corner_hz: float, rate: int) -> Samples:
    """Return samples after the high-pass of this module; see `DcBlock`."""
    return DcBlock(corner_hz, rate).process(samples)
