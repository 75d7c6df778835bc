"""Notes: how a channel is made to be heard, for the directed logs.

Stage: stimulus. In: a player and a channel. Out: notes with what a behaviour needs, and the edges at which it can be
met.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from psgmodel.engine.countdown import NEVER
from psgmodel.stimulus.note_fields import NoteFields
from psgmodel.stimulus.player import Fields
from psgmodel.stimulus.walk import STEP_COUNTS, rises_from_silence

At = Literal["due", "tick", "bare tick"]
"""Where a block acts by itself; at a tick of it; at a tick at which it only counts."""

MOST_STEPS = 80
"""Steps that are waited for after a behaviour; common practice, no source."""

MOST_MOVES = 1 << 12
"""Steps of envelope or sweep that are let pass while steps of the waveform are waited for."""

FEW_CYCLES = 16
"""From one step of envelope or sweep to the next."""

LONGEST_SETTLE = 1 << 20
"""Cycles that are waited after a behaviour, or one step of the waveform, where that is longer."""


class Notes(NoteFields):
    """One channel of a player, as it is played."""

    @property
    def sounds(self) -> bool:
        """Whether it plays at a volume or level other than 0."""
        fade = self.follower.watched.envelope
        bypassed = fade is None or self.field("envelope.bypass") == 1
        return self.active and (self.field("volume") if bypassed or fade is None else fade.level) > 0

    # --- playing ------------------------------------------------------------------------------------------------------

    def prepare(self, **fields: int) -> None:
        """Set the base and some fields, without a start."""
        self.player.set(self.name, self.base | {key.replace("_", "."): v for key, v in fields.items()})

    def hear(self, **fields: int) -> None:
        """Start a note with some fields besides the base; underscores in their names are dots."""
        fields = self.gliding(fields)
        tick = self.tick_of(fields) if self.reach.once else ""
        if tick and self.lasts((self.slowest() | self.base | fields)["period"]) < 2 * self.reach.apart(tick):
            self.prepare(**self.slowest() | fields)
            lasts = self.lasts(self.field("period"))
            if lasts < 2 * self.reach.apart(tick):
                edge = self.player.trains[tick].nth_after(self.player.ready(self.name) + lasts, 1)
                self.player.wait(edge - lasts * 3 // 4)
        else:
            self.prepare(**fields)
        self.start()
        if rises_from_silence(self.chip, self.name) and not self.sounds:
            self.change(envelope_period=1, envelope_rising=1, envelope_bypass=0)
            self.past(self.due("envelope"))
            self.prepare(**fields)

    def hear_up_to(self, edge: int, since: int, **fields: int) -> None:
        """Start a note with some fields besides the base, that lasts over an edge; not before another one."""
        fields = self.gliding(fields)
        if self.reach.once:
            fields = self.slowest() | fields
            since = max(since, edge - self.lasts(fields["period"]) * 3 // 4)
        self.player.wait(max(since, self.player.now + 1))
        self.prepare(**fields)
        self.start()

    def to_the_end(self, **fields: int) -> None:
        """Play a note that its timer ends."""
        self.hear(timer_enable=1, timer_length=self.few_ticks(2), **fields)
        self.past(self.due("timer"))

    def start(self) -> None:
        """Start, and let the start act."""
        self.player.strobe(self.name, "start")
        self.player.wait(self.player.now + self.channel.start_delay + 1)

    def silence(self) -> None:
        """Make the channel idle, if anything does."""
        self.player.strobe(self.name, "stop")
        self.player.wait(self.player.now + self.channel.start_delay + 1)
        fade = self.channel.envelope
        ending = ("timer", "wave", "envelope") if fade is not None and fade.at_zero == "stop" else ("timer", "wave")
        for _ in range(64):
            end = min(self.due(block) for block in ending)
            if not self.active or end - self.player.now > self.player.farthest:
                break
            self.player.wait(end + 1)
        if self.active and self.channel.timer is not None:
            self.player.set(self.name, {"timer.length": self.ticks(1), "timer.enable": 1})
            self.start()
            if (end := self.due("timer")) - self.player.now <= self.player.farthest:
                self.player.wait(end + 1)
        if self.active:
            self._end()

    def calm(self) -> None:
        """Make the channel idle where its envelope or sweep makes a step every few cycles: others are played now."""
        if self.active and self._few_moves() < MOST_MOVES * FEW_CYCLES:
            self.silence()

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
        if edge - self.player.now <= self.player.farthest:
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
            self.steps(min(self.reach.positions() + 1, MOST_STEPS, max(1, LONGEST_SETTLE // self.step_cycles())))
        else:  # so long that a channel which should be idle would be heard
            self.play_on(min(self.reach.positions() + 1, MOST_STEPS) * 2 * STEP_COUNTS)

    def steps(self, count: int) -> int:
        """Let the waveform make some steps, as far as the note lasts; return about how many it makes."""
        first = self.follower.step_wait(self.player.now + 1)
        if first == NEVER:
            return 0
        begin = self.player.now
        end = first + (count - 1) * self.step_cycles() + 2
        self.player.wait(min(end, begin + self._few_moves()))
        if self.active and self.player.now >= end - 1:
            return count
        return sum(self.follower.watched.steps_since(begin))

    def step_cycles(self) -> int:
        """Return how many cycles a step of the waveform lasts, about."""
        length, clock = self.follower.watched.step.length(self.follower.fields), self.channel.step.clocked_by
        return length * (self.chip.dividers[self.chip.ticks[clock].divider].every if clock else 1)

    def _few_moves(self) -> int:
        """Return the cycles in which neither envelope nor sweep makes very many steps."""
        found = [NEVER]
        for block in ("envelope", "sweep"):
            options = getattr(self.channel, block)
            if options is not None and (period := self.field(f"{block}.period")):
                found.append(MOST_MOVES * period * min(self.reach.distances(options.ticks)))
        return min(found)

    def block_ticks(self, block: str, count: int) -> None:
        """Let ticks of a block pass."""
        options = getattr(self.channel, block)
        self.player.wait(self.player.trains[options.ticks].nth_after(self.player.now, count) + 2)

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


Play = Callable[[Notes], None]
"""What plays a behaviour."""
