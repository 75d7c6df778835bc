"""Reads: what software got from the unit, against what the registers hold.

Stage: compare. In: the reads on the bus of a dump, the log. Out: a `ReadsResult`. A read at cycle c gives what stands
just before edge c, as the register map says: the readable bits that a register keeps (a sweep may have changed them),
the state bits that it shows, bits that always read 1; samples of a wave memory; the index at its port.
"""

from __future__ import annotations

from dataclasses import dataclass

from psgmodel.chip.records import Chip, Memory
from psgmodel.dump.bus import BusTraffic
from psgmodel.engine.run import run
from psgmodel.engine.state import UnitState
from psgmodel.reglog.bus import unmirrored
from psgmodel.reglog.log import RegisterLog

MOST_READS = 2000
"""Reads compared; the model is stopped at each of them."""

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
    state: UnitState | None = None
    wrong: list[SeenRead] = []
    count = compared = 0
    reached = unmirrored(chip, reads.address).tolist()
    for cycle, port, value in zip(reads.cycle.tolist(), reached, reads.value.tolist(), strict=True):
        if cycle >= end or compared == MOST_READS:
            break
        state = run(chip, log, end=cycle, state=state).state
        compared += 1
        name, address, expected = _expected(chip, state, port)
        if value != expected:
            count += 1
            text = f"{name} 0x{address:02X}: expected 0x{expected:02X}, found 0x{value:02X}"
            if len(wrong) < _MOST_LISTED:
                wrong.append(SeenRead(cycle, float(cycle / chip.clock_hz), address, expected, value, text))
    return ReadsResult(int(reads.cycle.size), compared, count, tuple(wrong))


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
