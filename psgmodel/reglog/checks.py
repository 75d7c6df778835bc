"""Checks: whether a log fits a chip.

Stage: reglog. In: a log and a chip. Out: nothing, or every write that the chip's bus cannot have.
"""

from __future__ import annotations

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.errors import Problem, RegisterLogError
from psgmodel.reglog.log import RegisterLog, some_of


def check_log(log: RegisterLog, chip: Chip) -> None:
    """Check every write of a log against the register map.

    Raises
    ------
    RegisterLogError
        A value wider than the bus, or an address that no register and no memory owns; all are told together.
    """
    problems: list[tuple[int, Problem]] = []
    largest = (1 << chip.bus.data_bits) - 1
    for index in np.flatnonzero(log.value > largest):
        text = f"value 0x{int(log.value[index]):X} is wider than the {chip.bus.data_bits} data bits"
        problems.append((int(index), Problem(text, log.place(int(index)))))
    owned = np.fromiter(chip.registers, np.int64, len(chip.registers))
    known = np.isin(log.address, owned)
    for memory in chip.memories.values():
        table = chip.channels[memory.channel].table
        size = table.samples if table is not None else 0
        known |= (log.address >= memory.address) & (log.address < memory.address + size)
    for index in np.flatnonzero(~known):
        address = int(log.address[index])
        problems.append(
            (int(index), Problem(f"nobody owns address 0x{address:02X}", log.place(int(index)), near(chip, address)))
        )
    if problems:
        problems.sort(key=lambda p: p[0])
        raise RegisterLogError(some_of([p for _, p in problems]))


def near(chip: Chip, address: int) -> str:
    """Return a hint that names the register nearest to an address."""
    if not chip.registers:
        return ""
    best = min(chip.registers, key=lambda a: abs(a - address))
    return f"the nearest register is {chip.registers[best].name} at 0x{best:02X}"
