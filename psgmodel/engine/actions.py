"""Actions: what each write does, worked out before a run.

Stage: engine, the fast one. In: chip, log, state. Out: the register writes by edge, with the power bit already
followed: writes that it locks out are gone, and where it goes to 0 there is a `CLEAR`. Then, for each channel, the
events that concern it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.channel import Channel, WaveTable
from psgmodel.chip.records import Chip, Field
from psgmodel.chip.remembering import remembered
from psgmodel.chip.wiring import join
from psgmodel.engine.countdown import Epoch, TickTrain, epochs_of, tick_train
from psgmodel.engine.kernel.layout import CLEAR as CLEAR
from psgmodel.engine.kernel.layout import FADE, GLIDE, PASS, STEP, TIMER
from psgmodel.engine.kernel.layout import QUIET as QUIET
from psgmodel.engine.state import UnitState
from psgmodel.reglog.bus import register_writes
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps, constant_steps, steps_from_changes

BLOCK_OF = {"timer": TIMER, "envelope": FADE, "sweep": GLIDE}

IntArray = NDArray[np.int64]


class WriteAction(NamedTuple):
    """What writing one address does to a channel.

    Attributes
    ----------
    parts : tuple of (field, shift right, mask, shift left)
    strobes : tuple of (bit, "start" or "stop"); bit -1: at any write
    touches : int
        Which blocks of an active channel a field of this register concerns: `TIMER`, `FADE`, `GLIDE`, `STEP`.
    """

    parts: tuple[tuple[str, int, int, int], ...]
    strobes: tuple[tuple[int, str], ...]
    touches: int


class UnitEvents(NamedTuple):
    """Register writes by the edge at which they change registers; at the end the index port and what is held."""

    edge: IntArray
    address: IntArray
    value: IntArray
    index_port: int
    held: dict[int, int]


@remembered
def write_actions(chip: Chip, channel: str) -> Mapping[int, WriteAction]:
    """Return what each address of a chip does to a channel; addresses that do nothing are left out."""
    prefix = channel + "."
    wired: dict[int, list[tuple[str, int, int, int]]] = {}
    for name, field in chip.fields.items():
        if name.startswith(prefix):
            for s in field.segments:
                part = (name.removeprefix(prefix), s.low, (1 << s.width) - 1, s.field_low)
                wired.setdefault(s.address, []).append(part)
    actions = {}
    for address, register in chip.registers.items():
        parts = tuple(wired.get(address, ()))
        strobes = [(f.low, f.target) for f in register.fields if f.role == "strobes"]
        strobes += [(-1, event) for event in register.on_write]
        own = tuple((bit, event.removeprefix(prefix)) for bit, event in strobes if event.startswith(prefix))
        if parts or own:
            touches = 0
            for name, *_ in parts:
                touches |= _touched(chip.channels[channel], name)
            actions[address] = WriteAction(parts, own, touches)
            actions[address | QUIET] = WriteAction(parts, (), touches)
    return actions


def _touched(channel: Channel, field: str) -> int:
    """Return the blocks that must be looked at where a field of an active channel is written."""
    block = field.partition(".")[0]
    if field == "timer.length":
        return 0  # seen by a start only
    if field == "envelope.bypass":
        return FADE | STEP
    if block in BLOCK_OF:
        return BLOCK_OF[block]
    if field == "volume" and channel.envelope is not None:
        level = FADE if channel.envelope.volume_write == "at-once" else 0
        return level | STEP if channel.envelope.bypass else level
    return STEP


def stored_samples(table: WaveTable, data: int) -> list[int]:
    """Return the samples that a write to one address of a wave memory puts there."""
    mask = (1 << table.bits) - 1
    samples = [data >> k * table.bits & mask for k in range(table.per_address)]
    return samples if table.order == "low-first" else samples[::-1]


def unit_events(chip: Chip, log: RegisterLog, state: UnitState) -> UnitEvents:
    """Return the register writes of a log that take place, by edge."""
    return _with_held(chip, _switched(chip, log, state), state.held)


def _switched(chip: Chip, log: RegisterLog, state: UnitState) -> UnitEvents:
    """Return the register writes that the power bit lets through, by edge."""
    writes, index = register_writes(chip, log, state.index)
    edge = writes.cycle + chip.bus.write_latency
    if chip.power is None or not chip.fields["power"].segments:
        return UnitEvents(edge, writes.address, writes.value, index, {})
    switch = chip.fields["power"].segments[0]
    number = np.arange(edge.size)
    is_switch = writes.address == switch.address
    bit = writes.value >> switch.low & 1
    latest = np.maximum.accumulate(np.where(is_switch, number, -1))
    initial = state.registers[switch.address] >> switch.low & 1
    before = np.append(initial, np.where(latest >= 0, bit[latest], initial))[:-1] if edge.size else bit
    turns_off = is_switch & (bit == 0) & (before == 1)
    kept = is_switch | (before == 1)
    quiet = (is_switch & (bit == 0)) | np.isin(edge, edge[turns_off])
    quiet &= np.isin(writes.address, list(chip.registers))
    address = np.where(quiet, writes.address | QUIET, writes.address)
    edges, addresses, values = edge[kept], address[kept], writes.value[kept]
    at = np.flatnonzero(turns_off[kept])
    return UnitEvents(
        np.insert(edges, at, edges[at]),
        np.insert(addresses, at, CLEAR),
        np.insert(values, at, int(chip.power.memory == "clears")),
        index,
        {},
    )


def _with_held(chip: Chip, events: UnitEvents, held: Mapping[int, int]) -> UnitEvents:
    """Return the writes with those to registers that are held moved to just before what lets them go."""
    holds = chip.held()
    if not holds:
        return events
    plain = np.where(events.address > 0, events.address & ~QUIET, events.address)
    number = np.arange(plain.size)
    rows = [
        (i, -1, edge, address, value)
        for i, edge, address, value in zip(*(c.tolist() for c in (number, *events[:3])), strict=True)
        if plain[i] not in holds
    ]
    left = {}
    for address, release in sorted(holds.items()):
        latest = np.maximum.accumulate(np.where(plain == address, number, -1))
        ends = np.flatnonzero((plain == release) | (plain == CLEAR)).tolist()
        since, value = -1, held.get(address)
        for i in ends:
            if latest[i] > since:
                value = int(events.value[latest[i]])
            if value is not None and plain[i] == release:
                quiet = int(events.address[i]) & QUIET
                rows.append((i - 1, address, int(events.edge[i]), address | quiet, value))
            since, value = i, None
        if plain.size and latest[-1] > since:
            value = int(events.value[latest[-1]])
        if value is not None:
            left[address] = value
    rows.sort(key=lambda row: row[:2])
    edges, addresses, values = np.array([row[2:] for row in rows], dtype=np.int64).reshape(-1, 3).T
    return UnitEvents(edges, addresses, values, events.index_port, left)


def channel_events(
    chip: Chip, name: str, events: UnitEvents, known: Mapping[int, WriteAction], passes: list[int]
) -> Iterator[tuple[int, int, int]]:
    """Return the events of a channel as (edge, address, value); address i of its memory has the code -1 - i.

    `passes` are edges at which a stretch must end though nothing happens to the channel.
    """
    owned = np.isin(events.address, np.fromiter(known, np.int64, len(known))) | (events.address == CLEAR)
    addresses = events.address
    memory = chip.memories.get(name)
    if memory is not None:
        index = events.address - memory.address
        inside = (index >= 0) & (index < memory.size)
        addresses = np.where(inside, -1 - index, addresses)
        owned |= inside
    edges, addresses, values = events.edge[owned], addresses[owned], events.value[owned]
    if passes:
        at = np.searchsorted(edges, passes)
        edges, addresses, values = (
            np.insert(edges, at, passes),
            np.insert(addresses, at, PASS),
            np.insert(values, at, 0),
        )
    return zip(edges.tolist(), addresses.tolist(), values.tolist(), strict=True)


def restarts(chip: Chip, divider: str, events: UnitEvents) -> list[int]:
    """Return the edges at which a divider's restart strobe acts."""
    target = f"{divider}.restart"
    acts = np.zeros(events.edge.size, dtype=np.bool_)
    for address, register in chip.registers.items():
        if target in register.on_write:
            acts |= events.address == address
        for field in register.fields:
            if field.role == "strobes" and field.target == target:
                acts |= (events.address == address) & (events.value >> field.low & 1 == 1)
    return [int(e) for e in np.unique(events.edge[acts])]


def tick_trains(
    chip: Chip, events: UnitEvents, state: UnitState
) -> tuple[dict[str, TickTrain], dict[str, list[Epoch]], dict[str, list[int]]]:
    """Return the tick sources as trains, the epochs of every divider, and its restarts."""
    again = {name: restarts(chip, name, events) for name in chip.dividers}
    epochs = {
        name: epochs_of(divider, state.cycle, state.dividers[name], again[name])
        for name, divider in chip.dividers.items()
    }
    trains = {
        name: tick_train(chip.dividers[ticks.divider], ticks.at, epochs[ticks.divider])
        for name, ticks in chip.ticks.items()
    }
    return trains, epochs, again


def last_registers(chip: Chip, events: UnitEvents, state: UnitState) -> dict[int, int]:
    """Return what each register holds after the last event."""
    registers = dict(state.registers)
    address, value = events.address, events.value
    cleared = np.flatnonzero(address == CLEAR)
    if cleared.size:
        registers = {a: r.reset for a, r in chip.registers.items()}
        address, value = address[cleared[-1] + 1 :], value[cleared[-1] + 1 :]
    plain, last = np.unique((np.where(address > 0, address & ~QUIET, address))[::-1], return_index=True)
    for a, v in zip(plain.tolist(), value[::-1][last].tolist(), strict=True):
        if a in registers:
            registers[a] = v & chip.registers[a].stored
    return registers


def mixer_fields(chip: Chip, events: UnitEvents, state: UnitState, end: int) -> dict[str, Steps]:
    """Return the mixer's fields as signals from the state's cycle to `end`."""
    return {
        name: _field_over_time(chip, field, events, state, end)
        for name, field in chip.fields.items()
        if name.startswith("mixer.")
    }


def _field_over_time(chip: Chip, field: Field, events: UnitEvents, state: UnitState, end: int) -> Steps:
    """Return a field as a signal from the state's cycle to `end`."""
    start = state.cycle
    before = join(field.segments, state.registers) if field.segments else field.reset
    if not field.segments or start >= end:
        return constant_steps(before, start, end)
    plain = np.where(events.address > 0, events.address & ~QUIET, events.address)
    owned = np.isin(plain, [CLEAR, *(s.address for s in field.segments)])
    edges, addresses, values = events.edge[owned], plain[owned], events.value[owned]
    if len(field.segments) == 1:
        s = field.segments[0]
        levels = (values >> s.low & (1 << s.width) - 1) << s.field_low
        levels = np.where(addresses == CLEAR, field.reset, levels)
    else:
        now = dict(state.registers)
        joined = []
        for address, value in zip(addresses.tolist(), values.tolist(), strict=True):
            if address == CLEAR:
                now = {a: r.reset for a, r in chip.registers.items()}
            else:
                now[address] = value
            joined.append(join(field.segments, now))
        levels = np.array(joined, dtype=np.int64)
    return steps_from_changes(np.append(start, edges), np.append(before, levels), end)
