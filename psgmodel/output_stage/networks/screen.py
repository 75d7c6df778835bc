"""Screening: the response of many candidates at once, for a search over part values.

Stage: the analog side of the output stage. One ladder or network, arrays of part values (ohm, farad, henry) and
frequencies (hertz) in; complex transfer, candidates by frequencies, out. Nothing is checked candidate by candidate:
check one with `check_network`, and the winners with `frequency_response`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.errors import StageError
from psgmodel.output_stage.networks.checks import check_network
from psgmodel.output_stage.networks.ladder import ActiveSection, Ladder, Position, compile_ladder
from psgmodel.output_stage.networks.records import GROUND, Network, PartKind, unknown_name
from psgmodel.output_stage.networks.response import nodal_equations

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


class Screened(NamedTuple):
    """What a screening finds.

    Attributes
    ----------
    transfer : ndarray of complex128, shape (candidates, frequencies)
        Output voltage per pin voltage.
    input_impedance : ndarray of complex128, shape (candidates, frequencies), ohm
        What the ideal pin voltage sees, the pin's output resistance included.
    """

    transfer: ComplexArray
    input_impedance: ComplexArray


def _columns(values: Mapping[str, ArrayLike]) -> dict[str, FloatArray]:
    """Return the values as columns, one row for each candidate."""
    arrays = {name: np.atleast_1d(np.asarray(v, dtype=np.float64))[:, None] for name, v in values.items()}
    sizes = {a.shape[0] for a in arrays.values()} - {1}
    if len(sizes) > 1:
        raise StageError(f"candidate values of different counts: {', '.join(map(str, sorted(sizes)))}")
    if any(np.any(~(a > 0)) for a in arrays.values()):
        raise StageError("candidate values must be positive")
    return arrays


def _frequencies(frequency: ArrayLike) -> FloatArray:
    f = np.atleast_1d(np.asarray(frequency, dtype=np.float64))
    if f.ndim != 1 or not np.all((f > 0) & np.isfinite(f)):
        raise StageError("frequencies of a screening must be a list of finite numbers in hertz above zero")
    return f


def screen_ladder(ladder: Ladder, frequency: ArrayLike, values: Mapping[str, ArrayLike]) -> Screened:
    """Return the response of a passive ladder for many candidate values.

    Works backwards from 1 V at the load, adding up voltages and currents section by section: a few operations
    for each part, candidate and frequency (any textbook of circuit theory: ladder method).

    Parameters
    ----------
    ladder : Ladder
        Without active sections.
    frequency : array_like of float, shape (f,), Hz
        Above 0.
    values : mapping of part name to array_like of float, shape (candidates,)
        Values for parts, named as `compile_ladder` names them ("R1", "C1", "R_load"); other parts keep theirs.

    Returns
    -------
    Screened

    Raises
    ------
    StageError
        An active section, an unknown part, a value or frequency that is not positive, or different counts.
    """
    if any(isinstance(s, ActiveSection) for s in ladder.sections):
        raise StageError("a ladder with an active section is no passive ladder", hint="use screen_network")
    network = compile_ladder(ladder)
    check_network(network)
    columns = _columns(values)
    for name in columns:
        network.element(name)
    s = (2j * np.pi * _frequencies(frequency)[None, :]).astype(np.complex128)
    parts = [(e.kind, columns.get(e.name, np.array([[e.value]]))) for e in network.elements]
    volts, amps = np.ones((1, s.size), np.complex128), np.zeros((1, s.size), np.complex128)
    for impedance, is_shunt in reversed(_branches(ladder, network, parts, s)):
        if is_shunt:
            amps = amps + volts / impedance
        else:
            volts = volts + amps * impedance
    shape = np.broadcast_shapes(volts.shape, amps.shape, (max((c.shape[0] for c in columns.values()), default=1), 1))
    with np.errstate(divide="ignore", invalid="ignore"):
        seen = np.where(amps == 0, complex(np.inf), volts / amps)
    return Screened(np.broadcast_to(1 / volts, shape), np.broadcast_to(seen, shape))


def _branches(
    ladder: Ladder, network: Network, parts: list[tuple[PartKind, FloatArray]], s: ComplexArray
) -> list[tuple[ComplexArray, bool]]:
    """Return impedance and position of each branch, pin to load, a part and its loss as one."""
    impedances = []
    for kind, value in parts:
        if kind is PartKind.RESISTOR:
            impedances.append(value + 0 * s)
        else:
            impedances.append(1 / (value * s) if kind is PartKind.CAPACITOR else value * s)
    at = 0
    branches: list[tuple[ComplexArray, bool]] = []
    if ladder.pin_resistance:
        branches.append((impedances[0], False))
        at = 1
    for section in ladder.sections:
        total = impedances[at]
        at += 1
        if isinstance(section, ActiveSection):
            continue
        if section.loss:
            total = total + impedances[at]
            at += 1
        branches.append((total, section.position is Position.SHUNT))
    branches += [(impedances[i], True) for i in range(at, len(network.elements))]
    return branches


def screen_network(network: Network, frequency: ArrayLike, values: Mapping[str, ArrayLike]) -> Screened:
    """Return the response of any network for many candidate values, by nodal analysis of each.

    Parameters
    ----------
    network : Network
    frequency : array_like of float, shape (f,), Hz
        Above 0.
    values : mapping of element name to array_like of float, shape (candidates,)
        Values for elements; others keep theirs.

    Returns
    -------
    Screened

    Raises
    ------
    StageError
        The network is refused, an unknown element, a value or frequency that is not positive, or different counts.
    """
    check_network(network)
    columns = _columns(values)
    eq = nodal_equations(network)
    g, e = eq.conductance[None], eq.storage[None]
    for name, column in columns.items():
        element = network.element(name)
        pattern = np.zeros_like(eq.conductance)
        ends = [(eq.nodes[n], sign) for n, sign in ((element.first, 1.0), (element.second, -1.0)) if n != GROUND]
        for at, sign in ends:
            for other, other_sign in ends:
                pattern[at, other] += sign * other_sign
        if element.kind is PartKind.RESISTOR:
            g = g + (1 / column[:, :, None] - 1 / element.value) * pattern
        elif element.kind is PartKind.CAPACITOR:
            e = e + (column[:, :, None] - element.value) * pattern
        else:
            row = eq.currents[name]
            pattern = np.zeros_like(eq.conductance)
            pattern[row, row] = -1.0
            e = e + (column[:, :, None] - element.value) * pattern
    s = 2j * np.pi * _frequencies(frequency)
    matrix = g[:, None] + s[None, :, None, None] * e[:, None]
    right = np.broadcast_to(eq.drive[:, None], (*matrix.shape[:-1], 1))
    solution: ComplexArray = np.linalg.solve(matrix, right)[..., 0].astype(np.complex128, copy=False)
    if network.output not in eq.nodes:
        raise unknown_name("node", network.output, eq.nodes)
    current = -solution[..., eq.currents[""]]
    with np.errstate(divide="ignore", invalid="ignore"):
        seen = np.where(current == 0, complex(np.inf), 1 / current)
    return Screened(solution[..., eq.nodes[network.output]], seen)
