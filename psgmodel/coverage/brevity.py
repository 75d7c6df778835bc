"""Brevity: notes that are over before something can happen in them.

Stage: coverage. In: a chip and the least spacing of writes. Out: how long notes last, in cycles; reasons why something
comes too late in a note, in words; an empty text where nothing speaks against it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from math import inf

from psgmodel.chip.channel import Envelope, Sweep
from psgmodel.coverage.lasting import LastReach
from psgmodel.coverage.writing import first_of


def _cycles(count: float) -> str:
    return "1 cycle" if count == 1 else f"{count} cycles"


class BriefReach(LastReach):
    """What the notes of one channel leave time for."""

    # --- lengths ------------------------------------------------------------------------------------------------------

    def lasts(self, but: str = "", *, moving: bool = False) -> float:
        """Return for how many cycles everything surely can be kept as it is in a note; `but` is a block that may move.

        A note timer that is always on ends it, an envelope or sweep that cannot be kept from moving changes it, a wave
        that is played once goes past its last sample. `moving`: envelope and sweep may move, as long as they do not
        end the note.
        """
        c, found = self.channel, [inf]
        if c.timer is not None and self.timed and but != "timer":
            found.append(((1 << c.timer.bits) - 1) * min(self.distances(c.timer.ticks)))
        for block in ("envelope", "sweep"):
            options = c.envelope if block == "envelope" else c.sweep
            if options is not None and but != block and self.never_rests(block, ends=moving):
                found.append((self.ticks(block) - 1) * min(self.distances(options.ticks)))
        if self.once:
            found.append(self.played() * self.lengths()[1] * self.count)
        return min(found)

    def longest(self) -> float:
        """Return after how many cycles at most a note has ended by itself since its last start."""
        c, found = self.channel, [inf]
        delay = c.start_delay if c.at_reset == "inactive" else -self.written_by(1)
        if c.timer is not None and self.timed and not self.restarts(self.chip.ticks[c.timer.ticks].divider):
            found.append(self.within(c.timer.ticks, 1 << c.timer.bits, delay=delay))
        clock, counts = c.step.clocked_by, (self.positions() + 1) * self.lengths()[1]
        if self.once and not (clock and self.restarts(self.chip.ticks[clock].divider)):
            found.append(self.within(clock, counts, delay=delay) if clock else counts)
        return min(found)

    def counts(self) -> Sequence[int]:
        """Return what the note timer can count down from, rising; a start at which it runs out, and which leaves the
        note active all the same, leaves it at 0, from which it counts on."""
        timer = self.channel.timer
        if timer is None:
            return []
        size, values = 1 << timer.bits, self.values("timer.length")
        if len(values) == size:
            return range(1, size + 1)
        found = {v or size for v in values} if timer.loads == "field" else {(size - v) % size or size for v in values}
        if timer.expiry_and_start == "expiry" or timer.start_and_tick == "start":
            return sorted(found)
        late = self.over_before(self.starts, strobes=True, timed=True, most=max(found))
        return sorted(found if timer.start_and_tick == "tick" and late else found | {size})

    # --- steps of envelope and sweep ----------------------------------------------------------------------------------

    def never_steps(self, block: str) -> str:
        """Say why envelope or sweep makes no step: it stands still, or no note lasts until its first one."""
        if reason := self.stands_still(block):
            return reason
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        values = self.values(f"{block}.period")
        if options is None or self.channel.at_reset == "active":
            return ""
        if options.period_zero == "stop" and 0 in values:  # let go, it steps at the next tick
            return ""
        return self._no_note_of(options, min(v or 1 << options.period_bits for v in values))

    def no_zero_step(self, block: str) -> str:
        """Say why no note lasts for a step of the period 0, where that is the longest one."""
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        if options is None or options.period_zero == "stop":
            return ""
        if slow := self.too_long_period(block, 1 << options.period_bits):
            return slow
        if self.channel.at_reset == "active":
            return ""
        changes = not self.not_changed(f"{block}.period")
        return self.never_steps(block) if changes else self._no_note_of(options, 1 << options.period_bits)

    def _counts_on(self, options: Envelope | Sweep) -> bool:
        """Tell whether a start in a note can leave envelope or sweep counting on: it meets a tick, which alone counts,
        or software restarts what makes the ticks."""
        kept = options.start_and_tick == "tick" and not self.no_restart
        return kept or bool(self.restarts(self.chip.ticks[options.ticks].divider))

    def _no_note_of(self, options: Envelope | Sweep, count: int) -> str:
        """Say why no note lasts for some ticks of envelope or sweep."""
        if self._counts_on(options) or (count - 1) * min(self.distances(options.ticks)) <= self.longest():
            return ""
        return f"no note of {self.name} lasts for {count} ticks of {options.ticks}"

    def steps_made(self, block: str) -> float:
        """Return how many steps envelope or sweep can make in a note at most."""
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        if options is None or self._counts_on(options) or self.longest() == inf:
            return inf
        least, values = min(self.distances(options.ticks)), self.values(f"{block}.period")
        at_once = options.start_and_tick != "start" or self.channel.at_reset == "active"
        ticks = max(-(-self.longest() // least), self.longest() // least + at_once)
        free = self.channel.at_reset == "active" or (options.period_zero == "stop" and 0 in values)
        return ticks // (1 if free else min(v or 1 << options.period_bits for v in values))

    def always_fallen(self) -> str:
        """Say why a sweep that falls makes a step before software can let it rise again."""
        o, delay, falling = self.channel.sweep, self.channel.start_delay, self.registers("sweep.falling")
        stands = o is None or (o.period_zero == "stop" and 0 in self.values("sweep.period"))
        if o is None or stands or self.channel.at_reset == "active" or self.restarts(self.chip.ticks[o.ticks].divider):
            return ""
        if o.overflow == "hold" and self.runs_over((1, s) for s in self.values("sweep.shift")):
            return ""
        after_start, latest = self._apart(self.starts, falling), self.within(o.ticks, self.ticks("sweep"))
        distance = min(after_start - delay, self._apart(falling, falling))
        if delay >= after_start or latest >= distance:
            return ""
        return f"a sweep makes a step within {_cycles(latest)}, and is turned {_cycles(distance)} later at the soonest"

    # --- writes in a note ---------------------------------------------------------------------------------------------

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

    def only_step(self, field: str) -> str:
        """Say why a field is not written right after a step has begun: each note has one, which begins with it."""
        c = self.channel
        kept = c.at_reset == "active" or c.position_on_start == "keep" or c.step.on_start == "keep"
        if not self.once or self.played() > 1 or kept or c.step.clocked_by:
            return ""
        distance = self._apart(self.starts, self.registers(field)) - c.start_delay
        late = f"and the next write comes {distance} cycles later"
        return f"the only step of {self.name} begins with its note, {late}" if distance > 1 else ""

    def over_before(
        self,
        addresses: Collection[int],
        *,
        strobes: bool = False,
        timed: bool = False,
        ahead: int = 0,
        ticks: int = 0,
        before: int = 0,
        most: int = 0,
    ) -> str:
        """Say why each note is over before some registers can be written in it, or act where they strobe; `timed`: each
        one whose timer is on; `ahead`: cycles before its end at least; `ticks` and `before`: so many ticks or cycles
        before its timer runs out at least, which counts from `most`."""
        if not self.starts or not addresses or self.channel.at_reset == "active":
            return ""
        delay, apart = self.channel.start_delay, self._apart(self.starts, addresses)
        count = (most or self.counts()[-1]) if timed else None
        left = None if count is None else count - ticks
        # what is written before a start acts at another time than one that strobes before it
        found = [(apart if strobes else max(apart - delay, 0), self._over(left, before, by_start=True))]
        if timed and (enables := self.registers("timer.enable")):
            soonest = self._soonest_strobe(enables, addresses) if strobes else self._apart(enables, addresses)
            found.append((soonest, self._over(left, before, by_start=False)))
        if any(latest - ahead >= soonest for soonest, latest in found):
            return ""
        soonest, latest = found[0][0], self._over(count, 0, by_start=True)
        which = " whose timer is on" if timed else ""
        over = f"a note of {self.name}{which} is over after {_cycles(latest)}"
        return f"{over}, and the next write comes {_cycles(soonest)} after its start"

    def _soonest_strobe(self, first: Collection[int], strobes: Collection[int]) -> int:
        """Return how soon after a write to one of some registers a strobe of others can act, cycles."""
        delay, before = self.channel.start_delay, self._apart(strobes, first)
        if delay > before:  # the strobe is written before
            return 0
        together = {a for address in first for a in self._same_edge(address)}
        return delay if delay and together & set(strobes) else self._apart(first, strobes) + delay

    def _over(self, count: int | None, before: int, *, by_start: bool) -> float:
        """Return the cycles after which a note is over, since its start or since its timer was switched on.

        `count` is from what the timer counts down, `before` what is asked for before it has; None: no timer ends it.
        """
        c, found, clock = self.channel, [inf], self.channel.step.clocked_by
        delay = c.start_delay  # after the first write there is, nothing is active before it has acted
        if self.once and not (clock and self.restarts(self.chip.ticks[clock].divider)):
            counts = (self.played() if c.position_on_start == "reset" else self.positions()) * self.lengths()[1]
            found.append(self.within(clock, counts, delay=delay) if clock else counts)
        ends = c.timer if count is not None and c.timer is not None and c.timer.at_zero == "stop" else None
        if ends is not None and count is not None and not self.restarts(self.chip.ticks[ends.ticks].divider):
            both = ends.start_and_tick == "both" and ends.expiry_and_start == "expiry"
            at_once = both if by_start else ends.write_and_tick == "new"
            found.append(self.within(ends.ticks, count, at_once=at_once, delay=delay) - before if count else 0)
        return min(found)
