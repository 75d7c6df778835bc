"""Loudest: the levels that a channel can have, and the ends that the sum of an output can come to.

Stage: coverage. In: a chip. Out: levels; the least and the largest sum of levels x gains x routes.
"""

from __future__ import annotations

from functools import cache

from psgmodel.chip.channel import ShiftRegister
from psgmodel.chip.records import Chip
from psgmodel.coverage.reach import Reach, held_values
from psgmodel.engine.players import NoisePlayer, channel_level


def levels(reach: Reach) -> list[int]:
    """Return the levels of a channel; of a wave those among them that are ends, 0, or 1 beside it."""
    channel = reach.channel
    found = [] if reach.always_active else [channel.idle_level]
    if reach.never_active:
        return found
    volumes = set(reach.levels if channel.envelope is not None else reach.values("volume"))
    volumes |= set(reach.values("volume")) if channel.envelope is not None and channel.envelope.bypass else set()
    raws = {0, 1}
    if channel.table is not None:
        middle, last = 1 << channel.table.bits - 1, (1 << channel.table.bits) - 1
        raws = {0, 1, middle, middle + 1 & last, last} if reach.name in reach.chip.memories else {0}
    elif channel.patterns:
        raws = {int(bit) for p in reach.values("pattern") for bit in channel.patterns[p]}
    elif channel.register is not None:
        raws = _noise_bits(channel.register, tuple(reach.values("short")), not reach.no_steps)
    return found + [channel_level(channel, raw, v) for raw in sorted(raws) for v in sorted(volumes)]


MOST_CONTENTS = 1 << 12
"""Contents of a noise register that are tried, before both bits count as heard."""


@cache
def _noise_bits(options: ShiftRegister, modes: tuple[int, ...], runs: bool) -> set[int]:
    """Return the bits that a noise register lets out, whatever mode it is in when; `runs`: it shifts at all."""
    noise, found = NoisePlayer(options), set[int]()
    known, last = {options.seed_value}, [options.seed_value]
    while last and len(found) < 2 and len(known) < MOST_CONTENTS:
        upcoming = set[int]()
        for contents in last:
            for short in modes:
                noise.contents = contents
                found.add(noise.raw({"short": short}))
                noise.shift(bool(short))
                upcoming.add(noise.contents)
        last = list(upcoming - known) if runs else []
        known |= upcoming
    return {0, 1} if last else found


def extremes(chip: Chip, output: str, reaches: dict[str, Reach]) -> tuple[int, int]:
    """Return the least and the largest sum of an output; channels are independent of one another."""
    low = high = 0
    for name, reach in reaches.items():
        routes = [chip.mixer.routes[v] for v in held_values(chip, f"mixer.{output}.{name}")]
        products = [level * chip.mixer.gains[name] * route for level in levels(reach) for route in routes]
        low, high = low + min(products), high + max(products)
    return low, high
