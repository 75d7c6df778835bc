"""Lost writes: what the unit would do had it been told something else.

Stage: diagnose. In: a chip, a log, a signal and a cycle. Out: changes of the log: one of the last writes that concern
the signal lost, doubled or late, or every write to one register lost.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.comparison.writes import concerning, describe_write
from psgmodel.reglog.bus import register_writes
from psgmodel.reglog.log import RegisterLog

LAST_WRITES = 12
"""How many of the writes before a difference are tried."""


@dataclass(frozen=True, slots=True)
class LogEdit:
    """Some writes that do not reach the unit as the bus says.

    Attributes
    ----------
    what : "lost", "doubled" or "late"
    numbers : tuple of int
        Of the writes in the log.
    by : int, clock cycles
        How late, or how long after the first the second one comes.
    text : str
        What to say after "as if".
    """

    what: Literal["lost", "doubled", "late"]
    numbers: tuple[int, ...]
    by: int
    text: str

    def apply(self, log: RegisterLog) -> RegisterLog:
        """Return the log so changed."""
        numbers = np.array(self.numbers, dtype=np.int64)
        columns = [log.cycle, log.address, log.value]
        moved = [c[numbers] for c in columns]
        moved[0] = moved[0] + self.by
        if self.what != "doubled":
            columns = [np.delete(c, numbers) for c in columns]
        if self.what != "lost":
            usable = moved[0] < log.end
            at = np.searchsorted(columns[0], moved[0][usable], side="right")
            columns = [np.insert(c, at, m[usable]) for c, m in zip(columns, moved, strict=True)]
        return RegisterLog(columns[0], columns[1], columns[2], log.end, log.source)


def log_edits(chip: Chip, log: RegisterLog, name: str, cycle: int) -> Iterator[tuple[LogEdit, int]]:
    """Yield changes of the writes that concern a signal, with how far each goes; the latest write first."""
    writes, _ = register_writes(chip, log.cut(0, cycle - chip.bus.write_latency + 1))
    wanted = np.flatnonzero(np.isin(writes.address, np.fromiter(concerning(chip, name), np.int64)))
    everywhere, _ = register_writes(chip, log)
    for address in sorted(set(writes.address[wanted].tolist()) & set(chip.registers)):
        numbers = tuple(everywhere.origin[everywhere.address == address].tolist())
        yield LogEdit("lost", numbers, 0, f"no write reached {chip.registers[address].name}"), 0
    for age, index in enumerate(wanted[-LAST_WRITES:][::-1].tolist()):
        number = (int(writes.origin[index]),)
        text = describe_write(chip, int(writes.address[index]), int(writes.value[index]))
        told = f"the write at cycle {int(writes.cycle[index])} ({text})"
        yield LogEdit("lost", number, 0, f"{told} had been lost"), 1 + age
        yield LogEdit("doubled", number, 1, f"{told} had been made again one cycle later"), 2 + age
        for by in (1, 2, 3):
            late = "a cycle" if by == 1 else f"{by} cycles"
            yield LogEdit("late", number, by, f"{told} had come {late} later"), 2 + by + age
