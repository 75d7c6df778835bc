"""Bus: from what stands on the bus to the register that it reaches.

Stage: reglog. In: a log of bus writes and a chip. Out: writes by register address, each with the number of the
bus write that it came from. Mirrors are undone first, then an index/data port pair.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.records import Chip
from psgmodel.reglog.log import RegisterLog

SPACING = 4
"""Least cycles between writes: as for a processor whose machine cycle takes four; common practice, no source."""


class RegisterWrites(NamedTuple):
    """Writes by register address.

    Attributes
    ----------
    cycle, address, value : ndarray of int64, shape (n,)
    origin : ndarray of int64, shape (n,)
        Number of the bus write in its log.
    """

    cycle: NDArray[np.int64]
    address: NDArray[np.int64]
    value: NDArray[np.int64]
    origin: NDArray[np.int64]


def unmirrored(chip: Chip, address: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return bus addresses with every mirror undone."""
    result = address
    for mirror in chip.mirrors:
        inside = (address >= mirror.address) & (address < mirror.address + mirror.size)
        result = np.where(inside, address - mirror.address + mirror.of, result)
    return result


def register_writes(chip: Chip, log: RegisterLog, index: int = 0) -> tuple[RegisterWrites, int]:
    """Return the writes that reach registers, and the index port after the last one.

    Parameters
    ----------
    chip : Chip
    log : RegisterLog
    index : int
        Contents of the index port before the first write; without an index port it stays as it is.
    """
    bus = chip.bus
    port = unmirrored(chip, log.address)
    number = np.arange(port.size)
    if bus.access == "direct":
        return RegisterWrites(log.cycle, port, log.value, number), index
    size = 1 << bus.index_bits
    chooses, reaches = port == bus.index_address, port == bus.data_address
    latest = np.maximum.accumulate(np.where(chooses, number, -1))
    done = np.cumsum(reaches)
    chosen = np.where(latest >= 0, log.value[latest] % size, index)
    since = done - np.where(latest >= 0, done[latest], 0)
    after = (chosen + since * bus.index_step) % size
    before = (chosen + (since - 1) * bus.index_step) % size
    writes = RegisterWrites(log.cycle[reaches], before[reaches], log.value[reaches], number[reaches])
    return writes, int(after[-1]) if after.size else index
