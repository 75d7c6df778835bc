"""Generated logs: what software might write to a chip, and when it hurts.

A log writes as software does (a field at a time, the other bits as written last) at cycles snapped onto what the write
can meet: ticks of its block, steps and expiries of its channel, one edge before them and one after.
"""

from __future__ import annotations

from collections.abc import Mapping
from random import Random
from typing import NamedTuple

import numpy as np

from psgmodel.chip import Chip
from psgmodel.engine import run
from psgmodel.reglog import RegisterLog, make_log
from psgmodel.steps import Steps

KINDS = (
    "start",
    "start",
    "start",
    "start",
    "stop",
    "field",
    "field",
    "field",
    "field",
    "sample",
    "restart",
    "power",
    "any",
)
BLOCKS = {"timer": "timer", "envelope": "envelope", "volume": "envelope", "sweep": "sweep", "period": "sweep"}


class Intent(NamedTuple):
    """One thing that software means to do.

    Attributes
    ----------
    channel : str
        Whom it concerns; empty: everybody.
    ticks : tuple of str
        Ticks that it can meet.
    delay : int
        Cycles from the changed register to where it acts.
    address, low, width : int
        The bits to write; a width of 0: the whole register at random.
    value : int
        What to write there; -1: anything.
    """

    channel: str
    ticks: tuple[str, ...]
    delay: int
    address: int
    low: int = 0
    width: int = 0
    value: int = -1


def intents_of(chip: Chip) -> dict[str, list[Intent]]:
    """Return everything that software can mean to do with a chip, by kind."""
    found: dict[str, list[Intent]] = {kind: [] for kind in KINDS}
    for address, register in chip.registers.items():
        found["any"].append(Intent("", tuple(chip.ticks), 0, address))
        for group in register.fields:
            name, _, event = group.target.rpartition(".")
            if group.role == "strobes" and event == "restart":
                found["restart"].append(Intent("", tuple(chip.ticks), 0, address, group.low, 1, 1))
            elif group.role == "strobes":
                channel = chip.channels[name]
                ticks = tuple(b.ticks for b in (channel.timer, channel.envelope, channel.sweep) if b is not None)
                found[event].append(Intent(name, ticks, channel.start_delay, address, group.low, 1, 1))
    for field in chip.fields.values():
        name, _, rest = field.name.partition(".")
        block = getattr(chip.channels.get(name), BLOCKS.get(rest.split(".")[0], "step"), None)
        ticks = (block.ticks,) if hasattr(block, "ticks") else ()
        kind = "power" if field.name == "power" else "field"
        found[kind] += [Intent(name, ticks, 0, s.address, s.low, s.width) for s in field.segments]
        if rest == "sweep.falling":
            found["field"] += [
                Intent(name, ticks, 0, s.address, s.low, s.width, v) for s in field.segments for v in (0, 1)
            ]
    for memory in chip.memories.values():
        for index in range(memory.size):
            found["sample"].append(Intent(memory.channel, (), 0, memory.address + index))
    return {kind: intents for kind, intents in found.items() if intents}


def draw_cycle(rng: Random, chip: Chip, intent: Intent, end: int, events: Mapping[str, list[int]]) -> int:
    """Draw the cycle of a write, mostly so that what it does meets something else."""
    where = rng.random()
    own = events.get(intent.channel or rng.choice(list(chip.channels)), [])
    names = [name for name in intent.ticks if chip.dividers[chip.ticks[name].divider].first < end]
    if where < 0.4 and names:
        divider = chip.dividers[chip.ticks[rng.choice(names)].divider]
        cycle = rng.choice(range(divider.first, end, divider.every))
    elif where < 0.85 and own:
        cycle = rng.choice(own)
    else:
        return rng.randrange(end)
    cycle += rng.choice((0, 0, 0, -1, 1)) - intent.delay - chip.bus.write_latency
    return min(max(cycle, 0), end - 1)


def draw_intents(
    rng: Random, chip: Chip, count: int, end: int, events: Mapping[str, list[int]]
) -> list[tuple[int, Intent]]:
    known = intents_of(chip)
    kinds = [kind for kind in KINDS if kind in known]
    wanted = []
    for _ in range(count):
        intent = rng.choice(known[rng.choice(kinds)])
        wanted.append((draw_cycle(rng, chip, intent, end, events), intent))
        if intent in known.get("power", []) and rng.random() < 0.5:
            wanted.append((max(wanted[-1][0] - rng.randint(0, 3), 0), rng.choice(known["start"])))
    return wanted


def write_out(rng: Random, chip: Chip, wanted: list[tuple[int, Intent]], end: int) -> RegisterLog:
    """Turn intents into writes: the bits that are not meant keep what was written last."""
    rows = []
    shadow = {address: register.reset for address, register in chip.registers.items()}
    for cycle, intent in sorted(wanted, key=lambda pair: pair[0]):
        value = intent.value
        if intent.width == 0:
            value = rng.getrandbits(chip.bus.data_bits)
        else:
            mask = (1 << intent.width) - 1
            if value < 0:
                value = rng.choice((rng.randint(0, min(mask, 3)), rng.randint(0, mask)))
            value = shadow[intent.address] & ~(mask << intent.low) | value << intent.low
        if intent.address in shadow:
            shadow[intent.address] = value & chip.registers[intent.address].stored
        address = intent.address
        for mirror in chip.mirrors:
            inside = mirror.of <= address < mirror.of + mirror.size
            if chip.bus.access == "direct" and inside and rng.random() < 0.5:
                address += mirror.address - mirror.of
        if chip.bus.access == "index-data":
            rows.append((cycle, chip.bus.index_address, address))
            address = chip.bus.data_address
        rows.append((cycle, address, value))
    return make_log(*np.array(rows, dtype=np.int64).reshape(-1, 3).T, end=end)


def events_of(level: Steps) -> list[int]:
    """Return where a channel's level changes; where it falls silent for long, as often as all others together."""
    changes = level.cycle[1:].tolist()
    endings = level.cycle[(level.level == 0) & (level.durations() > 20)][1:].tolist()
    return [*changes, *endings * (1 + len(changes) // max(1, len(endings)))]


def draw_log(rng: Random, chip: Chip, cycles: int, writes: int) -> RegisterLog:
    """Draw a log; half of its writes are snapped onto what the other half made the channels do."""
    end = rng.randint(cycles // 2, cycles)
    count = rng.choice((writes // 2, writes // 2, rng.randint(0, writes // 2)))
    wanted = draw_intents(rng, chip, count, end, {})
    log = write_out(rng, chip, wanted, end)
    for _ in range(2):
        trace = run(chip, log)
        wanted += draw_intents(rng, chip, count // 2, end, {name: events_of(trace[name]) for name in chip.channels})
        log = write_out(rng, chip, wanted, end)
    return log
