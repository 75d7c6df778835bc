"""Frequency response by nodal analysis: exact at each frequency, any node voltage, any part's current.

Stage: the analog side of the output stage. A `Network` and frequencies (hertz) in; complex ratios to a pin voltage
of 1 V out. Constant voltages (references) count as 0 here. Source: Ho, Ruehli and Brennan, The modified
nodal approach to network analysis, 1975.

The equations are ``(G + s E) v = b``: node voltages, then the currents of the pin, of the references, of the
op-amp outputs and of the inductors, each from first node to second, out of the node for a voltage.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.errors import StageError
from psgmodel.output_stage.networks.checks import check_network
from psgmodel.output_stage.networks.graph import voltage_nodes
from psgmodel.output_stage.networks.records import GROUND, Network, PartKind, unknown_name

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class NodalEquations:
    """The matrices of ``(G + s E) v = b`` and which unknown is which.

    Attributes
    ----------
    conductance, storage : ndarray of float64, shape (n, n)
    drive : ndarray of float64, shape (n,)
        Right-hand side for 1 V at the pin.
    nodes : dict of str to int
        Row of each node voltage; ground has none.
    currents : dict of str to int
        Row of the current of the pin (""), of each op-amp output and of each inductor.
    """

    conductance: FloatArray
    storage: FloatArray
    drive: FloatArray
    nodes: dict[str, int]
    currents: dict[str, int]


def nodal_equations(network: Network) -> NodalEquations:
    """Set up the nodal equations of a network that `check_network` accepts."""
    nodes = {n: i for i, n in enumerate(network.nodes())}
    coils = [e for e in network.elements if e.kind is PartKind.INDUCTOR]
    names = ["", *(r.name for r in network.references), *(a.name for a in network.op_amps), *(e.name for e in coils)]
    currents = {name: len(nodes) + i for i, name in enumerate(names)}
    size = len(nodes) + len(names)
    g, e_, b = np.zeros((size, size)), np.zeros((size, size)), np.zeros(size)
    for node, name in zip(voltage_nodes(network), names, strict=False):
        row = currents[name]
        g[nodes[node], row] += 1.0
        if not any(a.name == name for a in network.op_amps):
            g[row, nodes[node]] = 1.0
    b[currents[""]] = 1.0
    for amp in network.op_amps:
        # (1 / w) d out/dt + out / dc_gain - (plus - minus) = 0
        row = currents[amp.name]
        g[row, nodes[amp.out]] += 1.0 / amp.dc_gain
        e_[row, nodes[amp.out]] += 1.0 / (2 * np.pi * amp.gain_bandwidth)
        for node, sign in ((amp.plus, -1.0), (amp.minus, 1.0)):
            if node != GROUND:
                g[row, nodes[node]] += sign
    for element in network.elements:
        ends = [(nodes[n], s) for n, s in ((element.first, 1.0), (element.second, -1.0)) if n != GROUND]
        if element.kind is PartKind.INDUCTOR:
            row = currents[element.name]
            e_[row, row] -= element.value
            for at, sign in ends:
                g[at, row] += sign
                g[row, at] += sign
            continue
        matrix, weight = (g, 1 / element.value) if element.kind is PartKind.RESISTOR else (e_, element.value)
        for at, sign in ends:
            for other, other_sign in ends:
                matrix[at, other] += weight * sign * other_sign
    return NodalEquations(g, e_, b, nodes, currents)


@dataclass(frozen=True, slots=True)
class FrequencyResponse:
    """Every voltage and current of a network for a pin voltage of 1 V.

    Attributes
    ----------
    network : Network
    frequency : ndarray of float64, shape (f,), Hz
    solution : ndarray of complex128, shape (f, unknowns)
    equations : NodalEquations
    """

    network: Network
    frequency: FloatArray
    solution: ComplexArray
    equations: NodalEquations

    def voltage(self, node: str) -> ComplexArray:
        """Return a node's voltage, V per V of the pin. Shape (f,). Raises `StageError` where there is no such node."""
        if node == GROUND:
            return np.zeros(self.frequency.size, np.complex128)
        if node not in self.equations.nodes:
            raise unknown_name("node", node, self.equations.nodes)
        return self.solution[:, self.equations.nodes[node]]

    def output(self) -> ComplexArray:
        """Return the output node's voltage, V per V of the pin. Shape (f,)."""
        return self.voltage(self.network.output)

    def current(self, name: str) -> ComplexArray:
        """Return the current of an element from first to second node, or out of an op amp, A per V. Shape (f,).

        Raises
        ------
        StageError
            No such element or op amp.
        """
        if any(a.name == name for a in self.network.op_amps):
            return -self.solution[:, self.equations.currents[name]]
        element = self.network.element(name)
        if element.kind is PartKind.INDUCTOR:
            return self.solution[:, self.equations.currents[name]]
        across = self.voltage(element.first) - self.voltage(element.second)
        if element.kind is PartKind.RESISTOR:
            return across / element.value
        return across * (2j * np.pi * self.frequency * element.value)

    def pin_current(self) -> ComplexArray:
        """Return the current out of the pin, A per V. Shape (f,)."""
        return -self.solution[:, self.equations.currents[""]]

    def input_impedance(self) -> ComplexArray:
        """Return the impedance that the pin sees behind its own output resistance, ohm. Shape (f,).

        Infinite where no current flows.
        """
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = self.voltage(self.network.pin) / self.pin_current()
        return np.where(self.pin_current() == 0, complex(np.inf), ratio)


def frequency_response(network: Network, frequency: ArrayLike) -> FrequencyResponse:
    """Solve a network at each frequency.

    Parameters
    ----------
    network : Network
    frequency : array_like of float, shape (f,), Hz
        Not negative; 0 gives the transfer at direct current.

    Returns
    -------
    FrequencyResponse

    Raises
    ------
    StageError
        The network is refused by `check_network`, or a frequency is negative or not finite.
    """
    check_network(network)
    f = np.atleast_1d(np.asarray(frequency, dtype=np.float64))
    if f.ndim != 1 or not np.all(np.isfinite(f)) or np.any(f < 0):
        raise StageError("frequencies must be a list of finite numbers in hertz, zero or above")
    eq = nodal_equations(network)
    s = (2j * np.pi * f)[:, None, None]
    right = np.broadcast_to(eq.drive[None, :, None], (f.size, eq.drive.size, 1))
    solution = np.linalg.solve(eq.conductance + s * eq.storage, right)[:, :, 0]
    return FrequencyResponse(network, f, solution.astype(np.complex128, copy=False), eq)


def transfer(network: Network, frequency: ArrayLike) -> ComplexArray:
    """Return output voltage per pin voltage, shape (f,); parameters and errors of `frequency_response`."""
    return frequency_response(network, frequency).output()


def dc_transfer(network: Network) -> float:
    """Return output voltage per pin voltage at direct current (ratio); errors of `frequency_response`."""
    return float(transfer(network, [0.0])[0].real)
