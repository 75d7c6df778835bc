"""Notes: how a channel is made to be heard, for the directed logs.

Stage: stimulus. In: a player and a channel. Out: notes with what a behaviour needs, and the edges at which it can be
met.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Literal

from psgmodel.chip.channel import NoiseClock, StepClock
from psgmodel.coverage.following import Follower
from psgmodel.coverage.reach import Reach
from psgmodel.engine.countdown import NEVER
from psgmodel.stimulus.player import Fields, Player
from psgmodel.stimulus.walk import STEP_COUNTS, slowest_period, sounding_fields

At = Literal["due", "tick", "bare tick"]
"""Where a block acts by itself; at a tick of it; at a tick at which it only counts."""

MOST_STEPS = 80
"""Steps that are waited for after a behaviour; common practice, no source."""


def _lively(pattern: str) -> tuple[int, int]:
    """Say how well a pattern shows what happens: it is high about half of the time, and changes often."""
    changes = sum(a != b for a, b in pairwise(pattern))
    return -abs(2 * pattern.count("1") - len(pattern)) // 4, changes


class Notes:
    """One channel of a player.

    Attributes
    ----------
    base : dict from field (without the channel) to int
        What makes it sound and nothing else: full volume, a short step, no timer, nothing that moves.
    """

    def __init__(self, player: Player, name: str) -> None:
        self.player, self.name = player, name
        self.chip, self.channel = player.chip, player.chip.channels[name]
        self.reach: Reach = player.reach[name]
        self.chance = player.chance
        prefix = name + "."
        fields = sounding_fields(self.chip, name)
        self.base = {k.removeprefix(prefix): v for k, v in fields.items() if k.startswith(prefix)}
        self.base.pop("gate", None)
        if self.channel.patterns and "pattern" in self.base:
            self.base["pattern"] = max(
                range(len(self.channel.patterns)), key=lambda i: _lively(self.channel.patterns[i])
            )
        if isinstance(self.channel.step, NoiseClock):
            self.base |= self.long(STEP_COUNTS)
        unstopped = self.channel.sweep is not None and self.channel.sweep.period_zero == "longest"
        if unstopped:
            self.base["period"] = self.middle

    @property
    def follower(self) -> Follower:
        """The channel as it stands."""
        return self.player.followers[self.name]

    @property
    def active(self) -> bool:
        """Whether it plays."""
        return self.follower.watched.active

    @property
    def sounds(self) -> bool:
        """Whether it plays at a volume or level other than 0."""
        fade = self.follower.watched.envelope
        bypassed = fade is None or self.field("envelope.bypass") == 1
        return self.active and (self.field("volume") if bypassed or fade is None else fade.level) > 0

    @property
    def middle(self) -> int:
        """Return a period from which a sweep can go both ways, and that is not long."""
        step = self.channel.step
        assert isinstance(step, StepClock)
        size = 1 << step.bits
        return size // 4 if step.rule == "up-from" else size * 5 // 8

    def field(self, key: str) -> int:
        """Return what stands in a field."""
        return self.follower.fields.get(key, 0)

    # --- playing ------------------------------------------------------------------------------------------------------

    def prepare(self, **fields: int) -> None:
        """Set the base and some fields, without a start."""
        self.player.set(self.name, self.base | {key.replace("_", "."): v for key, v in fields.items()})

    def hear(self, **fields: int) -> None:
        """Start a note with some fields besides the base; underscores in their names are dots."""
        if fields.get("sweep_period") and "period" not in fields:
            fields |= self._gliding(fields)
        rare = self._rare_tick(fields)
        self.prepare(**(self._slowest() | fields if rare else fields))
        if rare:
            self._near(rare)
        self.start()

    def _rare_tick(self, fields: dict[str, int]) -> str:
        """Return the tick of a block that some fields are about, where it comes more rarely than notes last, which a
        wave ends."""
        for block in ("timer", "envelope") if self.reach.once else ():
            options = getattr(self.channel, block)
            meant = options is not None and any(key.startswith(block) for key in fields)
            if meant and self.reach.longest() < self.reach.apart(options.ticks):
                return str(options.ticks)
        return ""

    def _slowest(self) -> dict[str, int]:
        """Return the fields of the longest step."""
        step = self.channel.step
        assert isinstance(step, StepClock)
        return {"period": slowest_period(step)}

    def _near(self, tick: str) -> None:
        """Let time pass until a note that is started then lasts over a tick."""
        lasts = self.reach.played() * self.reach.length_with("period", self.field("period")) * self.reach.count
        ready = self.player.ready(self.name)
        self.player.wait(self.player.trains[tick].nth_after(ready + lasts, 1) - lasts * 3 // 4)

    def _gliding(self, fields: dict[str, int]) -> dict[str, int]:
        """Return the fields of a sweep step that changes the period and fits: those given, or other ones."""
        way, by = fields.get("sweep_falling", 0), fields.get("sweep_shift", 0)
        wished = [(d, s) for d, s in self.reach.sweeps() if (d, s) == (way, by)]
        for falling, shift in [*wished, *(p for p in self.reach.sweeps() if p[0] == way), *self.reach.sweeps()]:
            periods = self.reach.changed_by(falling, shift)
            if self.middle in periods or (wished and not by and (falling, shift) == (way, by)):
                return {"period": self.middle, "sweep_falling": falling, "sweep_shift": shift}
            if len(periods):
                return {"period": int(periods[len(periods) // 2]), "sweep_falling": falling, "sweep_shift": shift}
        return {"period": self.middle}

    def start(self) -> None:
        """Start, and let the start act."""
        self.player.strobe(self.name, "start")
        self.player.wait(self.player.now + self.channel.start_delay + 1)

    def silence(self) -> None:
        """Make the channel idle, if anything does."""
        self.player.strobe(self.name, "stop")
        self.player.wait(self.player.now + self.channel.start_delay + 1)
        ends = (self.due("timer"), self.due("wave"), self.due("envelope"))
        for _ in range(64):
            if not self.active or min(ends) == NEVER:
                break
            self.player.wait(min(ends) + 1)
            ends = (self.due("timer"), self.due("wave"), self.due("envelope"))
        if self.active and self.channel.timer is not None:
            self.player.set(self.name, {"timer.length": self.ticks(1), "timer.enable": 1})
            self.start()
            if (end := self.due("timer")) < NEVER:
                self.player.wait(end + 1)
        if self.active:
            self._end()

    def _end(self) -> None:
        """Let envelope or sweep end the note, where one of them can."""
        fade, glide = self.channel.envelope, self.channel.sweep
        largest = (1 << self.channel.volume_bits) - 1
        if fade is not None and fade.at_zero == "stop":
            sinking = {"volume": min(fade.step, largest), "envelope.period": 1, "envelope.rising": 0}
            self.player.set(self.name, self.base | sinking | {"envelope.bypass": 0})
        elif glide is not None and glide.overflow == "stop":
            last = {"period": (1 << self.reach.fields["period"].bits) - 1, "sweep.falling": 0}
            self.player.set(self.name, self.base | last | {"sweep.period": 1, "sweep.shift": 1})
        else:
            return
        self.start()
        for _ in range(MOST_STEPS):
            edge = min(self.due("envelope"), self.due("sweep"))
            if not self.active or edge == NEVER:
                return
            self.player.wait(edge + 1)

    def change(self, **fields: int) -> None:
        """Set fields as they are."""
        self.player.set(self.name, {key.replace("_", "."): value for key, value in fields.items()})

    def play_on(self, cycles: int) -> None:
        """Let time pass."""
        self.player.wait(self.player.now + cycles)

    def past(self, edge: int) -> None:
        """Let time pass until an edge is over, if it comes."""
        if edge < NEVER:
            self.player.wait(edge + 2)

    def settle(self, block: str = "") -> None:
        """Let what a block was made to do be heard: the end of the note, further steps, the whole waveform."""
        options = getattr(self.channel, block, None) if block else None
        if block == "timer" and self.active:
            self.change(timer_enable=1)
            end = self.due("timer")
            if options is not None and end < self.player.trains[options.ticks].nth_after(self.player.now, 9):
                self.player.wait(end + 2)
        elif block == "envelope" and self.active:
            if not self.field("envelope.period"):
                self.change(envelope_period=1)
            self.block_ticks(block, 2)
        elif block == "sweep" and self.active:
            if not self.field("sweep.period"):
                self.change(sweep_period=1)
            self.block_ticks(block, 2)
        if self.active:
            self.steps(min(self.reach.positions() + 1, MOST_STEPS))
        else:  # so long that a channel which should be idle would be heard
            self.play_on(min(self.reach.positions() + 1, MOST_STEPS) * 2 * STEP_COUNTS)

    def steps(self, count: int) -> int:
        """Let the waveform make some steps, as far as the note lasts; return about how many it makes."""
        first = self.follower.step_wait(self.player.now + 1)
        if first == NEVER:
            return 0
        length = self.follower.watched.step.length(self.follower.fields)
        clock = self.channel.step.clocked_by
        every = self.chip.dividers[self.chip.ticks[clock].divider].every if clock else 1
        begin = self.player.now
        self.player.wait(first + (count - 1) * length * every + 2)
        if self.active:
            return count
        return sum(self.follower.watched.steps_since(begin))

    def block_ticks(self, block: str, count: int) -> None:
        """Let ticks of a block pass."""
        options = getattr(self.channel, block)
        self.player.wait(self.player.trains[options.ticks].nth_after(self.player.now, count) + 2)

    # --- numbers ------------------------------------------------------------------------------------------------------

    def ticks(self, count: int) -> int:
        """Return the length field of a note of so many ticks."""
        timer = self.channel.timer
        if timer is None:
            return 0
        size = 1 << timer.bits
        return count % size if timer.loads == "field" else (size - count) % size

    def shortest(self) -> dict[str, int]:
        """Return the fields of the shortest step."""
        step = self.channel.step
        if isinstance(step, NoiseClock):
            running = [s for s in range(1 << step.shift_bits) if s not in step.stopped] or [0]
            return {"divisor": step.divisors.index(min(step.divisors)), "shift": running[0]}
        return {"period": 0 if step.rule == "up-from" else (1 << step.bits) - 1}

    def long(self, counts: int = 96) -> dict[str, int]:
        """Return the fields of a step that lasts some counts, or as nearly as can be."""
        step = self.channel.step
        if isinstance(step, NoiseClock):
            lengths = [
                (abs((step.divisors[d] << s) - counts), d, s)
                for d in self.reach.values("divisor")
                for s in self.reach.values("shift")
                if s not in step.stopped
            ]
            _, divisor, shift = min(lengths, default=(0, 0, 0))
            return {"divisor": divisor, "shift": shift}
        period = counts // step.scale - step.offset if step.rule == "up-from" else step.top - counts // step.scale
        return {"period": min(max(period, 0), (1 << step.bits) - 1)}

    def unhurried(self, block: str) -> dict[str, int]:
        """Return the fields of a step with which a long wait for ticks of a block makes few steps.

        Still the whole waveform, or as many shifts as a noise register has bits, pass twice from tick to tick, so that
        a tick more or less is heard.
        """
        tick = self.chip.ticks[getattr(self.channel, block).ticks]
        divider = self.chip.dividers[tick.divider]
        cycles = divider.every * divider.steps // len(tick.at)
        places = self.reach.positions() if self.channel.register is None else self.channel.register.bits
        one = self.player.count_before(self.name, 0, -1)
        return self.long(max(cycles // (2 * places * one), STEP_COUNTS))

    def another(self, key: str, *, segment: int = 0) -> int:
        """Return a value of a field that differs from what stands there, in bits of one register."""
        found = self.reach.fields[key]
        s = found.segments[segment % len(found.segments)]
        flip = self.chance.below((1 << s.width) - 1) + 1 if s.width > 1 else 1
        return self.field(key) ^ flip << s.field_low

    def due(self, block: str) -> int:
        """Return the edge at which a block acts next."""
        return self.player.due(self.name, block)

    # --- meetings -----------------------------------------------------------------------------------------------------

    def at(self, when: Callable[[], int], act: Callable[[int], bool]) -> bool:
        """Act at an edge."""
        return self.player.meet(self.name, when, act)

    def strobe_at(self, kind: str, when: Callable[[], int]) -> bool:
        """Let a strobe act at an edge."""
        met = self.at(when, lambda edge: self.player.strobe(self.name, kind, edge))
        self.player.wait(self.player.now + self.channel.start_delay + 2)
        return met

    def change_at(self, when: Callable[[], int], fields: Fields) -> bool:
        """Let a field change at an edge."""
        return self.at(when, lambda edge: self.player.set(self.name, fields, edge))

    def when(self, block: str, at: At) -> Callable[[], int]:
        """Return what names the next edge at which a block acts by itself, or a tick of it; bare: without acting."""

        def found() -> int:
            if at == "due":
                return self.due(block)
            edge = self.player.tick(self.name, block)
            if at == "bare tick" and edge == self.due(block):
                options = getattr(self.channel, block)
                return self.player.trains[options.ticks].nth_after(edge, 1)
            return edge

        return found
