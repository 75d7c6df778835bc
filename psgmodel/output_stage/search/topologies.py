"""Topologies: the networks a search tries, as ladders and columns of part values.

Stage: output stage, searching. In: goals. Out: for each topology one ladder and its candidate values, a row each.

Every combination of drawer values is listed whose first corner lies between 3 kHz and 500 kHz (nothing else can be an
audio filter here); second sections are 1 to 10 times the impedance of the first. Where that is more than the goals
allow, every n-th one is kept, evenly.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.output_stage.networks import Ladder, Network, PartKind, Section, compile_ladder, series, shunt
from psgmodel.output_stage.parts import nearest_value
from psgmodel.output_stage.search.records import Drawer, Goals, Topology

FloatArray = NDArray[np.float64]

R, C, L = PartKind.RESISTOR, PartKind.CAPACITOR, PartKind.INDUCTOR

LOWEST_CORNER_HZ, HIGHEST_CORNER_HZ = 3e3, 500e3
IMPEDANCE_STEPS = (1.0, 1.5, 2.2, 3.3, 4.7, 10.0)
"""Impedance of a second section over that of the first."""

CAPACITANCE_STEPS = (1.0, 0.47, 0.22, 0.1)
"""Capacitor of a second section over that of the first."""

DIVIDER_STEPS = (0.22, 0.33, 0.47, 0.68, 1.0, 2.2)
"""Resistor to ground over that in series."""

COUPLING = "C_couple"


@dataclass(frozen=True, slots=True, eq=False)
class NetworkSet:
    """Many networks of one topology.

    Attributes
    ----------
    topology : Topology
    ladder : Ladder
        Its values are those of the first candidate.
    names : tuple of str
        Part of each column.
    values : ndarray of float64, shape (candidates, parts), ohm, farad or henry
    coupled : bool
        A coupling capacitor is one of the parts.
    listed : int
        Combinations listed before thinning.
    """

    topology: Topology
    ladder: Ladder
    names: tuple[str, ...]
    values: FloatArray
    coupled: bool
    listed: int

    def network(self, row: int) -> Network:
        """Return one candidate as a network."""
        return compile_ladder(self.ladder_of(row))

    def ladder_of(self, row: int) -> Ladder:
        """Return one candidate as a ladder."""
        value = dict(zip(self.names, map(float, self.values[row]), strict=True))
        sections = tuple(
            Section(s.kind, s.position, value[s.name], s.name, s.node, s.loss, s.place)
            for s in self.ladder.sections
            if isinstance(s, Section)
        )
        return Ladder(self.ladder.title, sections, self.ladder.load, self.ladder.pin_resistance)

    @property
    def kinds(self) -> tuple[PartKind, ...]:
        """Kind of each column."""
        return tuple({"R": R, "C": C, "L": L}[name[0]] for name in self.names)


def network_sets(goals: Goals, resistance: float, topologies: Sequence[Topology]) -> tuple[NetworkSet, ...]:
    """Return the networks behind an output of some resistance, with and without a coupling capacitor."""
    made = []
    coupling: tuple[float | None, ...] = goals.coupling or (None,)
    share = max(1, goals.most // len(topologies))
    for topology in topologies:
        rows = _rows(topology, goals)
        listed = len(rows) * len(coupling)
        full = [(*row, c) if c is not None else row for row in rows for c in coupling]
        if not full:
            continue
        kept = full if len(full) <= share else [full[i * len(full) // share] for i in range(share)]
        sections = _sections(topology, kept[0], coupled=coupling[0] is not None)
        names = tuple(s.name for s in sections)
        ladder = Ladder(topology.value, sections, goals.load, resistance)
        values = np.asarray(kept, dtype=np.float64).reshape(len(kept), len(names))
        made.append(NetworkSet(topology, ladder, names, values, coupling[0] is not None, listed))
    return tuple(made)


def _sections(topology: Topology, values: tuple[float, ...], *, coupled: bool) -> tuple[Section, ...]:
    forms = {
        Topology.RC: ((series, R, "R1"), (shunt, C, "C1")),
        Topology.RC_DIVIDER: ((series, R, "R1"), (shunt, R, "R2"), (shunt, C, "C1")),
        Topology.RC_RC: ((series, R, "R1"), (shunt, C, "C1"), (series, R, "R2"), (shunt, C, "C2")),
        Topology.RC_RC_DIVIDER: (
            (series, R, "R1"),
            (shunt, C, "C1"),
            (series, R, "R2"),
            (shunt, R, "R3"),
            (shunt, C, "C2"),
        ),
        Topology.LC: ((series, R, "R1"), (series, L, "L1"), (shunt, C, "C1")),
        Topology.NONE: (),
    }[topology]
    parts = [make(kind, value, name=name) for (make, kind, name), value in zip(forms, values, strict=False)]
    if coupled:
        parts.append(series(C, values[-1], name=COUPLING))
    return tuple(parts)


def _rows(topology: Topology, goals: Goals) -> list[tuple[float, ...]]:
    """Return the part values of every combination, coupling left out, in a fixed order."""
    resistors, capacitors = goals.drawers[R], goals.drawers[C]
    if topology is Topology.NONE:
        return [()]
    if topology is Topology.LC:
        return _lc_rows(goals)
    rows: list[tuple[float, ...]] = []
    for r1 in resistors.values:
        for c1 in capacitors.values:
            if topology is Topology.RC:
                rows += [(r1, c1)] if _filters(r1, c1) else []
            elif topology is Topology.RC_DIVIDER:
                below = {nearest_in(resistors, r1 * step) for step in DIVIDER_STEPS}
                rows += [(r1, r2, c1) for r2 in sorted(below) if _filters(r1 * r2 / (r1 + r2), c1)]
            elif _filters(r1, c1):
                rows += _second(topology, resistors, capacitors, r1, c1)
    return rows


def _second(topology: Topology, resistors: Drawer, capacitors: Drawer, r1: float, c1: float) -> list[tuple[float, ...]]:
    """Return the second sections that go with a first one."""
    rows: list[tuple[float, ...]] = []
    for r2 in sorted({nearest_in(resistors, r1 * step) for step in IMPEDANCE_STEPS}):
        for c2 in sorted({nearest_in(capacitors, c1 * step) for step in CAPACITANCE_STEPS}):
            if topology is Topology.RC_RC:
                rows.append((r1, c1, r2, c2))
                continue
            below = sorted({nearest_in(resistors, (r1 + r2) * step) for step in DIVIDER_STEPS})
            rows += [(r1, c1, r2, r3, c2) for r3 in below]
    return rows


def _lc_rows(goals: Goals) -> list[tuple[float, ...]]:
    """Return damped LC sections: the corner in the window, Q from 0.4 to 1.2 by the series resistor."""
    rows: list[tuple[float, ...]] = []
    for r1 in goals.drawers[R].values:
        for l1 in goals.drawers[L].values:
            for c1 in goals.drawers[C].values:
                corner = 1 / (2 * math.pi * math.sqrt(l1 * c1))
                q = math.sqrt(l1 / c1) / (r1 + goals.resistance)
                if LOWEST_CORNER_HZ <= corner <= HIGHEST_CORNER_HZ and 0.4 <= q <= 1.2:
                    rows.append((r1, l1, c1))
    return rows


def _filters(resistance: float, capacitance: float) -> bool:
    return LOWEST_CORNER_HZ <= 1 / (2 * math.pi * resistance * capacitance) <= HIGHEST_CORNER_HZ


def nearest_in(drawer: Drawer, value: float) -> float:
    """Return the value of a drawer nearest to a wanted one."""
    near = nearest_value(value, drawer.series)
    return min(max(near, drawer.values[0]), drawer.values[-1])
