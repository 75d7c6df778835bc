"""Sums: what the mixer adds up, looked at as far as is needed.

Stage: coverage. In: channel levels of a run, mixer fields over time, what the channels did. Out: yes or no to questions
about the sums of an output. First a sample of the changes of level is looked at, where most that happens at all is
seen; then, where loudness and routes leave it open, every change. So the answer is exact, and cheap as a rule.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.coverage.columns import Ints, Mask, ints, mask
from psgmodel.coverage.moments import Moments
from psgmodel.engine.mixing import gated
from psgmodel.engine.players import channel_level
from psgmodel.steps import Steps, constant_steps, merged_cycles, paired, steps_from_changes, sum_steps

SAMPLED = 1 << 14
"""Changes of each channel that are looked at first."""


class Sums:
    """The mixer's sums over a log.

    Parameters
    ----------
    chip : Chip
    levels : mapping from channel name to Steps
    fields : mapping from field name to Steps
        Those of the mixer.
    moments : mapping from channel name to Moments
    """

    def __init__(
        self,
        chip: Chip,
        levels: Mapping[str, Steps],
        fields: Mapping[str, Steps],
        moments: Mapping[str, Moments],
        end: int,
    ) -> None:
        self.chip, self.levels, self.fields, self.moments, self.end = chip, levels, fields, moments, end
        self._looked_at: dict[bool, tuple[Ints, dict[str, Ints]]] = {}

    # --- looking at some cycles, or at all --------------------------------------------------------------------------

    def _grid(self, whole: bool) -> tuple[Ints, dict[str, Ints]]:
        """Return cycles, and the level of each channel there."""
        if whole not in self._looked_at:
            lists = [s.cycle if whole else s.cycle[:: 1 + s.cycle.size // SAMPLED] for s in self.levels.values()]
            cycles = merged_cycles([*lists, *(s.cycle for s in self.fields.values())])
            self._looked_at[whole] = cycles, {n: ints(s.at(cycles)) for n, s in self.levels.items()}
        return self._looked_at[whole]

    def _parts(self, output: str, whole: bool) -> tuple[dict[str, Ints], Ints]:
        """Return levels as they go into the sum of an output, and the trims there."""
        cycles, levels = self._grid(whole)
        m = self.chip.mixer
        routes = np.array(m.routes, dtype=np.int64)
        parts = {n: x * m.gains[n] * routes[self.fields[f"mixer.{output}.{n}"].at(cycles)] for n, x in levels.items()}
        trim = self.fields.get(f"mixer.{output}.trim")
        at = np.zeros(cycles.size, np.int64) if trim is None else ints(trim.at(cycles))
        return parts, np.array(m.trims, dtype=np.int64)[at]

    def _some(self, look: Callable[[bool], Mask], *, possible: bool = True) -> bool:
        """Return whether something is seen in the sample, or, where it is possible, anywhere."""
        return bool(np.any(look(False))) or (possible and bool(np.any(look(True))))

    # --- what is asked ------------------------------------------------------------------------------------------------

    def _products(self, output: str, whole: bool) -> Ints:
        parts, trims = self._parts(output, whole)
        return ints(sum(parts.values()) * trims)

    def over(self, output: str) -> bool:
        """Return whether the code passes the top of its width."""
        m = self.chip.mixer
        largest = (1 << m.bits) - 1
        possible = (self._bound(output, True) >> m.trim_shift) + m.offset > largest
        return self._some(lambda w: (self._products(output, w) >> m.trim_shift) + m.offset > largest, possible=possible)

    def under(self, output: str) -> bool:
        """Return whether the code falls below 0."""
        m = self.chip.mixer
        possible = (self._bound(output, False) >> m.trim_shift) + m.offset < 0
        return self._some(lambda w: (self._products(output, w) >> m.trim_shift) + m.offset < 0, possible=possible)

    def fraction(self, output: str) -> bool:
        """Return whether the shift rounds down a product."""
        m = self.chip.mixer
        odd, trim = 1 << m.trim_shift, self.fields.get(f"mixer.{output}.trim")
        used = [0] if trim is None else np.unique(trim.level).tolist()
        possible = any(m.trims[t] % odd for t in used)
        return self._some(lambda w: self._products(output, w) % odd != 0, possible=possible)

    def alone(self, output: str, name: str) -> bool:
        """Return whether a channel at some time is the only one that is not 0 in an output."""

        def look(whole: bool) -> Mask:
            parts, trims = self._parts(output, whole)
            others = sum((mask(x != 0) for n, x in parts.items() if n != name), np.zeros(trims.size, np.int64))
            return mask((parts[name] != 0) & (others == 0) & (trims > 0))

        return self._some(look, possible=self._ever(output, name))

    def together(self, output: str, count: int) -> bool:
        """Return whether so many channels at some time are not 0 in an output."""

        def look(whole: bool) -> Mask:
            parts, trims = self._parts(output, whole)
            return mask((sum(mask(x != 0).astype(np.int64) for x in parts.values()) >= count) & (trims > 0))

        most = sum_steps([self._shown(output, name) for name in self.chip.channels])
        return self._some(look, possible=int(most.level.max(initial=0)) >= count)

    # --- bounds -------------------------------------------------------------------------------------------------------

    @cached_property
    def peaks(self) -> dict[str, tuple[Steps, Steps]]:
        """The largest and the least level that each channel can have at its volume, over time."""
        return {name: self._peaks_of(name) for name in self.chip.channels}

    def _peaks_of(self, name: str) -> tuple[Steps, Steps]:
        channel, m = self.chip.channels[name], self.moments[name]
        raws = [0, 1] if channel.table is None else [0, (1 << channel.table.bits) - 1]
        volumes = range(1 << channel.volume_bits)
        table = np.array([[channel_level(channel, raw, v) for raw in raws] for v in volumes], dtype=np.int64)
        found = []
        for pick in (np.max, np.min):
            ends = pick(table, axis=1)
            before = np.where(m.was_active, ends[m.volume(False)], channel.idle_level)
            after = np.where(m.is_active, ends[m.volume(True)], channel.idle_level)
            found.append(over_time(m, before, after, self.end))
        return found[0], found[1]

    def _bound(self, output: str, top: bool) -> int:
        """Return a bound for the products of an output."""
        m = self.chip.mixer
        parts = []
        for name, (high, low) in self.peaks.items():
            gains = [m.gains[name] * r for r in m.routes]
            route = self.fields[f"mixer.{output}.{name}"]
            parts.append(gated(high if top else low, route, gains))
        total = sum_steps(parts)
        trim = self.fields.get(f"mixer.{output}.trim", constant_steps(0, total.start, total.end))
        _, sums, trims = paired(total.cycle, total.level, trim.cycle, trim.level)
        products = sums.astype(np.int64) * np.array(m.trims, dtype=np.int64)[trims]
        return int(products.max(initial=0) if top else products.min(initial=0))

    def _shown(self, output: str, name: str) -> Steps:
        """Return 1 where a channel can be other than 0 in an output."""
        high, low = self.peaks[name]
        m = self.chip.mixer
        either = sum_steps([_size(high), _size(low)])
        some = Steps(either.cycle, (either.level != 0).astype(np.int32), either.end)
        gains = [int(m.gains[name] * r > 0) for r in m.routes]
        return gated(some, self.fields[f"mixer.{output}.{name}"], gains)

    def _ever(self, output: str, name: str) -> bool:
        return bool(self._shown(output, name).level.any())


def _size(signal: Steps) -> Steps:
    return Steps(signal.cycle, np.abs(signal.level), signal.end)


def over_time(m: Moments, before: Ints, after: Ints, end: int) -> Steps:
    """Return what stood before the first edge that was shown, and what stands after each of them."""
    if not m.edge.size:
        return constant_steps(0, 0, end)
    first = [] if m.edge[0] == 0 else [0]
    return steps_from_changes(np.append(np.array(first, np.int64), m.edge), np.append(before[: len(first)], after), end)
