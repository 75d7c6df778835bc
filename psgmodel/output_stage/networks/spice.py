"""SPICE netlists of a network, for ngspice: frequency response and transient.

Stage: the analog side of the output stage. A `Network` (and a `Drive`) in; netlist text out, to be run with
``ngspice -b FILE``; the run writes a table with a header line beside the netlist. The first line is the title.
Node names are the network's own; ground is 0. Source of the syntax: Ngspice User's Manual, version 39.

An op amp becomes a controlled current into a resistor and a capacitor, and a controlled voltage: one pole, as here.
"""

from __future__ import annotations

import re
from typing import Literal

import numpy as np

from psgmodel.errors import StageError
from psgmodel.output_stage.networks.checks import check_network
from psgmodel.output_stage.networks.drive import Drive
from psgmodel.output_stage.networks.records import GROUND, Element, Network, OpAmp, Reference, unknown_name

_PIN = "let pincurrent = -i(vsource)"
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]*")


def netlist_ac(
    network: Network,
    *,
    start: float,
    stop: float,
    points_per_decade: int = 50,
    nodes: tuple[str, ...] | None = None,
    data: str = "ac.dat",
) -> str:
    """Return a netlist that writes the frequency response for 1 V at the pin.

    Parameters
    ----------
    network : Network
    start, stop : float, Hz
    points_per_decade : int
    nodes : tuple of str, optional
        Which voltages to write; the output where absent. Columns: frequency, then real and imaginary part of
        each, then of the current out of the pin.
    data : str
        Name of the table.

    Returns
    -------
    str

    Raises
    ------
    StageError
        The network is refused, a node is unknown, or a name cannot stand in a netlist.
    """
    if not 0 < start < stop:
        raise StageError(f"a sweep from {start} to {stop} Hz; accepted is 0 < start < stop")
    taken = _taken(network, nodes)
    columns = " ".join(f"vr({n}) vi({n})" for n in taken) + " real(pincurrent) imag(pincurrent)"
    control = [f"ac dec {points_per_decade} {_number(start)} {_number(stop)}", _PIN, f"wrdata {data} {columns}"]
    return _netlist(network, "DC 0 AC 1", [], control)


def netlist_transient(
    network: Network,
    drive: Drive,
    *,
    form: Literal["pwl", "pulse"] = "pwl",
    edge: float = 1e-9,
    step: float | None = None,
    stop: float | None = None,
    settled_at: float = 0.0,
    tolerance: float = 1e-5,
    nodes: tuple[str, ...] | None = None,
    data: str = "transient.dat",
) -> str:
    """Return a netlist that writes the response to a pin signal.

    An edge takes `edge` seconds and is centred on its instant, so that its area is that of a step: behind a time
    constant T it departs from the step by about ``(edge / T)**2 / 24`` once it is over. So that the first edge has
    room, the drive starts at time `edge` of the netlist.

    Parameters
    ----------
    network : Network
    drive : Drive
        Its start is time `edge` of the netlist.
    form : "pwl" or "pulse"
        A list of points, or the periodic source; the latter takes two stretches, or more that repeat them.
    edge : float, seconds
        Above zero, and shorter than the shortest stretch.
    step : float, seconds, optional
        Largest time step; a thousandth of the duration where absent.
    stop : float, seconds, optional
        Duration from the start of the drive; its own where absent. Beyond it a list holds its last level, a periodic
        source goes on.
    settled_at : float, volt
        The pin voltage before the start, to which the network has settled. At 0, without references, that is
        everything discharged: the start of `run_from`.
    tolerance : float, ratio
        Relative tolerance of the simulator's step control, which matters for motions faster than `step`.
    nodes : tuple of str, optional
        Which voltages to write; the output where absent. Columns: time, each voltage, the current out of the pin.
    data : str
        Name of the table.

    Returns
    -------
    str

    Raises
    ------
    StageError
        As `netlist_ac`; or an edge that does not fit; or a signal that does not repeat for "pulse".
    """
    taken = _taken(network, nodes)
    shortest = float(drive.seconds().min())
    if not 0 < edge < shortest:
        raise StageError(f"an edge of {edge:.3g} s does not fit: accepted is above 0 and below {shortest:.3g} s")
    duration = float(drive.seconds().sum()) if stop is None else stop
    source = _pwl(drive, edge, settled_at) if form == "pwl" else _pulse(drive, edge, settled_at)
    largest = duration / 1000 if step is None else step
    columns = " ".join(f"v({n})" for n in taken) + " pincurrent"
    control = [
        f"tran {_number(largest)} {_number(duration + edge)} 0 {_number(largest)}",
        _PIN,
        f"wrdata {data} {columns}",
    ]
    options = [f".options method=trap reltol={_number(tolerance)} abstol=1e-12 vntol=1e-8"]
    return _netlist(network, source, options, control)


def _taken(network: Network, nodes: tuple[str, ...] | None) -> tuple[str, ...]:
    """Return the nodes to write, checked together with every name of the network."""
    check_network(network)
    parts: list[Element | OpAmp | Reference] = [*network.elements, *network.op_amps, *network.references]
    for name in (*network.nodes(), *(p.name for p in parts)):
        if not _NAME.fullmatch(name):
            raise StageError(f'the name "{name}" cannot stand in a netlist; accepted are letters, digits, underscores')
    taken = nodes or (network.output,)
    for node in taken:
        if node not in network.nodes():
            raise unknown_name("node", node, network.nodes())
    return taken


def _number(value: float) -> str:
    """Return a number so that it reads back as the same float."""
    return repr(float(value))


def _node(name: str) -> str:
    return "0" if name == GROUND else name


def _netlist(network: Network, source: str, options: list[str], control: list[str]) -> str:
    lines = [" ".join(network.title.split()) or "network", f"Vsource {_node(network.source)} 0 {source}"]
    for e in network.elements:
        letter = e.kind.letter
        name = e.name if e.name[0].upper() == letter else f"{letter}_{e.name}"
        lines.append(f"{name} {_node(e.first)} {_node(e.second)} {_number(e.value)}")
    lines += [f"V_{r.name} {r.node} 0 DC {_number(r.volts)}" for r in network.references]
    for a in network.op_amps:
        inner, gain = f"{a.name}_pole", a.dc_gain
        pole = gain / (2 * np.pi * a.gain_bandwidth)
        lines += [
            f"G_{a.name} 0 {inner} {_node(a.plus)} {_node(a.minus)} 1",
            f"R_{a.name}_pole {inner} 0 {_number(gain)}",
            f"C_{a.name}_pole {inner} 0 {_number(pole / gain)}",
            f"E_{a.name} {_node(a.out)} 0 {inner} 0 1",
        ]
    lines += [*options, ".control", "set wr_singlescale", "set wr_vecnames", "set numdgt=16", *control, "quit"]
    return "\n".join([*lines, ".endc", ".end", ""])


def _pwl(drive: Drive, edge: float, before: float) -> str:
    """Return a list of points: a flat stretch, then a ramp centred on the edge."""
    volts, times = drive.volts(), drive.edge_seconds()
    times = times - times[0] + edge
    points, level = [f"0 {_number(before)}"], before
    for value, time in zip(volts, times, strict=False):
        points += [f"{_number(time - edge / 2)} {_number(level)}", f"{_number(time + edge / 2)} {_number(value)}"]
        level = value
    return "PWL(\n+ " + "\n+ ".join(points) + "\n+ )"


def _pulse(drive: Drive, edge: float, before: float) -> str:
    """Return a periodic source, once the stretches have been seen to repeat and to follow on `before`."""
    volts, cycles = drive.volts(), drive.steps.durations()
    repeats = volts.size > 1 and all(
        volts[i] == volts[i % 2] and (i == volts.size - 1 > 1 or cycles[i] == cycles[i % 2]) for i in range(volts.size)
    )
    if not repeats:
        raise StageError("the signal does not repeat its first two stretches", hint='use form "pwl"')
    first, second = (float(t) for t in drive.seconds()[:2])
    if before == volts[0]:
        delay, low, high, width = edge + first, volts[0], volts[1], second
    elif before == volts[1]:
        delay, low, high, width = edge, volts[1], volts[0], first
    else:
        raise StageError(
            f"a periodic source begins at one of its two levels, {volts[0]:.4g} or {volts[1]:.4g} V, "
            f"not at {before:.4g} V",
            hint='use form "pwl", or settle at one of them',
        )
    numbers = (low, high, delay - edge / 2, edge, edge, width - edge, first + second)
    return f"PULSE({' '.join(map(_number, numbers))})"
