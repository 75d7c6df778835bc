"""Reads: what software got from the unit, against what the registers hold.

Stage: compare. In: the reads on the bus of a dump, the log. Out: a `ReadsResult`. A read at cycle c gives what stands
just before edge c, as the register map says: the readable bits that a register keeps (a sweep may have changed them),
the state bits that it shows, bits that always read 1; samples of a wave memory; the index at its port.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from psgmodel.chip.records import Chip, Memory
from psgmodel.dump.bus import BusTraffic
from psgmodel.engine.standing import states_at
from psgmodel.engine.state import UnitState
from psgmodel.reglog.bus import unmirrored
from psgmodel.reglog.log import RegisterLog

_MOST_LISTED = 5


@dataclass(frozen=True, slots=True)
class SeenRead:
    """One read.

    Attributes
    ----------
    cycle : int, clock cycles
        Cycle whose edge samples the strobe.
    seconds : float, seconds
    address, expected, found : int
    text : str
    """

    cycle: int
    seconds: float
    address: int
    expected: int
    found: int
    text: str

    def __str__(self) -> str:
        return f"cycle {self.cycle} ({self.seconds:.9f} s): {self.text}"


@dataclass(frozen=True, slots=True)
class ReadsResult:
    """All reads.

    Attributes
    ----------
    reads, compared, wrong : int
    first_wrong : tuple of SeenRead
    """

    reads: int
    compared: int
    wrong: int
    first_wrong: tuple[SeenRead, ...]

    @property
    def agrees(self) -> bool:
        """Whether every read that was compared gave what it should."""
        return not self.wrong

    def reasons(self) -> tuple[str, ...]:
        """Return what differs, in a sentence."""
        if not self.wrong:
            return ()
        plural = "s" if self.wrong > 1 else ""
        return (f"{self.wrong} read{plural} of {self.compared} gave another value, the first at {self.first_wrong[0]}",)


def compare_reads(chip: Chip, log: RegisterLog, reads: BusTraffic, end: int) -> ReadsResult:
    """Compare the reads before cycle `end` with what the model holds."""
    log = log.with_end(end)
    count = int(np.searchsorted(reads.cycle, end))
    cycles, values = reads.cycle[:count].tolist(), reads.value[:count].tolist()
    ports = unmirrored(chip, reads.address[:count]).tolist()
    wrong: list[SeenRead] = []
    wrongs = 0
    states = states_at(chip, log, cycles, _channels_read(chip, set(ports)))
    for cycle, port, value, state in zip(cycles, ports, values, states, strict=True):
        name, address, expected = _expected(chip, state, port)
        if value != expected:
            wrongs += 1
            text = f"{name} 0x{address:02X}: expected 0x{expected:02X}, found 0x{value:02X}"
            if len(wrong) < _MOST_LISTED:
                wrong.append(SeenRead(cycle, float(cycle / chip.clock_hz), address, expected, value, text))
    return ReadsResult(int(reads.cycle.size), count, wrongs, tuple(wrong))


def _channels_read(chip: Chip, ports: Collection[int]) -> set[str]:
    """Return the channels on which reads of some bus addresses can depend."""
    addresses = (
        ports if chip.bus.access == "direct" else [*chip.registers, *(m.address for m in chip.memories.values())]
    )
    channels = set()
    for address in addresses:
        memory = chip.memory_at(address)
        if memory is not None:
            channels.add(memory.channel)
        if address in chip.registers:
            shown = {
                field.target.partition(".")[0] for field in chip.registers[address].fields if field.role == "shows"
            }
            channels |= shown
    for name, channel in chip.channels.items():
        if channel.sweep is not None and any(s.address in addresses for s in chip.fields[f"{name}.period"].segments):
            channels.add(name)
    return channels


def _expected(chip: Chip, state: UnitState, port: int) -> tuple[str, int, int]:
    """Return name and address of what a read reaches, and its value."""
    if chip.bus.access == "index-data":
        if port == chip.bus.index_address:
            return "index port", port, state.index
        if port != chip.bus.data_address:
            return "no port", port, chip.bus.unowned_reads
        port = state.index
    return _name_of(chip, port), port, value_at(chip, state, port)


def value_at(chip: Chip, state: UnitState, address: int) -> int:
    """Return what a read of a register or memory address gives in a state of the unit."""
    register = chip.registers.get(address)
    if register is None:
        memory = chip.memory_at(address)
        return (
            _memory_value(chip, state, memory, address - memory.address)
            if memory is not None
            else chip.bus.unowned_reads
        )
    value = state.registers[address]
    for field in register.fields:
        if field.role == "shows":
            value |= state.channels[field.target.partition(".")[0]].active << field.low
    return value & register.read_mask | register.read_ones


def _memory_value(chip: Chip, state: UnitState, memory: Memory, index: int) -> int:
    table, channel = chip.channels[memory.channel].table, state.channels[memory.channel]
    if table is None or table.reads == "zero":
        return 0
    if table.reads == "sounding" and channel.active:
        index = channel.position // table.per_address
    first = index * table.per_address
    samples = state.memories[memory.channel][first : first + table.per_address]
    if table.order == "high-first":
        samples = samples[::-1]
    return sum(sample << k * table.bits for k, sample in enumerate(samples))


def _name_of(chip: Chip, address: int) -> str:
    if address in chip.registers:
        return chip.registers[address].name
    memory = chip.memory_at(address)
    return "nobody's address" if memory is None else f"{memory.name}[{address - memory.address}]"
