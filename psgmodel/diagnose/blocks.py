"""Blocks: the state of every block of a channel or of the mixer, in words.

Stage: diagnose. In: a chip, the unit's state just before an edge. Out: for each block its registers and the fields that
software has set for it, by the names of the description.
"""

from __future__ import annotations

from dataclasses import dataclass

from psgmodel.chip.channel import Channel
from psgmodel.chip.records import Chip
from psgmodel.chip.wiring import join
from psgmodel.engine.state import ChannelState, UnitState

BLOCKS = ("start", "step", "pattern", "table", "register", "timer", "envelope", "sweep")
"""Blocks of a channel in the order in which they are told; those that it has not are left out."""

NAMES = {
    "start": "start and stop",
    "phase": "position at a start",
    "step": "step timer",
    "pattern": "patterns",
    "table": "wave table",
    "register": "shift register",
    "timer": "note timer",
    "envelope": "envelope",
    "loudness": "loudness",
    "sweep": "sweep",
    "ticks": "ticks",
    "mixer": "mixer",
    "wiring": "bits of registers",
    "bus": "bus",
    "power": "power bit",
}
"""Every block that a difference can be blamed on, and what it is called."""
TITLES = {
    "start": "activity",
    "step": "step timer",
    "pattern": "phase",
    "table": "phase and sample",
    "register": "shift register",
    "timer": "note timer",
    "envelope": "envelope",
    "sweep": "sweep",
}
REGISTERS = {
    "start": ("active",),
    "step": ("count",),
    "pattern": ("position",),
    "table": ("position", "sample"),
    "register": ("shift_register",),
    "timer": ("timer",),
    "envelope": ("envelope_level", "envelope_count"),
    "sweep": ("sweep_count", "sweep_shadow"),
}
"""Registers of each block."""
_WORDS = {"shift_register": "contents", "timer": "count", "envelope_level": "level", "envelope_count": "count"}
_WORDS |= {"sweep_count": "count", "sweep_shadow": "copy of the period"}
_FIELDS = {
    "step": ("period", "divisor", "shift"),
    "pattern": ("pattern",),
    "register": ("short",),
    "envelope": ("volume",),
}
"""Fields of a channel that belong to a block without having its name."""


@dataclass(frozen=True, slots=True)
class BlockState:
    """One block just before an edge.

    Attributes
    ----------
    block : str
        Such as "note timer"; for an output "mixer", "codes on their way".
    values : tuple of (str, str)
        Names and values.
    """

    block: str
    values: tuple[tuple[str, str], ...]

    def __str__(self) -> str:
        return f"{self.block}: {', '.join(f'{name} {value}' for name, value in self.values)}"


def field_value(chip: Chip, state: UnitState, name: str) -> int:
    """Return what a field holds."""
    field = chip.fields[name]
    return join(field.segments, state.registers) if field.segments else field.reset


def channel_blocks(chip: Chip, name: str, state: UnitState) -> tuple[BlockState, ...]:
    """Return the blocks of a channel; fields that no block claims go with the activity."""
    channel, registers = chip.channels[name], state.channels[name]
    fields = [key.removeprefix(name + ".") for key in chip.fields if key.startswith(name + ".")]
    owner = {key: block_of_field(channel, key) for key in fields}
    found = []
    for block in BLOCKS:
        if not has_block(channel, block):
            continue
        values = [(_WORDS.get(r, r), _register_text(channel, block, r, registers)) for r in REGISTERS[block]]
        if block == "start":
            values += _underway(registers)
        values += [(key, str(field_value(chip, state, f"{name}.{key}"))) for key in fields if owner[key] == block]
        found.append(BlockState(TITLES[block], tuple(values)))
    return tuple(found)


def output_blocks(chip: Chip, name: str, state: UnitState, levels: dict[str, int]) -> tuple[BlockState, ...]:
    """Return what an output is made of: the channels' levels, how each is let in, the trim, the output registers."""
    prefix = f"mixer.{name}."
    found = [BlockState("channel levels", tuple((channel, str(level)) for channel, level in levels.items()))]
    gains = tuple((f"gain of {channel}", str(gain)) for channel, gain in chip.mixer.gains.items())
    fields = tuple((key, str(field_value(chip, state, key))) for key in chip.fields if key.startswith(prefix))
    found.append(BlockState("mixer", fields + gains))
    if state.outputs[name]:
        codes = tuple((f"{at} later" if at else "next", str(code)) for at, code in enumerate(state.outputs[name]))
        found.append(BlockState("codes on their way", codes))
    return tuple(found)


def has_block(channel: Channel, block: str) -> bool:
    """Return whether a channel has a block."""
    return block in ("start", "step") or bool(getattr(channel, {"pattern": "patterns"}.get(block, block)))


def block_of_field(channel: Channel, field: str) -> str:
    """Return the block that a field belongs to."""
    head = field.partition(".")[0]
    if head in BLOCKS and has_block(channel, head):
        return head
    for block, names in _FIELDS.items():
        if field in names and has_block(channel, block):
            return block
    return "start"


def _register_text(channel: Channel, block: str, register: str, state: ChannelState) -> str:
    value = getattr(state, register)
    if register == "shift_register" and channel.register is not None:
        return f"{value:#0{2 + -(-channel.register.bits // 4)}x}"
    if block == "step":
        return f"{value} {'to go' if channel.step.new_value == 'next-step' else 'elapsed'}"
    return str(value)


def _underway(state: ChannelState) -> list[tuple[str, str]]:
    """Return strobes on their way; bit i of a delay line acts i edges from now."""
    found = []
    for kind, line in (("start", state.starts), ("stop", state.stops)):
        for edges in range(line.bit_length()):
            if line >> edges & 1:
                found.append((kind, "acts now" if edges == 0 else f"acts in {edges}"))
    return found
