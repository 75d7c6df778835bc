"""Channel records: what one channel is made of, as frozen facts.

Stage: chip. In: nothing. Out: the record classes that the tables ``[channel.NAME]`` are read into. All times are
clock cycles, all levels integers. Every option is followed by both engines; the order of action within one clock
edge stands in `psgmodel.engine`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from psgmodel.chip.options import option

ChannelKind = Literal["square", "wave", "noise"]
StartOrTick = Literal["start", "tick", "both"]
Seen = Literal["old", "new"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepClock:
    """How long a step of a square or wave-table channel lasts (table ``[channel.NAME.step]``), in counts."""

    bits: int = option("Width of the field `period`.", at_least=1, at_most=24)
    rule: Literal["up-from", "down-from"] = option(
        "A step lasts scale x (period + offset) counts, or scale x (top - period).", default="up-from"
    )
    scale: int = option("Counts per unit of the period.", default=1, at_least=1, at_most=2**16)
    offset: int = option("Added to the period by the rule up-from.", default=1, at_least=0, at_most=2**24)
    top: int = option("What the rule down-from subtracts the period from.", default=0, at_least=0, at_most=2**25)
    clocked_by: str = option(
        "Tick that counts the step on, as a free-running prescaler does; left out: every clock cycle.", default=""
    )
    new_value: Literal["next-step", "at-once"] = option(
        "A new period counts from the next step, or shortens or stretches the running one.", default="next-step"
    )
    on_start: Literal["reload", "keep"] = option(
        "A start begins a whole step, or lets the count go on.", default="reload"
    )
    write_and_step: Seen = option(
        "Whether a step ends at the edge of a write, and how long the next is, goes by the period as before or after.",
        default="old",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseClock:
    """How long a step of a noise channel lasts (table ``[channel.NAME.step]``): divisor << shift counts."""

    divisors: tuple[int, ...] = option("Counts for each value of the field `divisor`.", at_least=1, at_most=2**24)
    shift_bits: int = option("Width of the field `shift`.", default=0, at_least=0, at_most=5)
    stopped: tuple[int, ...] = option("Values of `shift` that stop the clock.", default=(), at_least=0, at_most=31)
    clocked_by: str = option(
        "Tick that counts the step on, as a free-running prescaler does; left out: every clock cycle.", default=""
    )
    new_value: Literal["next-step", "at-once"] = option(
        "A new clock setting counts from the next step, or shortens or stretches the running one.",
        default="next-step",
    )
    on_start: Literal["reload", "keep"] = option(
        "A start begins a whole step, or lets the count go on.", default="reload"
    )
    write_and_step: Seen = option(
        "Whether a step ends at the edge of a write, and how long the next is, goes by divisor and shift as before or "
        "after; `short` is always as before.",
        default="old",
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
    on_enable: Literal["nothing", "tick"] = option(
        "A write that turns `timer.enable` on in an active channel does nothing more, or counts as a tick: as one with "
        "a tick at its edge, and not at a start.",
        default="nothing",
    )


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
        "A step after which the level is 0 leaves the channel active, or stops it; never at a start.", default="sound"
    )
    bypass: bool = option(
        "With it there is a field `envelope.bypass`: while it is 1 the volume, looked up all the time, takes the place "
        "of the level.",
        default=False,
    )
    volume_write: Literal["next-start", "at-once"] = option(
        "A write to a register of the volume counts from the next start, or sets the level of an active channel.",
        default="next-start",
    )
    volume_and_tick: Literal["write", "tick", "both"] = option(
        "Such a write and a tick at one edge: the written level stands, the write is lost, or the tick acts on the "
        "written level. The counter goes on in any case.",
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
    """Frequency sweep (table ``[channel.NAME.sweep]``): moves the period step by step."""

    ticks: str = option("Name of the tick that it counts.")
    period_bits: int = option("Width of the field `sweep.period`.", at_least=1, at_most=16)
    shift_bits: int = option("Width of the field `sweep.shift`.", at_least=1, at_most=16)
    period_zero: Literal["stop", "longest"] = option(
        "With period 0 it stands still, or counts 2^period_bits ticks.", default="stop"
    )
    works_on: Literal["period", "shadow"] = option(
        "A step moves the period as before its edge, or a copy that a start takes; the result goes to both.",
        default="period",
    )
    moves_by: Literal["fraction", "constant"] = option(
        "A step moves the period by (period >> shift), or by the number in `sweep.shift` itself.", default="fraction"
    )
    overflow: Literal["stop", "hold", "wrap"] = option(
        "A result that does not fit: the channel stops and the period stays, the period stays, or it wraps around.",
        default="stop",
    )
    check: Literal["at-step", "at-start-too", "after-step-too"] = option(
        "An overflow that stops is looked for at a step, and a start at its edge wins; also at a start whose shift is "
        "not 0, and then no start wins; besides both, one step ahead after each step.",
        default="at-step",
    )
    subtract: Literal["twos-complement", "ones-complement"] = option(
        "Falling subtracts, or adds inverted bits, which gives 1 less; less than 0 wraps for a fraction, and does not "
        "fit for a constant.",
        default="twos-complement",
    )
    rising_after_falling: Literal["go-on", "stop"] = option(
        "A write that clears `sweep.falling` after a falling step since the start, one before its edge, does nothing "
        "more, or stops the channel.",
        default="go-on",
    )
    start_and_tick: StartOrTick = option(
        "Start and tick at one edge: the load alone counts, the tick alone, or the tick acts on the loaded count.",
        default="start",
    )
    write_and_step: Literal["write", "step", "merge"] = option(
        "A write to a register of the period at the edge of a sweep step: the step's result is lost, the written bits "
        "are lost, or the written bits join the other bits of the result. A copy takes the result in any case.",
        default="write",
    )
    write_and_tick: Seen = option("A tick sees its fields as before or after a write at its edge.", default="old")


@dataclass(frozen=True, slots=True, kw_only=True)
class WaveTable:
    """The sample memory of a wave-table channel (table ``[channel.NAME.table]``)."""

    samples: int = option("Number of samples.", at_least=2, at_most=4096)
    bits: int = option("Width of a sample.", at_least=1, at_most=16)
    per_address: int = option("Samples at one address, side by side from bit 0 up.", default=1, at_least=1, at_most=32)
    order: Literal["low-first", "high-first"] = option(
        "The first sample of an address is the lowest of its samples in the data, or the highest.", default="low-first"
    )
    start_position: int = option("Position that a start resets to.", default=0, at_least=0, at_most=4095)
    while_playing: Literal["taken", "ignored", "redirected"] = option(
        "A write to the memory of an active channel is taken, ignored, or goes to the address that holds the position "
        "before its edge.",
        default="taken",
    )
    reads: Literal["memory", "zero", "sounding"] = option(
        "A read returns the memory, 0, or, while the channel is active, the address that holds the position.",
        default="memory",
    )
    after_last: Literal["go-on", "stop"] = option(
        "The step after the last sample goes to the first one; there the channel goes on, or stops.", default="go-on"
    )
    fetch: Literal["each-step", "direct"] = option(
        "A sample register takes the sample at each step, from the memory before its edge, or the memory is looked up "
        "all the time.",
        default="each-step",
    )
    first_sample: Literal["stale", "fresh"] = option(
        "A start leaves the sample register as it is, or fetches the sample at the position that it leaves or sets.",
        default="fresh",
    )
    volume: Literal["multiply", "shift"] = option(
        "Level is sample x loudness >> volume_shift, or sample >> (largest volume - volume); both round down.",
        default="multiply",
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
        "Cycles from the edge at which a write strobes start or stop to the edge at which the strobe acts.",
        default=0,
        at_least=0,
        at_most=32,
    )
    position_on_start: Literal["keep", "reset"] = option(
        "Square and wave: a start leaves the position in the waveform, or resets it to 0 or `start_position`.",
        default="reset",
    )
    levels: Literal["unipolar", "bipolar"] = option(
        "A 0 of a pattern or noise means level 0 or minus the loudness; a sample counts from 0 or from 2^(bits - 1).",
        default="unipolar",
    )
    gate: bool = option(
        "With it there is a field `gate`: where it goes from 0 to 1 start is strobed, from 1 to 0 stop.", default=False
    )
    at_reset: Literal["inactive", "active"] = option(
        "After reset the channel is inactive, or active with every counter at 0; then the unit has no power bit.",
        default="inactive",
    )
    idle_level: int = option("Level while the channel is inactive.", default=0, at_least=-(2**20), at_most=2**20)
    volume_table: tuple[int, ...] = option(
        "Loudness for each volume, 2^volume_bits entries; left out: the volume itself.",
        default=(),
        at_least=0,
        at_most=2**20,
    )
    timer: Timer | None = option("Note timer; left out: notes last until stopped.", default=None)
    envelope: Envelope | None = option("Volume envelope; left out: the volume is looked up all the time.", default=None)
    sweep: Sweep | None = option("Square and wave: frequency sweep; left out: there is none.", default=None)

    def is_loud(self, volume: int) -> bool:
        """Tell whether a volume is more than silence, as each is of a wave that the volume shifts."""
        if self.table is not None and self.table.volume == "shift":
            return True
        return bool(self.volume_table[volume] if self.volume_table else volume)
