"""Records: what a sound unit is around its channels, as frozen facts.

Stage: chip. In: nothing. Out: the record classes that a description is read into. All times are clock
cycles, all levels integers. Engines, stimulus, coverage and reports derive from these records alone.
The order of action within one clock edge stands in `psgmodel.engine`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from psgmodel.chip.channel import Channel
from psgmodel.chip.options import option
from psgmodel.chip.timing import Divider as Divider
from psgmodel.chip.timing import Sequencer as Sequencer
from psgmodel.chip.timing import Ticks as Ticks
from psgmodel.chip.timing import TickSource as TickSource

CHANNEL_LIMIT = 64
"""Most channels of a chip."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """The sound unit as a whole (table ``[unit]``)."""

    name: str = option("Name of the unit, for reports.")
    clock_hz: Fraction = option("Clock rate in hertz, an integer or an exact fraction in quotes.")
    outputs: tuple[str, ...] = option("Names of the outputs, one or two.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bus:
    """How software reaches the registers (table ``[bus]``)."""

    data_bits: Literal[8, 16, 32] = option("Width of the data bus.", default=8)
    address_bits: int = option("Width of the address bus.", default=8, at_least=1, at_most=32)
    access: Literal["direct", "index-data"] = option(
        "The bus carries register addresses, or an index port chooses the register that a data port reaches; "
        "the index is 0 after reset, and a read of its port returns it.",
        default="direct",
    )
    index_address: int = option("Bus address of the index port.", default=0, at_least=0, at_most=2**32 - 1)
    data_address: int = option("Bus address of the data port.", default=1, at_least=0, at_most=2**32 - 1)
    index_bits: int = option(
        "Width of the index; higher bits of what is written to its port are lost.", default=8, at_least=1, at_most=16
    )
    index_step: int = option(
        "How far a write to the data port moves the index on afterwards, modulo 2^index_bits.",
        default=0,
        at_least=0,
        at_most=255,
    )
    write_latency: int = option(
        "Cycles from the edge that samples a write to the edge that changes the register.",
        default=0,
        at_least=0,
        at_most=64,
    )
    read_latency: int = option(
        "A read's value stands on the bus just before the edge that samples the read (0), or the next edge (1).",
        default=1,
        at_least=0,
        at_most=1,
    )
    unowned_reads: int = option(
        "What an address reads that no register, memory or port owns.", default=0, at_least=0, at_most=2**32 - 1
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Power:
    """A bit that clears and locks the unit (table ``[power]``)."""

    memory: Literal["keeps", "clears"] = option(
        "Writing 0 to the bit leaves the wave memories, or clears them as it clears the registers.", default="keeps"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Mirror:
    """Addresses that stand for others (table ``[[mirror]]``)."""

    address: int = option("First mirrored address, as it stands on the bus.", at_least=0, at_most=2**32 - 1)
    size: int = option("Number of mirrored addresses.", at_least=1, at_most=2**32)
    of: int = option(
        "Address on the bus that the first one stands for; no mirror of a mirror.", at_least=0, at_most=2**32 - 1
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixer:
    """From channel levels to output codes (table ``[mixer]``)."""

    bits: int = option("Width of an output code.", at_least=1, at_most=24)
    offset: int = option("Added to the sum after trim and shift.", default=0, at_least=-(2**24), at_most=2**24)
    overflow: Literal["saturate", "wrap"] = option(
        "A sum, offset included, past the ends of `bits` stays at the end, or wraps around.", default="saturate"
    )
    gains: Mapping[str, int]
    routes: tuple[int, ...] = option(
        "Multiplier of a channel for each value of the field `mixer.OUTPUT.CHANNEL`, which is 1 where it is not wired.",
        default=(0, 1),
        at_least=0,
        at_most=2**16,
    )
    trims: tuple[int, ...] = option(
        "Multiplier of the sum for each value of an output's field `trim`.", default=(1,), at_least=0, at_most=2**16
    )
    trim_shift: int = option(
        "Right shift after the multiplication by the trim, rounding down.", default=0, at_least=0, at_most=24
    )
    table: tuple[int, ...] = option(
        "Output code for each sum, 2^bits entries; left out: the sum itself.", default=(), at_least=0, at_most=2**24
    )
    latency: int = option(
        "Number of registers between the code and the output, 0 in reset.", default=0, at_least=0, at_most=64
    )


@dataclass(frozen=True, slots=True)
class Segment:
    """Some bits of a register that hold some bits of a field.

    Attributes
    ----------
    address : int
    low : int, lowest bit in the register
    width : int, number of bits
    field_low : int, lowest bit in the field
    """

    address: int
    low: int
    width: int
    field_low: int


@dataclass(frozen=True, slots=True)
class Field:
    """One value that software sets, joined from segments; without segments it is a constant.

    Attributes
    ----------
    name : str
        Such as ``a.period`` or ``mixer.left.noise``.
    bits : int
    segments : tuple of Segment
    reset : int
        Value after reset, or the constant.
    """

    name: str
    bits: int
    segments: tuple[Segment, ...]
    reset: int


@dataclass(frozen=True, slots=True)
class BitField:
    """A named group of bits of one register, for the register map: what it drives, strobes or shows.

    Strobes are ``CHANNEL.start``, ``CHANNEL.stop`` and ``DIVIDER.restart``; shown is ``CHANNEL.active``. The field
    ``power`` is driven like any other.
    """

    high: int
    low: int
    role: Literal["drives", "strobes", "shows"]
    target: str


@dataclass(frozen=True, slots=True)
class Register:
    """One address of the register map.

    Attributes
    ----------
    name : str
    address : int
    reset : int
        Value of the stored bits after reset.
    stored : int
        Mask of the bits that keep what is written.
    fields : tuple of BitField, from the highest bit down
    on_write : tuple of str
        Strobes that any write causes.
    held_until : str
        Name of the register whose next write lets a write to this one happen; empty: at once.
    read_mask : int
        Bits that a read shows; the others read 0.
    read_ones : int
        Bits that always read 1.
    """

    name: str
    address: int
    reset: int
    stored: int
    fields: tuple[BitField, ...]
    on_write: tuple[str, ...] = ()
    held_until: str = ""
    read_mask: int = 0
    read_ones: int = 0


@dataclass(frozen=True, slots=True)
class Memory:
    """The addresses of a wave memory: `size` of them, the first samples at the first.

    Attributes
    ----------
    name, channel : str
    address, size : int
    """

    name: str
    channel: str
    address: int
    size: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Chip:
    """A checked description; see `psgmodel.chip.load_chip`.

    Attributes
    ----------
    dividers : dict from name to Divider
    ticks : dict from name to Ticks
    power : Power or None
        None: there is no power bit.
    registers : dict from address to Register, by rising address
    memories : dict from channel name to Memory
    fields : dict from field name to Field
        Every field of every channel and of the mixer, wired or constant.
    channels : dict from name to Channel, in the order of the description
    """

    source: str
    unit: Unit
    bus: Bus
    dividers: Mapping[str, Divider]
    ticks: Mapping[str, Ticks]
    power: Power | None
    mirrors: tuple[Mirror, ...]
    channels: Mapping[str, Channel]
    mixer: Mixer
    registers: Mapping[int, Register]
    memories: Mapping[str, Memory]
    fields: Mapping[str, Field]

    @property
    def clock_hz(self) -> Fraction:
        """Clock rate in hertz."""
        return self.unit.clock_hz

    def held(self) -> dict[int, int]:
        """Return the address of each register that holds what is written, and of the one that lets it go."""
        named = {r.name: r.address for r in self.registers.values()}
        return {r.address: named[r.held_until] for r in self.registers.values() if r.held_until}

    def memory_at(self, address: int) -> Memory | None:
        """Return the wave memory that owns an address, if one does."""
        for memory in self.memories.values():
            if memory.address <= address < memory.address + memory.size:
                return memory
        return None
