"""Checks: whether a log fits a chip.

Stage: reglog. In: a log and a chip. Out: nothing, or every write that the chip's bus cannot have.
"""

from __future__ import annotations

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.errors import Problem, RegisterLogError
from psgmodel.reglog.bus import register_writes, unmirrored
from psgmodel.reglog.log import RegisterLog, some_of


def check_log(log: RegisterLog, chip: Chip) -> None:
    """Check every write of a log against the register map.

    Raises
    ------
    RegisterLogError
        A value wider than the bus, or an address that no port, register or memory owns; all are told together.
    """
    problems: list[tuple[int, Problem]] = []
    for index in np.flatnonzero(log.value >> chip.bus.data_bits):
        text = f"value 0x{int(log.value[index]):X} is wider than the {chip.bus.data_bits} data bits"
        problems.append((int(index), Problem(text, log.place(int(index)))))
    if chip.bus.access == "index-data":
        ports = [chip.bus.index_address, chip.bus.data_address]
        for index in np.flatnonzero(~np.isin(unmirrored(chip, log.address), ports)):
            text = f"no port at address 0x{int(log.address[index]):02X}"
            hint = f"the index port is 0x{ports[0]:02X}, the data port 0x{ports[1]:02X}"
            problems.append((int(index), Problem(text, log.place(int(index)), hint)))
    writes, _ = register_writes(chip, log)
    used = np.unique(writes.address).tolist()
    nobodys = [a for a in used if a not in chip.registers and chip.memory_at(a) is None]
    for row in np.flatnonzero(np.isin(writes.address, nobodys)):
        address, number = int(writes.address[row]), int(writes.origin[row])
        text = f"nobody owns address 0x{address:02X}"
        problems.append((number, Problem(text, log.place(number), near(chip, address))))
    if problems:
        problems.sort(key=lambda p: p[0])
        raise RegisterLogError(some_of([p for _, p in problems]))


def near(chip: Chip, address: int) -> str:
    """Return a hint that names the register nearest to an address."""
    if not chip.registers:
        return ""
    best = min(chip.registers, key=lambda a: abs(a - address))
    return f"the nearest register is {chip.registers[best].name} at 0x{best:02X}"
