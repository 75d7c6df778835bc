"""Blocks: the hardware of one channel, one small class a block, as the reference engine runs it.

Stage: engine. Each class holds its registers and has `edge`, which is called once for every clock edge with
what the block sees there, and does what the numbered list in `psgmodel.engine` says. No shortcuts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from psgmodel.chip.records import Channel, Envelope, NoiseClock, ShiftRegister, StepClock, Sweep, Timer, WaveTable

Fields = Mapping[str, int]


@dataclass(slots=True)
class EdgeState:
    """What a block sees at one edge.

    Attributes
    ----------
    start, stop : bool
        A strobe acts at this edge.
    active : bool
        The channel was active just before the edge.
    old, new : mapping from field name (without the channel) to int
        Fields just before and just after the writes of this edge.
    seen : mapping
        The fields that a start sees: `new` where the start delay is 0, else `old`.
    written : frozenset of str
        Fields of which a register was written at this edge.
    """

    start: bool
    stop: bool
    active: bool
    old: Fields
    new: Fields
    seen: Fields
    written: frozenset[str]

    def at_tick(self, rule: str) -> Fields:
        """Return the fields that a tick sees under a `write_and_tick` rule."""
        return self.new if rule == "new" else self.old


class NoteTimer:
    """Down counter that runs out after a number of ticks."""

    def __init__(self, options: Timer) -> None:
        self.options = options
        self.count = 0

    def edge(self, e: EdgeState, tick: bool) -> bool:
        """Run one edge; return whether the counter has just run out."""
        o = self.options
        counts = tick and e.at_tick(o.write_and_tick)["timer.enable"] == 1
        if not e.start:
            return counts and e.active and self._count_down()
        if counts and e.active and o.start_and_tick == "tick":
            return self._count_down()
        if o.on_start == "always" or self.count == 0:
            self.count = self._load(e.seen["timer.length"])
        return counts and o.start_and_tick == "both" and self._count_down()

    def _load(self, length: int) -> int:
        size = 1 << self.options.bits
        return length if self.options.loads == "field" else (size - length) % size

    def _count_down(self) -> bool:
        self.count = (self.count - 1) % (1 << self.options.bits)
        return self.count == 0


def ticks_of(period: int, bits: int, period_zero: str) -> int:
    """Return how many ticks a period field means; 0 means that the block stands still."""
    return period if period or period_zero == "stop" else 1 << bits


class VolumeEnvelope:
    """Level that moves by steps."""

    def __init__(self, options: Envelope, volume_bits: int) -> None:
        self.options = options
        self.largest = (1 << volume_bits) - 1
        self.level = 0
        self.count = 0

    def edge(self, e: EdgeState, tick: bool) -> bool:
        """Run one edge; return whether the envelope stops the channel."""
        o = self.options
        fields = e.at_tick(o.write_and_tick)
        if e.start:
            if tick and e.active and o.start_and_tick == "tick":
                self._tick(fields)
                return False
            self.level = e.seen["volume"]
            self.count = ticks_of(e.seen["envelope.period"], o.period_bits, o.period_zero)
            if tick and o.start_and_tick == "both":
                self._tick(fields)
            return False
        written = o.volume_write == "at-once" and e.active and "volume" in e.written
        if not (tick and e.active):
            if written:
                self.level = e.new["volume"]
            return False
        if written and o.volume_and_tick == "both":
            self.level = e.new["volume"]
        stepped = self._tick(fields)
        if written and o.volume_and_tick == "write":
            self.level = e.new["volume"]
        return stepped and self.level == 0 and o.at_zero == "stop"

    def _tick(self, fields: Fields) -> bool:
        """Count one tick; return whether the level made a step."""
        o = self.options
        ticks = ticks_of(fields["envelope.period"], o.period_bits, o.period_zero)
        if ticks == 0:
            return False
        if self.count > 1:
            self.count -= 1
            return False
        self.count = ticks
        moved = self.level + (o.step if fields["envelope.rising"] else -o.step)
        if o.at_end == "wrap":
            self.level = moved % (self.largest + 1)
        else:
            self.level = min(max(moved, 0), self.largest)
        return True


class FrequencySweep:
    """Moves the period by a fraction of itself."""

    def __init__(self, options: Sweep, period_bits: int) -> None:
        self.options = options
        self.size = 1 << period_bits
        self.count = 0

    def edge(self, e: EdgeState, tick: bool) -> tuple[int | None, bool]:
        """Run one edge; return the new period, if a step makes one, and whether the channel stops."""
        o = self.options
        fields = e.at_tick(o.write_and_tick)
        if e.start:
            if not (tick and e.active and o.start_and_tick == "tick"):
                self.count = ticks_of(e.seen["sweep.period"], o.period_bits, o.period_zero)
                tick = tick and o.start_and_tick == "both"
        else:
            tick = tick and e.active
        ticks = ticks_of(fields["sweep.period"], o.period_bits, o.period_zero)
        if not tick or ticks == 0:
            return None, False
        if self.count > 1:
            self.count -= 1
            return None, False
        self.count = ticks
        return self._step(e.old["period"], fields)

    def _step(self, period: int, fields: Fields) -> tuple[int | None, bool]:
        part = period >> fields["sweep.shift"]
        if fields["sweep.falling"]:
            return period - part, False
        total = period + part
        if total < self.size:
            return total, False
        if self.options.overflow == "wrap":
            return total % self.size, False
        return None, self.options.overflow == "stop"


class StepCounter:
    """Says at which edges the waveform advances by one step."""

    def __init__(self, options: StepClock | NoiseClock) -> None:
        self.options = options
        self.count = 0

    def edge(self, e: EdgeState) -> bool:
        """Run one edge; return whether a new step begins."""
        o = self.options
        fields = e.at_tick(o.write_and_step)
        if e.start and o.on_start == "reload":
            self.count = self.length(e.seen) - 1 if o.new_value == "next-step" else 0
            return False
        if not e.active or self.stopped(fields):
            return False
        if o.new_value == "next-step":
            if self.count > 0:
                self.count -= 1
                return False
            self.count = self.length(fields) - 1
            return True
        if self.count + 1 < self.length(fields):
            self.count += 1
            return False
        self.count = 0
        return True

    def stopped(self, fields: Fields) -> bool:
        """Return whether the clock setting is one that stops."""
        return isinstance(self.options, NoiseClock) and fields.get("shift", 0) in self.options.stopped

    def length(self, fields: Fields) -> int:
        """Return the cycles of one step."""
        o = self.options
        if isinstance(o, NoiseClock):
            return o.divisors[fields.get("divisor", 0)] << fields.get("shift", 0)
        if o.rule == "up-from":
            return o.scale * (fields["period"] + o.offset)
        return o.scale * (o.top - fields["period"])


class PatternPlayer:
    """The square channel's pattern."""

    def __init__(self, channel: Channel) -> None:
        self.patterns = [[int(bit) for bit in text] for text in channel.patterns]
        self.resets = channel.position_on_start == "reset"
        self.position = 0

    def edge(self, e: EdgeState, advance: bool) -> None:
        """Run one edge."""
        if e.start and self.resets:
            self.position = 0
        elif advance:
            self.position = (self.position + 1) % len(self.patterns[0])

    def level(self, fields: Fields, volume: int) -> int:
        """Return the level as it stands after the edge."""
        return volume * self.patterns[fields.get("pattern", 0)][self.position]


class WavePlayer:
    """The wave-table channel's memory and sample register."""

    def __init__(self, channel: Channel, options: WaveTable) -> None:
        self.options = options
        self.resets = channel.position_on_start == "reset"
        self.largest_volume = (1 << channel.volume_bits) - 1
        self.memory = [0] * options.samples
        self.position = 0
        self.sample = 0

    def edge(self, e: EdgeState, advance: bool, writes: list[tuple[int, int]]) -> None:
        """Run one edge; `writes` are (index, sample) pairs written to the memory at this edge."""
        fetch = advance
        if e.start and self.resets:
            self.position = 0
            fetch = False
        elif advance:
            self.position = (self.position + 1) % self.options.samples
        if fetch or (e.start and self.options.first_sample == "fresh"):
            self.sample = self.memory[self.position]
        for index, sample in writes:
            self.memory[index] = sample

    def level(self, fields: Fields, volume: int) -> int:
        """Return the level as it stands after the edge."""
        o = self.options
        sample = self.sample if o.fetch == "each-step" else self.memory[self.position]
        if o.volume == "shift":
            return sample >> (self.largest_volume - volume)
        return sample * volume >> o.volume_shift


class NoisePlayer:
    """The noise channel's shift register, position 1 in bit 0."""

    def __init__(self, options: ShiftRegister) -> None:
        self.options = options
        self.contents = options.seed_value

    def edge(self, e: EdgeState, advance: bool) -> None:
        """Run one edge."""
        if e.start and self.options.on_start == "reseed":
            self.contents = self.options.seed_value
        elif advance:
            self._shift(bool(e.old.get("short", 0)))

    def _shift(self, short: bool) -> None:
        o = self.options
        mode = o.short if short and o.short is not None else o
        bit = 1 if o.feedback == "xnor" else 0
        for tap in mode.taps:
            bit ^= self.contents >> (tap - 1) & 1
        if o.shift == "left":
            moved = self.contents << 1 & (1 << o.bits) - 1
            places = [1]
        else:
            moved = self.contents >> 1
            places = [o.bits]
        if short and o.short is not None:
            places += o.short.insert
        for place in places:
            moved = moved & ~(1 << place - 1) | bit << place - 1
        self.contents = moved

    def level(self, fields: Fields, volume: int) -> int:
        """Return the level as it stands after the edge."""
        o = self.options
        output = o.short.output if fields.get("short", 0) and o.short is not None else o.output
        high = self.contents >> (output - 1) & 1
        return volume if high == (o.polarity == "high") else 0
