"""Exact runs: what a network makes of a piecewise-constant pin voltage, at any time, without small time steps.

Stage: the analog side of the output stage. A `StateSpace` and a `Drive` in; an `AnalogRun` out, which reads any
voltage (volt) or current (ampere) at any time (seconds from cycle 0). Sums over time (mean, rms) integrate the
exponentials between the edges in closed form; extremes are searched between the edges too (`peaks`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.errors import StageError
from psgmodel.output_stage.networks.drive import Drive
from psgmodel.output_stage.networks.flow import ComplexArray, Flow, read
from psgmodel.output_stage.networks.flow_split import flow_of
from psgmodel.output_stage.networks.peaks import Extremes, extremes_of
from psgmodel.output_stage.networks.states import Probe, StateSpace

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class AnalogRun:
    """A network driven by a pin signal, solved; made by `run_from` and `run_periodic`.

    Attributes
    ----------
    space : StateSpace
    drive : Drive
    flow : Flow
    coordinates : ndarray of complex128, shape (m, n + 1)
        Deviation from the settled state at the start of each of the n stretches, and at the end.
    """

    space: StateSpace
    drive: Drive
    flow: Flow
    coordinates: ComplexArray

    def _settled(self, probe: Probe) -> FloatArray:
        """Return what each stretch would settle to. Shape (n,)."""
        offset = float(probe.row @ self.space.settled(0.0)) + probe.constant
        gain = float(probe.row @ (self.space.settled(1.0) - self.space.settled(0.0))) + probe.direct
        return offset + gain * self.drive.volts()

    def within(self, probe: Probe, stretch: NDArray[np.intp], seconds: FloatArray) -> FloatArray:
        """Return the reading at times within stretches.

        Parameters
        ----------
        probe : Probe
        stretch : ndarray of int, shape (k,)
            Index of the stretch.
        seconds : ndarray of float64, shape (k,)
            Time since the start of that stretch.

        Returns
        -------
        ndarray of float64, shape (k,)
        """
        moved = self.flow.read_at(self.flow.weights(probe.row), self.coordinates, stretch, seconds)
        return self._settled(probe)[stretch] + moved

    def at(self, probe: Probe, seconds: ArrayLike) -> FloatArray:
        """Return the reading at any times (seconds from cycle 0); at an edge, just after it. Shape of `seconds`.

        Raises
        ------
        StageError
            A time lies before the start or after the end, by more than rounding.
        """
        wanted = np.atleast_1d(np.asarray(seconds, dtype=np.float64))
        edges = self.drive.edge_seconds()
        slack = 1e-6 * self.drive.seconds_per_cycle
        if wanted.size and (wanted.min() < edges[0] - slack or wanted.max() > edges[-1] + slack):
            raise StageError(
                f"time {wanted.min():.9g} to {wanted.max():.9g} s asked of a run "
                f"from {edges[0]:.9g} to {edges[-1]:.9g} s"
            )
        wanted = np.clip(wanted, edges[0], edges[-1])
        stretch = np.minimum(np.searchsorted(edges, wanted, side="right") - 1, edges.size - 2)
        return self.within(probe, stretch, wanted - edges[stretch])

    def at_edges(self, probe: Probe) -> FloatArray:
        """Return the reading just after the start of each stretch, and just before the end. Shape (n + 1,)."""
        settled = self._settled(probe)
        return np.append(settled, settled[-1]) + read(self.flow.weights(probe.row), self.coordinates)

    def extremes(self, probe: Probe) -> Extremes:
        """Return the lowest and highest reading over the whole run, between the edges too."""
        starts = self.drive.edge_seconds()[:-1]
        return extremes_of(
            self.flow, probe, self.coordinates[:, :-1], self.drive.seconds(), self._settled(probe), starts
        )

    def mean(self, probe: Probe) -> float:
        """Return the mean over the run, exact."""
        return float(self.areas(probe).sum() / self.drive.seconds().sum())

    def areas(self, probe: Probe) -> FloatArray:
        """Return the integral of the reading over each stretch, exact. Shape (n,), unit of the probe times second."""
        seconds = self.drive.seconds()
        return self.areas_within(probe, np.arange(seconds.size), seconds)

    def areas_within(self, probe: Probe, stretch: NDArray[np.intp], seconds: FloatArray) -> FloatArray:
        """Return the integral of the reading from the start of stretches; parameters as `within`."""
        moved = self.flow.area(self.flow.weights(probe.row), self.coordinates[:, stretch], seconds)
        return self._settled(probe)[stretch] * seconds + moved

    def rms(self, probe: Probe) -> float:
        """Return the root mean square over the run, exact: the squared exponentials integrated in closed form."""
        seconds, settled = self.drive.seconds(), self._settled(probe)
        weights, w = self.flow.weights(probe.row), self.coordinates[:, :-1]
        area = settled**2 * seconds + 2 * settled * self.flow.area(weights, w, seconds)
        area += self.flow.square_area(weights, w, seconds)
        return float(np.sqrt(max(0.0, area.sum()) / seconds.sum()))

    def end_state(self) -> FloatArray:
        """Return the state at the end (shape (states,), volt and ampere), to go on from."""
        return self.space.settled(float(self.drive.volts()[-1])) + self.flow.leave(self.coordinates[:, -1])


def _march(space: StateSpace, drive: Drive, flow: Flow, start: ComplexArray, after: float) -> ComplexArray:
    """Return the coordinates at each edge and, with the pin voltage going to `after`, at the end."""
    volts = drive.volts()
    kick = flow.enter(space.settled(0.0) - space.settled(1.0))
    return flow.march(start, drive.seconds(), kick, np.diff(volts, append=after))


def run_from(
    space: StateSpace, drive: Drive, start: FloatArray | None = None, *, flow: Flow | None = None
) -> AnalogRun:
    """Run a network from a given state.

    Parameters
    ----------
    space : StateSpace
    drive : Drive
    start : ndarray of float64, shape (states,), volt and ampere, optional
        State at the start: ``space.settled(volts)``, another run's `AnalogRun.end_state`, or nothing: everything
        discharged, which is how a board starts.
    flow : Flow, optional
        ``flow_of(space)`` where it is at hand already.

    Returns
    -------
    AnalogRun

    Raises
    ------
    StageError
        The start has the wrong shape.
    """
    state = np.zeros(len(space.states)) if start is None else np.asarray(start, dtype=np.float64)
    if state.shape != (len(space.states),):
        raise StageError(f"a start of shape {state.shape} does not fit the {len(space.states)} states of the network")
    flow = flow or flow_of(space)
    volts = drive.volts()
    first = flow.enter(state - space.settled(float(volts[0])))
    return AnalogRun(space, drive, flow, _march(space, drive, flow, first, float(volts[-1])))


def run_periodic(space: StateSpace, drive: Drive) -> AnalogRun:
    """Run one period of a signal that repeats for ever, in the steady state.

    Parameters
    ----------
    space : StateSpace
    drive : Drive
        One period.

    Returns
    -------
    AnalogRun
        Its end equals its start: `AnalogRun.extremes` is the exact ripple.
    """
    flow, first = flow_of(space), float(drive.volts()[0])
    end = _march(space, drive, flow, flow.enter(np.zeros(len(space.states))), first)[:, -1]
    start = flow.period_start(end, float(drive.seconds().sum()))
    last = float(drive.volts()[-1])
    return AnalogRun(space, drive, flow, _march(space, drive, flow, start, last))
