"""State: everything the unit remembers between two edges.

Stage: engine. In and out: the same record for both engines, so that "every final register is equal" is one
comparison. A run that is cut at a cycle hands this record on; as JSON text it can be saved.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from psgmodel.chip.channel import Channel
from psgmodel.chip.records import Chip, Mixer
from psgmodel.engine.players import NoisePlayer, PatternPlayer, channel_level
from psgmodel.errors import EngineError
from psgmodel.steps import MAX_CYCLE

STATE_FORMAT = 3


@dataclass(slots=True)
class ChannelState:
    """The registers of one channel; those a kind does not have stay 0.

    Attributes
    ----------
    active : int, 0 or 1
    count : int, cycles
        Down counter of the step, or elapsed cycles of it where a new period counts at once.
    position : int, step of the pattern or wave table
    sample : int, contents of the sample register
    shift_register : int, position 1 in bit 0
    timer, envelope_level, envelope_count, sweep_count, sweep_shadow : int
    sweep_fell : int, 0 or 1
        A falling sweep step was made since the start.
    starts, stops : int
        Delay lines: bit i is set where a strobe acts at edge `UnitState.cycle` + i.
    """

    active: int = 0
    count: int = 0
    position: int = 0
    sample: int = 0
    shift_register: int = 0
    timer: int = 0
    envelope_level: int = 0
    envelope_count: int = 0
    sweep_count: int = 0
    sweep_shadow: int = 0
    sweep_fell: int = 0
    starts: int = 0
    stops: int = 0


@dataclass(slots=True)
class UnitState:
    """The whole unit just before edge `cycle`.

    Attributes
    ----------
    cycle : int, clock cycles
    registers : dict from address to int
    memories : dict from channel name to list of int
    channels : dict from name to ChannelState
    dividers : dict from name to list of two int
        Edges until its next step (0: edge `cycle` itself), and the number of that step.
    index : int
        Contents of the index port.
    held : dict from address to int
        Writes that are held until another register is written.
    outputs : dict from output name to list of int
        What comes out at the next ``latency`` edges: the output registers but the one at the pin, nearest to
        it first, and then the code that edge `cycle` itself will take in.
    """

    cycle: int
    registers: dict[int, int] = field(default_factory=dict)
    memories: dict[str, list[int]] = field(default_factory=dict)
    channels: dict[str, ChannelState] = field(default_factory=dict)
    dividers: dict[str, list[int]] = field(default_factory=dict)
    index: int = 0
    held: dict[int, int] = field(default_factory=dict)
    outputs: dict[str, list[int]] = field(default_factory=dict)

    def copy(self) -> UnitState:
        """Return an independent copy."""
        return UnitState(
            self.cycle,
            dict(self.registers),
            {name: list(samples) for name, samples in self.memories.items()},
            {name: dataclasses.replace(channel) for name, channel in self.channels.items()},
            {name: list(counts) for name, counts in self.dividers.items()},
            self.index,
            dict(self.held),
            {name: list(codes) for name, codes in self.outputs.items()},
        )


def reset_state(chip: Chip) -> UnitState:
    """Return the unit as it stands when reset is released."""
    state = UnitState(0)
    state.registers = {address: register.reset for address, register in chip.registers.items()}
    for name, channel in chip.channels.items():
        state.channels[name] = reset_channel(channel)
        if channel.table is not None:
            state.memories[name] = [0] * channel.table.samples
    state.dividers = {name: [divider.first, 0] for name, divider in chip.dividers.items()}
    levels = {name: _reset_level(chip, name) for name in chip.channels}
    for output in chip.unit.outputs:
        routes = {name: chip.fields[f"mixer.{output}.{name}"].reset for name in levels}
        trim = chip.fields.get(f"mixer.{output}.trim")
        idle = output_code(chip.mixer, levels, routes, trim.reset if trim is not None else 0)
        state.outputs[output] = [*[0] * (chip.mixer.latency - 1), idle][: chip.mixer.latency]
    return state


def output_code(mixer: Mixer, levels: Mapping[str, int], routes: Mapping[str, int], trim: int) -> int:
    """Return the output code that the mixer makes of the channel levels; `routes` has the field of each channel."""
    total = sum(levels[name] * mixer.gains[name] * mixer.routes[route] for name, route in routes.items())
    code = (total * mixer.trims[trim] >> mixer.trim_shift) + mixer.offset
    largest = (1 << mixer.bits) - 1
    code = code & largest if mixer.overflow == "wrap" else max(0, min(code, largest))
    return mixer.table[code] if mixer.table else code


def reset_channel(channel: Channel) -> ChannelState:
    """Return a channel as it stands when reset is released, or when the power bit clears it."""
    state = ChannelState(active=int(channel.at_reset == "active"))
    if channel.register is not None:
        state.shift_register = channel.register.seed_value
    return state


def _reset_level(chip: Chip, name: str) -> int:
    """Return the level of a channel as it stands before the first edge: position, sample and envelope level are 0."""
    channel = chip.channels[name]
    if channel.at_reset == "inactive":
        return channel.idle_level

    def field(key: str) -> int:
        found = chip.fields.get(f"{name}.{key}")
        return found.reset if found is not None else 0

    fields = {key: field(key) for key in ("pattern", "short")}
    raw = 0
    if channel.patterns:
        raw = PatternPlayer(channel).raw(fields)
    elif channel.register is not None:
        raw = NoisePlayer(channel.register).raw(fields)
    bypassed = channel.envelope is None or field("envelope.bypass") == 1
    return channel_level(channel, raw, field("volume") if bypassed else 0)


def state_to_json(state: UnitState) -> str:
    """Return a state as JSON text; the same state gives the same text."""
    return json.dumps({"state_format": STATE_FORMAT, **dataclasses.asdict(state)}, sort_keys=True)


def state_from_json(text: str, chip: Chip) -> UnitState:
    """Read a state that was saved for the same chip.

    Raises
    ------
    EngineError
        The text is no state, or is of another chip.
    """
    try:
        data = json.loads(text)
        if data.pop("state_format") != STATE_FORMAT:
            raise EngineError("a saved state of another format")
        for key in ("registers", "held"):
            data[key] = {int(address): int(value) for address, value in data[key].items()}
        data["channels"] = {name: ChannelState(**values) for name, values in data["channels"].items()}
        state = UnitState(**data)
    except RecursionError as reason:
        raise EngineError("no saved state: nested too deeply") from reason
    except (ValueError, KeyError, TypeError, AttributeError) as reason:
        raise EngineError(f"no saved state: {reason}") from reason
    _check_numbers(state)
    check_state(state, chip)
    return state


def _check_numbers(state: UnitState) -> None:
    """Raise `EngineError` where a saved value is no number that a register can hold."""
    lists = [*state.memories.values(), *state.dividers.values(), *state.outputs.values()]
    if any(not isinstance(items, list) for items in lists):
        raise EngineError("no saved state: samples, divider counts and output codes are lists")
    numbers = [
        state.cycle,
        state.index,
        *state.registers.values(),
        *state.held.values(),
        *(n for items in lists for n in items),
    ]
    numbers += [n for channel in state.channels.values() for n in dataclasses.astuple(channel)]
    for number in numbers:
        if type(number) is not int or not 0 <= number <= MAX_CYCLE:
            raise EngineError(f"no saved state: found {str(number)[:40]!r}, whole numbers from 0 to 2^62 are expected")


def check_state(state: UnitState, chip: Chip) -> None:
    """Raise `EngineError` where a state has not the shape that the chip gives it."""

    def shape(s: UnitState) -> tuple[Any, ...]:
        return (
            set(s.registers),
            {name: len(samples) for name, samples in s.memories.items()},
            set(s.channels),
            {name: len(counts) for name, counts in s.dividers.items()},
            {name: len(codes) for name, codes in s.outputs.items()},
        )

    if shape(state) != shape(reset_state(chip)) or not set(state.held) <= set(chip.held()) or not _fits(state, chip):
        raise EngineError("the saved state is of another chip")


def _fits(state: UnitState, chip: Chip) -> bool:
    """Return whether every number fits the counter or register that it is of; the shape is right."""
    for name, channel in chip.channels.items():
        largest, saved = _largest(channel), state.channels[name]
        if any(not 0 <= getattr(saved, register) <= most for register, most in largest.items()):
            return False
    for name, samples in state.memories.items():
        table = chip.channels[name].table
        if table is not None and not 0 <= min(samples) <= max(samples) < 1 << table.bits:
            return False
    for name, (wait, step) in state.dividers.items():
        divider = chip.dividers[name]
        longest = max(divider.first, divider.every, divider.after_restart)
        if not (0 <= wait <= longest and 0 <= step < divider.steps):
            return False
    return all(0 <= code < 1 << chip.mixer.bits for codes in state.outputs.values() for code in codes)


def positions_of(channel: Channel) -> int:
    """Return how many positions the waveform of a channel has; 0 for noise."""
    if channel.table is not None:
        return channel.table.samples
    return len(channel.patterns[0]) if channel.patterns else 0


def _largest(channel: Channel) -> dict[str, int]:
    """Return the largest value of each register of a channel; 0 where the channel does not have it."""
    table, register, timer = channel.table, channel.register, channel.timer
    envelope, sweep, bits = channel.envelope, channel.sweep, getattr(channel.step, "bits", 0)
    under_way = (1 << channel.start_delay) - 1
    return {
        "active": 1,
        "count": MAX_CYCLE,
        "position": max(positions_of(channel) - 1, 0),
        "sample": (1 << table.bits) - 1 if table else 0,
        "shift_register": (1 << register.bits) - 1 if register else 0,
        "timer": (1 << timer.bits) - 1 if timer else 0,
        "envelope_level": (1 << channel.volume_bits) - 1 if envelope else 0,
        "envelope_count": 1 << envelope.period_bits if envelope else 0,
        "sweep_count": 1 << sweep.period_bits if sweep else 0,
        "sweep_shadow": (1 << bits) - 1 if sweep else 0,
        "sweep_fell": 1 if sweep else 0,
        "starts": under_way,
        "stops": under_way,
    }
