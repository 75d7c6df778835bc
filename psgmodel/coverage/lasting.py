"""Lasting: how long ticks, steps and notes of a channel last.

Stage: coverage. In: a chip and the least spacing of writes. Out: lengths in cycles or counts; reasons why something
comes too late or too soon, in words; an empty text where nothing speaks against it.
"""

from __future__ import annotations

from collections.abc import Collection

from psgmodel.chip.channel import NoiseClock, StepClock
from psgmodel.coverage.gliding import GlideReach

FAR = 60
"""Seconds of sound that what can be reached takes at most; common practice, no source."""


class LastReach(GlideReach):
    """How long something lasts in one channel."""

    # --- ticks --------------------------------------------------------------------------------------------------------

    def no_gap(self, tick: str, field: str) -> str:
        """Say why a field is not written between two ticks of a note that software has begun."""
        writes = 1 if self.channel.at_reset == "active" else 2
        volume = self.registers("volume")
        silent = not self.channel.is_loud(self.fields["volume"].reset)
        writes += writes == 2 and silent and not volume & self.starts
        return self.no_write_between(tick, self.registers(field), writes=writes)

    def no_write_between(self, tick: str, addresses: Collection[int], *, writes: int = 1, delay: int = 0) -> str:
        """Say why what a write to some registers does, `delay` cycles later, does not take place between two ticks,
        after some writes."""
        if delay == 0 and (reason := self.write_meets(tick, sorted(addresses), meets=False)):
            return reason
        ticks = self.chip.ticks[tick]
        divider, restarts = self.chip.dividers[ticks.divider], self.restarts(ticks.divider)
        if divider.every > 1 or len(ticks.at) < divider.steps or divider.first > self.written_by(writes):
            return ""
        first = 1 if divider.restart_steps else 0  # edges after a restart, up to `after_restart`, have no tick
        together = restarts & {a for address in addresses for a in self._same_edge(address)}
        soonest = [delay] if together else []
        if restarts and addresses:
            soonest.append(delay + self._apart(restarts, addresses))
            soonest.append(first if delay - self._apart(addresses, restarts) >= first else divider.after_restart)
        if any(first <= edge < divider.after_restart for edge in soonest):
            return ""
        return f"{tick} ticks at every edge"

    def within(self, tick: str, count: int, *, at_once: bool = False, delay: int = 0) -> int:
        """Return the most cycles that some ticks take from a write on, or from `delay` cycles after one, as long as
        nothing is restarted; `at_once`: one at the edge from which they are counted is one of them."""
        ticks = self.chip.ticks[tick]
        divider = self.chip.dividers[ticks.divider]
        first = divider.first + divider.every * min(ticks.at) - self.written_by(1) - delay
        return max(self.apart(tick) - at_once, first) + (count - 1) * self.apart(tick)

    def distances(self, tick: str) -> list[int]:
        """Return the cycles from one tick to the next, around the turn of its divider."""
        ticks = self.chip.ticks[tick]
        divider = self.chip.dividers[ticks.divider]
        steps = sorted(ticks.at)
        turned = [*steps[1:], steps[0] + divider.steps]
        return [divider.every * (b - a) for a, b in zip(steps, turned, strict=True)]

    def apart(self, tick: str) -> int:
        """Return the most cycles from one tick to the next, as long as nothing is restarted."""
        return max(self.distances(tick))

    def ticks_take(self, tick: str, count: int) -> int:
        """Return the least cycles from a tick to the last of some in a note; 0, where restarts could hurry them."""
        ticks = self.chip.ticks[tick]
        divider, restarts = self.chip.dividers[ticks.divider], sorted(self.restarts(ticks.divider))
        at_once = divider.restart_steps and 0 in ticks.at
        hurried = restarts and (at_once or divider.after_restart < divider.every)
        if hurried and not self.starts_anew(restarts, delay=self.channel.start_delay):
            return 0
        return (count - 1) // len(ticks.at) * divider.every * divider.steps

    def too_long(self, cycles: int, what: str) -> str:
        """Say that something takes too long to be reached."""
        seconds = float(cycles / self.chip.clock_hz)
        return f"{what} takes {seconds:.0f} s" if seconds > FAR else ""

    def too_long_step(self, field: str, value: int) -> str:
        """Say that a step of the waveform with a field at a value takes too long."""
        counts, clock = self.length_with(field, value), self.channel.step.clocked_by
        return self.too_long(self.ticks_take(clock, counts + 1) if clock else counts, f"a step of {self.name} with it")

    def too_long_period(self, block: str, count: int) -> str:
        """Say that a period of envelope or sweep takes too long."""
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        return self.too_long(self.ticks_take(options.ticks, count), "it") if options is not None else ""

    def too_long_note(self, count: int) -> str:
        """Say that a note of some ticks takes too long; where switching the timer on counts as one, none does."""
        timer = self.channel.timer
        if timer is None or (timer.on_enable == "tick" and not self.not_changed("timer.enable")):
            return ""
        return self.too_long(self.ticks_take(timer.ticks, count), "a note of it")

    # --- steps of the waveform ----------------------------------------------------------------------------------------

    def positions(self) -> int:
        """Return the number of positions of the waveform."""
        c = self.channel
        return c.table.samples if c.table else len(c.patterns[0]) if c.patterns else 1

    @property
    def first_position(self) -> int:
        """The first position that is played; those before it are never heard."""
        c = self.channel
        again = self.once and c.position_on_start == "reset" and c.at_reset == "inactive"
        return c.table.start_position if c.table is not None and again else 0

    def played(self) -> int:
        """Return the number of positions that a note can come to."""
        return self.positions() - self.first_position

    def lengths(self) -> tuple[int, int]:
        """Return the least and the largest length of a step, counts."""
        step = self.channel.step
        if isinstance(step, NoiseClock):
            running = [s for s in self.values("shift") if s not in step.stopped] or [0]
            divisors = [step.divisors[d] for d in self.values("divisor")]
            return min(divisors) << min(running), max(divisors) << max(running)
        low, high = self.values("period")[0], self.values("period")[-1]
        if isinstance(step, StepClock) and step.rule == "up-from":
            return step.scale * (low + step.offset), step.scale * (high + step.offset)
        return step.scale * (step.top - high), step.scale * (step.top - low)

    def longest_begun(self) -> int:
        """Return the largest length of a step, counts; a start loads one while the clock is stopped, too."""
        step = self.channel.step
        if not isinstance(step, NoiseClock) or step.on_start == "keep" or self.no_start:
            return self.lengths()[1]
        return max(step.divisors[d] for d in self.values("divisor")) << max(self.values("shift"))

    def length_with(self, field: str, value: int) -> int:
        """Return the least length of a step with a field at a value, counts."""
        step = self.channel.step
        if isinstance(step, NoiseClock):
            running = [s for s in self.values("shift") if s not in step.stopped] or [0]
            divisor = (
                step.divisors[value] if field == "divisor" else min(step.divisors[d] for d in self.values("divisor"))
            )
            return divisor << (value if field == "shift" else min(running))
        return step.scale * (value + step.offset if step.rule == "up-from" else step.top - value)

    @property
    def count(self) -> int:
        """The most cycles that a count of the step takes."""
        clock = self.channel.step.clocked_by
        return self.apart(clock) if clock else 1

    # --- envelope, sweep and timer ------------------------------------------------------------------------------------

    def stands_still(self, block: str) -> str:
        """Say why envelope or sweep never moves."""
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        if options is None or options.period_zero == "longest":
            return ""
        return self.not_other_than(f"{block}.period", 0)

    def never_rests(self, block: str, *, ends: bool = False) -> bool:
        """Tell whether software cannot keep envelope or sweep from moving; `ends`: nor from ending notes."""
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        if options is None or (options.period_zero == "stop" and 0 in self.values(f"{block}.period")):
            return False
        if block == "sweep":
            return not self.idles()
        e = self.channel.envelope
        stays = e is not None and (e.at_zero == "sound" or (e.at_end == "hold" and 1 in self.values("envelope.rising")))
        return not (ends and stays)

    def never_counts(self, block: str) -> str:
        """Say why each tick of envelope or sweep makes a step."""
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        found = self.values(f"{block}.period")
        if found[-1] > 1 or (found[0] == 0 and options is not None and options.period_zero == "longest"):
            return ""
        return f"{self.name}.{block}.period is never more than 1"

    def ticks(self, block: str) -> int:
        """Return the most ticks from one step of envelope or sweep to the next."""
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        periods = self.values(f"{block}.period")
        longest = options is not None and options.period_zero == "longest" and 0 in periods
        return 1 << self.fields[f"{block}.period"].bits if longest else periods[-1]

    @property
    def timed(self) -> bool:
        """Whether the note timer is always on and ends each note."""
        timer = self.channel.timer
        return timer is not None and timer.at_zero == "stop" and 0 not in self.values("timer.enable")

    @property
    def once(self) -> bool:
        """Whether a wave is played once and ends the note."""
        table = self.channel.table
        return table is not None and table.after_last == "stop"
