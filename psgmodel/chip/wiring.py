"""Wiring: which register bit drives, strobes or shows what.

Stage: chip. In: the ``[[register]]``, ``[[memory]]`` and ``[constants]`` tables and the channels already read.
Out: `Register`, `Memory` and `Field` records. Every field of every block is wired whole, by disjoint bits,
or has a constant; nothing is left to guess.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass
from typing import Any

from psgmodel.chip.addresses import AddressState
from psgmodel.chip.channel import Channel, NoiseClock, StepClock
from psgmodel.chip.options import MAX_INT, ReadingState, option, read_record, show
from psgmodel.chip.records import BitField, Bus, Field, Memory, Mixer, Register, Segment, Unit
from psgmodel.tomlfile import KeyPath

_BITS = re.compile(r"(\d{1,2})(?::(\d{1,2}))?")
_TARGET = re.compile(r"([A-Za-z0-9_.-]+?)(?:\[(\d{1,2})(?::(\d{1,2}))?\])?")


@dataclass(frozen=True, slots=True)
class FieldSpec:
    """A field that a block has: its width, and its value where nothing is wired (None: must be wired)."""

    bits: int
    unwired: int | None


@dataclass(frozen=True, slots=True)
class RegisterEntry:
    """One register (table ``[[register]]``)."""

    name: str = option("Name of the register.")
    address: int = option("Its address.", at_least=0, at_most=2**32 - 1)
    reset: int = option("Value of its stored bits after reset.", default=0, at_least=0, at_most=2**32 - 1)
    on_write: tuple[str, ...] = option("Strobes that any write to it causes, such as CHANNEL.start.", default=())
    held_until: str = option(
        "Name of a register: what is written here, the last of several, is held and written just before the next write "
        "to that one, strobes and all; left out: at once.",
        default="",
    )
    read_mask: int = option(
        "Bits that a read shows, the others read 0.",
        default=-1,
        at_least=0,
        at_most=2**32 - 1,
        shown="all that drive or show",
    )
    read_ones: int = option("Bits that always read 1.", default=0, at_least=0, at_most=2**32 - 1)


@dataclass(frozen=True, slots=True)
class FieldEntry:
    """A group of bits of a register (items of ``fields``); exactly one of drives, strobes, shows."""

    bits: str = option('Bits of the register, such as "7:4" or "0".')
    drives: str = option('Field that the bits hold, such as "a.period[11:8]".', default="")
    strobes: str = option("Event that writing a 1 causes: CHANNEL.start, CHANNEL.stop or DIVIDER.restart.", default="")
    shows: str = option("State that the bit reads: CHANNEL.active.", default="")


@dataclass(frozen=True, slots=True)
class MemoryEntry:
    """A wave memory (table ``[[memory]]``)."""

    name: str = option("Name of the memory.")
    channel: str = option("Wave-table channel that plays it.")
    address: int = option("Address of the first samples.", at_least=0, at_most=2**32 - 1)


def field_specs(channels: Mapping[str, Channel], mixer: Mixer, unit: Unit, power: bool) -> dict[str, FieldSpec]:
    """Return every field that the blocks have, by name."""
    specs: dict[str, FieldSpec] = {"power": FieldSpec(1, None)} if power else {}
    for name, channel in channels.items():
        specs[f"{name}.volume"] = FieldSpec(channel.volume_bits, None)
        specs[f"{name}.gate"] = FieldSpec(int(channel.gate), None)
        if isinstance(channel.step, StepClock):
            specs[f"{name}.period"] = FieldSpec(channel.step.bits, None)
        elif isinstance(channel.step, NoiseClock):
            specs[f"{name}.divisor"] = FieldSpec(index_bits(len(channel.step.divisors)), 0)
            specs[f"{name}.shift"] = FieldSpec(channel.step.shift_bits, 0)
        if channel.kind == "square":
            specs[f"{name}.pattern"] = FieldSpec(index_bits(len(channel.patterns)), 0)
        if channel.register is not None and channel.register.short is not None:
            specs[f"{name}.short"] = FieldSpec(1, 0)
        if channel.timer is not None:
            specs[f"{name}.timer.length"] = FieldSpec(channel.timer.bits, None)
            specs[f"{name}.timer.enable"] = FieldSpec(1, 1)
        if channel.envelope is not None:
            specs[f"{name}.envelope.period"] = FieldSpec(channel.envelope.period_bits, None)
            specs[f"{name}.envelope.rising"] = FieldSpec(1, 0)
            specs[f"{name}.envelope.bypass"] = FieldSpec(int(channel.envelope.bypass), None)
        if channel.sweep is not None:
            specs[f"{name}.sweep.period"] = FieldSpec(channel.sweep.period_bits, None)
            specs[f"{name}.sweep.falling"] = FieldSpec(1, 0)
            specs[f"{name}.sweep.shift"] = FieldSpec(channel.sweep.shift_bits, None)
    for output in unit.outputs:
        for name in channels:
            specs[f"mixer.{output}.{name}"] = FieldSpec(index_bits(len(mixer.routes)), 1)
        specs[f"mixer.{output}.trim"] = FieldSpec(index_bits(len(mixer.trims)), 0)
    return {name: spec for name, spec in specs.items() if spec.bits > 0}


def index_bits(count: int) -> int:
    """Return how many bits choose one of `count` things."""
    return max(0, count - 1).bit_length()


class WiringState:
    """Reads registers and memories one by one and keeps what is taken so far.

    Nothing is said about the widths of fields of `doubtful` channels, whose options could not be read, nor about
    fields missing where a group that might drive them could not be read.
    """

    def __init__(
        self,
        bus: Bus,
        channels: Mapping[str, Channel],
        dividers: Iterable[str],
        specs: Mapping[str, FieldSpec],
        doubtful: Set[str],
        state: ReadingState,
    ) -> None:
        self.bus, self.channels, self.specs, self.doubtful, self.state = bus, channels, specs, doubtful, state
        self.unread: set[str] = set()
        self.events = dict.fromkeys(f"{name}.{event}" for name in channels for event in ("start", "stop"))
        self.events |= dict.fromkeys(f"{name}.restart" for name in dividers)
        self.shown = dict.fromkeys(f"{name}.active" for name in channels)
        self.addresses = AddressState(bus, state)
        self.segments: dict[str, list[Segment]] = {}
        self.wired: dict[str, int] = {}
        self.reset: dict[int, int] = {}

    def register(self, table: Any, path: KeyPath) -> Register:
        """Read one ``[[register]]``."""
        entry = read_record(RegisterEntry, table, path, self.state, known=("fields",))
        self.addresses.claim(entry.address, 1, entry.name, (*path, "address"))
        items = table.get("fields", []) if isinstance(table, dict) else []
        if not isinstance(items, list):
            self.state.report((*path, "fields"), f"found {show(items)}, a list is expected")
            items = []
        taken = stored = shown = 0
        groups: list[BitField] = []
        for index, item in enumerate(items):
            group = self._group(entry, item, (*path, "fields", index), taken)
            if group is None:
                self._note_unread(item)
            else:
                mask = ((2 << (group.high - group.low)) - 1) << group.low
                taken |= mask
                stored |= mask if group.role == "drives" else 0
                shown |= mask if group.role == "shows" else 0
                groups.append(group)
        if entry.reset & ~stored:
            self.state.report((*path, "reset"), f"found 0x{entry.reset:X}, but only the bits 0x{stored:X} keep a value")
        for index, event in enumerate(entry.on_write):
            self._known(event, self.events, "event", 0, (*path, "on_write", index))
        if max(entry.read_mask, entry.read_ones) >> self.bus.data_bits:
            self.state.report(path, f"read_mask and read_ones have {self.bus.data_bits} bits")
        self.reset[entry.address] = entry.reset & stored
        groups.sort(key=lambda g: -g.high)
        readable = stored | shown
        return Register(
            name=entry.name,
            address=entry.address,
            reset=entry.reset & stored,
            stored=stored,
            fields=tuple(groups),
            on_write=entry.on_write,
            held_until=entry.held_until,
            read_mask=readable if entry.read_mask < 0 else entry.read_mask & readable,
            read_ones=entry.read_ones,
        )

    def _note_unread(self, item: Any) -> None:
        """Note which field a group that could not be read was probably meant to drive."""
        target = item.get("drives") if isinstance(item, dict) else None
        if isinstance(target, str):
            self.unread.update(difflib.get_close_matches(target.partition("[")[0], self.specs, n=1))

    def _group(self, entry: RegisterEntry, item: Any, path: KeyPath, taken: int) -> BitField | None:
        field = read_record(FieldEntry, item, path, self.state)
        found = _BITS.fullmatch(field.bits)
        high, low = (int(found[1]), int(found[2] or found[1])) if found else (0, 0)
        if not found or low > high or high >= self.bus.data_bits:
            wanted = f'"high:low" or "bit" within {self.bus.data_bits - 1}:0'
            self.state.report((*path, "bits"), f"found {show(field.bits)}, accepted: {wanted}")
            return None
        mask = ((2 << (high - low)) - 1) << low
        if mask & taken:
            self.state.report((*path, "bits"), f"bits {field.bits} of {entry.name} overlap bits named before")
            return None
        if field.drives and not field.strobes and not field.shows:
            ok = self._drive(field.drives, entry.address, low, high - low + 1, (*path, "drives"))
            return BitField(high, low, "drives", field.drives) if ok else None
        if field.strobes and not field.drives and not field.shows:
            ok = self._known(field.strobes, self.events, "event", high - low, (*path, "strobes"))
            return BitField(high, low, "strobes", field.strobes) if ok else None
        if field.shows and not field.drives and not field.strobes:
            ok = self._known(field.shows, self.shown, "state", high - low, (*path, "shows"))
            return BitField(high, low, "shows", field.shows) if ok else None
        self.state.report(path, "exactly one of drives, strobes and shows is expected")
        return None

    def _known(self, word: str, known: Mapping[str, None], what: str, extra: int, path: KeyPath) -> bool:
        if word not in known:
            self.state.report(path, f"no {what} {show(word)}", self.state.hint(word, known))
            return False
        if extra:
            self.state.report(path, f"{word} takes one bit, {extra + 1} are given")
            return False
        return True

    def _drive(self, target: str, address: int, low: int, width: int, path: KeyPath) -> bool:
        found = _TARGET.fullmatch(target)
        name = found[1] if found else target
        if name.partition(".")[0] in self.doubtful:
            return False
        spec = self.specs.get(name)
        if not found or spec is None:
            hint = self.state.hint(name, self.specs, "see the reference of fields")
            self.state.report(path, f"no field {show(name)}", hint)
            return False
        high = int(found[2]) if found[2] else spec.bits - 1
        field_low = int(found[3]) if found[3] else (high if found[2] else 0)
        if high >= spec.bits or field_low > high:
            self.state.report(path, f"{name} has bits {spec.bits - 1}:0, found {show(target)}")
            return False
        if high - field_low + 1 != width:
            self.state.report(
                path, f"{width} register bits cannot hold the {high - field_low + 1} bits of {show(target)}"
            )
            return False
        mask = ((1 << width) - 1) << field_low
        if self.wired.get(name, 0) & mask:
            self.state.report(path, f"bits {high}:{field_low} of {name} are driven twice")
            return False
        self.wired[name] = self.wired.get(name, 0) | mask
        self.segments.setdefault(name, []).append(Segment(address, low, width, field_low))
        return True

    def memory(self, table: Any, path: KeyPath) -> Memory:
        """Read one ``[[memory]]``."""
        entry = read_record(MemoryEntry, table, path, self.state)
        size = 1
        waves = [name for name, channel in self.channels.items() if channel.table is not None]
        if entry.channel not in waves:
            hint = self.state.hint(entry.channel, waves)
            self.state.report((*path, "channel"), f"no wave-table channel {show(entry.channel)}", hint)
        else:
            wave = self.channels[entry.channel].table
            if wave is not None:
                size = max(wave.samples // wave.per_address, 1)
                self.addresses.claim(entry.address, size, entry.name, (*path, "address"))
                if wave.bits * wave.per_address > self.bus.data_bits:
                    found = f"{wave.per_address} samples of {wave.bits} bits"
                    self.state.report(path, f"{found} do not fit {self.bus.data_bits} data bits")
        return Memory(entry.name, entry.channel, entry.address, size)

    def fields(self, constants: Any) -> dict[str, Field]:
        """Join the segments; report fields that are wired in part, twice, or not at all."""
        if not isinstance(constants, dict):
            self.state.report(("constants",), f"found {show(constants)}, a table is expected")
            constants = {}
        for name, value in constants.items():
            path = ("constants", name)
            if name.partition(".")[0] in self.doubtful:
                continue
            if name not in self.specs:
                quotes = f'a field is one name in quotes, such as "{next(iter(self.specs), "a.volume")}"'
                self.state.report(path, "no such field", self.state.hint(name, self.specs, quotes))
            elif name in self.wired:
                self.state.report(path, "this field is wired to a register and cannot be a constant too")
            elif type(value) is not int or not 0 <= value < min(1 << self.specs[name].bits, MAX_INT):
                self.state.report(path, f"found {show(value)}, accepted: 0 to {(1 << self.specs[name].bits) - 1}")
        fields = {}
        swept = {f"{name}.period" for name, channel in self.channels.items() if channel.sweep is not None}
        unclear = self.unread if ("register",) not in self.state.spoilt_paths else set(self.specs)
        for name, spec in self.specs.items():
            wired = self.wired.get(name, 0)
            value = constants.get(name, spec.unwired)
            missing = ~wired & ((1 << spec.bits) - 1)
            if name in unclear or name.partition(".")[0] in self.doubtful:
                pass
            elif wired and missing:
                bit = missing.bit_length() - 1
                self.state.report(("register",), f"{name} has {spec.bits} bits; bit {bit} is driven by no register")
            elif not wired and name in swept:
                self.state.report(("register",), f"{name} is swept, so it must be driven by registers")
            elif not wired and value is None:
                self.state.report(("register",), f"{name} is driven by no register and has no constant")
            segments = tuple(self.segments.get(name, ()))
            if segments:
                value = join(segments, self.reset)
            fields[name] = Field(name, spec.bits, segments, value if type(value) is int else 0)
        return fields


def join(segments: tuple[Segment, ...], registers: Mapping[int, int]) -> int:
    """Return the value of a field from the stored values of the registers."""
    value = 0
    for s in segments:
        value |= (registers.get(s.address, 0) >> s.low & (1 << s.width) - 1) << s.field_low
    return value
