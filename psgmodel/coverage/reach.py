"""Reach: what blocks, ticks and mixer let a channel do at all.

Stage: coverage. In: a chip and the least spacing of writes. Out: reasons why something cannot happen, in words; an
empty text where nothing speaks against it.
"""

from __future__ import annotations

from math import gcd

import numpy as np

from psgmodel.chip.channel import NoiseClock, StepClock, Sweep
from psgmodel.coverage.columns import Ints
from psgmodel.coverage.writing import WriteReach, first_of, held_values

SHORT = 1 << 12
"""Periods that are all tried where one with a certain property is looked for."""

FAR = 60
"""Seconds within which two ticks must meet to count as meeting."""

__all__ = ["FAR", "Reach", "first_of", "held_values", "moved"]


def moved(sweep: Sweep, period: Ints, shift: Ints, falling: Ints, size: int) -> Ints:
    """Return swept periods as `FrequencySweep` works them out, before they are fitted to their width."""
    constant = sweep.moves_by == "constant"
    part = shift if constant else period >> shift
    fallen = period - part - (sweep.subtract == "ones-complement")
    return np.where(falling == 0, period + part, fallen if constant else fallen % size)


class Reach(WriteReach):
    """What can happen to one channel."""

    @property
    def silent(self) -> str:
        """Why the channel cannot be heard."""
        mixer = self.chip.mixer
        if self.never_active:
            return self.never_active
        if mixer.gains[self.name] == 0:
            return f"the mixer's gain of {self.name} is 0"
        if not any(
            mixer.routes[r] > 0 and any(mixer.trims[t] > 0 for t in held_values(self.chip, f"mixer.{o}.trim"))
            for o in self.chip.unit.outputs
            for r in held_values(self.chip, f"mixer.{o}.{self.name}")
        ):
            return f"no output lets {self.name} through"
        table = self.channel.table
        if table is not None and table.volume == "shift":
            return ""
        volumes = self.values("volume")
        loud = [self.channel.volume_table[v] if self.channel.volume_table else v for v in volumes]
        moves = self.channel.envelope is not None
        return "" if any(loud) or moves else f"{self.name} has no volume but 0"

    # --- blocks -----------------------------------------------------------------------------------------------------

    def positions(self) -> int:
        """Return the number of positions of the waveform."""
        c = self.channel
        return c.table.samples if c.table else len(c.patterns[0]) if c.patterns else 1

    def gap(self, tick: str) -> bool:
        """Return whether there are edges at which a tick does not happen."""
        ticks = self.chip.ticks[tick]
        divider = self.chip.dividers[ticks.divider]
        again = self._restarts(ticks.divider) and (divider.after_restart > 1 or not divider.restart_steps)
        return divider.every > 1 or len(ticks.at) < divider.steps or divider.first > 0 or again

    def stands_still(self, block: str) -> str:
        """Say why envelope or sweep never moves."""
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        if options is None or options.period_zero == "longest":
            return ""
        return self.not_other_than(f"{block}.period", 0)

    def never_counts(self, block: str) -> str:
        """Say why each tick of envelope or sweep makes a step."""
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        found = self.values(f"{block}.period")
        if found[-1] > 1 or (found[0] == 0 and options is not None and options.period_zero == "longest"):
            return ""
        return f"{self.name}.{block}.period is never more than 1"

    def counts_unheard(self, block: str) -> str:
        """Say why a step of the sweep changes nothing, whatever its direction; of the envelope nothing speaks so."""
        if block == "envelope":
            return ""
        reasons = [self.no_change(d, s) for d, s in self.sweeps()]
        return reasons[0] if "" not in reasons else ""

    def no_level(self, level: int) -> str:
        """Say why the envelope never stands at a level."""
        o = self.channel.envelope
        if o is None or level in self.values("volume") or self.stands_still("envelope"):
            return self.not_held("volume", level) if self.channel.envelope and self.stands_still("envelope") else ""
        found = set(self.values("volume")) | ({0} if self.channel.at_reset == "active" else set())
        size = 1 << self.channel.volume_bits
        while True:
            more = set()
            for rising in self.values("envelope.rising"):
                for at in found:
                    to = at + (o.step if rising else -o.step)
                    more.add(to % size if o.at_end == "wrap" else min(max(to, 0), size - 1))
            if more <= found:
                break
            found |= more
        ends = o.at_zero == "stop" and o.start_and_tick == "start" and self.channel.at_reset == "inactive"
        if level == 0 and ends and 0 not in self.values("volume"):
            return f"{self.name} is stopped at level 0"
        return "" if level in found else f"the envelope never comes to {level}"

    def no_zero(self) -> str:
        """Say why no step of the envelope ends at level 0."""
        o = self.channel.envelope
        if o is None or o.at_end == "wrap" or 0 in self.values("envelope.rising"):
            return self.stands_still("envelope")
        written = o.volume_write == "at-once" and o.volume_and_tick == "write" and self.driven("volume")
        return "" if written else self.not_held("envelope.rising", 0)

    def sweeps(self) -> list[tuple[int, int]]:
        """Return each pair of direction (1 falling) and shift that the sweep can have."""
        return [(d, s) for d in self.values("sweep.falling") for s in self.values("sweep.shift")]

    def no_change(self, falling: int, shift: int) -> str:
        """Say why a sweep step of a direction and shift changes no period."""
        o, bits = self.channel.sweep, self.fields["period"].bits
        if o is None or (falling and o.subtract == "ones-complement"):
            return ""
        if o.moves_by == "constant":
            return "" if shift else "a step by 0 changes nothing"
        return "" if shift < bits else f"a shift by {shift} leaves nothing of a period of {bits} bits"

    def no_sweep(self, falling: int) -> str:
        """Say why no sweep step of a direction changes the period."""
        reasons = [self.no_change(d, s) for d, s in self.sweeps() if d == falling]
        return "" if not reasons or "" in reasons else reasons[0]

    def no_overflow(self) -> str:
        """Say why no result of the sweep fails to fit."""
        o, size = self.channel.sweep, 1 << self.fields["period"].bits
        if o is None:
            return ""
        for falling, shift in self.sweeps():
            if o.moves_by == "constant" and (shift or (falling and o.subtract == "ones-complement")):
                return ""
            if o.moves_by == "fraction" and not falling and (size - 1) >> shift:
                return ""
        return "no direction and shift of the sweep leads past the periods there are"

    def no_shifted_overflow(self) -> str:
        """Say why no result of the sweep with a shift other than 0 fails to fit."""
        o, size = self.channel.sweep, 1 << self.fields["period"].bits
        constant = o is not None and o.moves_by == "constant"
        if any(shift and (constant or (not falling and (size - 1) >> shift)) for falling, shift in self.sweeps()):
            return ""
        return "no shift but 0 leads past the periods there are"

    def no_edge_period(self) -> str:
        """Say why no sweep step ends at the first or the last period."""
        o, size = self.channel.sweep, 1 << self.fields["period"].bits
        if o is None or any(self.edge_period(falling, shift) is not None for falling, shift in self.sweeps()):
            return ""
        return f"no direction and shift of the sweep leads to 0 or {size - 1}"

    def edge_period(self, falling: int, shift: int) -> int | None:
        """Return a period from which one sweep step leads to another one, which is the first or the last.

        Of a long list of periods only some are tried; all the solutions there are for one of them can be missed only
        where results wrap around.
        """
        o, size = self.channel.sweep, 1 << self.fields["period"].bits
        assert o is not None
        near = {0, 1, shift, shift + 1, size - 1 - shift, (size - 1) * (1 << shift) // ((1 << shift) + 1), size // 2}
        tried = range(size) if size <= SHORT else sorted(p + d for p in near for d in (-1, 0, 1, 2))
        periods = np.array([p for p in tried if 0 <= p < size], dtype=np.int64)
        result = moved(o, periods, np.full_like(periods, shift), np.full_like(periods, falling), size)
        result = result % size if o.overflow == "wrap" else result
        found = periods[((result == 0) | (result == size - 1)) & (result != periods)]
        return int(found[0]) if found.size else None

    def no_timed_end(self) -> str:
        """Say why no note ends by its timer."""
        timer = self.channel.timer
        if timer is None:
            return f"{self.name} has no note timer"
        return first_of(
            self.not_held("timer.enable", 1),
            "" if timer.at_zero == "stop" else f"{self.name} sounds on when its note timer runs out",
            self.no_start,
        )

    # --- ticks ------------------------------------------------------------------------------------------------------

    def ticks_meet(self, one: str, other: str) -> str:
        """Say why two ticks never fall on one edge."""
        if one == other:
            return ""
        a, b = self.chip.ticks[one], self.chip.ticks[other]
        da, db = self.chip.dividers[a.divider], self.chip.dividers[b.divider]
        if a.divider == b.divider:
            return "" if set(a.at) & set(b.at) else f"{one} and {other} are different steps of {a.divider}"
        if self._restarts(a.divider) or self._restarts(b.divider):
            return ""
        turn_a, turn_b = da.every * da.steps, db.every * db.steps
        common = gcd(turn_a, turn_b)
        firsts = [(da.first + s * da.every, db.first + t * db.every) for s in a.at for t in b.at]
        if not any((x - y) % common == 0 for x, y in firsts):
            return f"{one} and {other} never tick at one edge: their distances are not multiples of {common}"
        turn = turn_a // common * turn_b
        if turn > FAR * self.chip.clock_hz:
            return f"{one} and {other} tick at one edge only every {float(turn / self.chip.clock_hz):.0f} s"
        return ""

    def _restarts(self, divider: str) -> bool:
        target = f"{divider}.restart"
        return any(
            target in r.on_write or any(g.role == "strobes" and g.target == target for g in r.fields)
            for r in self.chip.registers.values()
        )

    # --- lengths ----------------------------------------------------------------------------------------------------

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
