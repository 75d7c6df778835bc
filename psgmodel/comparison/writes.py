"""Writes in the chip's own words, and the log that a bench was given against the one its bus carried.

Stage: compare. In: a chip, register logs. Out: writes as ``A_TONE 0x09: a.period[11:8] = 3, a.pattern = 2``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.records import Chip
from psgmodel.engine.actions import stored_samples
from psgmodel.reglog.bus import register_writes, unmirrored
from psgmodel.reglog.log import RegisterLog

_MOST_LISTED = 5


@dataclass(frozen=True, slots=True)
class SeenWrite:
    """One write.

    Attributes
    ----------
    cycle : int, clock cycles
        Cycle whose edge samples it.
    seconds : float, seconds
    address, value : int
        Of the register that it reaches; of the bus where a log is compared with its bus.
    text : str
        What it means in register and field names.
    """

    cycle: int
    seconds: float
    address: int
    value: int
    text: str

    def __str__(self) -> str:
        return f"cycle {self.cycle}: {self.text}"


@dataclass(frozen=True, slots=True)
class BusResult:
    """A register log against the writes on the bus.

    Attributes
    ----------
    log_writes, bus_writes : int
        Writes of the part that both cover.
    shift : int, clock cycles
        How much later the bus carries the log.
    missing, extra : int
        Writes of the log that the bus does not carry at their cycle, and the other way round.
    first_missing, first_extra : tuple of SeenWrite
        The first of them.
    """

    log_writes: int
    bus_writes: int
    shift: int
    missing: int
    extra: int
    first_missing: tuple[SeenWrite, ...]
    first_extra: tuple[SeenWrite, ...]

    @property
    def agrees(self) -> bool:
        """Whether the bus carries the writes of the log and no others, if perhaps all of them later."""
        return not self.missing and not self.extra

    def reasons(self) -> tuple[str, ...]:
        """Return what differs, a sentence each."""
        told = []
        for count, first, what in (
            (self.missing, self.first_missing, "of the log missing on the bus"),
            (self.extra, self.first_extra, "on the bus that the log does not have"),
        ):
            if count:
                told.append(f"{count} write{'s' if count > 1 else ''} {what}, the first at {first[0]}")
        return tuple(told)


def describe_write(chip: Chip, address: int, value: int) -> str:
    """Return a write to a register or a memory in its field names; bits that nobody owns are not named."""
    register = chip.registers.get(address)
    if register is None:
        return _memory_write(chip, address, value)
    parts = []
    for field in register.fields:
        bits = value >> field.low & (1 << (field.high - field.low + 1)) - 1
        if field.role == "drives":
            parts.append(f"{field.target} = {bits}")
        elif field.role == "strobes" and bits:
            parts.append(field.target)
    parts += register.on_write
    return f"{register.name} 0x{address:02X}: {', '.join(parts) or f'0x{value:02X}, which changes nothing'}"


def _memory_write(chip: Chip, address: int, value: int) -> str:
    memory = chip.memory_at(address)
    table = chip.channels[memory.channel].table if memory is not None else None
    if memory is None or table is None:
        return f"0x{address:02X} = 0x{value:02X}, which nobody owns"
    samples = stored_samples(table, value)
    first = (address - memory.address) * len(samples)
    which = f"sample {first}" if len(samples) == 1 else f"samples {first} to {first + len(samples) - 1}"
    text = ", ".join(str(sample) for sample in samples)
    return f"{memory.name}[{address - memory.address}] 0x{address:02X}: {memory.channel} {which} = {text}"


def describe_bus_write(chip: Chip, address: int, value: int) -> str:
    """Return a write as it stands on the bus; through an index port that is the port and not yet the register."""
    reached = int(unmirrored(chip, np.array([address], dtype=np.int64))[0])
    if chip.bus.access == "direct":
        return describe_write(chip, reached, value)
    port = {chip.bus.index_address: "index port", chip.bus.data_address: "data port"}.get(reached, "no port")
    return f"{port} 0x{address:02X} = 0x{value:02X}"


def concerning(chip: Chip, name: str) -> frozenset[int]:
    """Return the register addresses that concern a channel (not its routing), or an output: its mixer fields."""
    found = set()
    for address, register in chip.registers.items():
        targets = [f.target.partition("[")[0] for f in register.fields if f.role != "shows"]
        if any(t.startswith((f"{name}.", f"mixer.{name}.")) for t in (*targets, *register.on_write)):
            found.add(address)
    memory = chip.memories.get(name)
    if memory is not None:
        found |= set(range(memory.address, memory.address + memory.size))
    return frozenset(found)


def last_writes(
    chip: Chip, log: RegisterLog, name: str, cycle: int, count: int = _MOST_LISTED
) -> tuple[SeenWrite, ...]:
    """Return the last writes that can have changed a channel or output by a cycle; of all, where none concerns it."""
    writes, _ = register_writes(chip, log.cut(0, cycle - chip.bus.write_latency + 1))
    wanted = np.isin(writes.address, np.fromiter(concerning(chip, name), np.int64))
    chosen: NDArray[np.intp] = np.flatnonzero(wanted) if wanted.any() else np.arange(wanted.size)
    found = []
    for i in chosen[-count:].tolist():
        at, address, value = int(writes.cycle[i]), int(writes.address[i]), int(writes.value[i])
        found.append(SeenWrite(at, float(at / chip.clock_hz), address, value, describe_write(chip, address, value)))
    return tuple(found)


def compare_logs(chip: Chip, log: RegisterLog, bus: RegisterLog) -> BusResult:
    """Compare the log that a bench was given with the writes that the bus carried.

    The bus may carry the log later by a constant number of cycles, which `BusResult.shift` tells.
    """
    shifts = [0]
    if len(log) and len(bus):
        shifts.append(int(bus.cycle[0] - log.cycle[0]))
    best: BusResult | None = None
    for shift in dict.fromkeys(shifts):
        found = _at_shift(chip, log, bus, shift)
        if best is None or found.missing + found.extra < best.missing + best.extra:
            best = found
    assert best is not None
    return best


def _at_shift(chip: Chip, log: RegisterLog, bus: RegisterLog, shift: int) -> BusResult:
    """Both as multisets of (cycle, address, value): sorted, then counted against each other."""
    ours = log.cut(0, bus.end - shift)
    if _are_equal(ours, bus, shift):
        return BusResult(len(ours), len(bus), shift, 0, 0, (), ())
    table = np.concatenate(
        [
            np.stack([ours.cycle + shift, ours.address, ours.value], axis=1),
            np.stack([bus.cycle, bus.address, bus.value], axis=1),
        ]
    )
    rows, inverse = np.unique(table, axis=0, return_inverse=True)
    inverse = inverse.reshape(-1)
    of_log = np.bincount(inverse[: len(ours)], minlength=rows.shape[0])
    of_bus = np.bincount(inverse[len(ours) :], minlength=rows.shape[0])
    missing, extra = np.maximum(of_log - of_bus, 0), np.maximum(of_bus - of_log, 0)
    return BusResult(
        len(ours),
        len(bus),
        shift,
        int(missing.sum()),
        int(extra.sum()),
        _rows(chip, rows[missing > 0], -shift),
        _rows(chip, rows[extra > 0], 0),
    )


def _are_equal(log: RegisterLog, bus: RegisterLog, shift: int) -> bool:
    """Return whether the same writes come in the same order: what is nearly always so, and quickly seen."""
    return (
        np.array_equal(log.cycle + shift, bus.cycle)
        and np.array_equal(log.address, bus.address)
        and np.array_equal(log.value, bus.value)
    )


def _rows(chip: Chip, rows: NDArray[np.int64], shift: int) -> tuple[SeenWrite, ...]:
    found = []
    for cycle, address, value in rows[:_MOST_LISTED].tolist():
        text = describe_bus_write(chip, address, value)
        found.append(SeenWrite(cycle + shift, float((cycle + shift) / chip.clock_hz), address, value, text))
    return tuple(found)
