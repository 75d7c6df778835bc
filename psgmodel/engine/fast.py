"""Fast: the same answer as the reference, event by event.

Stage: engine. In: chip, log, state. Out: a `Trace`. What each write does is worked out first (`actions`); each channel
is followed from event to event on its own (`track`, `slow`), what lies between is written out by arithmetic on whole
arrays (`expand`, `shifting`), and the outputs are mixed change by change (`mixing`). The cost follows writes and level
changes, not cycles.
"""

from __future__ import annotations

from collections.abc import Mapping

from psgmodel.chip.records import Chip
from psgmodel.chip.wiring import join
from psgmodel.engine.actions import (
    UnitEvents,
    channel_events,
    last_registers,
    mixer_fields,
    tick_trains,
    unit_events,
    write_actions,
)
from psgmodel.engine.countdown import TickTrain, divider_state
from psgmodel.engine.mixing import mix
from psgmodel.engine.state import UnitState
from psgmodel.engine.trace import Trace
from psgmodel.engine.track import TrackState
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps


def run_fast(chip: Chip, log: RegisterLog, state: UnitState, end: int) -> Trace:
    """Run a chip from `state` up to, not including, edge `end`; equals `run_reference`."""
    begin = state.cycle
    events = unit_events(chip, log, state)
    trains, epochs, again = tick_trains(chip, events, state)
    after = UnitState(end, last_registers(chip, events, state), index=events.index_port, held=events.held)
    after.dividers = {name: divider_state(d, epochs[name], end) for name, d in chip.dividers.items()}
    channels: dict[str, Steps] = {}
    for name, channel in chip.channels.items():
        track = follow_channel(chip, name, events, trains, again, state, end)
        channels[name] = track.steps.signal(end)
        after.channels[name] = track.state(end)
        if name in state.memories:
            after.memories[name] = track.steps.memory
        if channel.sweep is not None:
            _put_period(chip, name, track.fields["period"], after.registers)
    fields_over_time = mixer_fields(chip, events, state, end)
    outputs: dict[str, Steps] = {}
    for name in chip.unit.outputs:
        outputs[name], after.outputs[name] = mix(chip, name, channels, fields_over_time, state.outputs[name])
    return Trace(chip, begin, end, channels, outputs, after)


def follow_channel(
    chip: Chip,
    name: str,
    events: UnitEvents,
    trains: Mapping[str, TickTrain],
    again: Mapping[str, list[int]],
    state: UnitState,
    end: int,
) -> TrackState:
    """Follow one channel up to edge `end`; `trains` and `again` (restarts of dividers) are those of the unit."""
    channel, begin, saved = chip.channels[name], state.cycle, state.channels[name]
    actions = write_actions(chip, name)
    fields, reset_fields = _own_fields(chip, name, state.registers), _own_fields(chip, name, None)
    track = TrackState(channel, trains, actions, fields, reset_fields, begin)
    pending = [
        (begin + i, kind)
        for kind, line in (("start", saved.starts), ("stop", saved.stops))
        for i in range(line.bit_length())
        if line >> i & 1
    ]
    track.load(saved, state.memories.get(name, []), pending)
    track.run(channel_events(chip, name, events, actions, again.get(channel.step.clocked_by, [])), end)
    return track


def _own_fields(chip: Chip, name: str, registers: dict[int, int] | None) -> dict[str, int]:
    """Return the fields of a channel, from register contents or as they are after reset."""
    prefix = name + "."
    return {
        field.name.removeprefix(prefix): (
            join(field.segments, registers) if field.segments and registers is not None else field.reset
        )
        for field in chip.fields.values()
        if field.name.startswith(prefix)
    }


def _put_period(chip: Chip, name: str, period: int, registers: dict[int, int]) -> None:
    for s in chip.fields[f"{name}.period"].segments:
        mask = (1 << s.width) - 1
        registers[s.address] = registers[s.address] & ~(mask << s.low) | (period >> s.field_low & mask) << s.low
