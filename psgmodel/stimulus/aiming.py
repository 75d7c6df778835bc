"""Aiming: a stretch is cut off where a channel does something by itself, and something is done to it there.

Stage: stimulus. In: a stretch of a log, the state in which it begins, a channel. Out: a stretch whose last write acts
at the very edge, or beside it, at which a note ends, envelope or sweep makes a step, a block gets a tick, or a step of
the waveform ends. What is done is drawn: a start, a stop, or one of the channel's fields.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.coverage.covering import watch
from psgmodel.coverage.moments import Moments
from psgmodel.engine.countdown import TickTrain
from psgmodel.engine.followed import plan_unit
from psgmodel.engine.state import UnitState
from psgmodel.reglog.bus import register_writes
from psgmodel.reglog.log import RegisterLog, make_log
from psgmodel.stimulus.chance import ChanceState
from psgmodel.stimulus.random_log import drawn_value
from psgmodel.stimulus.shadow import ShadowState, Strobe, bus_writes, driven_fields, strobes_of

TAILS = (40, 300, 2000)
"""Cycles for which it is listened to what comes of it."""


def aim(
    chip: Chip,
    chance: ChanceState,
    state: UnitState,
    part: RegisterLog,
    name: str,
    spacing: int,
    *,
    tries: int,
    by: Sequence[str] = (),
) -> list[RegisterLog]:
    """Return stretches that begin as one does, each cut off by a write to a channel where something is due in it.

    `by` are fields, strobes and blocks of the channel (`Behaviour.by`): most shots are at edges of those blocks, and
    with those fields and strobes, where there are some; nothing stands for all.
    """
    moments = watch(chip, part, state, [name])[0][name]
    trains = plan_unit(chip, part.cut(0, part.end - chip.bus.write_latency), state, part.end).trains
    shots = []
    for _ in range(tries):
        wanted = () if chance.once_in(4) else by
        groups = _due(moments, wanted) + _counted(chance, trains, part, moments, wanted)
        if groups := [group for group in groups if len(group)]:
            edge = int(chance.among(chance.among(groups)))
            shots.append(_shot(chip, chance, state, part, name, edge, spacing, wanted))
    return [shot for shot in shots if shot is not None]


def _meant(m: Moments, by: Sequence[str]) -> list[str]:
    """Return those blocks of a channel that are among some names; all, where none of them is."""
    blocks = [block for block in ("timer", "envelope", "sweep") if getattr(m.channel, block) is not None]
    return [block for block in blocks if block in by] or [*blocks, ""]


def _due(m: Moments, by: Sequence[str]) -> list[list[int]]:
    """Return the edges at which the blocks of the channel do something by themselves, or would; each kind by itself."""
    found = []
    for block in _meant(m, by):
        if block == "timer":
            found.append(m.expiry_due)
        elif block == "envelope":
            found.append(m.fade_due)
        else:
            found += [m.glide_due, m.overflow_due] if block else [m.goes_on]
    return [m.edge[due].tolist() for due in found]


def _counted(
    chance: ChanceState, trains: Mapping[str, TickTrain], part: RegisterLog, m: Moments, by: Sequence[str]
) -> list[list[int]]:
    """Return some edges at which the blocks of the channel get a tick, while it is active as a rule, or a step of the
    waveform ends; each kind by itself."""
    active, found = np.flatnonzero(m.is_active).tolist(), []
    for block in _meant(m, by) if m.edge.size else ():
        if block:
            after = range(m.edge.size) if not active or chance.once_in(3) else active
            found.append(trains[getattr(m.channel, block).ticks].nth_after(int(m.edge[chance.among(after)]), 1))
        elif steps := np.flatnonzero(m.to_go < part.end).tolist():
            row, clock = chance.among(steps), m.channel.step.clocked_by
            before, counts = int(m.edge[row]) - 1, int(m.to_go[row])
            found.append(trains[clock].nth_after(before, counts) if clock else before + counts)
    return [[edge] for edge in found if edge < part.end]


def _shot(
    chip: Chip,
    chance: ChanceState,
    state: UnitState,
    part: RegisterLog,
    name: str,
    edge: int,
    spacing: int,
    by: Sequence[str],
) -> RegisterLog | None:
    strobes = [s for s in strobes_of(chip) if s.target in (f"{name}.start", f"{name}.stop")]
    fields = [f for f in driven_fields(chip) if f.name.startswith(f"{name}.")]
    asked = [s for s in strobes if s.target.removeprefix(f"{name}.") in by]
    turns = {"gate"} if {"start", "stop"} & set(by) else set()
    meant = [f for f in fields if f.name.removeprefix(f"{name}.") in {*by, *turns}]
    if asked or meant:
        strobes, fields = asked, meant
    gate, restarts = chip.fields.get(f"{name}.gate"), _restarts(chip, name)
    strobe = chance.among(strobes) if strobes and (not fields or chance.once_in(2)) else None
    if strobe is None and not fields and not restarts:
        return None
    cycle = edge - chip.bus.write_latency + chance.among((0, 0, 0, 0, 1, -1))
    if restarts and chance.once_in(4):
        strobe, ahead = chance.among(restarts)
        cycle -= ahead
    else:
        cycle -= chip.channels[name].start_delay if strobe is not None or chance.once_in(6) else 0
    shadow = _shadow(chip, state, part, cycle)
    if strobe is not None:
        writes = [shadow.strobe(strobe)]
    else:
        turned = gate is not None and gate.segments and chance.once_in(3)
        field = gate if gate is not None and turned else chance.among(fields)
        turned = turned or field.bits == 1
        value = 1 - shadow.value(field.name) if turned else drawn_value(chance, field.bits)
        writes = shadow.set({field.name: value})
    bus = [row for write in shadow.in_order(writes) for row in bus_writes(chip, write)]
    first = cycle - spacing * (len(bus) - 1)
    if first < 0:
        return None
    kept = int(np.searchsorted(part.cycle, first - spacing, side="right"))
    rows = np.array([(first + spacing * i, *row) for i, row in enumerate(bus)], dtype=np.int64).T
    before = (part.cycle[:kept], part.address[:kept], part.value[:kept])
    columns = (np.concatenate(pair) for pair in zip(before, rows, strict=True))
    return make_log(*columns, end=cycle + chance.among(TAILS) + spacing + chip.bus.write_latency)


def _restarts(chip: Chip, name: str) -> list[tuple[Strobe, int]]:
    """Return what restarts ticks of a channel, and how many cycles after it each of them comes."""
    channel, found = chip.channels[name], []
    blocks = (channel.timer, channel.envelope, channel.sweep)
    for tick in dict.fromkeys([b.ticks for b in blocks if b is not None] + [channel.step.clocked_by]):
        source = chip.ticks.get(tick)
        for strobe in strobes_of(chip) if source is not None else ():
            if source is not None and strobe.target == f"{source.divider}.restart":
                divider = chip.dividers[source.divider]
                steps = [(step - divider.restart_steps) % divider.steps for step in source.at]
                found += [(strobe, divider.after_restart + divider.every * step) for step in steps]
                found += [(strobe, 0)] if divider.restart_steps and 0 in source.at else []
    return found


def _shadow(chip: Chip, state: UnitState, part: RegisterLog, cycle: int) -> ShadowState:
    """Return what software believes to be in the registers before a cycle."""
    shadow = ShadowState(chip)
    shadow.stored.update(state.registers)
    writes, _ = register_writes(chip, part.cut(0, max(cycle, 0)), state.index)
    for address, value in zip(writes.address.tolist(), writes.value.tolist(), strict=True):
        shadow.put(address, value)
    return shadow
