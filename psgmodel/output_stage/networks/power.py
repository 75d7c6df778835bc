"""Currents and heat: what each part carries, exact for a piecewise-constant pin voltage.

Stage: the analog side of the output stage. An `AnalogRun` in; peak and rms current (ampere) and mean power (watt)
out. Peaks are searched between the edges too; mean squares integrate the products of exponentials between the edges
in closed form. Compare them with the data sheets of pin and parts: nothing here knows a limit.
"""

from __future__ import annotations

from dataclasses import dataclass

from psgmodel.output_stage.networks.records import PartKind
from psgmodel.output_stage.networks.run import AnalogRun
from psgmodel.output_stage.networks.states import Probe


@dataclass(frozen=True, slots=True)
class Burden:
    """What a part carries over a run.

    Attributes
    ----------
    name : str
        Part, or "pin".
    lowest, highest : float, ampere
        Extremes of the current, from first to second node (out of the pin, out of an op amp).
    rms : float, ampere
    mean : float, ampere
    power : float or None, watt
        Mean heat of a resistor, R times the mean square; None for other parts.
    """

    name: str
    lowest: float
    highest: float
    rms: float
    mean: float
    power: float | None

    @property
    def peak(self) -> float:
        """Largest absolute current, ampere."""
        return max(abs(self.lowest), abs(self.highest))


def _burden(run: AnalogRun, name: str, probe: Probe, resistance: float | None) -> Burden:
    ends, rms = run.extremes(probe), run.rms(probe)
    power = None if resistance is None else resistance * rms * rms
    return Burden(name, ends.low, ends.high, rms, run.mean(probe), power)


def pin_burden(run: AnalogRun) -> Burden:
    """Return what the pin carries. Its own output resistance, where there is one, is the resistor ``R_pin``."""
    return _burden(run, "pin", run.space.pin_current(), None)


def part_burden(run: AnalogRun, name: str) -> Burden:
    """Return what one part carries.

    Parameters
    ----------
    run : AnalogRun
    name : str
        An element or op amp.

    Returns
    -------
    Burden

    Raises
    ------
    StageError
        There is no such part.
    """
    probe = run.space.current(name)
    element = next((e for e in run.space.network.elements if e.name == name), None)
    heats = element is not None and element.kind is PartKind.RESISTOR
    return _burden(run, name, probe, element.value if element is not None and heats else None)


def burdens(run: AnalogRun) -> tuple[Burden, ...]:
    """Return what the pin and every element carry, the pin first, then in the order of the network."""
    return (pin_burden(run), *(part_burden(run, e.name) for e in run.space.network.elements))
