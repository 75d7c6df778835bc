"""Prices: what the parts of a stage cost, by the user's own list.

Stage: output stage, assembling. In: a price list and a network. Out: number of parts and cost, in the list's currency.
Load, pin, winding resistances and an op amp's inner parts are no parts to buy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from psgmodel.output_stage.networks import Element, Network
from psgmodel.output_stage.parts_text import Unit
from psgmodel.output_stage.stage.tables import StageTable

KINDS = {"resistor": Unit.OHM, "capacitor": Unit.FARAD, "inductor": Unit.HENRY}


class Price(NamedTuple):
    """Price of a part whose value is at most `up_to` (ohm, farad or henry; infinite for any)."""

    up_to: float
    price: float


@dataclass(frozen=True, slots=True)
class PriceList:
    """Prices by kind of part.

    Attributes
    ----------
    parts : dict of str to tuple of Price
        "resistor", "capacitor", "inductor": rising in `up_to`, the last one infinite.
    op_amp, converter : float
    """

    parts: dict[str, tuple[Price, ...]]
    op_amp: float = 0.0
    converter: float = 0.0

    def of_part(self, kind: str, value: float) -> float:
        """Return the price of a part; 0 where the list does not name its kind."""
        return next((p.price for p in self.parts.get(kind, ()) if value <= p.up_to), 0.0)


def bought_parts(network: Network) -> tuple[Element, ...]:
    """Return the elements of a network that are parts to buy."""
    own = {"R_pin", "R_load", "C_load"}
    return tuple(e for e in network.elements if e.name not in own and not e.name.endswith(("_loss", "_ro")))


def count_parts(network: Network) -> int:
    """Return the number of parts to buy, op amps included."""
    return len(bought_parts(network)) + len(network.op_amps)


def cost_of(network: Network, prices: PriceList, *, converter: bool) -> float:
    """Return what a stage costs, in the currency of the list."""
    parts = sum(prices.of_part(e.kind.value, e.value) for e in bought_parts(network))
    return parts + prices.op_amp * len(network.op_amps) + (prices.converter if converter else 0.0)


def read_prices(table: StageTable) -> PriceList | None:
    """Read a price list: each kind a number, or a list of ``{ up-to = "1u", price = 0.05 }``; None where empty."""
    if table.empty():
        return None
    parts = {kind: _steps(table, kind, unit) for kind, unit in KINDS.items() if table.has(kind)}
    op_amp = table.number("op-amp", 0, 1e6, 0.0)
    converter = table.number("converter", 0, 1e6, 0.0)
    table.finish(KINDS)
    return PriceList(parts, op_amp, converter)


def _steps(table: StageTable, kind: str, unit: Unit) -> tuple[Price, ...]:
    if not table.holds_list(kind):
        return (Price(math.inf, table.number(kind, 0, 1e6, 0.0)),)
    steps = []
    for entry in table.stage_tables(kind):
        limit = entry.value("up-to", unit, math.inf)
        steps.append(Price(limit, entry.number("price", 0, 1e6, None)))
        entry.finish()
    rising = all(a.up_to < b.up_to for a, b in pairwise(steps))
    if not steps or not rising or steps[-1].up_to != math.inf:
        table.problem(
            kind, f'prices of a {kind} must rise in "up-to" and end with an entry that has none: the price of the rest'
        )
    return tuple(steps)
