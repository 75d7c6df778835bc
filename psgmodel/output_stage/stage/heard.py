"""Heard: what the load hears of any code, as samples at an audio rate, in volts.

Stage: output stage, rendering. In: pieces of code as `Steps`, from cycle 0 on. Out: volts at the load, 48 000 a second.

Code -> modulator -> network, all exact; then the exact mean of the load over each 1/768000 s, then one low-pass
(Kaiser window; flat to 20 kHz within 0.001 dB, 100 dB down from 28 kHz) to 48 kHz, its delay taken out. What a
network leaves near 768 kHz folds down only behind that mean, which takes 31 dB or more off it. Sample k stands at
k/48000 s and half a slot, 0.65 us. The network starts settled at the level of the first code, as a board does that
has been on for long. Memory does not grow with the length.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from psgmodel.output_stage.networks import Drive, SampleKind, sampled, state_space
from psgmodel.output_stage.stage.path import PathState, drive_of
from psgmodel.output_stage.stage.records import Stage
from psgmodel.output_stage.stage.spectral import settled_reading
from psgmodel.steps import Steps

FloatArray = NDArray[np.float64]

RATE = 48_000
"""Samples a second."""

_FINE = 16
_HALF = 20 * _FINE
_LONGEST_SLOT_RATIO = 10**7


class HeardState:
    """What a load hears, fed code piece by piece.

    Attributes
    ----------
    path : PathState
        With its count of saturations.
    clocks : int
        Clocks of the output run so far.
    """

    def __init__(self, stage: Stage) -> None:
        self.path = PathState(stage)
        self.clocks = 0
        self._stage = stage
        self._space = state_space(stage.network)
        self._probe = self._space.output()
        self._state: FloatArray | None = None
        self._open: Steps | None = None
        self._low_pass = DecimatorState(0.0)
        ratio = Fraction(stage.clock) / (RATE * _FINE)
        self._whole_slots = ratio.numerator <= _LONGEST_SLOT_RATIO
        self._slot_cycles = ratio.numerator

    def push(self, code: Steps) -> FloatArray:
        """Return the samples that a further piece of code makes known, volt."""
        if self._state is None and len(code):
            before = self._stage.code_volts(int(code.level[0]))
            self._state = self._space.settled(before)
            self._low_pass = DecimatorState(settled_reading(self._space, self._probe, before))
        return self._levels(self.path.push(code), last=False)

    def finish(self) -> FloatArray:
        """Return the samples that are still on their way; the last voltage is taken to stand."""
        heard = self._levels(self.path.finish(), last=True)
        return np.concatenate([heard, self._low_pass.finish()])

    def _levels(self, levels: Steps, *, last: bool) -> FloatArray:
        if self._open is not None:
            levels = self._open.then(levels) if len(levels) else self._open
            self._open = None
        if not len(levels):
            return np.zeros(0)
        end = levels.end
        if self._whole_slots and not last:  # a slot must not be cut in two: keep what is not whole for the next piece
            end = levels.end // self._slot_cycles * self._slot_cycles
            if end < levels.end:
                self._open = levels.cut(max(end, levels.start), levels.end)
        if end <= levels.start:
            return np.zeros(0)
        return self._low_pass.push(self._fine(drive_of(self._stage, levels.cut(levels.start, end))))

    def _fine(self, drive: Drive) -> FloatArray:
        self.clocks += drive.steps.end - drive.steps.start
        kind = SampleKind.SLOT_MEAN if self._whole_slots else SampleKind.POINT
        found = sampled(self._space, drive, self._probe, RATE * _FINE, kind=kind, start=self._state)
        self._state = found.end_state
        return found.values


class DecimatorState:
    """A low-pass and every sixteenth sample of what comes out of it, fed piece by piece; its delay is taken out.

    `before` is what stood before the first fine sample.
    """

    def __init__(self, before: float) -> None:
        self._taps = decimator_taps()
        self._held = np.full(_HALF, before)

    def push(self, fine: FloatArray) -> FloatArray:
        """Return the samples that further fine samples make known."""
        if not fine.size:
            return np.zeros(0)
        self._held = np.concatenate([self._held, fine])
        # Invariant: `_held` begins half a filter before the next sample to be made.
        count = max(0, (self._held.size - self._taps.size) // _FINE + 1)
        if not count:
            return np.zeros(0)
        windows = np.lib.stride_tricks.sliding_window_view(self._held, self._taps.size)[::_FINE][:count]
        made = np.einsum("ij,j->i", windows, self._taps)
        self._held = self._held[count * _FINE :].copy()
        return np.asarray(made, dtype=np.float64)

    def finish(self) -> FloatArray:
        """Return the samples that stand before the end, the last fine sample held."""
        if self._held.size <= _HALF:
            return np.zeros(0)
        return self.push(np.full(_HALF, self._held[-1]))


def decimator_taps() -> FloatArray:
    """Return the symmetric taps of the low-pass; their sum is one."""
    from scipy.signal import firwin

    taps = firwin(2 * _HALF + 1, 24_000, window=("kaiser", 10.06), fs=RATE * _FINE)
    return np.asarray(taps, dtype=np.float64)


def heard_blocks(stage: Stage, pieces: Iterable[Steps]) -> Iterator[FloatArray]:
    """Return what the load hears of a stream of code, block by block, volt.

    Parameters
    ----------
    stage : Stage
    pieces : iterable of Steps
        Code on the code's clock, one piece after another from cycle 0.

    Yields
    ------
    ndarray of float64, shape (n,), V
    """
    state = HeardState(stage)
    for piece in pieces:
        yield state.push(piece)
    yield state.finish()


def heard(stage: Stage, code: Steps) -> FloatArray:
    """Return what the load hears of a whole code, volt; sample k stands at k / 48000 s and half a slot."""
    return np.concatenate(list(heard_blocks(stage, [code])))
