"""Lasting: how long ticks, steps and notes of a channel last.

Stage: coverage. In: a chip and the least spacing of writes. Out: lengths in cycles or counts; reasons why something
comes too late or too soon, in words; an empty text where nothing speaks against it.
"""

from __future__ import annotations

from collections.abc import Collection
from math import inf

from psgmodel.chip.channel import NoiseClock, StepClock
from psgmodel.coverage.gliding import GlideReach
from psgmodel.coverage.writing import first_of


class LastReach(GlideReach):
    """How long something lasts in one channel."""

    # --- ticks --------------------------------------------------------------------------------------------------------

    def restarts(self, divider: str) -> set[int]:
        """Return the registers, by address, that restart a divider."""
        target = f"{divider}.restart"
        return {
            address
            for address, r in self.chip.registers.items()
            if target in r.on_write or any(g.role == "strobes" and g.target == target for g in r.fields)
        }

    def no_gap(self, tick: str, field: str) -> str:
        """Say why a field is not written between two ticks of a note that software has begun."""
        return self.no_write_between(tick, self.registers(field), writes=2)

    def no_write_between(self, tick: str, addresses: Collection[int], *, writes: int = 1, delay: int = 0) -> str:
        """Say why what a write to some registers does, `delay` cycles later, does not take place between two ticks,
        after some writes."""
        ticks = self.chip.ticks[tick]
        divider, restarts = self.chip.dividers[ticks.divider], self.restarts(ticks.divider)
        if divider.every > 1 or len(ticks.at) < divider.steps or divider.first > self.written_by(writes):
            return ""
        if restarts and divider.after_restart > 1:
            return ""
        if restarts and not divider.restart_steps:  # there is no tick at the very edge of a restart
            together = {a for address in addresses for a in self._same_edge(address)}
            if together & restarts if delay == 0 else delay >= self._apart(addresses, restarts):
                return ""
        return f"{tick} ticks at every edge"

    def _within(self, tick: str, count: int, *, at_once: bool = False) -> int:
        """Return the most cycles that some ticks take, as long as nothing is restarted; `at_once`: one at the edge from
        which they are counted is one of them."""
        ticks = self.chip.ticks[tick]
        divider = self.chip.dividers[ticks.divider]
        first = divider.first + divider.every * min(ticks.at) - self.written_by(1)
        return max(self.apart(tick) - at_once, first) + (count - 1) * self.apart(tick)

    def _distances(self, tick: str) -> list[int]:
        ticks = self.chip.ticks[tick]
        divider = self.chip.dividers[ticks.divider]
        steps = sorted(ticks.at)
        turned = [*steps[1:], steps[0] + divider.steps]
        return [divider.every * (b - a) for a, b in zip(steps, turned, strict=True)]

    def apart(self, tick: str) -> int:
        """Return the most cycles from one tick to the next, as long as nothing is restarted."""
        return max(self._distances(tick))

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

    # --- envelope and sweep -------------------------------------------------------------------------------------------

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

    def never_steps(self, block: str) -> str:
        """Say why envelope or sweep makes no step: it stands still, or no note lasts until its first one."""
        if reason := self.stands_still(block):
            return reason
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        values = self.values(f"{block}.period")
        if (
            options is None
            or self.channel.at_reset == "active"
            or self.restarts(self.chip.ticks[options.ticks].divider)
        ):
            return ""
        if options.period_zero == "stop" and 0 in values:  # let go, it steps at the next tick
            return ""
        return self.no_note_of(options.ticks, min(v or 1 << options.period_bits for v in values))

    def no_zero_step(self, block: str) -> str:
        """Say why no note lasts for a step of the period 0, where that is the longest one."""
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        if options is None or options.period_zero == "stop" or self.channel.at_reset == "active":
            return ""
        changes = not self.not_changed(f"{block}.period")
        return self.never_steps(block) if changes else self.no_note_of(options.ticks, 1 << options.period_bits)

    def always_fallen(self) -> str:
        """Say why a sweep that falls makes a step before software can let it rise again."""
        o, delay, falling = self.channel.sweep, self.channel.start_delay, self.registers("sweep.falling")
        stands = o is None or (o.period_zero == "stop" and 0 in self.values("sweep.period"))
        if o is None or stands or self.channel.at_reset == "active" or self.restarts(self.chip.ticks[o.ticks].divider):
            return ""
        after_start, latest = self._apart(self.starts, falling), self._within(o.ticks, self.ticks("sweep"))
        distance = min(after_start - delay, self._apart(falling, falling))
        if delay >= after_start or latest >= distance:
            return ""
        return f"a sweep makes a step within {latest} cycles, and is turned {distance} after its start at the soonest"

    def no_note_of(self, tick: str, count: int) -> str:
        """Say why no note lasts for some ticks."""
        if self.restarts(self.chip.ticks[tick].divider) or (count - 1) * min(self._distances(tick)) <= self.longest():
            return ""
        return f"no note of {self.name} lasts for {count} ticks {tick}"

    def steps_made(self, block: str) -> float:
        """Return how many steps envelope or sweep can make in a note at most."""
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        if options is None or self.restarts(self.chip.ticks[options.ticks].divider):
            return inf
        return self.longest() / min(self._distances(options.ticks)) + 2

    # --- notes --------------------------------------------------------------------------------------------------------

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

    def lasts(self, but: str = "", *, moving: bool = False) -> float:
        """Return for how many cycles everything surely can be kept as it is in a note; `but` is a block that may move.

        A note timer that is always on ends it, an envelope or sweep that cannot be kept from moving changes it, a wave
        that is played once goes past its last sample. `moving`: envelope and sweep may move, as long as they do not
        end the note.
        """
        c, found = self.channel, [inf]
        if c.timer is not None and self.timed and but != "timer":
            found.append(((1 << c.timer.bits) - 1) * min(self._distances(c.timer.ticks)))
        for block in ("envelope", "sweep"):
            options = c.envelope if block == "envelope" else c.sweep
            if options is not None and but != block and self.never_rests(block, ends=moving):
                found.append((self.ticks(block) - 1) * min(self._distances(options.ticks)))
        if self.once:
            found.append(self.played() * self.lengths()[1] * self.count)
        return min(found)

    def longest(self) -> float:
        """Return after how many cycles at most a note has ended by itself since its last start."""
        c, found = self.channel, [inf]
        if c.timer is not None and self.timed and not self.restarts(self.chip.ticks[c.timer.ticks].divider):
            found.append((1 << c.timer.bits) * self.apart(c.timer.ticks))
        clock = c.step.clocked_by
        if self.once and not (clock and self.restarts(self.chip.ticks[clock].divider)):
            found.append((self.positions() + 1) * self.lengths()[1] * self.count)
        return min(found)

    def over_before(
        self, addresses: Collection[int], *, strobes: bool = False, timed: bool = False, ahead: int = 0, ticks: int = 0
    ) -> str:
        """Say why each note is over before some registers can be written in it, or act where they strobe; `timed`: each
        one whose timer is on; `ahead`: cycles before its end at least; `ticks`: so many ticks before its timer runs out
        at least."""
        if not self.starts or not addresses or self.channel.at_reset == "active":
            return ""
        delay, apart = self.channel.start_delay, self._apart(self.starts, addresses)
        # what is written before a start acts at another time than one that strobes before it
        found = [(apart if strobes else max(apart - delay, 0), self._over(timed, ticks, by_start=True))]
        if timed and (enables := self.registers("timer.enable")):
            soonest = self._soonest_strobe(enables, addresses) if strobes else self._apart(enables, addresses)
            found.append((soonest, self._over(timed, ticks, by_start=False)))
        if any(latest - ahead >= soonest for soonest, latest in found):
            return ""
        soonest, latest = found[0]
        which = " whose timer is on" if timed else ""
        over = f"a note of {self.name}{which} is over after {latest} cycles"
        return f"{over}, and the next write acts {soonest} cycles after its start"

    def _soonest_strobe(self, first: Collection[int], strobes: Collection[int]) -> int:
        """Return how soon after a write to one of some registers a strobe of others can act, cycles."""
        delay, before = self.channel.start_delay, self._apart(strobes, first)
        if delay > before:  # the strobe is written before
            return 0
        together = {a for address in first for a in self._same_edge(address)}
        return delay if delay and together & set(strobes) else self._apart(first, strobes) + delay

    def only_step(self, field: str) -> str:
        """Say why a field is not written right after a step has begun: each note has one, which begins with it."""
        c = self.channel
        kept = c.at_reset == "active" or c.position_on_start == "keep" or c.step.on_start == "keep"
        if not self.once or self.played() > 1 or kept or c.step.clocked_by:
            return ""
        distance = self._apart(self.starts, self.registers(field)) - c.start_delay
        late = f"and the next write comes {distance} cycles later"
        return f"the only step of {self.name} begins with its note, {late}" if distance > 1 else ""

    def _over(self, timed: bool, ahead: int, *, by_start: bool) -> float:
        """Return the cycles after which a note is over, or one whose timer is on, since its start, or since that was
        switched on; or its timer is some ticks ahead of that."""
        c, found, clock = self.channel, [inf], self.channel.step.clocked_by
        if self.once and not (clock and self.restarts(self.chip.ticks[clock].divider)):
            counts = (self.played() if c.position_on_start == "reset" else self.positions()) * self.lengths()[1]
            found.append(self._within(clock, counts) if clock else counts)
        ends = c.timer if timed and c.timer is not None and c.timer.at_zero == "stop" else None
        if ends is not None and not self.restarts(self.chip.ticks[ends.ticks].divider):
            at_once = ends.start_and_tick == "both" if by_start else ends.write_and_tick == "new"
            ticks = self.counts()[-1] - ahead
            found.append(self._within(ends.ticks, ticks, at_once=at_once) if ticks else 0)
        return min(found)

    def counts(self) -> list[int]:
        """Return what the note timer can count down from, rising."""
        timer = self.channel.timer
        if timer is None:
            return []
        size, values = 1 << timer.bits, self.values("timer.length")
        return sorted(
            {v or size for v in values} if timer.loads == "field" else {(size - v) % size or size for v in values}
        )

    @property
    def starts(self) -> set[int]:
        """The registers that start the channel."""
        return {*self.strobes["start"], *self._gates()}

    @property
    def stops(self) -> set[int]:
        """The registers that stop the channel."""
        return {*self.strobes["stop"], *self._gates()}

    @property
    def no_restart(self) -> str:
        """Why the channel cannot be started while it plays."""
        return first_of(super().no_restart, self.over_before(self.starts, strobes=True))

    @property
    def no_stop_in_note(self) -> str:
        """Why software cannot stop the channel while it plays."""
        return first_of(self.no_stop, self.over_before(self.stops, strobes=True))

    def not_changed(self, field: str) -> str:
        """Say why no write changes a field while the channel plays on."""
        return first_of(super().not_changed(field), self.over_before(self.registers(field)))
