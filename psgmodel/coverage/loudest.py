"""Loudest: the ends that the sum of an output can come to.

Stage: coverage. In: a chip. Out: the least and the largest sum of levels x gains x routes.
"""

from __future__ import annotations

from psgmodel.chip.records import Chip
from psgmodel.coverage.reach import Reach, held_values
from psgmodel.engine.players import channel_level


def levels(reach: Reach) -> list[int]:
    """Return levels between which a channel moves, its ends among them."""
    channel = reach.channel
    found = [channel.idle_level]
    if reach.never_active:
        return found
    fading = channel.envelope is not None and not reach.stands_still("envelope")
    volumes = range(1 << channel.volume_bits) if fading else reach.values("volume")
    raws = [0, 1]
    if channel.table is not None:
        writable = reach.name in reach.chip.memories
        raws = [0, (1 << channel.table.bits) - 1] if writable else [0]
    return found + [channel_level(channel, raw, v) for raw in raws for v in volumes]


def extremes(chip: Chip, output: str, reaches: dict[str, Reach]) -> tuple[int, int]:
    """Return the least and the largest sum of an output; channels are independent of one another."""
    low = high = 0
    for name, reach in reaches.items():
        routes = [chip.mixer.routes[v] for v in held_values(chip, f"mixer.{output}.{name}")]
        products = [level * chip.mixer.gains[name] * route for level in levels(reach) for route in routes]
        low, high = low + min(products), high + max(products)
    return low, high
