"""Samples of a long run on a uniform grid: what the load hears, at a rate of the caller's choice.

Stage: the analog side of the output stage. A `StateSpace`, a `Drive`, a probe and a rate (hertz) in; samples
(unit of the probe) out. Sample j stands for the time j / rate seconds from cycle 0, so that a signal cut anywhere and
run in parts, state handed on, gives the same samples. Decimation to an audio rate is the caller's: choose a rate at
which the network has put what it holds back low enough, such as 384 kHz.

The signal is worked through in pieces, so memory does not grow with the number of edges.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.errors import StageError
from psgmodel.output_stage.networks.drive import Drive
from psgmodel.output_stage.networks.flow_split import flow_of
from psgmodel.output_stage.networks.run import AnalogRun, run_from
from psgmodel.output_stage.networks.states import Probe, StateSpace

FloatArray = NDArray[np.float64]

_PIECE = 1 << 16
_LARGEST_PART = 1 << 40


class SampleKind(Enum):
    """What a sample is; the enum value is the word in a file."""

    POINT = "point"
    """The reading at that instant."""
    SLOT_MEAN = "slot-mean"
    """The exact mean from that instant to the next."""


class Sampled(NamedTuple):
    """Samples of a reading.

    Attributes
    ----------
    first : int
        Index of the first sample; it stands for the time ``first / rate`` seconds from cycle 0.
    rate : Fraction, Hz
    values : ndarray of float64, shape (n,), unit of the probe
    end_state : ndarray of float64, shape (states,), volt and ampere
        State at the end of the drive, to go on from.
    """

    first: int
    rate: Fraction
    values: FloatArray
    end_state: FloatArray


class _Grid(NamedTuple):
    """Instants ``j * numerator / denominator`` cycles."""

    numerator: int
    denominator: int

    def ceil(self, cycle: int) -> int:
        """Return the first j that is not before `cycle`."""
        return -(-cycle * self.denominator // self.numerator)

    def meets(self, cycle: int) -> bool:
        """Tell whether an instant falls on `cycle`."""
        return cycle * self.denominator % self.numerator == 0

    def split(self, first: int, last: int) -> tuple[NDArray[np.int64], FloatArray]:
        """Return whole cycles and the rest (0 to below 1) of instants `first` to, not including, `last`."""
        whole, rest = divmod(first * self.numerator, self.denominator)
        steps = rest + np.arange(last - first, dtype=np.int64) * self.numerator
        return whole + steps // self.denominator, (steps % self.denominator) / self.denominator


def sampled(
    space: StateSpace,
    drive: Drive,
    probe: Probe,
    rate: Fraction | int,
    *,
    kind: SampleKind = SampleKind.POINT,
    start: FloatArray | None = None,
) -> Sampled:
    """Run a network and sample a reading on a uniform grid.

    Parameters
    ----------
    space : StateSpace
    drive : Drive
        Of any length.
    probe : Probe
    rate : Fraction or int, Hz
    kind : SampleKind
        `SampleKind.POINT`: every instant from the start up to, not including, the end; at an edge, just after it.
        `SampleKind.SLOT_MEAN`: every slot that lies wholly within the drive.
    start : ndarray of float64, shape (states,), optional
        As `run_from`.

    Returns
    -------
    Sampled

    Raises
    ------
    StageError
        The rate is not positive, or in no workable ratio to the clock rate; or as `run_from`.
    """
    if not rate > 0:
        raise StageError(f"a sample rate of {rate} Hz gives no samples; accepted is a positive rate")
    ratio = Fraction(drive.clock_rate) / Fraction(rate)
    if max(ratio.numerator, ratio.denominator) > _LARGEST_PART:
        raise StageError(
            f"the clock rate {drive.clock_rate} Hz and the sample rate {rate} Hz have no common measure that fits",
            hint="state both as integers or short fractions",
        )
    grid = _Grid(ratio.numerator, ratio.denominator)
    taken: list[FloatArray] = [np.zeros(0)]
    end_state = np.zeros(len(space.states)) if start is None else start
    open_area: float | None = None
    for run in _runs(space, drive, end_state):
        if kind is SampleKind.POINT:
            taken.append(_points(run, probe, grid))
        else:
            areas, open_area = _means(run, probe, grid, open_area)
            taken.append(areas * float(rate))
        end_state = run.end_state()
    if open_area is not None and grid.meets(drive.steps.end):
        taken.append(np.array([open_area * float(rate)]))
    return Sampled(grid.ceil(drive.steps.start), Fraction(rate), np.concatenate(taken), end_state)


def _runs(space: StateSpace, drive: Drive, start: FloatArray) -> Iterator[AnalogRun]:
    """Run piece after piece, the state handed on."""
    flow, state = flow_of(space), start
    for first in range(0, len(drive.steps), _PIECE):
        run = run_from(space, drive.piece(first, first + _PIECE), state, flow=flow)
        state = run.end_state()
        yield run


def _stretches(run: AnalogRun, grid: _Grid, first: int, last: int) -> tuple[NDArray[np.intp], FloatArray]:
    """Return the stretch of each instant and the seconds since its start."""
    whole, rest = grid.split(first, last)
    cycle = run.drive.steps.cycle
    # Both rise: count the instants in each stretch instead of searching for each instant.
    bounds = np.searchsorted(whole, cycle[1:], side="left")
    stretch = np.repeat(np.arange(cycle.size), np.diff(bounds, prepend=0, append=whole.size))
    return stretch, (whole - cycle[stretch] + rest) * run.drive.seconds_per_cycle


def _points(run: AnalogRun, probe: Probe, grid: _Grid) -> FloatArray:
    first, last = grid.ceil(run.drive.steps.start), grid.ceil(run.drive.steps.end)
    parts = [np.zeros(0)]
    for at in range(first, last, _PIECE):
        parts.append(run.within(probe, *_stretches(run, grid, at, min(at + _PIECE, last))))
    return np.concatenate(parts)


def _means(run: AnalogRun, probe: Probe, grid: _Grid, open_area: float | None) -> tuple[FloatArray, float | None]:
    """Return the areas of the slots that end in this piece, and the area so far of the slot left open.

    `open_area` is that of the slot left open by the piece before, None where no slot has begun yet.
    """
    first, last = grid.ceil(run.drive.steps.start), grid.ceil(run.drive.steps.end)
    before = np.concatenate([[0.0], np.cumsum(run.areas(probe))])
    parts = [np.zeros(0)]
    for at in range(first, last, _PIECE):
        stretch, seconds = _stretches(run, grid, at, min(at + _PIECE, last))
        parts.append(before[stretch] + run.areas_within(probe, stretch, seconds))
    reached = np.concatenate(parts)
    if not reached.size:
        return reached, None if open_area is None else open_area + float(before[-1])
    left = float(before[-1] - reached[-1])
    if open_area is None:
        return np.diff(reached), left
    return np.diff(reached, prepend=-open_area), left
