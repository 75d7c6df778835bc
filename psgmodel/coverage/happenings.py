"""Happenings: what reached the unit as a whole, as columns.

Stage: coverage. In: a run as planned, its log, what the channels did. Out: bus writes, register writes by the edge at
which they take place, restarts, and what the mixer was given; all arrays, for the behaviours of `unit`.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

import numpy as np

from psgmodel.coverage.columns import Ints, Mask, ints, mask
from psgmodel.coverage.moments import Moments
from psgmodel.coverage.sums import Seen, over_time, seen_sums
from psgmodel.engine.actions import restarts
from psgmodel.engine.followed import UnitPlan
from psgmodel.engine.kernel.layout import CLEAR, QUIET
from psgmodel.engine.kernel.library import find_kernel
from psgmodel.engine.mixing import gated
from psgmodel.reglog.bus import register_writes, unmirrored
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps, paired, steps_from_changes, sum_steps


class Happenings:
    """What happened to the unit.

    Attributes
    ----------
    bus_cycle, bus_address, bus_value : ndarray of int64
        Writes on the bus.
    edge, address, value : ndarray of int64
        Register writes as they reach registers, by edge, whether or not the power bit lets them through.
    moments : dict from channel name to Moments
    begin : UnitState
        Where the run begins.
    """

    def __init__(
        self,
        plan: UnitPlan,
        part: RegisterLog,
        fields: Mapping[str, Steps],
        moments: Mapping[str, Moments],
        levels: Mapping[str, Steps],
    ) -> None:
        chip = plan.chip
        self.chip, self.begin, self.end = chip, plan.state, plan.end
        self.events, self.fields = plan.events, fields
        self.moments, self._levels = moments, levels
        self._loud: dict[str, Steps] = {}
        self.bus_cycle, self.bus_address, self.bus_value = part.cycle, part.address, part.value
        writes, _ = register_writes(chip, part, plan.state.index)
        self.edge = writes.cycle + chip.bus.write_latency
        self.address, self.value, self.origin = writes.address, writes.value, writes.origin

    @cached_property
    def port(self) -> Ints:
        """Bus addresses with every mirror undone."""
        return unmirrored(self.chip, self.bus_address)

    @cached_property
    def power(self) -> Mask:
        """The power bit before each register write; true where there is none."""
        switch = self.chip.fields.get("power")
        if switch is None or not switch.segments:
            return np.ones(self.edge.size, np.bool_)
        s = switch.segments[0]
        is_switch = self.address == s.address
        number = np.arange(self.edge.size)
        latest = np.maximum.accumulate(np.where(is_switch, number, -1)) if number.size else number
        before = np.append(-1, latest)[:-1]
        bits = self.value >> s.low & 1
        return np.where(before >= 0, bits[before] == 1, self.begin.registers[s.address] >> s.low & 1 == 1)

    def written(self, address: int) -> Mask:
        """A register is written, and the write is not lost."""
        return mask((self.address == address) & self.power)

    def loud(self, name: str) -> Steps:
        """Return 1 where a channel is active at a volume, whatever the mixer does."""
        if name not in self._loud:
            m = self.moments[name]
            before, after = m.was_active & m._loud(m.volume(False)), m.is_active & m._loud(m.volume(True))
            self._loud[name] = over_time(m, before.astype(np.int64), after.astype(np.int64), self.end)
        return self._loud[name]

    def heard(self, name: str, sounding: Steps) -> Steps:
        """Return 1 where a signal of a channel is not 0 and some output lets the channel through."""
        outputs = len(self.chip.unit.outputs)
        return gated(sounding, self.moments[name].routes, [0] + [1] * outputs)

    def through(self, field: str) -> Steps:
        """Return 1 where a field of the mixer has a value that lets something through."""
        mixer, signal = self.chip.mixer, self.fields[field]
        gains = np.array(mixer.trims if field.endswith(".trim") else mixer.routes, dtype=np.int64)
        return steps_from_changes(signal.cycle, gains[signal.level] > 0, signal.end)

    @cached_property
    def anything_loud(self) -> Steps:
        """The number of channels that are active at a volume."""
        return sum_steps([self.loud(name) for name in self.moments])

    def overlap(self, signal: Steps, value: int, other: Steps) -> int:
        """Return for how many cycles a signal has a value while another one is not 0."""
        cycles, ours, theirs = paired(signal.cycle, signal.level, other.cycle, other.level)
        spans = np.diff(cycles, append=self.end)
        return int(spans[(ours == value) & (theirs != 0)].sum())

    @cached_property
    def sums(self) -> Mapping[str, Seen]:
        """What is seen of the mixer's sums, by output."""
        return seen_sums(self.chip, self._levels, self.fields, find_kernel().library)

    def restarts(self, divider: str) -> Ints:
        """Return the edges at which a divider is restarted."""
        return np.array(restarts(self.chip, divider, self.events), dtype=np.int64)

    @cached_property
    def cleared(self) -> Ints:
        """The edges at which the power bit clears everything."""
        return ints(self.events.edge[self.events.address == CLEAR])

    def passed(self, address: int) -> Ints:
        """Return the edges at which writes to a register take place, those with the power off left out."""
        return ints(self.events.edge[(self.events.address & ~QUIET == address) & (self.events.address >= 0)])
