"""Addresses: who owns which, with no address owned twice.

Stage: chip. In: the bus, registers, memories and mirrors one after another. Out: problems with their place.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from psgmodel.chip.options import ReadingState
from psgmodel.chip.records import Bus, Mirror
from psgmodel.tomlfile import KeyPath


class Owners:
    """Ranges of addresses and who owns them, by rising address; no two overlap."""

    def __init__(self) -> None:
        self.firsts: list[int] = []
        self.lasts: list[int] = []
        self.names: list[str] = []

    def overlapped(self, first: int, last: int) -> tuple[int, str] | None:
        """Return the first address of a range that is owned already, and by whom."""
        at = bisect_left(self.lasts, first)
        if at == len(self.firsts) or self.firsts[at] > last:
            return None
        return max(first, self.firsts[at]), self.names[at]

    def add(self, first: int, last: int, name: str) -> None:
        """Add a range that overlaps no other."""
        at = bisect_left(self.firsts, first)
        self.firsts.insert(at, first)
        self.lasts.insert(at, last)
        self.names.insert(at, name)


class AddressState:
    """What is taken so far: register addresses, and behind an index/data port pair also bus addresses."""

    def __init__(self, bus: Bus, state: ReadingState) -> None:
        self.bus, self.state = bus, state
        self.owned, self.at_bus = Owners(), Owners()
        self.names: set[str] = set()

    def claim(self, first: int, count: int, name: str, path: KeyPath) -> None:
        """Note who owns some addresses; report a name given twice, and addresses outside the bus or owned twice."""
        if name and name in self.names:
            self.state.report(path, f"the name {name} is given twice")
        self.names.add(name)
        direct = self.bus.access == "direct"
        self._take(self.owned, first, count, self.bus.address_bits if direct else self.bus.index_bits, name, path)

    def _take(self, owned: Owners, first: int, count: int, bits: int, name: str, path: KeyPath) -> None:
        last = first + count - 1
        if last >> bits:
            self.state.report(path, f"found 0x{last:02X}, accepted: 0x00 to 0x{(1 << bits) - 1:02X}")
        elif (known := owned.overlapped(first, last)) is not None:
            self.state.report(path, f"address 0x{known[0]:02X} already belongs to {known[1]}")
        else:
            owned.add(first, last, name)

    def ports(self) -> None:
        """Claim the bus addresses of an index/data port pair."""
        if self.bus.access == "index-data":
            for key, address in (("index_address", self.bus.index_address), ("data_address", self.bus.data_address)):
                name = f"the {key.removesuffix('_address')} port"
                self._take(self.at_bus, address, 1, self.bus.address_bits, name, ("bus", key))

    def mirrors(self, mirrors: Sequence[Mirror]) -> None:
        """Claim the addresses of mirrors, which are always bus addresses; report mirrors of mirrors."""
        owned = self.owned if self.bus.access == "direct" else self.at_bus
        largest, mirrored = (1 << self.bus.address_bits) - 1, Owners()
        for index, mirror in enumerate(mirrors):
            name, path = f"the mirror at 0x{mirror.address:02X}", ("mirror", index, "address")
            end = mirror.address + mirror.size - 1
            self._take(owned, mirror.address, mirror.size, self.bus.address_bits, name, path)
            if mirrored.overlapped(mirror.address, end) is None:
                mirrored.add(mirror.address, end, name)
        for index, mirror in enumerate(mirrors):
            last, path = mirror.of + mirror.size - 1, ("mirror", index, "of")
            if last > largest:
                found = f"found 0x{mirror.of:02X} to 0x{last:02X}, accepted: within 0x00 to 0x{largest:02X}"
                self.state.report(path, found)
            known = mirrored.overlapped(mirror.of, last)
            if known is not None:
                self.state.report(path, f"0x{known[0]:02X} is an address that is itself mirrored")
