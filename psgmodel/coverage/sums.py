"""Sums: what the mixer adds up, looked at as far as is needed.

Stage: coverage. In: channel levels of a run, mixer fields over time, what the channels did. Out: yes or no to questions
about the sums of an output. First a sample of the changes of level is looked at, where most that happens at all is
seen; then, where loudness and routes leave it open, every change. So the answer is exact, and cheap as a rule.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.coverage.columns import Ints
from psgmodel.coverage.moments import Moments
from psgmodel.engine.mixing import gated
from psgmodel.engine.players import channel_level
from psgmodel.steps import Steps, constant_steps, merged_cycles, paired, steps_from_changes, sum_steps

PIECE = 1 << 18
"""Cycles that are looked at in one go."""

SAMPLED = 1 << 14
"""Changes of each channel that are looked at first."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What is seen of an output: its largest and its least product, whether the shift rounds one down, which channels
    are alone at some time, and the most channels at one time."""

    largest: int
    least: int
    fraction: bool
    alone: frozenset[str]
    together: int


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
        self._seen: dict[tuple[str, bool], Seen] = {}

    # --- looking at some cycles, or at all --------------------------------------------------------------------------

    def _look(self, output: str, whole: bool) -> Seen:
        """Return what is seen in a sample of the changes of level, or in all of them."""
        if (output, whole) not in self._seen:
            lists = [s.cycle if whole else s.cycle[:: 1 + s.cycle.size // SAMPLED] for s in self.levels.values()]
            cycles = merged_cycles([*lists, *(s.cycle for s in self.fields.values())])
            parts = [self._part(output, cycles[at : at + PIECE]) for at in range(0, cycles.size, PIECE)]
            self._seen[output, whole] = Seen(
                max((p.largest for p in parts), default=0),
                min((p.least for p in parts), default=0),
                any(p.fraction for p in parts),
                frozenset().union(*(p.alone for p in parts)),
                max((p.together for p in parts), default=0),
            )
        return self._seen[output, whole]

    def _part(self, output: str, cycles: Ints) -> Seen:
        """Return what is seen in some cycles."""
        m = self.chip.mixer
        routes = np.array(m.routes, dtype=np.int64)
        trim = self.fields.get(f"mixer.{output}.trim")
        chosen = np.zeros(cycles.size, np.int64) if trim is None else trim.at(cycles)
        trims = np.array(m.trims, dtype=np.int64)[chosen]
        total, count = np.zeros(cycles.size, np.int64), np.zeros(cycles.size, np.int64)
        shown = {}
        for name, level in self.levels.items():
            part = level.at(cycles) * m.gains[name] * routes[self.fields[f"mixer.{output}.{name}"].at(cycles)]
            shown[name] = (part != 0) & (trims > 0)
            total, count = total + part, count + shown[name]
        products = total * trims
        alone = frozenset(name for name, there in shown.items() if np.any(there & (count == 1)))
        odd = bool(np.any(products % (1 << m.trim_shift)))
        return Seen(int(products.max()), int(products.min()), odd, alone, int(count.max()))

    def _some(self, output: str, ask: Callable[[Seen], bool], possible: Callable[[], bool]) -> bool:
        """Return whether something is seen in the sample, or, where it is possible, anywhere."""
        return ask(self._look(output, False)) or (possible() and ask(self._look(output, True)))

    # --- what is asked ------------------------------------------------------------------------------------------------

    def over(self, output: str) -> bool:
        """Return whether the code passes the top of its width."""
        m = self.chip.mixer

        def passes(product: int) -> bool:
            return (product >> m.trim_shift) + m.offset > (1 << m.bits) - 1

        return self._some(output, lambda seen: passes(seen.largest), lambda: passes(self._bound(output, True)))

    def under(self, output: str) -> bool:
        """Return whether the code falls below 0."""
        m = self.chip.mixer

        def passes(product: int) -> bool:
            return (product >> m.trim_shift) + m.offset < 0

        return self._some(output, lambda seen: passes(seen.least), lambda: passes(self._bound(output, False)))

    def fraction(self, output: str) -> bool:
        """Return whether the shift rounds down a product."""
        m = self.chip.mixer
        trim = self.fields.get(f"mixer.{output}.trim")
        used = [0] if trim is None else np.unique(trim.level).tolist()
        return self._some(
            output, lambda seen: seen.fraction, lambda: any(m.trims[t] % (1 << m.trim_shift) for t in used)
        )

    def alone(self, output: str, name: str) -> bool:
        """Return whether a channel at some time is the only one that is not 0 in an output."""
        return self._some(output, lambda seen: name in seen.alone, lambda: self._ever(output, name))

    def together(self, output: str, count: int) -> bool:
        """Return whether so many channels at some time are not 0 in an output."""

        def possible() -> bool:
            most = sum_steps([self._shown(output, name) for name in self.chip.channels])
            return int(most.level.max(initial=0)) >= count

        return self._some(output, lambda seen: seen.together >= count, possible)

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
