"""Note fields: what a channel is set to for a note.

Stage: stimulus. In: a player and a channel. Out: values of fields, all from the description and from where the channel
stands.
"""

from __future__ import annotations

from collections.abc import Collection
from itertools import pairwise

from psgmodel.chip.channel import NoiseClock, StepClock
from psgmodel.coverage.following import Follower
from psgmodel.coverage.reach import Reach
from psgmodel.stimulus.player import Player
from psgmodel.stimulus.walk import STEP_COUNTS, slowest_period, sounding_fields

MIDDLE = 1024
"""Counts of a step that are not many."""


def _lively(pattern: str) -> tuple[int, int]:
    """Say how well a pattern shows what happens: it is high about half of the time, and changes often."""
    changes = sum(a != b for a, b in pairwise(pattern))
    return -abs(2 * pattern.count("1") - len(pattern)) // 4, changes


class NoteFields:
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
    def middle(self) -> int:
        """Return a period from which a sweep can go both ways, and that is not long."""
        step = self.channel.step
        assert isinstance(step, StepClock)
        size = 1 << step.bits
        return min(size // 4, MIDDLE) if step.rule == "up-from" else max(size * 5 // 8, size - MIDDLE)

    def field(self, key: str) -> int:
        """Return what stands in a field."""
        return self.follower.fields.get(key, 0)

    # --- numbers ------------------------------------------------------------------------------------------------------

    def few_ticks(self, count: int) -> int:
        """Return the length field of a note of so many ticks; of one, where a wave that is played once ends before."""
        timer = self.channel.timer
        if timer is None or not self.reach.once:
            return self.ticks(count)
        lasts = self.lasts(self.slowest()["period"])
        return self.ticks(count if lasts > 2 * count * self.reach.apart(timer.ticks) else 1)

    def least_ticks(self) -> int:
        """Return how many ticks a note has to last at least, so that something can be done in it."""
        timer, player = self.channel.timer, self.player
        if timer is None:
            return 1
        return 1 + (player.ready(self.name, 4) - player.now) // min(self.reach.distances(timer.ticks))

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

    def restarts(self, key: str, block: str) -> bool:
        """Tell whether a write to a field starts the channel, or restarts what makes the ticks of a block."""
        options = getattr(self.channel, block)
        if options is None:
            return False
        registers = sorted(self.reach.registers(key))
        anew = self.reach.starts_anew(registers, delay=self.channel.start_delay)
        return bool(anew) or self.chip.ticks[options.ticks].divider in self.restarted(key)

    def restarted(self, key: str) -> list[str]:
        """Return the dividers that a write to a field restarts."""
        return [divider for divider in self.chip.dividers if self.acting(key) & self.reach.restarts(divider)]

    def acting(self, key: str) -> set[int]:
        """Return the registers of a field, and those that let them go."""
        registers, held = self.reach.registers(key), self.chip.held()
        return registers | {held[address] for address in registers if address in held}

    # --- waves that are played once, sweeps ---------------------------------------------------------------------------

    def tick_of(self, fields: Collection[str]) -> str:
        """Return the tick of the block that some fields are about, if any."""
        for block in ("timer", "envelope", "sweep"):
            options = getattr(self.channel, block)
            if options is not None and any(key.startswith(block) for key in fields):
                return str(options.ticks)
        return ""

    def slowest(self) -> dict[str, int]:
        """Return the fields of the longest step."""
        step = self.channel.step
        assert isinstance(step, StepClock)
        return {"period": slowest_period(step) if self.reach.driven("period") else self.field("period")}

    def lasts(self, period: int) -> int:
        """Return the cycles that a wave which is played once lasts with a period."""
        return self.reach.played() * self.reach.length_with("period", period) * self.reach.count

    def gliding(self, fields: dict[str, int]) -> dict[str, int]:
        """Return some fields; where a sweep is to go by them and no period is given, with a step that changes the
        period and fits: the one that is given, or another one."""
        if not fields.get("sweep_period") or "period" in fields:
            return fields
        way, by = fields.get("sweep_falling", 0), fields.get("sweep_shift", 0)
        wished = [(d, s) for d, s in self.reach.sweeps() if (d, s) == (way, by)]
        for falling, shift in [*wished, *(p for p in self.reach.sweeps() if p[0] == way), *self.reach.sweeps()]:
            found = fields | {"sweep_falling": falling, "sweep_shift": shift}
            periods = self.reach.changed_by(falling, shift)
            if self.reach.once and len(periods):
                slowest = self.slowest()["period"]
                return found | {"period": int(min(periods, key=lambda period: abs(int(period) - slowest)))}
            if self.middle in periods or (wished and not by and (falling, shift) == (way, by)):
                return found | {"period": self.middle}
            if len(periods):
                return found | {"period": int(periods[len(periods) // 2])}
        return fields | {"period": self.middle}
