"""Shadow: registers as software writes them.

Stage: stimulus. In: what is meant (a field, a strobe, a sample). Out: register writes, in which the bits that are not
meant keep what was written last, and from these, bus writes.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from psgmodel.chip.records import Chip, Field

RegisterWrite = tuple[int, int]
"""Register address and value."""
BusWrite = tuple[int, int]
"""Bus address and value."""


class Strobe(NamedTuple):
    """Where software strobes something: a bit, or (mask 0) any write to the register."""

    target: str
    address: int
    mask: int


def strobes_of(chip: Chip) -> list[Strobe]:
    """Return every strobe of the register map, in its order."""
    found = []
    for address, register in chip.registers.items():
        found += [Strobe(target, address, 0) for target in register.on_write]
        found += [Strobe(g.target, address, 1 << g.low) for g in register.fields if g.role == "strobes"]
    return found


def driven_fields(chip: Chip) -> list[Field]:
    """Return the fields that software can set, by name."""
    return [chip.fields[name] for name in sorted(chip.fields) if chip.fields[name].segments]


class ShadowState:
    """What software believes to be in the registers."""

    def __init__(self, chip: Chip) -> None:
        self.chip = chip
        self.stored = {address: register.reset for address, register in chip.registers.items()}

    def fork(self) -> ShadowState:
        """Return a copy."""
        twin = ShadowState(self.chip)
        twin.stored = dict(self.stored)
        return twin

    def put(self, address: int, value: int) -> RegisterWrite:
        """Write a whole register or memory address."""
        if address in self.stored:
            self.stored[address] = value & self.chip.registers[address].stored
        return address, value

    def strobe(self, strobe: Strobe) -> RegisterWrite:
        """Write a register so that it strobes."""
        return strobe.address, self.stored[strobe.address] | strobe.mask

    def set(self, fields: dict[str, int]) -> list[RegisterWrite]:
        """Write fields, one write for each register that holds some of them, by rising address."""
        wanted = dict(self.stored)
        touched = set()
        for name, value in fields.items():
            for s in self.chip.fields[name].segments:
                mask = (1 << s.width) - 1
                wanted[s.address] = wanted[s.address] & ~(mask << s.low) | (value >> s.field_low & mask) << s.low
                touched.add(s.address)
        return [self.put(address, wanted[address]) for address in sorted(touched)]

    def in_order(self, writes: list[RegisterWrite]) -> list[RegisterWrite]:
        """Return writes with those that wait before those that let them go; these are written in any case."""
        holds, addresses = self.chip.held(), {a for a, _ in writes}
        more = [
            (release, self.stored[release])
            for held, release in holds.items()
            if held in addresses and release not in addresses
        ]
        return sorted([*writes, *dict(more).items()], key=lambda w: (w[0] in holds.values(), w[0]))

    def value(self, name: str) -> int:
        """Return what stands in a field."""
        field = self.chip.fields[name]
        if not field.segments:
            return field.reset
        return sum((self.stored[s.address] >> s.low & (1 << s.width) - 1) << s.field_low for s in field.segments)

    def clear(self) -> None:
        """Believe every register to be as after reset, as it is once the power bit has cleared the unit."""
        self.stored.update({address: register.reset for address, register in self.chip.registers.items()})


def bus_writes(chip: Chip, write: RegisterWrite) -> Iterator[BusWrite]:
    """Yield what stands on the bus for a register write: the write itself, or index and data."""
    address, value = write
    if chip.bus.access == "index-data":
        yield chip.bus.index_address, address
        address = chip.bus.data_address
    yield address, value


def single_bits(width: int) -> list[int]:
    """Return every number with one bit set."""
    return [1 << bit for bit in range(width)]
