"""Gliding: what steps the frequency sweep of a channel can make at all.

Stage: coverage. In: a chip and the least spacing of writes. Out: reasons why something cannot happen, in words; an
empty text where nothing speaks against it. Periods are tried out: all of them, or of a long list those near which a
step changes its kind. All that is asked for can be missed there only where results wrap around.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from psgmodel.chip.channel import Sweep
from psgmodel.coverage.columns import Ints, Mask, ints, mask
from psgmodel.coverage.writing import WriteReach

SHORT = 1 << 12
"""Periods that are all tried where one with a certain property is looked for."""


def moved(sweep: Sweep, period: Ints, shift: Ints, falling: Ints, size: int) -> Ints:
    """Return swept periods as `FrequencySweep` works them out, before they are fitted to their width."""
    constant = sweep.moves_by == "constant"
    part = shift if constant else period >> shift
    fallen = period - part - (sweep.subtract == "ones-complement")
    return np.where(falling == 0, period + part, fallen if constant else fallen % size)


class GlideReach(WriteReach):
    """What the sweep of one channel can do; where the channel has none, nothing speaks against anything."""

    def ends_itself(self) -> bool:
        """Tell whether anything but software can end a note, the sweep among it."""
        o = self.channel.sweep
        if super().ends_itself() or o is None:
            return super().ends_itself()
        turned = o.rising_after_falling == "stop" and self.driven("sweep.falling")
        return turned or (o.overflow == "stop" and self.runs_over(self.sweeps()))

    def sweeps(self) -> list[tuple[int, int]]:
        """Return each pair of direction (1 falling) and shift that the sweep can have."""
        return [(d, s) for d in self.values("sweep.falling") for s in self.values("sweep.shift")]

    @property
    def periods(self) -> int:
        """Number of periods there are."""
        return 1 << self.fields["period"].bits

    def steps_by(self, falling: int, shift: int) -> tuple[Ints, Ints]:
        """Return periods that are tried and what one step makes of them; less than 0, or `periods` or more: it does
        not fit."""
        size = self.periods
        near = {0, 1, shift, shift + 1, 1 << min(shift, 24), size - 1 - shift, size // 2, size - 1}
        near |= {(size - 1) * (1 << shift) // ((1 << shift) + 1)} if size > SHORT else set()
        tried = range(size) if size <= SHORT else sorted({p + d for p in near for d in (-1, 0, 1, 2)})
        periods = np.array([p for p in tried if 0 <= p < size], dtype=np.int64)
        return periods, self._step(periods, falling, shift)

    def _step(self, periods: Ints, falling: int, shift: int) -> Ints:
        """Return what one step makes of periods; where results wrap around, all of them fit."""
        o = self.channel.sweep
        assert o is not None
        found = moved(o, periods, np.full_like(periods, shift), np.full_like(periods, falling), self.periods)
        return found % self.periods if o.overflow == "wrap" else found

    def _fits(self, periods: Ints) -> Mask:
        return mask((periods >= 0) & (periods < self.periods))

    def changed_by(self, falling: int, shift: int) -> Ints:
        """Return periods that a step changes, and that it leads to another one there is."""
        periods, found = self.steps_by(falling, shift)
        return ints(periods[self._fits(found) & (found != periods)])

    def idles(self) -> bool:
        """Tell whether the sweep can be set so that no step of it changes anything."""
        return any(np.array_equal(*self.steps_by(d, s)) for d, s in self.sweeps())

    def no_change(self, falling: int, shift: int) -> str:
        """Say why a sweep step of a direction and shift changes no period."""
        o, bits = self.channel.sweep, self.fields["period"].bits
        if o is None:
            return ""
        if self.changed_by(falling, shift).size:
            return ""
        if o.moves_by == "constant" and not shift:
            return "a step by 0 changes nothing"
        if o.moves_by == "fraction" and shift >= bits:
            return f"a shift by {shift} leaves nothing of a period of {bits} bits"
        way = "falling" if falling else "rising"
        return f"no {way} step with shift {shift} fits and changes a period of {bits} bits"

    def no_sweep(self, falling: int) -> str:
        """Say why no sweep step of a direction changes the period."""
        return _unless_one_is_empty(self.no_change(d, s) for d, s in self.sweeps() if d == falling)

    def no_move(self) -> str:
        """Say why no sweep step that fits changes the period."""
        o = self.channel.sweep
        assert o is not None
        for falling, shift in self.sweeps():
            periods, _ = self.steps_by(falling, shift)
            found = moved(o, periods, np.full_like(periods, shift), np.full_like(periods, falling), self.periods)
            if np.any(self._fits(found) & (found != periods)):
                return ""
        return "no sweep step that fits changes the period"

    def no_changes(self) -> str:
        """Say why no sweep step changes the period, whatever its direction and shift."""
        if self.channel.sweep is None:
            return ""
        return _unless_one_is_empty(self.no_change(d, s) for d, s in self.sweeps())

    def counts_unheard(self, block: str) -> str:
        """Say why a step of the sweep changes nothing, whatever its direction; of the envelope nothing speaks so."""
        o = self.channel.sweep
        if block == "envelope" or o is None or (o.overflow == "stop" and not self.no_overflow()):
            return ""
        return self.no_changes()

    def runs_over(self, pairs: Iterable[tuple[int, int]]) -> bool:
        """Tell whether a step of one of some directions and shifts can lead past the periods there are, before it is
        fitted to them."""
        o, size = self.channel.sweep, self.periods
        assert o is not None
        ends = np.array([0, size - 1], dtype=np.int64)
        results = (moved(o, ends, np.full_like(ends, s), np.full_like(ends, d), size) for d, s in pairs)
        return any(bool(np.any(~self._fits(found))) for found in results)

    def no_overflow(self) -> str:
        """Say why no result of the sweep fails to fit."""
        if self.channel.sweep is None or self.runs_over(self.sweeps()):
            return ""
        return "no direction and shift of the sweep leads past the periods there are"

    def no_shifted_overflow(self) -> str:
        """Say why no result of the sweep with a shift other than 0 fails to fit."""
        shifted = self.runs_over((d, s) for d, s in self.sweeps() if s)
        return "" if shifted else "no shift but 0 leads past the periods there are"

    def no_unshifted_overflow(self) -> str:
        """Say why no result of the sweep with shift 0 fails to fit."""
        return "" if self.runs_over((d, s) for d, s in self.sweeps() if not s) else "with shift 0 no step runs over"

    def no_overflow_ahead(self) -> str:
        """Say why a sweep step that fits is never followed by one that does not, everything else the same."""
        for falling, shift in self.sweeps():
            _, first = self.steps_by(falling, shift)
            first = first[self._fits(first)]
            if not np.all(self._fits(self._step(first, falling, shift))):
                return ""
        return "after no sweep step that fits, the next one would not fit"

    def no_start_as_reset(self, address: int) -> str:
        """Say why no start sounds while a register that holds the shift of the sweep stands as it is reset."""
        o, field = self.channel.sweep, self.fields.get("sweep.shift")
        if o is None or field is None or o.overflow != "stop" or o.check == "at-step" or not field.reset:
            return ""
        if self.registers("sweep.shift") != {address} or self.channel.at_reset == "active":
            return ""
        fit = any(np.any(self._fits(self.steps_by(d, field.reset)[1])) for d in self.values("sweep.falling"))
        return "" if fit else f"any start of {self.name} runs over with the shift {field.reset} that is reset"

    def no_edge_period(self) -> str:
        """Say why no sweep step ends at the first or the last period."""
        if self.channel.sweep is None or any(self.edge_period(d, s) is not None for d, s in self.sweeps()):
            return ""
        return f"no direction and shift of the sweep leads to 0 or {self.periods - 1}"

    def edge_period(self, falling: int, shift: int) -> int | None:
        """Return a period from which one sweep step leads to another one, which is the first or the last."""
        periods, result = self.steps_by(falling, shift)
        found = periods[((result == 0) | (result == self.periods - 1)) & (result != periods)]
        return int(found[0]) if found.size else None


def _unless_one_is_empty(reasons: Iterable[str]) -> str:
    """Return the first reason, or nothing as soon as one of them is empty."""
    first = ""
    for reason in reasons:
        if not reason:
            return ""
        first = first or reason
    return first
