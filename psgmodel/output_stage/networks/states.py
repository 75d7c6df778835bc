"""State equations of a network, derived from its nodal equations: ``x' = A x + B u + k``.

Stage: the analog side of the output stage. A `Network` in, a `StateSpace` out. The state x holds the voltages of
the free capacitors, the outputs of the op amps (volt) and the currents of the free inductors (ampere); u is the
pin voltage before its output resistance; k stands for constant voltages (references).

Method: each free capacitor and op amp becomes a voltage source and each free inductor a current source; the
remaining resistor network is solved once for unit values of each. A capacitor in a loop of voltages and capacitors
carries a current that follows from the derivatives of the others (likewise an inductor in a cut of inductors):
those terms move to the left-hand side. Source: Chua and Lin, Computer-Aided Analysis of Electronic Circuits, 1975,
from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.errors import StageError
from psgmodel.output_stage.networks.checks import check_network
from psgmodel.output_stage.networks.graph import Forest, forest, voltage_nodes
from psgmodel.output_stage.networks.records import (
    GROUND,
    Element,
    Network,
    OpAmp,
    PartKind,
    Reference,
    unknown_name,
)
from psgmodel.output_stage.parts_text import Unit

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Probe:
    """One quantity of a network as ``row . x + direct * u + constant``.

    Attributes
    ----------
    name : str
    unit : Unit
    row : ndarray of float64, shape (states,)
    direct : float
        Per volt of the pin; not zero means that the quantity jumps with the pin.
    constant : float
    """

    name: str
    unit: Unit
    row: FloatArray
    direct: float
    constant: float


@dataclass(frozen=True, slots=True)
class StateSpace:
    """The state equations of a network; build with `state_space`.

    Attributes
    ----------
    network : Network
    states : tuple of str
        Name of the part that holds each state: capacitors, op amps, inductors.
    a : ndarray of float64, shape (n, n), 1/s
    b, k : ndarray of float64, shape (n,)
    voltages, currents : dict of str to ndarray of float64, shape (n + 2,)
        Each node voltage and each part's current as a row over (x, u, 1).
    """

    network: Network
    states: tuple[str, ...]
    a: FloatArray
    b: FloatArray
    k: FloatArray
    voltages: dict[str, FloatArray]
    currents: dict[str, FloatArray]

    def voltage(self, node: str) -> Probe:
        """Return the probe of a node voltage (volt). Raises `StageError` where there is no such node."""
        if node not in self.voltages:
            raise unknown_name("node", node, self.voltages)
        return _probe(f"V({node})", Unit.VOLT, self.voltages[node])

    def output(self) -> Probe:
        """Return the probe of the output voltage (volt)."""
        return self.voltage(self.network.output)

    def current(self, name: str) -> Probe:
        """Return the probe of a part's current (ampere): first to second node, or out of an op amp.

        Raises
        ------
        StageError
            There is no such part.
        """
        if not name or name not in self.currents:
            raise unknown_name("part", name, (n for n in self.currents if n))
        return _probe(f"I({name})", Unit.AMPERE, self.currents[name])

    def pin_current(self) -> Probe:
        """Return the probe of the current out of the pin (ampere)."""
        return _probe("I(pin)", Unit.AMPERE, self.currents[""])

    def settled(self, volts: float) -> FloatArray:
        """Return the state (shape (n,)) that a constant pin voltage (volt) leads to."""
        return np.asarray(np.linalg.solve(self.a, -(self.b * volts + self.k)), dtype=np.float64)


def _probe(name: str, unit: Unit, row: FloatArray) -> Probe:
    return Probe(name, unit, row[:-2].copy(), float(row[-2]), float(row[-1]))


def state_space(network: Network) -> StateSpace:
    """Derive the state equations of a network.

    Parameters
    ----------
    network : Network

    Returns
    -------
    StateSpace

    Raises
    ------
    StageError
        The network is refused by `check_network`, cannot be solved, is unstable, or swings for ever.
    """
    check_network(network)
    tree = forest(network)
    states = (
        *(e.name for e in tree.capacitors),
        *(a.name for a in network.op_amps),
        *(e.name for e in tree.inductors),
    )
    solved = _Resistive(network, tree)
    a, b, k = _derivatives(network, tree, solved)
    n = len(states)
    rate = np.column_stack([a, b, k]).reshape(n, n + 2)
    bound = solved.bound_from_rate(rate)
    rows = solved.from_state + solved.from_bound @ bound
    voltages = {GROUND: np.zeros(n + 2)} | {node: rows[i] for node, i in solved.nodes.items()}
    space = StateSpace(network, states, a, b, k, voltages, _currents(network, tree, solved, rows, bound, voltages))
    _refuse_unstable(space)
    return space


class _Resistive:
    """The network with sources in place of its stores, solved for unit values of each.

    Unknowns: node voltages, then the currents of pin, references, op amps, free capacitors and bound inductors (from
    first to second node, from node to ground). Known: the states, the pin voltage, one; then the currents of
    bound capacitors and the voltages of bound inductors.
    """

    def __init__(self, network: Network, tree: Forest) -> None:
        self.network, self.tree = network, tree
        self.nodes = {n: i for i, n in enumerate(network.nodes())}
        held = voltage_nodes(network)
        sources: list[tuple[str, str]] = [(n, GROUND) for n in held]
        sources += [(e.first, e.second) for e in (*tree.capacitors, *tree.bound_inductors)]
        self.sources = {name: len(self.nodes) + i for i, name in enumerate(self._source_names())}
        caps, amps = len(tree.capacitors), len(network.op_amps)
        self.n = caps + amps + len(tree.inductors)
        size, columns = len(self.nodes) + len(sources), self.n + 2
        m = np.zeros((size, size))
        right = np.zeros((size, columns + len(tree.bound_capacitors) + len(tree.bound_inductors)))
        for e in network.elements:
            if e.kind is PartKind.RESISTOR:
                pair = self.incidence(e.first, e.second, size)
                m += np.outer(pair, pair) / e.value
        for i, (first, second) in enumerate(sources):
            pair = self.incidence(first, second, size)
            m[:, len(self.nodes) + i] += pair
            m[len(self.nodes) + i] += pair
        refs = len(network.references)
        row = len(self.nodes)
        right[row, self.n] = 1.0
        right[row + 1 : row + 1 + refs, self.n + 1] = [r.volts for r in network.references]
        row += 1 + refs
        for i in range(amps):
            right[row + i, caps + i] = 1.0
        row += amps
        for i in range(caps):
            right[row + i, i] = 1.0
        row += caps
        for i in range(len(tree.bound_inductors)):
            right[row + i, columns + len(tree.bound_capacitors) + i] = 1.0
        for i, e in enumerate(tree.inductors):
            right[:, caps + amps + i] -= self.incidence(e.first, e.second, size)
        for i, e in enumerate(tree.bound_capacitors):
            right[:, columns + i] -= self.incidence(e.first, e.second, size)
        try:
            solution = np.linalg.solve(m, right)
        except np.linalg.LinAlgError as error:
            raise StageError(f'the network "{network.title}" has no single solution') from error
        self.from_state, self.from_bound = solution[:, :columns], solution[:, columns:]

    def _source_names(self) -> list[str]:
        network, tree = self.network, self.tree
        parts: list[Element | OpAmp | Reference]
        parts = [*network.references, *network.op_amps, *tree.capacitors, *tree.bound_inductors]
        return ["", *(p.name for p in parts)]

    def incidence(self, first: str, second: str, size: int) -> FloatArray:
        """Return the vector with 1 at the first node and -1 at the second; ground has no place."""
        vector = np.zeros(size)
        for node, sign in ((first, 1.0), (second, -1.0)):
            if node != GROUND:
                vector[self.nodes[node]] += sign
        return vector

    def across(self, first: str, second: str) -> FloatArray:
        """Return the voltage between two nodes as a row over (x, u, 1, bound)."""
        vector = self.incidence(first, second, self.from_state.shape[0])
        return np.concatenate([vector @ self.from_state, vector @ self.from_bound])

    def bound_from_rate(self, rate: FloatArray) -> FloatArray:
        """Return bound capacitor currents and bound inductor voltages from the derivatives of the state.

        Parameters
        ----------
        rate : ndarray of float64, shape (n, anything)
            Rows of x' over whatever the caller works in.

        Returns
        -------
        ndarray of float64, shape (bound, anything)
        """
        tree, amps = self.tree, len(self.network.op_amps)
        caps, refs = len(tree.capacitors), len(self.network.references)
        by_voltage = tree.bound_voltages
        # The pin's column is zero (checked) and references stand still; op-amp outputs and capacitors move.
        weights = np.hstack([by_voltage[:, 1 + refs + amps :], by_voltage[:, 1 + refs : 1 + refs + amps]])
        farads = np.array([e.value for e in tree.bound_capacitors]).reshape(-1, 1)
        henries = np.array([e.value for e in tree.bound_inductors]).reshape(-1, 1)
        return np.vstack(
            [farads * (weights @ rate[: caps + amps]), henries * (tree.bound_currents @ rate[caps + amps :])]
        )


def _derivatives(network: Network, tree: Forest, solved: _Resistive) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return A, B and k."""
    n, caps = solved.n, len(tree.capacitors)
    full = np.hstack([solved.from_state, solved.from_bound])
    store, flow = np.ones(n), np.zeros((n, full.shape[1]))
    for i, e in enumerate(tree.capacitors):
        store[i], flow[i] = e.value, full[solved.sources[e.name]]
    for i, amp in enumerate(network.op_amps):
        width = 2 * np.pi * amp.gain_bandwidth
        flow[caps + i] = width * solved.across(amp.plus, amp.minus)
        flow[caps + i, caps + i] -= width / amp.dc_gain
    for i, e in enumerate(tree.inductors):
        at = caps + len(network.op_amps) + i
        store[at], flow[at] = e.value, solved.across(e.first, e.second)
    mass = np.diag(store) - flow[:, n + 2 :] @ solved.bound_from_rate(np.eye(n))
    rate: FloatArray = np.linalg.solve(mass, flow[:, : n + 2]).astype(np.float64, copy=False)
    return rate[:, :n], rate[:, n], rate[:, n + 1]


def _currents(
    network: Network,
    tree: Forest,
    solved: _Resistive,
    rows: FloatArray,
    bound: FloatArray,
    voltages: dict[str, FloatArray],
) -> dict[str, FloatArray]:
    n, unit = solved.n, np.eye(solved.n, solved.n + 2)
    currents = {"": -rows[solved.sources[""]]}
    currents |= {a.name: -rows[solved.sources[a.name]] for a in network.op_amps}
    currents |= {e.name: rows[solved.sources[e.name]] for e in tree.capacitors}
    currents |= {e.name: bound[i] for i, e in enumerate(tree.bound_capacitors)}
    first_coil = n - len(tree.inductors)
    currents |= {e.name: unit[first_coil + i] for i, e in enumerate(tree.inductors)}
    for i, e in enumerate(tree.bound_inductors):
        currents[e.name] = tree.bound_currents[i] @ unit[first_coil:]
    for e in network.elements:
        if e.kind is PartKind.RESISTOR:
            currents[e.name] = (voltages[e.first] - voltages[e.second]) / e.value
    return currents


def _refuse_unstable(space: StateSpace) -> None:
    """Refuse a network that swings by itself, or for ever once struck: no steady state exists."""
    poles: Sequence[complex] = [complex(p) for p in np.linalg.eigvals(space.a)] if space.states else []
    worst = max(poles, key=lambda p: p.real / max(abs(p), 1e-300), default=-1.0)
    if worst.real < -1e-9 * abs(worst):
        return
    amps = space.network.op_amps
    hertz = f"{abs(worst.imag) / (2 * np.pi):.4g} Hz"
    if worst.real > 1e-9 * abs(worst):
        raise StageError(
            f"the network is unstable: it swings up by itself at {hertz}, e-fold in {1 / worst.real:.4g} s "
            f"(at {', '.join(a.name for a in amps) or 'the parts'})",
            place=amps[0].place if amps else None,
            hint="are the plus and minus inputs swapped?",
        )
    raise StageError(
        f"the network swings for ever at {hertz} once struck: nothing in it takes the energy",
        hint="give inductors their winding resistance, or the output a load",
    )
