"""Wandering: what play with foresight has left open is looked for by chance, in the whole unit at once.

Stage: stimulus. In: a chip and a log. Out: that log gone on with, and further logs where it takes some. Random
stretches are tried on the model: mostly about one channel that has something left, after it was set up to be heard.

1. From where the log ends. One that shows something new is kept, and the next begins where it ends; any other one is
   forgotten.
2. From reset, for what happens only once after it. One that shows something new is a log of its own.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from psgmodel.chip.channel import StepClock
from psgmodel.chip.records import Chip
from psgmodel.coverage.bins import Behaviour
from psgmodel.coverage.covering import behaviours_of, hits
from psgmodel.engine.run import run
from psgmodel.engine.state import UnitState, reset_state
from psgmodel.reglog.bus import unmirrored
from psgmodel.reglog.log import RegisterLog, make_log
from psgmodel.stimulus.aiming import aim
from psgmodel.stimulus.chance import ChanceState
from psgmodel.stimulus.random_log import random_rows
from psgmodel.stimulus.schedule import BusRow
from psgmodel.stimulus.shadow import RegisterWrite, ShadowState, bus_writes, strobes_of
from psgmodel.stimulus.walk import slowest_period, sounding_fields

PATIENCE = 500
"""Stretches in a row that show nothing new, after which the search ends; common practice, no source."""

LENGTHS = (250, 500, 1000, 1000, 3000, 3000, 20_000, 100_000)
"""In clock cycles."""

SOON = (60, 120, 120, 250, 500, 3000, 20_000)
"""The same of stretches from reset."""

SHOTS = 3
"""Times that something is done where something is due in a stretch that shows nothing new."""

_Left = dict[str, Behaviour]


Progress = Callable[[int, int], None]
"""Is told how many tries were in vain, and after how many the search ends."""


def wander(
    chip: Chip,
    log: RegisterLog,
    chance: ChanceState,
    spacing: int,
    patience: int = PATIENCE,
    progress: Progress | None = None,
) -> list[RegisterLog]:
    """Go on with a log, and with further ones, until everything within reach was seen, or nothing more is found in
    `patience` stretches, and in twice as many from reset."""
    reachable = [b for b in behaviours_of(chip, spacing) if not b.bin.unreachable]
    seen = hits(chip, log, reachable)
    left = {b.bin.name: b for b in reachable if b.bin.name not in seen}
    if not left:
        return [log]
    gap = spacing + chip.bus.write_latency
    rows: list[BusRow] = []
    begin = log.end + gap
    state = _rebased(run(chip, log.with_end(begin)).state)
    lengths = (*LENGTHS, _over_ticks(chip))

    def tries(number: int, before: int) -> Iterator[int]:
        """Count tries, and tell how many there were in vain."""
        for vain in range(number if left else 0):
            if progress is not None:
                progress(before + vain, 3 * patience)
            yield vain

    while part := _found(chip, chance, state, left, spacing, lengths, tries(patience, 0)):
        rows += [
            (begin + c, a, v)
            for c, a, v in zip(part.cycle.tolist(), part.address.tolist(), part.value.tolist(), strict=True)
        ]
        state, begin = _rebased(run(chip, part, state=state).state), begin + part.end
    more = np.array(rows, dtype=np.int64).reshape(-1, 3).T
    joined = (np.concatenate(pair) for pair in zip((log.cycle, log.address, log.value), more, strict=True))
    logs = [make_log(*joined, end=begin, source=log.source)]
    while part := _found(chip, chance, reset_state(chip), left, spacing, SOON, tries(2 * patience, patience)):
        logs.append(replace(part, source=f"{log.source}, part {len(logs) + 1}"))
    return logs


def _over_ticks(chip: Chip) -> int:
    """Return a length, in cycles, in which a few of the rarest ticks come, if that is longer than the others."""
    turns = [chip.dividers[t.divider].every * chip.dividers[t.divider].steps // len(t.at) for t in chip.ticks.values()]
    return max(3 * max(turns, default=0), *LENGTHS)


def _rebased(state: UnitState) -> UnitState:
    """Return a state as one at cycle 0."""
    found = state.copy()
    found.cycle = 0
    return found


def _found(
    chip: Chip,
    chance: ChanceState,
    state: UnitState,
    left: _Left,
    spacing: int,
    lengths: tuple[int, ...],
    tries: Iterator[int],
) -> RegisterLog | None:
    """Return a stretch that shows something that is left, and strike it out; None where none is found."""
    for _ in tries:
        name, by = _goal(chip, chance, left)
        part = _stretch(chip, chance, state, left, name, spacing, chance.among(lengths), by)
        aimed = name and chance.once_in(2)
        shots = aim(chip, chance, state, part, name, spacing, tries=SHOTS, by=by) if aimed else []
        for tried in (part, *shots):
            if found := hits(chip, tried, left.values(), state):
                shown = [left.pop(what) for what in found]
                return _cut_short(chip, state, tried, shown, spacing)
    return None


def _cut_short(chip: Chip, state: UnitState, part: RegisterLog, shown: list[Behaviour], spacing: int) -> RegisterLog:
    """Halve a stretch as long as it shows all that it shows."""
    gap = spacing + chip.bus.write_latency
    while part.end > 4 * gap:
        half = part.end // 2
        shorter = part.cut(0, half).with_end(half + gap)
        if len(hits(chip, shorter, shown, state)) < len(shown):
            break
        part = shorter
    return part


def _goal(chip: Chip, chance: ChanceState, left: _Left) -> tuple[str, tuple[str, ...]]:
    """Return what a stretch is about: as a rule a channel that has something left, and what something of that takes;
    empty: nothing."""
    named: dict[str, list[Behaviour]] = {}
    for name, behaviour in left.items():
        for channel in sorted({*re.split("[.=-]", name)} & set(chip.channels)):
            named.setdefault(channel, []).append(behaviour)
    if not named or chance.once_in(4):
        return "", ()
    name = chance.among(sorted(named))
    goal = chance.among(named[name])
    return name, goal.by if goal.bin.part == name else ()


def _stretch(
    chip: Chip,
    chance: ChanceState,
    state: UnitState,
    left: _Left,
    name: str,
    spacing: int,
    length: int,
    by: Sequence[str] = (),
) -> RegisterLog:
    """Draw a log from a state on, about a channel or about none; of a channel, above all about some of its fields,
    strobes and blocks (`Behaviour.by`).

    Where something is left of what the power bit clears, half of them begin with the power off and on again, and leave
    one register alone from then on.
    """
    clears = any(what.startswith("power.") for what in left) and chance.once_in(2)
    shadow = ShadowState(chip)
    shadow.stored.update(state.registers)
    writes = _off_and_on(shadow) if clears else []
    if name and not chance.once_in(4):
        alone = any(what.endswith("-alone") for what in left) and chance.once_in(3)
        writes += _hushed(chip, chance, shadow, name) if alone else []
        writes += _set_up(chip, chance, shadow, name, by)
    ends = [what.endswith(".over") for what in left if what.endswith((".over", ".under"))]
    if not name and ends and chance.once_in(2):
        writes += _to_the_end(chip, chance, shadow, top=chance.among(ends))
    bus = [row for write in writes for row in bus_writes(chip, write)]
    rows = [(spacing * i, address, value) for i, (address, value) in enumerate(bus)]
    begin = spacing * len(rows)
    number = max(1, length // (8 * spacing) >> chance.below(6))
    if rows:
        state = run(chip, make_log(*zip(*rows, strict=True), end=begin + 1), state=state, end=begin).state
    crowded = chance.once_in(2)
    drawn = random_rows(
        chip,
        chance,
        state,
        length=length,
        writes=number,
        spacing=spacing,
        about=[name] if name else [],
        crowded=crowded,
    )
    rows += [(begin + c, a, v) for c, a, v in drawn]
    if clears:
        rows = rows[: len(bus)] + _without(chip, rows[len(bus) :], chance.among(list(chip.registers)))
    columns = np.array(rows, dtype=np.int64).reshape(-1, 3).T
    return make_log(*columns, end=begin + length + spacing + chip.bus.write_latency)


def _off_and_on(shadow: ShadowState) -> list[RegisterWrite]:
    """Switch the power off and on."""
    off = shadow.set({"power": 0})
    shadow.clear()
    return off + shadow.set({"power": 1})


def _without(chip: Chip, rows: list[BusRow], address: int) -> list[BusRow]:
    """Leave out what writes a register; behind an index port, up to the next index."""
    b, found, index = chip.bus, [], -1
    ports = unmirrored(chip, np.array([a for _, a, _ in rows], dtype=np.int64)).tolist()
    for row, port in zip(rows, ports, strict=True):
        if b.access != "index-data":
            found += [row] if port != address else []
            continue
        index = row[2] % (1 << b.index_bits) if port == b.index_address else index
        if index == address:
            continue
        found.append(row)
        if port == b.data_address and index >= 0:
            index = (index + b.index_step) % (1 << b.index_bits)
    return found


def _set_up(chip: Chip, chance: ChanceState, shadow: ShadowState, name: str, by: Sequence[str]) -> list[RegisterWrite]:
    """Set a channel up to be heard, but for some fields that are drawn, most of those that are meant among them; and
    start it as a rule."""
    power = chip.fields.get("power")
    writes = _changes(shadow, {"power": 1}) if power is not None and power.segments else []
    wanted = sounding_fields(chip, name)
    step, table = chip.channels[name].step, chip.channels[name].table
    if isinstance(step, StepClock) and table is not None and table.after_last == "stop" and chance.once_in(2):
        slowest = slowest_period(step)  # a note lasts as long as its steps
        wanted |= {key: slowest for key in wanted if key == f"{name}.period"}
    for key, value in wanted.items():
        bits = chip.fields[key].bits
        meant = {key.removeprefix(f"{name}."), key.split(".")[1]} & set(by)
        if chance.once_in(3) or (meant and chance.once_in(2)):
            wanted[key] = chance.among((0, 1, 2 % (1 << bits), chance.bits(bits), chance.bits(bits), value))
    writes += _changes(shadow, wanted)
    return writes + ([] if chance.once_in(4) else _started(chip, chance, shadow, name))


def _started(chip: Chip, chance: ChanceState, shadow: ShadowState, name: str) -> list[RegisterWrite]:
    """Start a channel, if software can: a gate is shut before it opens."""
    ways, gate = [s for s in strobes_of(chip) if s.target == f"{name}.start"], chip.fields.get(f"{name}.gate")
    if ways:
        return [shadow.strobe(chance.among(ways))]
    if gate is None or not gate.segments:
        return []
    return _changes(shadow, {gate.name: 0}) + _changes(shadow, {gate.name: 1})


def _to_the_end(chip: Chip, chance: ChanceState, shadow: ShadowState, *, top: bool) -> list[RegisterWrite]:
    """Start every channel so that it stays as far up or down as can be: waves at one end, the steadiest pattern."""
    writes: list[RegisterWrite] = []
    for name in sorted(chip.channels, key=lambda _: chance.bits(8)):
        channel, memory, wanted = chip.channels[name], chip.memories.get(name), sounding_fields(chip, name)
        if memory is not None and channel.table is not None:
            word = (1 << channel.table.bits * channel.table.per_address) - 1 if top else 0
            writes += [shadow.put(memory.address + place, word) for place in range(memory.size)]
        steady = [text.count("1" if top else "0") / len(text) for text in channel.patterns]
        wanted |= {key: steady.index(max(steady)) for key in wanted if key == f"{name}.pattern"}
        writes += _changes(shadow, wanted | ({"power": 1} if "power" in chip.fields else {}))
        writes += _started(chip, chance, shadow, name)
    return writes


def _hushed(chip: Chip, chance: ChanceState, shadow: ShadowState, name: str) -> list[RegisterWrite]:
    """Start every other channel at no volume: its level is 0 then, which that of an idle one may not be."""
    writes = []
    for other in chip.channels:
        field = chip.fields.get(f"{other}.volume")
        if other == name or field is None or not field.segments:
            continue
        table = chip.channels[other].volume_table
        silent = table.index(min(table, key=abs)) if table else 0
        writes += _changes(shadow, sounding_fields(chip, other) | {field.name: silent})
        writes += _started(chip, chance, shadow, other)
    return writes


def _changes(shadow: ShadowState, fields: dict[str, int]) -> list[RegisterWrite]:
    """Return the writes of fields that do not stand so, and what lets them go where they wait."""
    before = dict(shadow.stored)
    return shadow.in_order([(address, value) for address, value in shadow.set(fields) if before[address] != value])
