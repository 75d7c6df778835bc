"""The graph of a network: which nodes hang together, and which capacitors and inductors are free to store.

Stage: the analog side of the output stage. A `Network` in; groups of nodes and a spanning forest out.
The forest takes branches in the order voltages (pin, references, op-amp outputs), capacitors, resistors, inductors,
which makes it a normal tree: a capacitor that closes a loop of voltages and capacitors, and an inductor that the
forest needs, store nothing of their own. Source: Chua and Lin, Computer-Aided Analysis of Electronic Circuits, 1975
(state equations), from memory.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.output_stage.networks.records import GROUND, Element, Network, PartKind

FloatArray = NDArray[np.float64]


class GroupState:
    """Nodes in groups that are joined step by step (union-find)."""

    def __init__(self) -> None:
        self._parent: dict[str, str] = {}

    def root(self, node: str) -> str:
        """Return the representative of the node's group."""
        self._parent.setdefault(node, node)
        while self._parent[node] != node:
            self._parent[node] = self._parent[self._parent[node]]
            node = self._parent[node]
        return node

    def join(self, first: str, second: str) -> bool:
        """Join two groups; False where they were one already."""
        a, b = self.root(first), self.root(second)
        self._parent[a] = b
        return a != b


def voltage_nodes(network: Network) -> tuple[str, ...]:
    """Return the nodes held by an ideal voltage to ground: source, references, op-amp outputs."""
    return (network.source, *(r.node for r in network.references), *(a.out for a in network.op_amps))


def groups(network: Network, kinds: Iterable[PartKind]) -> GroupState:
    """Return the nodes joined through ideal voltages and the given kinds of part."""
    allowed = set(kinds)
    joined = GroupState()
    for node in voltage_nodes(network):
        joined.join(node, GROUND)
    for element in network.elements:
        if element.kind in allowed:
            joined.join(element.first, element.second)
    return joined


@dataclass(frozen=True, slots=True)
class Forest:
    """A normal tree of a network, and what follows for the stores.

    Attributes
    ----------
    capacitors, inductors : tuple of Element
        The free stores: one state each (voltage first to second; current first to second).
    bound_capacitors : tuple of Element
        Capacitors that close a loop of voltages and capacitors.
    bound_voltages : ndarray of float64, shape (bound capacitors, voltages + capacitors)
        Each one's voltage as a sum of the voltages of `voltage_nodes` and of the free capacitors.
    bound_inductors : tuple of Element
        Inductors in a cut of inductors alone.
    bound_currents : ndarray of float64, shape (bound inductors, inductors)
        Each one's current as a sum of the currents of the free inductors.
    """

    capacitors: tuple[Element, ...]
    inductors: tuple[Element, ...]
    bound_capacitors: tuple[Element, ...]
    bound_voltages: FloatArray
    bound_inductors: tuple[Element, ...]
    bound_currents: FloatArray


def forest(network: Network) -> Forest:
    """Return the normal tree of a network whose nodes all hang together."""
    joined = groups(network, ())
    free: dict[PartKind, list[Element]] = {PartKind.CAPACITOR: [], PartKind.INDUCTOR: []}
    bound: dict[PartKind, list[Element]] = {PartKind.CAPACITOR: [], PartKind.INDUCTOR: []}
    for element in network.elements:
        if element.kind is PartKind.CAPACITOR:
            taken = joined.join(element.first, element.second)
            (free if taken else bound)[PartKind.CAPACITOR].append(element)
    for element in network.elements:
        if element.kind is PartKind.RESISTOR:
            joined.join(element.first, element.second)
    before_inductors = GroupState()
    for node in (*network.nodes(), GROUND):
        before_inductors.join(node, joined.root(node))
    for element in network.elements:
        if element.kind is PartKind.INDUCTOR:
            needed = joined.join(element.first, element.second)
            (bound if needed else free)[PartKind.INDUCTOR].append(element)
    capacitors, coils = tuple(free[PartKind.CAPACITOR]), tuple(free[PartKind.INDUCTOR])
    bound_coils = tuple(bound[PartKind.INDUCTOR])
    return Forest(
        capacitors,
        coils,
        tuple(bound[PartKind.CAPACITOR]),
        _loop_voltages(network, capacitors, bound[PartKind.CAPACITOR]),
        bound_coils,
        _cut_currents(before_inductors, coils, bound_coils),
    )


def _loop_voltages(network: Network, tree: tuple[Element, ...], loops: list[Element]) -> FloatArray:
    """Return the voltages of `loops` by the potentials that voltages and tree capacitors fix."""
    held = voltage_nodes(network)
    size = len(held) + len(tree)
    potential: dict[str, FloatArray] = {GROUND: np.zeros(size)}
    for i, node in enumerate(held):
        potential[node] = np.eye(size)[i]
    left = list(range(len(tree)))
    while left:
        # Invariant: `left` holds the tree capacitors that touch no node of known potential, or not yet seen to.
        reached = [i for i in left if tree[i].first in potential or tree[i].second in potential]
        if not reached:
            potential[tree[left[0]].second] = np.zeros(size)
            continue
        for i in reached:
            unit = np.eye(size)[len(held) + i]
            if tree[i].first in potential:
                potential.setdefault(tree[i].second, potential[tree[i].first] - unit)
            else:
                potential[tree[i].first] = potential[tree[i].second] + unit
        left = [i for i in left if i not in reached]
    rows = [potential[e.first] - potential[e.second] for e in loops]
    return np.array(rows).reshape(len(loops), size)


def _cut_currents(lumps: GroupState, free: tuple[Element, ...], bound: tuple[Element, ...]) -> FloatArray:
    """Return the currents of `bound` from those of `free`: they sum to zero into each lump of other parts."""
    if not bound:
        return np.zeros((0, len(free)))
    roots = sorted({lumps.root(n) for e in bound for n in (e.first, e.second)})
    row = {root: i for i, root in enumerate(roots)}

    def incidence(elements: tuple[Element, ...]) -> FloatArray:
        matrix = np.zeros((len(roots), len(elements)))
        for column, element in enumerate(elements):
            for node, sign in ((element.first, 1.0), (element.second, -1.0)):
                at = row.get(lumps.root(node))
                if at is not None:
                    matrix[at, column] += sign
        return matrix

    # A forest of `bound` between lumps: its incidence matrix has full column rank and the equations are consistent.
    solution = np.linalg.lstsq(incidence(bound), -incidence(free), rcond=None)[0]
    return np.asarray(np.rint(solution), dtype=np.float64)
