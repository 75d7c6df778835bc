"""The renderer: `Steps` to band-limited samples, piece by piece.

Stage: audio. In: `Steps` (integer levels at integer clock cycles), the clock rate in hertz, the sample rate in
hertz. Out: float64 samples, 1.0 at the level that the caller names as full scale. Sample k stands at time
k / rate after the first cycle of the signal; the delay of the low-pass is taken out. There are as many samples
as stand before the end of the signal.

Before its start the signal is taken to have stood at its first level for ever, so that a constant level gives
constant samples; a caller who names `start_level` gets the step from that level at the start. At the end the last
level is taken to stand for ever.

All sums are exact integers (units of 2**-34 level); one division at the end makes the float. So the samples do
not depend on how the signal is cut into pieces, nor on the machine.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.grid import OutputGrid, output_grid
from psgmodel.audio.kernel import MAX_LEVEL, ROW_BITS, ROW_SUM, KernelDesign, design_for_rate
from psgmodel.audio.scatter import differences
from psgmodel.errors import AudioError
from psgmodel.steps import Steps

Samples = NDArray[np.float64]
IntArray = NDArray[np.int64]
Unknown = int | Literal["refuse", "last"]
"""What stands where a level is not known: an error, the last known level, or a level of the caller's."""

CELLS_PER_CHUNK = 4096
CHANGES_PER_CHUNK = 1 << 18


@dataclass(slots=True)
class RendererState:
    """Where a renderer stands: all that is needed to go on from here.

    Attributes
    ----------
    clock_hz : int or Fraction, hertz
    rate : int, hertz
    full_scale : float, level that becomes 1.0
    unknown : int, "refuse" or "last"
    origin : int or None, clock cycles
        Cycle of sample 0; None before the first piece.
    covered : int, clock cycles
        First cycle not yet seen, counted from `origin`.
    level : int or None
        Level standing before that cycle; None where nothing is known yet.
    sample : int
        Number of the sample that `pending` begins with; negative in the run-in of the low-pass.
    running : int, units of 2**-34 level
        Value of the sample before that.
    pending : ndarray of int64, units of 2**-34 level
        Differences between samples as far as the changes seen so far make them.
    """

    clock_hz: int | Fraction
    rate: int
    full_scale: float
    unknown: Unknown = "refuse"
    origin: int | None = None
    covered: int = 0
    level: int | None = None
    sample: int = 0
    running: int = 0
    pending: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))


class StepsRenderer:
    """Renders one signal piece by piece.

    Parameters
    ----------
    clock_hz : int or fractions.Fraction, hertz
    rate : int, hertz
    full_scale : float
        The level that becomes 1.0, above 0.
    start_level : int, optional
        Level before the first piece. None: the first level of the signal.
    unknown : "refuse", "last" or int
        What stands where a level is not known.

    Raises
    ------
    AudioError
        A rate or full scale that cannot be used.
    """

    def __init__(
        self,
        clock_hz: int | Fraction,
        rate: int,
        *,
        full_scale: float,
        start_level: int | None = None,
        unknown: Unknown = "refuse",
    ) -> None:
        if not (np.isfinite(full_scale) and full_scale > 0):
            raise AudioError(f"full scale {full_scale} is not a level above 0", hint="give the level that becomes 1.0")
        if isinstance(unknown, str) and unknown not in ("refuse", "last"):
            raise AudioError(f'unknown="{unknown}" is not "refuse", "last" or a level')
        for name, level in (("start level", start_level), ("level for unknown", unknown)):
            if isinstance(level, int):
                _refuse_large(level, name)
        self._grid: OutputGrid = output_grid(clock_hz, rate)
        self._design: KernelDesign = design_for_rate(rate)
        self._state = RendererState(clock_hz, int(rate), float(full_scale), unknown, level=start_level)

    @classmethod
    def from_state(cls, state: RendererState) -> StepsRenderer:
        """Return a renderer that goes on where `state` was taken."""
        renderer = cls(state.clock_hz, state.rate, full_scale=state.full_scale, unknown=state.unknown)
        renderer._state = replace(state, pending=state.pending.copy())
        return renderer

    def state(self) -> RendererState:
        """Return a copy of where the renderer stands."""
        return replace(self._state, pending=self._state.pending.copy())

    @property
    def delay(self) -> int:
        """Return how many samples at most the output lags behind the signal seen."""
        return self._design.width // 2 + 1

    def push(self, piece: Steps) -> Samples:
        """Take the next piece of the signal; return the samples that are now final.

        Parameters
        ----------
        piece : Steps
            Must start where the piece before ended.

        Returns
        -------
        ndarray of float64, shape (n,), 1.0 at full scale
            May be empty.

        Raises
        ------
        AudioError
            A gap between pieces, or an unknown level that the caller named nothing for.
        """
        return joined(list(self.push_blocks(piece)))

    def push_blocks(self, piece: Steps) -> Iterator[Samples]:
        """Like `push`, but yield the samples in short blocks, for pieces that make many samples."""
        state = self._state
        if state.origin is None:
            self._begin(piece)
        assert state.origin is not None
        if piece.start - state.origin != state.covered:
            raise AudioError(
                f"a piece from cycle {piece.start} does not follow one that ended at cycle "
                f"{state.origin + state.covered}"
            )
        if not len(piece):
            return
        level = _known_levels(piece, state.unknown, state.level)
        for extreme in (level.min(), level.max()):
            _refuse_large(int(extreme), "level")
        if state.level is None:
            state.level = int(level[0])
            state.running = state.level * ROW_SUM
        cycle = piece.cycle - np.int64(state.origin)
        end = piece.end - state.origin
        yield from self._take(cycle, level, end)

    def finish(self) -> Samples:
        """Return the samples still missing if the signal ends here; the last level is taken to stand for ever.

        The renderer itself stays where it is and can go on.
        """
        rest = StepsRenderer.from_state(self._state)
        return rest._emit(max(0, self._grid.samples_before(self._state.covered) - self._state.sample))

    def _begin(self, piece: Steps) -> None:
        state = self._state
        state.origin = piece.start
        state.sample = self._design.first_tap
        state.pending = np.zeros(self._design.taps, dtype=np.int64)
        if state.level is not None:
            state.running = state.level * ROW_SUM

    def _take(self, cycle: IntArray, level: NDArray[np.int32], end: int) -> Iterator[Samples]:
        """Add the changes cell range by cell range. Before and after: samples before `state.sample` are out."""
        state, grid = self._state, self._grid
        done = 0
        cell = grid.cell_of(state.covered)
        last_cell = grid.cell_of(end)
        while cell <= last_cell:
            upto = min(cell + CELLS_PER_CHUNK, last_cell + 1)
            bound = min(grid.first_cycle_in(upto), end)
            stop = int(np.searchsorted(cycle, bound))
            for low in range(done, stop, CHANGES_PER_CHUNK):
                part = slice(low, min(stop, low + CHANGES_PER_CHUNK))
                self._add(cell, upto - cell, cycle[part], level[part])
            done = stop
            state.covered = bound
            cell = upto
            # A change still to come lies in `last_cell` or later; the one it touches first is not final.
            final = min(upto, last_cell) + self._design.first_tap
            yield self._emit(max(0, final - state.sample))
        state.covered = end

    def _add(self, cell: int, cells: int, cycle: IntArray, level: NDArray[np.int32]) -> None:
        state = self._state
        assert state.level is not None
        levels = level.astype(np.int64)
        delta = levels - np.concatenate([[state.level], levels[:-1]])
        state.level = int(level[-1])
        where, phase = self._grid.place(cycle, cell)
        added = differences(self._design, cells, where, phase, self._grid.den, delta)
        at = cell + self._design.first_tap - state.sample
        self._grow(at + added.size)
        state.pending[at : at + added.size] += added

    def _grow(self, size: int) -> None:
        missing = size - self._state.pending.size
        if missing > 0:
            self._state.pending = np.concatenate([self._state.pending, np.zeros(missing, dtype=np.int64)])

    def _emit(self, count: int) -> Samples:
        """Return `count` samples from `state.sample` on, less those before sample 0."""
        state = self._state
        self._grow(count)
        value = np.cumsum(state.pending[:count]) + np.int64(state.running)
        if count:
            state.running = int(value[-1])
        value = value[max(0, -state.sample) :]
        state.pending = state.pending[count:].copy()
        state.sample += count
        return value.astype(np.float64) * 2.0**-ROW_BITS / state.full_scale


def _refuse_large(level: int, name: str) -> None:
    if abs(level) > MAX_LEVEL:
        raise AudioError(
            f"{name} {level} is too large to render exactly: at most {MAX_LEVEL} (2**27) either side of 0",
            hint="shift the levels right first",
        )


def _known_levels(piece: Steps, unknown: Unknown, before: int | None) -> NDArray[np.int32]:
    """Return the levels of a piece with the unknown ones replaced as the caller asked."""
    if piece.unknown is None or not piece.unknown.any():
        return piece.level
    first = int(np.argmax(piece.unknown))
    if unknown == "refuse":
        raise AudioError(
            f"the level is not known at cycle {int(piece.cycle[first])}",
            hint='unknown="last" holds the last known level; a number stands for the level itself',
        )
    if unknown != "last":
        return np.where(piece.unknown, np.int32(unknown), piece.level)
    if first == 0 and before is None:
        raise AudioError(
            f"no level is known yet at cycle {piece.start}, so there is none to hold",
            hint="name start_level, or cut the signal to begin where its level is known",
        )
    source = np.maximum.accumulate(np.where(piece.unknown, -1, np.arange(len(piece))))
    return np.where(source < 0, np.int32(before or 0), piece.level[source])


def joined(parts: list[Samples]) -> Samples:
    """Return samples in one array, empty where there are no parts."""
    return np.concatenate(parts) if parts else np.zeros(0, dtype=np.float64)
