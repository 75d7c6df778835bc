"""Records: what a sound unit is, as frozen facts.

Stage: chip. In: nothing. Out: the record classes that a description is read into. All times are clock
cycles, all levels integers. Engines, stimulus, coverage and reports derive from these records alone.
The order of action within one clock edge stands in `psgmodel.engine`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from psgmodel.chip.options import option

ChannelKind = Literal["square", "wave", "noise"]
StartOrTick = Literal["start", "tick", "both"]
Seen = Literal["old", "new"]

CHANNEL_LIMIT = 64
"""Most channels of a chip."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """The sound unit as a whole (table ``[unit]``)."""

    name: str = option("Name of the unit, for reports.")
    clock_hz: Fraction = option("Clock rate in hertz, an integer or an exact fraction in quotes.")
    outputs: tuple[str, ...] = option("Names of the outputs, one or two.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bus:
    """How software reaches the registers (table ``[bus]``)."""

    data_bits: Literal[8, 16, 32] = option("Width of the data bus.", default=8)
    address_bits: int = option("Width of the address bus.", default=8, at_least=1, at_most=32)
    write_latency: int = option(
        "Cycles from the edge that samples a write to the edge that changes the register.",
        default=0,
        at_least=0,
        at_most=64,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Divider:
    """A free-running divider that makes one-cycle ticks (table ``[ticks.NAME]``)."""

    every: int = option("Cycles from one tick to the next.", at_least=1, at_most=2**40)
    first: int = option("Edge of the first tick.", at_least=0, at_most=2**40)


@dataclass(frozen=True, slots=True, kw_only=True)
class StepClock:
    """How long a step of a square or wave-table channel lasts (table ``[channel.NAME.step]``)."""

    bits: int = option("Width of the field `period`.", at_least=1, at_most=24)
    rule: Literal["up-from", "down-from"] = option(
        "A step lasts scale x (period + offset) cycles, or scale x (top - period).", default="up-from"
    )
    scale: int = option("Cycles per unit of the period.", default=1, at_least=1, at_most=2**16)
    offset: int = option("Added to the period by the rule up-from.", default=1, at_least=0, at_most=2**24)
    top: int = option("What the rule down-from subtracts the period from.", default=0, at_least=0, at_most=2**25)
    new_value: Literal["next-step", "at-once"] = option(
        "A new period counts from the next step, or shortens or stretches the running one.", default="next-step"
    )
    on_start: Literal["reload", "keep"] = option(
        "A start begins a whole step, or lets the count go on.", default="reload"
    )
    write_and_step: Seen = option(
        "A step that begins at the edge of a write goes by the fields as before or after the write.", default="old"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseClock:
    """How long a step of a noise channel lasts (table ``[channel.NAME.step]``): divisor << shift cycles."""

    divisors: tuple[int, ...] = option("Cycles for each value of the field `divisor`.", at_least=1, at_most=2**24)
    shift_bits: int = option("Width of the field `shift`.", default=0, at_least=0, at_most=5)
    stopped: tuple[int, ...] = option("Values of `shift` that stop the clock.", default=(), at_least=0, at_most=31)
    new_value: Literal["next-step", "at-once"] = option(
        "A new clock setting counts from the next step, or shortens or stretches the running one.",
        default="next-step",
    )
    on_start: Literal["reload", "keep"] = option(
        "A start begins a whole step, or lets the count go on.", default="reload"
    )
    write_and_step: Seen = option(
        "A step that begins at the edge of a write goes by the fields as before or after the write.", default="old"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortMode:
    """What changes in a noise register while the field `short` is 1 (key ``short`` of the register)."""

    taps: tuple[int, ...] = option("Positions that feed back in short mode.", at_least=1, at_most=32)
    output: int = option("Position of the output bit in short mode.", at_least=1, at_most=32)
    insert: tuple[int, ...] = option(
        "Positions that also take the feedback bit in short mode.", default=(), at_least=1, at_most=32
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ShiftRegister:
    """The register of a noise channel (table ``[channel.NAME.register]``); positions count from 1.

    A shift to the left moves position k to k + 1 and puts the feedback bit into position 1; a shift to
    the right moves position k + 1 to k and puts it into position `bits`.
    """

    bits: int = option("Number of positions.", at_least=3, at_most=32)
    taps: tuple[int, ...] = option("Positions whose exclusive or is fed back.", at_least=1, at_most=32)
    output: int = option("Position of the output bit.", at_least=1, at_most=32)
    feedback: Literal["xor", "xnor"] = option("Feed back the exclusive or of the taps, or its inverse.", default="xor")
    shift: Literal["left", "right"] = option("Direction of the shift.", default="left")
    polarity: Literal["high", "low"] = option(
        "The level stands while the output bit is 1, or while it is 0.", default="high"
    )
    seed: int = option("Contents after reset; -1 for all ones.", default=-1, at_least=-1, at_most=2**32 - 1)
    on_start: Literal["keep", "reseed"] = option("A start leaves the contents, or loads the seed.", default="keep")
    short: ShortMode | None = option("Short mode; left out: there is none.", default=None)

    @property
    def seed_value(self) -> int:
        """Contents after reset as a number, position 1 in bit 0."""
        return (1 << self.bits) - 1 if self.seed < 0 else self.seed


@dataclass(frozen=True, slots=True, kw_only=True)
class Timer:
    """Note timer (table ``[channel.NAME.timer]``): a down counter that stops the channel."""

    bits: int = option("Width of the field `timer.length` and of the counter.", at_least=1, at_most=24)
    ticks: str = option("Name of the tick that it counts.")
    loads: Literal["field", "top-minus-field"] = option(
        "A start loads the length, or 2^bits minus the length; 0 counts as 2^bits.", default="field"
    )
    on_start: Literal["always", "when-zero"] = option(
        "A start loads it always, or where it has run out.", default="always"
    )
    at_zero: Literal["stop", "go-on"] = option("The channel stops when it runs out, or sounds on.", default="stop")
    start_and_tick: StartOrTick = option(
        "Start and tick at one edge: the load alone counts, the tick alone, or the tick counts the loaded value.",
        default="start",
    )
    expiry_and_start: Literal["expiry", "start"] = option(
        "Running out at the edge of a start: the channel is inactive, or active.", default="expiry"
    )
    write_and_tick: Seen = option("A tick sees `timer.enable` as before or after a write at its edge.", default="old")


@dataclass(frozen=True, slots=True, kw_only=True)
class Envelope:
    """Volume envelope (table ``[channel.NAME.envelope]``)."""

    ticks: str = option("Name of the tick that it counts.")
    period_bits: int = option("Width of the field `envelope.period`.", at_least=1, at_most=16)
    period_zero: Literal["stop", "longest"] = option(
        "With period 0 it stands still, or counts 2^period_bits ticks.", default="stop"
    )
    step: int = option("How far one step moves the level.", default=1, at_least=1, at_most=2**16)
    at_end: Literal["hold", "wrap"] = option("A step past the end stays at the end, or wraps around.", default="hold")
    at_zero: Literal["sound", "stop"] = option(
        "A step that reaches level 0 leaves the channel active, or stops it.", default="sound"
    )
    volume_write: Literal["next-start", "at-once"] = option(
        "A write to the volume counts from the next start, or sets the level of the running note.", default="next-start"
    )
    volume_and_tick: Literal["write", "tick", "both"] = option(
        "Such a write and a tick at one edge: the written level stands, the step of the old level, "
        "or the step of the written level.",
        default="write",
    )
    start_and_tick: StartOrTick = option(
        "Start and tick at one edge: the load alone counts, the tick alone, or the tick acts on the loaded values.",
        default="start",
    )
    write_and_tick: Seen = option(
        "A tick sees period and direction as before or after a write at its edge.", default="old"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """Frequency sweep (table ``[channel.NAME.sweep]``): moves the period by (period >> shift)."""

    ticks: str = option("Name of the tick that it counts.")
    period_bits: int = option("Width of the field `sweep.period`.", at_least=1, at_most=16)
    shift_bits: int = option("Width of the field `sweep.shift`.", at_least=1, at_most=5)
    period_zero: Literal["stop", "longest"] = option(
        "With period 0 it stands still, or counts 2^period_bits ticks.", default="stop"
    )
    overflow: Literal["stop", "hold", "wrap"] = option(
        "A sum that does not fit: the channel stops, the period stays, or it wraps around.", default="stop"
    )
    start_and_tick: StartOrTick = option(
        "Start and tick at one edge: the load alone counts, the tick alone, or the tick acts on the loaded count.",
        default="start",
    )
    write_and_step: Literal["write", "step", "merge"] = option(
        "A write to the period at the edge of a sweep step: the step's result is lost, the written bits are lost, "
        "or the written bits join the other bits of the result.",
        default="write",
    )
    write_and_tick: Seen = option("A tick sees its fields as before or after a write at its edge.", default="old")


@dataclass(frozen=True, slots=True, kw_only=True)
class WaveTable:
    """The sample memory of a wave-table channel (table ``[channel.NAME.table]``)."""

    samples: int = option("Number of samples.", at_least=2, at_most=4096)
    bits: int = option("Width of a sample.", at_least=1, at_most=16)
    fetch: Literal["each-step", "direct"] = option(
        "A sample register takes the sample at each step, or the memory is looked up all the time.", default="each-step"
    )
    first_sample: Literal["stale", "fresh"] = option(
        "A start leaves the sample register as it is, or fetches the first sample.", default="fresh"
    )
    volume: Literal["multiply", "shift"] = option(
        "Level is sample x volume >> volume_shift, or sample >> (largest volume - volume).", default="multiply"
    )
    volume_shift: int = option("Right shift after the multiplication.", default=0, at_least=0, at_most=32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One channel (table ``[channel.NAME]``)."""

    name: str
    kind: ChannelKind = option("What it plays: a pattern, a wave table, or shift-register noise.")
    volume_bits: int = option("Width of the field `volume` and of the envelope level.", at_least=1, at_most=16)
    step: StepClock | NoiseClock
    patterns: tuple[str, ...] = option(
        "Square only: one text of 0 and 1 for each value of the field `pattern`.", default=()
    )
    register: ShiftRegister | None = option("Noise only: the shift register.", default=None)
    table: WaveTable | None = option("Wave only: the sample memory.", default=None)
    start_delay: int = option(
        "Cycles from the write of a start or stop strobe to the edge at which it acts.",
        default=0,
        at_least=0,
        at_most=32,
    )
    position_on_start: Literal["keep", "reset"] = option(
        "Square and wave: a start leaves the position in the pattern, or resets it to 0.", default="reset"
    )
    timer: Timer | None = option("Note timer; left out: notes last until stopped.", default=None)
    envelope: Envelope | None = option("Volume envelope; left out: the volume is looked up all the time.", default=None)
    sweep: Sweep | None = option("Square and wave: frequency sweep; left out: there is none.", default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixer:
    """From channel levels to output codes (table ``[mixer]``)."""

    bits: int = option("Width of an output code.", at_least=1, at_most=24)
    overflow: Literal["saturate", "wrap"] = option(
        "A sum past the ends stays at the end, or wraps around.", default="saturate"
    )
    gains: Mapping[str, int]
    trims: tuple[int, ...] = option(
        "Multiplier for each value of an output's field `trim`.", default=(1,), at_least=0, at_most=2**16
    )
    trim_shift: int = option("Right shift after the multiplication by the trim.", default=0, at_least=0, at_most=24)
    latency: int = option("Number of registers between the sum and the output.", default=0, at_least=0, at_most=64)


@dataclass(frozen=True, slots=True)
class Segment:
    """Some bits of a register that hold some bits of a field.

    Attributes
    ----------
    address : int
    low : int, lowest bit in the register
    width : int, number of bits
    field_low : int, lowest bit in the field
    """

    address: int
    low: int
    width: int
    field_low: int


@dataclass(frozen=True, slots=True)
class Field:
    """One value that software sets, joined from segments; without segments it is a constant.

    Attributes
    ----------
    name : str
        Such as ``a.period`` or ``mixer.left.noise``.
    bits : int
    segments : tuple of Segment
    reset : int
        Value after reset, or the constant.
    """

    name: str
    bits: int
    segments: tuple[Segment, ...]
    reset: int


@dataclass(frozen=True, slots=True)
class BitField:
    """A named group of bits of one register, for the register map: what it drives, strobes or shows."""

    high: int
    low: int
    role: Literal["drives", "strobes", "shows"]
    target: str


@dataclass(frozen=True, slots=True)
class Register:
    """One address of the register map.

    Attributes
    ----------
    name : str
    address : int
    reset : int
        Value of the stored bits after reset.
    stored : int
        Mask of the bits that keep what is written.
    fields : tuple of BitField, from the highest bit down
    """

    name: str
    address: int
    reset: int
    stored: int
    fields: tuple[BitField, ...]


@dataclass(frozen=True, slots=True)
class Memory:
    """The addresses of a wave memory: sample i at address `address` + i, in the low bits of the data."""

    name: str
    channel: str
    address: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Chip:
    """A checked description; see `psgmodel.chip.load_chip`.

    Attributes
    ----------
    registers : dict from address to Register, by rising address
    memories : dict from channel name to Memory
    fields : dict from field name to Field
        Every field of every channel and of the mixer, wired or constant.
    channels : dict from name to Channel, in the order of the description
    """

    source: str
    unit: Unit
    bus: Bus
    ticks: Mapping[str, Divider]
    channels: Mapping[str, Channel]
    mixer: Mixer
    registers: Mapping[int, Register]
    memories: Mapping[str, Memory]
    fields: Mapping[str, Field]

    @property
    def clock_hz(self) -> Fraction:
        """Clock rate in hertz."""
        return self.unit.clock_hz

    def memory_at(self, address: int) -> Memory | None:
        """Return the wave memory that owns an address, if one does."""
        for memory in self.memories.values():
            table = self.channels[memory.channel].table
            if table is not None and memory.address <= address < memory.address + table.samples:
                return memory
        return None
