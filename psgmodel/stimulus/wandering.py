"""Wandering: what play with foresight has left open is looked for by chance, in the whole unit at once.

Stage: stimulus. In: a chip and a log. Out: a log that goes on. From where the log ends, random stretches are tried on
the model: mostly about one channel that has something left, after it was set up to be heard. One that shows something
new is kept, and the next begins where it ends; any other one is forgotten.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.coverage.bins import Behaviour
from psgmodel.coverage.covering import behaviours_of, hits
from psgmodel.engine.run import run
from psgmodel.engine.state import UnitState
from psgmodel.reglog.log import RegisterLog, make_log
from psgmodel.stimulus.chance import ChanceState
from psgmodel.stimulus.random_log import random_rows
from psgmodel.stimulus.schedule import BusRow
from psgmodel.stimulus.shadow import ShadowState, bus_writes, strobes_of
from psgmodel.stimulus.walk import sounding_fields

IN_VAIN = 400
"""Stretches in a row that show nothing new, after which the search ends; common practice, no source."""

LENGTHS = (500, 3000, 20_000, 100_000)
"""In clock cycles."""


def wander(chip: Chip, log: RegisterLog, chance: ChanceState, spacing: int) -> RegisterLog:
    """Go on with a log until everything within reach was seen, or nothing more is found."""
    reachable = [b for b in behaviours_of(chip, spacing) if not b.bin.unreachable]
    seen = hits(chip, log, reachable)
    left = {b.bin.name: b for b in reachable if b.bin.name not in seen}
    if not left:
        return log
    gap = spacing + chip.bus.write_latency
    rows: list[BusRow] = []
    begin = log.end + gap
    state = _rebased(run(chip, log.with_end(begin)).state)
    vain = 0
    while left and vain < IN_VAIN:
        part = _stretch(chip, chance, state, left, spacing)
        found = hits(chip, part, left.values(), state)
        if not found:
            vain += 1
            continue
        vain = 0
        left = {name: b for name, b in left.items() if name not in found}
        rows += [
            (begin + c, a, v)
            for c, a, v in zip(part.cycle.tolist(), part.address.tolist(), part.value.tolist(), strict=True)
        ]
        state, begin = _rebased(run(chip, part, state=state).state), begin + part.end
    more = np.array(rows, dtype=np.int64).reshape(-1, 3).T
    joined = (np.concatenate(pair) for pair in zip((log.cycle, log.address, log.value), more, strict=True))
    return make_log(*joined, end=begin, source=log.source)


def _rebased(state: UnitState) -> UnitState:
    """Return a state as one at cycle 0."""
    found = state.copy()
    found.cycle = 0
    return found


def _stretch(
    chip: Chip, chance: ChanceState, state: UnitState, left: Mapping[str, Behaviour], spacing: int
) -> RegisterLog:
    """Draw a log from a state on."""
    parts = sorted({name.partition(".")[0] for name in left} & set(chip.channels))
    names = [chance.among(parts)] if parts and not chance.once_in(4) else []
    rows = _set_up(chip, chance, state, names[0], spacing) if names and not chance.once_in(4) else []
    begin = rows[-1][0] + spacing if rows else 0
    length = chance.among(LENGTHS)
    most = length // (8 * spacing)
    writes = max(1, most >> chance.below(6))
    if rows:
        state = run(chip, make_log(*zip(*rows, strict=True), end=begin + 1), state=state, end=begin).state
    drawn = random_rows(chip, chance, state, length=length, writes=writes, spacing=spacing, about=names)
    rows += [(begin + c, a, v) for c, a, v in drawn]
    return make_log(*zip(*rows, strict=True), end=begin + length + spacing + chip.bus.write_latency)


def _set_up(chip: Chip, chance: ChanceState, state: UnitState, name: str, spacing: int) -> list[BusRow]:
    """Set a channel up to be heard, but for some fields that are drawn, and start it."""
    shadow = ShadowState(chip)
    shadow.stored.update(state.registers)
    wanted = sounding_fields(chip, name)
    for key, value in wanted.items():
        bits = chip.fields[key].bits
        if chance.once_in(3):
            wanted[key] = chance.among((0, 1, 2 % (1 << bits), chance.bits(bits), chance.bits(bits), value))
    writes = shadow.set(wanted)
    ways = [s for s in strobes_of(chip) if s.target == f"{name}.start"]
    writes += [shadow.strobe(chance.among(ways))] if ways else []
    return [(spacing * i, *row) for i, row in enumerate(row for write in writes for row in bus_writes(chip, write))]
