"""Blocks: the hardware of one channel, one small class a block, as the reference engine runs it.

Stage: engine. Each class holds its registers and has `edge`, which is called once for every clock edge with
what the block sees there, and does what the numbered list in `psgmodel.engine` says. No shortcuts. What plays the
waveform is in `players`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from psgmodel.chip.channel import Envelope, NoiseClock, StepClock, Sweep, Timer
from psgmodel.chip.records import Divider

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


class StepDivider:
    """A free-running divider, with or without a table of steps."""

    def __init__(self, options: Divider, wait: int, step: int) -> None:
        self.options = options
        self.wait, self.step = wait, step

    def edge(self, restart: bool) -> int | None:
        """Run one edge; return the number of the step that happens at it, if one does."""
        o = self.options
        if restart:
            self.wait = o.after_restart - 1
            self.step = 1 % o.steps if o.restart_steps else 0
            return 0 if o.restart_steps else None
        if self.wait > 0:
            self.wait -= 1
            return None
        step = self.step
        self.wait, self.step = o.every - 1, (step + 1) % o.steps
        return step


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
            enabled_now = o.on_enable == "tick" and e.new["timer.enable"] > e.old["timer.enable"]
            return (counts or enabled_now) and e.active and self._count_down()
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
        self.shadow = 0
        self.fell = False

    def edge(self, e: EdgeState, tick: bool) -> tuple[int | None, bool]:
        """Run one edge; return the new period, if a step makes one, and whether the channel stops."""
        o = self.options
        fields = e.at_tick(o.write_and_tick)
        if e.start:
            counts = tick and e.active and o.start_and_tick == "tick"
            if not counts:
                self.count = ticks_of(e.seen["sweep.period"], o.period_bits, o.period_zero)
                self.shadow, self.fell = e.seen["period"], False
                counts = tick and o.start_and_tick == "both"
            stops = o.check != "at-step" and e.seen["sweep.shift"] > 0 and self._overflows(e.seen["period"], e.seen)
        else:
            counts = tick and e.active
            turned = e.new["sweep.falling"] < e.old["sweep.falling"]
            stops = e.active and turned and self.fell and o.rising_after_falling == "stop"
        ticks = ticks_of(fields["sweep.period"], o.period_bits, o.period_zero)
        if not counts or ticks == 0:
            return None, stops
        if self.count > 1:
            self.count -= 1
            return None, stops
        self.count = ticks
        period, ran_over = self._step(self.shadow if o.works_on == "shadow" else e.old["period"], fields)
        return period, stops or ran_over

    def _moved(self, period: int, fields: Fields) -> int:
        constant = self.options.moves_by == "constant"
        part = fields["sweep.shift"] if constant else period >> fields["sweep.shift"]
        if not fields["sweep.falling"]:
            return period + part
        moved = period - part - (self.options.subtract == "ones-complement")
        return moved if constant else moved % self.size

    def _overflows(self, period: int, fields: Fields) -> bool:
        return not 0 <= self._moved(period, fields) < self.size and self.options.overflow == "stop"

    def _step(self, period: int, fields: Fields) -> tuple[int | None, bool]:
        o = self.options
        moved = self._moved(period, fields)
        if not 0 <= moved < self.size and o.overflow != "wrap":
            return None, o.overflow == "stop"
        self.shadow = moved % self.size
        self.fell = self.fell or fields["sweep.falling"] == 1
        return self.shadow, o.check == "after-step-too" and self._overflows(self.shadow, fields)


class StepCounter:
    """Says at which edges the waveform advances by one step."""

    def __init__(self, options: StepClock | NoiseClock) -> None:
        self.options = options
        self.count = 0

    def edge(self, e: EdgeState, clocked: bool) -> bool:
        """Run one edge; return whether a new step begins. `clocked`: the edge counts for the step."""
        o = self.options
        fields = e.at_tick(o.write_and_step)
        if e.start and o.on_start == "reload":
            self.count = self.length(e.seen) - 1 if o.new_value == "next-step" else 0
            return False
        if not e.active or not clocked or self.stopped(fields):
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
        """Return the counts of one step."""
        o = self.options
        if isinstance(o, NoiseClock):
            return o.divisors[fields.get("divisor", 0)] << fields.get("shift", 0)
        if o.rule == "up-from":
            return o.scale * (fields["period"] + o.offset)
        return o.scale * (o.top - fields["period"])
