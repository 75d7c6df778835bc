"""Reach: what blocks, ticks and mixer let a channel do at all.

Stage: coverage. In: a chip and the least spacing of writes. Out: reasons why something cannot happen, in words; an
empty text where nothing speaks against it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from functools import cached_property
from math import gcd

from psgmodel.chip.channel import NoiseClock
from psgmodel.coverage.brevity import BriefReach
from psgmodel.coverage.gliding import moved
from psgmodel.coverage.lasting import FAR
from psgmodel.coverage.writing import first_of, held_values

__all__ = ["Reach", "first_of", "held_values", "moved"]


def first_meeting(x: int, turn_x: int, y: int, turn_y: int) -> tuple[int, int]:
    """Return the first edge of x, x + turn_x, ... that is one of y, y + turn_y, ..., and the distance to the next one;
    the difference of x and y is a multiple of the greatest common divisor of the turns (Chinese remainder theorem)."""
    common = gcd(turn_x, turn_y)
    both = turn_x // common * turn_y
    found = x + turn_x * ((y - x) // common * pow(turn_x // common, -1, turn_y // common) % (turn_y // common))
    return found + -(-max(y - found, 0) // both) * both, both


class Reach(BriefReach):
    """What can happen to one channel."""

    @property
    def silent(self) -> str:
        """Why the channel cannot be heard."""
        return first_of(self.never_active, self.unrouted(self.chip.unit.outputs), self.no_volume())

    def unrouted(self, outputs: Iterable[str], kept: Collection[int] = (), free: str = "") -> str:
        """Say why none of some outputs lets the channel through while some registers stand as they are reset.

        `free` is a field of the mixer that may hold any of its values all the same.
        """
        mixer, names = self.chip.mixer, list(outputs)
        if mixer.gains[self.name] == 0:
            return f"the mixer's gain of {self.name} is 0"

        def lets(field: str, gains: Sequence[int]) -> bool:
            return any(gains[v] > 0 for v in held_values(self.chip, field, () if field == free else kept))

        if any(lets(f"mixer.{o}.{self.name}", mixer.routes) and lets(f"mixer.{o}.trim", mixer.trims) for o in names):
            return ""
        text = f"{names[0]} never lets" if len(names) == 1 < len(self.chip.unit.outputs) else "no output lets"
        return f"{text} {self.name} through" + self._as_reset(kept)

    def no_volume(self, kept: Collection[int] = ()) -> str:
        """Say why the channel has no volume but 0 while some registers stand as they are reset."""
        volumes = held_values(self.chip, f"{self.name}.volume", kept)
        if self.channel.envelope is not None or any(map(self.channel.is_loud, volumes)):
            return ""
        return f"{self.name} has no volume but 0" + self._as_reset(kept)

    def no_loud_start(self) -> str:
        """Say why a channel that was idle is not heard at the very edge of its start."""
        c = self.channel
        loud = any(map(c.is_loud, self.values("volume")))
        if loud or c.envelope is None or c.envelope.start_and_tick != "start":
            return ""
        return f"{self.name} starts at no volume but 0"

    def _as_reset(self, kept: Collection[int]) -> str:
        names = [self.chip.registers[a].name for a in kept]
        return f" while {' and '.join(names)} {'is' if len(names) == 1 else 'are'} as reset" if names else ""

    # --- blocks -----------------------------------------------------------------------------------------------------

    @cached_property
    def levels(self) -> frozenset[int]:
        """The levels at which the envelope can stand."""
        o, found = self.channel.envelope, set(self.values("volume"))
        found |= {0} if o is not None and self.channel.at_reset == "active" else set()
        if o is None or self.never_steps("envelope"):
            return frozenset(found)
        size, ways = 1 << self.channel.volume_bits, [o.step if up else -o.step for up in self.values("envelope.rising")]
        last, steps = found, self.steps_made("envelope")
        while last and steps > 0:
            steps -= 1
            moved = {level + way for level in last for way in ways}
            last = {to % size if o.at_end == "wrap" else min(max(to, 0), size - 1) for to in moved} - found
            found |= last
        return frozenset(found)

    def no_level(self, level: int) -> str:
        """Say why the envelope never stands at a level."""
        o = self.channel.envelope
        if o is None or self.never_steps("envelope"):
            return self.not_held("volume", level) if o is not None and level not in self.levels else ""
        ends = o.at_zero == "stop" and self.channel.at_reset == "inactive"
        largest_fall = {"start": 0, "both": o.step, "tick": 1 << self.channel.volume_bits}[o.start_and_tick]
        if level == 0 and ends and self.values("volume")[0] > largest_fall:
            return f"{self.name} is stopped at level 0"
        return "" if level in self.levels else f"the envelope never comes to {level}"

    def no_zero(self) -> str:
        """Say why no step of the envelope ends at level 0."""
        o = self.channel.envelope
        if o is None or o.at_end == "wrap" or 0 in self.values("envelope.rising"):
            return self.never_steps("envelope")
        written = o.volume_write == "at-once" and o.volume_and_tick == "write" and self.driven("volume")
        return "" if written else self.not_held("envelope.rising", 0)

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
        if self.restarts(a.divider) or self.restarts(b.divider):
            return ""
        turn_a, turn_b = da.every * da.steps, db.every * db.steps
        common = gcd(turn_a, turn_b)
        firsts = [(da.first + s * da.every, db.first + t * db.every) for s in a.at for t in b.at]
        if not any((x - y) % common == 0 for x, y in firsts):
            return f"{one} and {other} never tick at one edge: their distances are not multiples of {common}"
        first, turn = min(first_meeting(x, turn_a, y, turn_b) for x, y in firsts if (x - y) % common == 0)
        if first > FAR * self.chip.clock_hz:
            return f"{one} and {other} tick at one edge only every {float(turn / self.chip.clock_hz):.0f} s"
        return ""

    @property
    def no_steps(self) -> str:
        """Why the waveform makes no step."""
        step = self.channel.step
        stopped = isinstance(step, NoiseClock) and all(s in step.stopped for s in self.values("shift"))
        return f"the clock of {self.name} never runs" if stopped else ""
