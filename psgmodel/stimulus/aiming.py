"""Aiming: a stretch is cut off where a channel does something by itself, and something is done to it there.

Stage: stimulus. In: a stretch of a log, the state in which it begins, a channel. Out: a stretch whose last write acts
at the very edge, or beside it, at which a note ends, envelope or sweep makes a step, a block gets a tick, or a step of
the waveform ends. What is done is drawn: a start, a stop, or one of the channel's fields.
"""

from __future__ import annotations

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.coverage.covering import watch
from psgmodel.coverage.moments import Moments
from psgmodel.engine.followed import plan_unit
from psgmodel.engine.state import UnitState
from psgmodel.reglog.bus import register_writes
from psgmodel.reglog.log import RegisterLog, make_log
from psgmodel.stimulus.chance import ChanceState
from psgmodel.stimulus.random_log import drawn_value
from psgmodel.stimulus.shadow import ShadowState, bus_writes, driven_fields, strobes_of

TAILS = (40, 300, 2000)
"""Cycles for which it is listened to what comes of it."""


def aim(
    chip: Chip, chance: ChanceState, state: UnitState, part: RegisterLog, name: str, spacing: int, *, tries: int
) -> list[RegisterLog]:
    """Return stretches that begin as one does, each cut off by a write to a channel where something is due in it."""
    moments = watch(chip, part, state)[0][name]
    groups = [g for g in (_due(moments), _counted(chip, chance, state, part, moments)) if g]
    shots = []
    for _ in range(tries if groups else 0):
        edge = chance.among(groups[0] if len(groups) == 1 or chance.once_in(2) else groups[1])
        shots.append(_shot(chip, chance, state, part, name, edge, spacing))
    return [shot for shot in shots if shot is not None]


def _due(m: Moments) -> list[int]:
    """Return the edges at which the channel does something by itself, or would."""
    found = m.goes_on | (m.expiry_due if m.channel.timer is not None else m.goes_on)
    found = found | (m.fade_due if m.channel.envelope is not None else found)
    found = found | (m.glide_due if m.channel.sweep is not None else found)
    edges: list[int] = m.edge[found].tolist()
    return edges


def _counted(chip: Chip, chance: ChanceState, state: UnitState, part: RegisterLog, m: Moments) -> list[int]:
    """Return some edges at which a block of the channel gets a tick, or a step of the waveform ends, while it is
    active."""
    active = np.flatnonzero(m.is_active).tolist()
    if not active:
        return []
    trains = plan_unit(chip, part.cut(0, part.end - chip.bus.write_latency), state, part.end).trains
    blocks = (m.channel.timer, m.channel.envelope, m.channel.sweep)
    found = [trains[b.ticks].nth_after(int(m.edge[chance.among(active)]), 1) for b in blocks if b is not None]
    steps = np.flatnonzero(m.to_go < part.end).tolist()
    if steps:
        row = chance.among(steps)
        before, counts = int(m.edge[row]) - 1, int(m.to_go[row])
        clock = m.channel.step.clocked_by
        found.append(trains[clock].nth_after(before, counts) if clock else before + counts)
    return [edge for edge in found if edge < part.end]


def _shot(
    chip: Chip, chance: ChanceState, state: UnitState, part: RegisterLog, name: str, edge: int, spacing: int
) -> RegisterLog | None:
    strobes = [s for s in strobes_of(chip) if s.target in (f"{name}.start", f"{name}.stop")]
    fields = [f for f in driven_fields(chip) if f.name.startswith(f"{name}.")]
    gate = chip.fields.get(f"{name}.gate")
    strobe = chance.among(strobes) if strobes and (not fields or chance.once_in(2)) else None
    if strobe is None and not fields:
        return None
    cycle = edge - chip.bus.write_latency + chance.among((0, 0, 0, 0, 1, -1))
    cycle -= chip.channels[name].start_delay if strobe is not None or chance.once_in(6) else 0
    shadow = _shadow(chip, state, part, cycle)
    if strobe is not None:
        writes = [shadow.strobe(strobe)]
    else:
        turned = gate is not None and gate.segments and chance.once_in(3)
        field = gate if gate is not None and turned else chance.among(fields)
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


def _shadow(chip: Chip, state: UnitState, part: RegisterLog, cycle: int) -> ShadowState:
    """Return what software believes to be in the registers before a cycle."""
    shadow = ShadowState(chip)
    shadow.stored.update(state.registers)
    writes, _ = register_writes(chip, part.cut(0, max(cycle, 0)), state.index)
    for address, value in zip(writes.address.tolist(), writes.value.tolist(), strict=True):
        shadow.put(address, value)
    return shadow
