"""Checks of a network: what makes it unusable, all problems together, each with its place.

Stage: the analog side of the output stage. A `Network` in; nothing out, or one `StageError`.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator

from psgmodel.errors import Problem, StageError, nearest
from psgmodel.output_stage.networks.graph import GroupState, forest, groups, voltage_nodes
from psgmodel.output_stage.networks.records import GROUND, Element, Network, OpAmp, PartKind, Reference
from psgmodel.output_stage.parts_text import Unit, format_value


def check_network(network: Network) -> None:
    """Refuse a network that has no single, finite answer.

    Parameters
    ----------
    network : Network

    Raises
    ------
    StageError
        One problem for each fault: a value that is not positive, a name used twice, a part with both ends on one
        node, two ideal voltages on one node, a node without a path to ground or without a path for direct current,
        a capacitor across the ideal pin, inductors in a loop without resistance, an unknown output node.
    """
    problems = [*_value_problems(network), *_name_problems(network), *_end_problems(network)]
    if not problems:
        problems += _path_problems(network)
    if not problems:
        problems += _loop_problems(network)
    if problems:
        raise StageError(problems)


def _value_problems(network: Network) -> Iterator[Problem]:
    for e in network.elements:
        if not (e.value > 0 and math.isfinite(e.value)):
            hint = "an ideal wire is no part: join the two nodes" if e.value == 0 and e.kind.letter == "R" else ""
            yield Problem(
                f"{e.kind.value} {e.name} is {format_value(e.value, e.kind.unit)}; accepted is a positive value",
                e.place,
                hint,
            )
    for a in network.op_amps:
        for what, value, unit in (
            ("gain-bandwidth", a.gain_bandwidth, Unit.HERTZ),
            ("dc-gain", a.dc_gain, Unit.NONE),
        ):
            if not (value > 0 and math.isfinite(value)):
                yield Problem(
                    f"{what} of op amp {a.name} is {format_value(value, unit)}; accepted is a positive value", a.place
                )


def _name_problems(network: Network) -> Iterator[Problem]:
    parts: list[Element | OpAmp | Reference] = [*network.elements, *network.op_amps, *network.references]
    counts = Counter(p.name.lower() for p in parts)
    seen: set[str] = set()
    for part in parts:
        folded = part.name.lower()
        if counts[folded] > 1 and folded in seen:
            yield Problem(f'the name "{part.name}" is used twice (case does not count)', part.place)
        seen.add(folded)
    nodes = network.nodes()
    folded_nodes = Counter(n.lower() for n in nodes)
    for name in sorted(n for n in folded_nodes if folded_nodes[n] > 1):
        same = ", ".join(n for n in nodes if n.lower() == name)
        yield Problem(f"nodes that differ only in case: {same}; accepted is one spelling")
    if network.output not in nodes:
        yield Problem(
            f'the output node "{network.output}" is nowhere in the network; it has {", ".join(nodes)}',
            None,
            nearest(network.output, nodes),
        )


def _end_problems(network: Network) -> Iterator[Problem]:
    for e in network.elements:
        if e.first == e.second:
            yield Problem(f'both ends of {e.kind.value} {e.name} are on node "{e.first}"', e.place)
    held: dict[str, str] = {network.source: "the pin", GROUND: "ground"}
    holders: list[tuple[OpAmp | Reference, str]] = [(r, r.node) for r in network.references]
    holders += [(a, a.out) for a in network.op_amps]
    for part, node in holders:
        if node in held:
            yield Problem(f'{part.name} holds node "{node}", which {held[node]} holds already', part.place)
        held[node] = part.name


def _path_problems(network: Network) -> Iterator[Problem]:
    """Tell each group of nodes that floats, wholly or for direct current."""
    everything = groups(network, PartKind)
    direct = groups(network, (PartKind.RESISTOR, PartKind.INDUCTOR))
    told: set[str] = set()
    for node in network.nodes():
        if everything.root(node) != everything.root(GROUND):
            root, what, hint = everything.root(node), "no path to ground", "node names are compared letter by letter"
        elif direct.root(node) != direct.root(GROUND):
            root, what, hint = direct.root(node), "no path to ground for direct current", "give it a load or resistor"
        else:
            continue
        if node.lower() in ("gnd", "0", "vss"):
            hint = f'did you mean "{GROUND}"?'
        if root not in told:
            told.add(root)
            touching = next((e for e in network.elements if node in (e.first, e.second)), None)
            amp = next((a for a in network.op_amps if node in (a.plus, a.minus)), None)
            part = touching or amp
            by = f" (at {part.name})" if part else ""
            yield Problem(f'node "{node}" floats: it has {what}{by}', part.place if part else None, hint)


def _loop_problems(network: Network) -> Iterator[Problem]:
    tree = forest(network)
    for element, row in zip(tree.bound_capacitors, tree.bound_voltages, strict=True):
        if row[0]:
            yield Problem(
                f"capacitor {element.name} lies across the ideal pin, alone or through capacitors: "
                "every edge would need an unlimited current",
                element.place,
                "give the pin its output resistance",
            )
    joined = GroupState()
    for node in voltage_nodes(network):
        joined.join(node, GROUND)
    for e in network.elements:
        if e.kind is PartKind.INDUCTOR and not joined.join(e.first, e.second):
            yield Problem(
                f"inductor {e.name} closes a loop without resistance: its direct current has no limit",
                e.place,
                "give it its winding resistance",
            )
