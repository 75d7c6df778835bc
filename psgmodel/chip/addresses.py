"""Addresses: who owns which, with no address owned twice.

Stage: chip. In: the bus, registers, memories and mirrors one after another. Out: problems with their place.
"""

from __future__ import annotations

from collections.abc import Sequence

from psgmodel.chip.options import ReadingState
from psgmodel.chip.records import Bus, Mirror
from psgmodel.tomlfile import KeyPath

Owned = tuple[int, int, str]
"""First address, last address, owner."""


class AddressState:
    """What is taken so far: register addresses, and behind an index/data port pair also bus addresses."""

    def __init__(self, bus: Bus, state: ReadingState) -> None:
        self.bus, self.state = bus, state
        self.owned: list[Owned] = []
        self.at_bus: list[Owned] = []
        self.names: set[str] = set()

    def claim(self, first: int, count: int, name: str, path: KeyPath) -> None:
        """Note who owns some addresses; report a name given twice, and addresses outside the bus or owned twice."""
        if name and name in self.names:
            self.state.report(path, f"the name {name} is given twice")
        self.names.add(name)
        direct = self.bus.access == "direct"
        self._take(self.owned, first, count, self.bus.address_bits if direct else self.bus.index_bits, name, path)

    def _take(self, owned: list[Owned], first: int, count: int, bits: int, name: str, path: KeyPath) -> None:
        last = first + count - 1
        if last >> bits:
            self.state.report(path, f"found 0x{last:02X}, accepted: 0x00 to 0x{(1 << bits) - 1:02X}")
            return
        for begin, end, owner in owned:
            if first <= end and begin <= last:
                self.state.report(path, f"address 0x{max(first, begin):02X} already belongs to {owner}")
                return
        owned.append((first, last, name))

    def ports(self) -> None:
        """Claim the bus addresses of an index/data port pair."""
        if self.bus.access == "index-data":
            for key, address in (("index_address", self.bus.index_address), ("data_address", self.bus.data_address)):
                name = f"the {key.removesuffix('_address')} port"
                self._take(self.at_bus, address, 1, self.bus.address_bits, name, ("bus", key))

    def mirrors(self, mirrors: Sequence[Mirror]) -> None:
        """Claim the addresses of mirrors, which are always bus addresses; report mirrors of mirrors."""
        owned = self.owned if self.bus.access == "direct" else self.at_bus
        largest = (1 << self.bus.address_bits) - 1
        for index, mirror in enumerate(mirrors):
            name = f"the mirror at 0x{mirror.address:02X}"
            self._take(owned, mirror.address, mirror.size, self.bus.address_bits, name, ("mirror", index, "address"))
            last = mirror.of + mirror.size - 1
            if last > largest:
                found = f"found 0x{mirror.of:02X} to 0x{last:02X}, accepted: within 0x00 to 0x{largest:02X}"
                self.state.report(("mirror", index, "of"), found)
            for other in mirrors:
                if other.address <= last and mirror.of < other.address + other.size:
                    address = max(other.address, mirror.of)
                    self.state.report(("mirror", index, "of"), f"0x{address:02X} is an address that is itself mirrored")
                    break
