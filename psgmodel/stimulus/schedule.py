"""Schedule: which cycles of the bus are taken.

Stage: stimulus. In: writes, one after another, from several players who do not know of one another. Out: bus writes
that keep their least spacing, in the order of their cycles.
"""

from __future__ import annotations

from bisect import bisect_left, insort

from psgmodel.chip.records import Chip
from psgmodel.stimulus.shadow import RegisterWrite, bus_writes

BusRow = tuple[int, int, int]
"""Cycle, bus address, value."""


class Schedule:
    """The bus over time."""

    def __init__(self, chip: Chip, spacing: int) -> None:
        self.chip, self.spacing = chip, spacing
        self.each = 2 if chip.bus.access == "index-data" else 1
        self.latency = chip.bus.write_latency
        self._cycles: list[int] = []
        self._rows: list[BusRow] = []

    def fork(self, now: int) -> Schedule:
        """Return the bus from about a cycle on; what is put on it stays apart."""
        twin = Schedule(self.chip, self.spacing)
        twin._cycles = self._cycles[bisect_left(self._cycles, now - self.latency - 4 * self.spacing) :]
        return twin

    @property
    def lead(self) -> int:
        """Cycles that a register write takes on the bus before the one in which its data stand there."""
        return self.spacing * (self.each - 1)

    def is_free(self, cycle: int) -> bool:
        """Return whether a register write can have its data on the bus in a cycle."""
        first, last = cycle - self.lead - self.spacing, cycle + self.spacing
        at = bisect_left(self._cycles, first + 1)
        return cycle >= self.lead and (at == len(self._cycles) or self._cycles[at] >= last)

    def next_free(self, cycle: int) -> int:
        """Return the first cycle from `cycle` on in which a register write can have its data on the bus."""
        cycle = max(cycle, self.lead)
        while not self.is_free(cycle):
            at = bisect_left(self._cycles, cycle - self.lead - self.spacing + 1)
            cycle = self._cycles[at] + self.spacing + self.lead
        return cycle

    def is_last(self, cycle: int) -> bool:
        """Return whether every write so far is at least the spacing before a cycle."""
        return not self._cycles or self._cycles[-1] + self.spacing <= cycle

    @property
    def last(self) -> int:
        """Cycle of the last write so far; -1 before the first one."""
        return self._cycles[-1] if self._cycles else -1

    def put(self, cycle: int, write: RegisterWrite) -> None:
        """Put a register write on the bus, its data in a cycle that is free."""
        rows = list(bus_writes(self.chip, write))
        for i, (address, value) in enumerate(rows):
            self.put_row(cycle - self.spacing * (len(rows) - 1 - i), address, value)

    def put_row(self, cycle: int, address: int, value: int) -> None:
        """Put one bus write into a cycle."""
        insort(self._cycles, cycle)
        self._rows.append((cycle, address, value))

    def rows(self) -> list[BusRow]:
        """Return every bus write, in the order of the cycles."""
        return sorted(self._rows)
