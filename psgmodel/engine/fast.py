"""Fast: the same answer as the reference, event by event.

Stage: engine. In: chip, log, state. Out: a `Trace`. Each channel is followed from event to event on its own
(`track`), what lies between is written out by arithmetic on whole arrays (`expand`, `shifting`), and the outputs
are mixed change by change (`mixing`). The cost follows writes and level changes, not cycles.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.chip.wiring import join
from psgmodel.engine.mixing import field_over_time, mix
from psgmodel.engine.state import UnitState
from psgmodel.engine.trace import Trace
from psgmodel.engine.track import TrackState
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps


def run_fast(chip: Chip, log: RegisterLog, state: UnitState, end: int) -> Trace:
    """Run a chip from `state` up to, not including, edge `end`; equals `run_reference`."""
    begin = state.cycle
    late = RegisterLog(log.cycle + chip.bus.write_latency, log.address, log.value, log.end + chip.bus.write_latency)
    after = UnitState(end, _last_registers(chip, late, state))
    channels: dict[str, Steps] = {}
    for name, channel in chip.channels.items():
        prefix = name + "."
        fields = {
            field.name.removeprefix(prefix): join(field.segments, state.registers) if field.segments else field.reset
            for field in chip.fields.values()
            if field.name.startswith(prefix)
        }
        memory = state.memories.get(name)
        track = TrackState(chip, channel, fields, state.channels[name], memory, begin)
        track.run(_writes(chip, name, late, track), end)
        channels[name] = track.signal(end)
        after.channels[name] = track.state(end)
        if memory is not None:
            after.memories[name] = track.memory
        if channel.sweep is not None:
            _put_period(chip, name, track.fields["period"], after.registers)
    mixer_fields = {
        name: field_over_time(field, late, state.registers, begin, end)
        for name, field in chip.fields.items()
        if name.startswith("mixer.")
    }
    outputs: dict[str, Steps] = {}
    for name in chip.unit.outputs:
        outputs[name], after.outputs[name] = mix(chip, name, channels, mixer_fields, state.outputs[name])
    return Trace(chip, begin, end, channels, outputs, after)


def _last_registers(chip: Chip, log: RegisterLog, state: UnitState) -> dict[int, int]:
    """Return what each register holds after the last write."""
    registers = dict(state.registers)
    addresses, last = np.unique(log.address[::-1], return_index=True)
    for address, value in zip(addresses.tolist(), log.value[::-1][last].tolist(), strict=True):
        if address in registers:
            registers[address] = value & chip.registers[address].stored
    return registers


def _put_period(chip: Chip, name: str, period: int, registers: dict[int, int]) -> None:
    for s in chip.fields[f"{name}.period"].segments:
        mask = (1 << s.width) - 1
        registers[s.address] = registers[s.address] & ~(mask << s.low) | (period >> s.field_low & mask) << s.low


def _writes(chip: Chip, name: str, log: RegisterLog, track: TrackState) -> Iterator[tuple[int, int, int]]:
    """Return the writes that concern a channel; sample i of its memory has the address -1 - i."""
    owned = np.isin(log.address, np.fromiter(track.actions, np.int64, len(track.actions)))
    addresses, values = log.address, log.value
    memory, table = chip.memories.get(name), chip.channels[name].table
    if memory is not None and table is not None:
        index = log.address - memory.address
        inside = (index >= 0) & (index < table.samples)
        addresses = np.where(inside, -1 - index, addresses)
        values = np.where(inside, values & (1 << table.bits) - 1, values)
        owned |= inside
    return zip(log.cycle[owned].tolist(), addresses[owned].tolist(), values[owned].tolist(), strict=True)
