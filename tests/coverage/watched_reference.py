"""The reference engine as a judge of coverage: every edge of every channel is shown, one by one.

Stage: tests. In: chip, log. Out: the `Moments` of each channel, as `psgmodel.coverage` makes them of what it follows
from event to event, but with nothing skipped and with writes, strobes and ticks as the reference engine finds them.
"""

from __future__ import annotations

from psgmodel.chip import Chip
from psgmodel.coverage.following import own_registers
from psgmodel.coverage.moments import Moments, routed_over_time
from psgmodel.coverage.watching import WatchedChannel
from psgmodel.engine.actions import mixer_fields, unit_events
from psgmodel.engine.blocks import Fields
from psgmodel.engine.reference import ReferenceUnit, _writes_by_edge
from psgmodel.engine.state import ChannelState, UnitState, reset_state
from psgmodel.reglog import RegisterLog


class _Shown(WatchedChannel):
    """A watched channel that is driven as the reference drives its own."""

    def __init__(self, unit: WatchedUnit, name: str, state: ChannelState, memory: list[int] | None) -> None:
        super().__init__(unit.chip.channels[name], state, memory)
        self.unit, self.name = unit, name

    def edge(  # the reference calls this; `show` calls the real one
        self,
        old: Fields,
        new: Fields,
        written: frozenset[str],
        strobes: set[str],
        ticks: dict[str, bool],
        samples: list[tuple[int, int]],
    ) -> int | None:
        if self.unit.within:
            return super().edge(old, new, written, strobes, ticks, samples)
        self.unit.within = True
        try:
            return self.show(self.unit.cycle, old, new, written, self.unit.wrote(self.name), strobes, ticks, samples)
        finally:
            self.unit.within = False

    def clear(self, samples: list[tuple[int, int]]) -> None:
        if self.unit.within:
            super().clear(samples)
            return
        self.unit.within = True
        fields = self.unit.fields[self.name]
        self.show(
            self.unit.cycle,
            fields,
            self.unit.read(self.name),
            frozenset(),
            self.unit.wrote(self.name),
            set(),
            self.unit.ticks,
            samples,
            cleared=True,
        )
        self.unit.within = False


class WatchedUnit(ReferenceUnit):
    """The reference unit, its channels watched."""

    def __init__(self, chip: Chip, state: UnitState) -> None:
        super().__init__(chip, state)
        self.within, self.cycle = False, 0
        self.ticks: dict[str, bool] = {}
        self.addresses: set[int] = set()
        self.watched = {n: _Shown(self, n, state.channels[n], state.memories.get(n)) for n in chip.channels}
        self.channels = dict(self.watched)
        self.own = {name: own_registers(chip, name) for name in chip.channels}

    def wrote(self, name: str) -> int:
        """Which registers of a channel were written at this edge, as bits."""
        return sum(1 << i for i, address in enumerate(self.own[name]) if address in self.addresses)

    def read(self, name: str) -> Fields:
        """The fields of a channel as the registers stand."""
        return self._fields()[name]

    def _written(self, name: str, written: set[int]) -> frozenset[str]:
        self.addresses = written
        return super()._written(name, written)

    def edge(self, cycle: int, writes: list[tuple[int, int]]) -> None:
        self.cycle, self.addresses = cycle, set()
        self.ticks = dict.fromkeys(self.chip.ticks, False)
        super().edge(cycle, writes)


def watched_by_reference(chip: Chip, log: RegisterLog) -> dict[str, Moments]:
    """Run a log cycle by cycle and return what happened to each channel."""
    state = reset_state(chip)
    unit = WatchedUnit(chip, state)
    part = log.cut(0, log.end - chip.bus.write_latency)
    writes = _writes_by_edge(chip, part)
    for cycle in range(log.end):
        unit.edge(cycle, writes.get(cycle, []))
        for channel in unit.watched.values():
            channel.passed(0, 0, 0, 0)
            channel.standing = unit.fields[channel.name]
    fields = mixer_fields(chip, unit_events(chip, part, state), state, log.end)
    return {
        name: Moments(chip, name, channel.watched(unit.fields[name]), routed_over_time(chip, name, fields))
        for name, channel in unit.watched.items()
    }
