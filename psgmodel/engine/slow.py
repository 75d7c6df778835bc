"""Slow: note timer, envelope and sweep as the fast engine follows them.

Stage: engine, the fast one. A block is looked at only where it acts by itself or where a write or strobe concerns it.
Each has `synced` (the edge up to which it has counted ticks), `catch_up` (counts what has passed since), `edge` (what
it does at an edge that is looked at), and `plan` (sets `at`, the next edge at which it will act by itself). Edge
numbers are clock cycles. The rules are the numbered list in `psgmodel.engine`.
"""

from __future__ import annotations

from typing import NamedTuple

from psgmodel.chip.channel import Channel, Envelope, NoiseClock, StepClock, Sweep, Timer
from psgmodel.engine.countdown import NEVER, TickTrain, counted_down
from psgmodel.engine.state import ChannelState

Fields = dict[str, int]


class Look(NamedTuple):
    """An edge that is looked at.

    Attributes
    ----------
    edge : int
    start, active : bool
        A start acts; the channel was active before.
    old, new, seen : mapping from field name to int
    written : mapping from field name to mask of the bits whose register was written
    """

    edge: int
    start: bool
    active: bool
    old: Fields
    new: Fields
    seen: Fields
    written: dict[str, int]


def step_length(o: StepClock | NoiseClock, f: Fields) -> int:
    """Return the counts of one step."""
    if isinstance(o, NoiseClock):
        return o.divisors[f.get("divisor", 0)] << f.get("shift", 0)
    return o.scale * (f["period"] + o.offset if o.rule == "up-from" else o.top - f["period"])


def step_stopped(o: StepClock | NoiseClock, f: Fields) -> bool:
    """Return whether the clock setting is one that stops."""
    return isinstance(o, NoiseClock) and f.get("shift", 0) in o.stopped


class TimerTrack:
    """Note timer."""

    __slots__ = ("at", "count", "o", "size", "synced", "train")

    def __init__(self, o: Timer, train: TickTrain, count: int, synced: int) -> None:
        self.o, self.train, self.count, self.size = o, train, count, 1 << o.bits
        self.synced, self.at = synced, NEVER

    def catch_up(self, last: int, f: Fields) -> None:
        """Count the ticks after `synced` up to edge `last` in an active channel; the timer does not run out."""
        if f["timer.enable"]:
            self.count = (self.count - self.train.between(self.synced, last)) % self.size
        self.synced = last

    def plan(self, f: Fields) -> None:
        """Set the edge at which it runs out, if nothing comes between."""
        self.at = NEVER
        if f["timer.enable"] and self.o.at_zero == "stop":
            self.at = self.train.nth_after(self.synced, self.count or self.size)

    def edge(self, e: Look) -> bool:
        """Return whether the timer has run out in a way that stops the channel."""
        o = self.o
        enable = (e.new if o.write_and_tick == "new" else e.old)["timer.enable"]
        tick = enable == 1 and self.train.at(e.edge)
        counts = tick and e.active
        if e.start and not (counts and o.start_and_tick == "tick"):
            if o.on_start == "always" or self.count == 0:
                length = e.seen["timer.length"]
                self.count = length if o.loads == "field" else (self.size - length) % self.size
            counts = tick and o.start_and_tick == "both"
        elif not e.start and e.active and o.on_enable == "tick" and e.new["timer.enable"] > e.old["timer.enable"]:
            counts = True
        if counts:
            self.count = (self.count - 1) % self.size
        return counts and self.count == 0 and o.at_zero == "stop"


class FadeTrack:
    """Volume envelope."""

    __slots__ = ("at", "count", "largest", "level", "longest", "moves_at_end", "o", "synced", "train")

    def __init__(self, o: Envelope, train: TickTrain, level: int, count: int, volume_bits: int, synced: int) -> None:
        self.o, self.train, self.level, self.count = o, train, level, count
        self.synced, self.at = synced, NEVER
        self.largest = (1 << volume_bits) - 1
        self.longest = 1 << o.period_bits if o.period_zero == "longest" else 0
        self.moves_at_end = o.at_end == "wrap" or o.at_zero == "stop"

    def catch_up(self, last: int, f: Fields) -> None:
        """Count the ticks after `synced` up to edge `last` in an active channel; the level does not move."""
        reload = f["envelope.period"] or self.longest
        if reload:
            self.count = counted_down(self.count, self.train.between(self.synced, last), reload)
        self.synced = last

    def plan(self, f: Fields) -> None:
        """Set the edge at which the level moves next, if nothing comes between."""
        self.at = NEVER
        moves = self.moves_at_end or self.level != (self.largest if f["envelope.rising"] else 0)
        if moves and (f["envelope.period"] or self.longest):
            self.at = self.train.nth_after(self.synced, max(self.count, 1))

    def edge(self, e: Look) -> bool:
        """Return whether the envelope stops the channel."""
        o = self.o
        f = e.new if o.write_and_tick == "new" else e.old
        tick = self.train.at(e.edge)
        counts = tick and e.active
        direct = o.volume_write == "at-once" and not e.start and e.active and "volume" in e.written
        if e.start and not (counts and o.start_and_tick == "tick"):
            self.level, self.count = e.seen["volume"], e.seen["envelope.period"] or self.longest
            counts = tick and o.start_and_tick == "both"
        if direct and (not counts or o.volume_and_tick == "both"):
            self.level = e.new["volume"]
        reload = f["envelope.period"] or self.longest
        stepped = counts and reload > 0 and self.count <= 1
        if counts and reload:
            self.count = reload if stepped else self.count - 1
        if stepped:
            level = self.level + (o.step if f["envelope.rising"] else -o.step)
            self.level = level % (self.largest + 1) if o.at_end == "wrap" else max(0, min(level, self.largest))
        if direct and counts and o.volume_and_tick == "write":
            self.level = e.new["volume"]
        return stepped and not e.start and self.level == 0 and o.at_zero == "stop"


class GlideTrack:
    """Frequency sweep."""

    __slots__ = ("at", "count", "fell", "longest", "o", "shadow", "size", "synced", "train")

    def __init__(self, o: Sweep, train: TickTrain, channel: Channel, state: ChannelState, synced: int) -> None:
        assert isinstance(channel.step, StepClock)
        self.o, self.train, self.count = o, train, state.sweep_count
        self.shadow, self.fell = state.sweep_shadow, bool(state.sweep_fell)
        self.synced, self.at = synced, NEVER
        self.size = 1 << channel.step.bits
        self.longest = 1 << o.period_bits if o.period_zero == "longest" else 0

    def catch_up(self, last: int, f: Fields) -> None:
        """Count the ticks after `synced` up to edge `last` in an active channel; no step is made."""
        reload = f["sweep.period"] or self.longest
        if reload:
            self.count = counted_down(self.count, self.train.between(self.synced, last), reload)
        self.synced = last

    def plan(self, f: Fields) -> None:
        """Set the edge of the next sweep step, if nothing comes between."""
        self.at = NEVER
        if f["sweep.period"] or self.longest:
            self.at = self.train.nth_after(self.synced, max(self.count, 1))

    def edge(self, e: Look) -> tuple[int | None, bool]:
        """Return the new period, if a step makes one, and whether the sweep stops the channel."""
        o = self.o
        f = e.new if o.write_and_tick == "new" else e.old
        tick = self.train.at(e.edge)
        counts = tick and e.active
        stops = False
        if e.start:
            if not (counts and o.start_and_tick == "tick"):
                self.count = e.seen["sweep.period"] or self.longest
                self.shadow, self.fell = e.seen["period"], False
                counts = tick and o.start_and_tick == "both"
            if o.check != "at-step" and e.seen["sweep.shift"]:
                stops = self._stops(e.seen["period"], e.seen)
        elif o.rising_after_falling == "stop" and self.fell and e.active:
            stops = e.new["sweep.falling"] < e.old["sweep.falling"]
        reload = f["sweep.period"] or self.longest
        if not counts or not reload:
            return None, stops
        if self.count > 1:
            self.count -= 1
            return None, stops
        self.count = reload
        result = self._next(self.shadow if o.works_on == "shadow" else e.old["period"], f)
        if not 0 <= result < self.size and o.overflow != "wrap":
            ran_over = o.overflow == "stop"
            return None, stops or ran_over
        self.shadow = result % self.size
        self.fell = self.fell or f["sweep.falling"] == 1
        return self.shadow, stops or (o.check == "after-step-too" and self._stops(self.shadow, f))

    def _next(self, period: int, f: Fields) -> int:
        """Return the swept period; less than 0, or `size` or more, where it does not fit."""
        constant = self.o.moves_by == "constant"
        part = f["sweep.shift"] if constant else period >> f["sweep.shift"]
        if f["sweep.falling"] == 0:
            return period + part
        result = period - part - (1 if self.o.subtract == "ones-complement" else 0)
        return result if constant else result % self.size

    def _stops(self, period: int, f: Fields) -> bool:
        return self.o.overflow == "stop" and not 0 <= self._next(period, f) < self.size
