"""Rewirings: register bits that do something else.

Stage: diagnose. In: a chip. Out: edits that exchange what two groups of bits of a register do, turn the bits of a group
round, move a group by one bit, give a register another reset value, exchange two neighbouring registers, or make any
write to a register a start or a stop, or no longer one.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from psgmodel.chip.records import BitField, Chip, Field, Register, Segment
from psgmodel.chip.wiring import join
from psgmodel.diagnose.edits import Edit


class Rewiring(NamedTuple):
    """Some bits that do something else: the edits, how far they go, and a sentence with "as if"."""

    edits: tuple[Edit, ...]
    distance: int
    text: str


def rewirings(chip: Chip) -> Iterator[Rewiring]:
    """Yield the rewirings of every register in turn."""
    registers = list(chip.registers.values())
    for index, register in enumerate(registers):
        own = [(f.name, s) for f in chip.fields.values() for s in f.segments if s.address == register.address]
        yield from _exchanged(chip, register, own)
        for name, segment in own:
            yield from _turned_and_moved(chip, register, name, segment)
        yield from _exchanged_strobes(register)
        yield from _resets(chip, register)
        yield from _on_write(chip, register)
        if index + 1 < len(registers):
            yield _readdressed(chip, register, registers[index + 1])


def _with_segments(chip: Chip, wanted: Mapping[tuple[str, Segment], tuple[Segment, ...]]) -> tuple[Edit, ...]:
    """Return the edits that put other segments in place of some."""
    edits = []
    resets = {a: r.reset for a, r in chip.registers.items()}
    for name in dict.fromkeys(name for name, _ in wanted):
        field = chip.fields[name]
        segments = tuple(new for s in field.segments for new in wanted.get((name, s), (s,)))
        changed = Field(name, field.bits, segments, join(segments, resets))
        edits.append(Edit(("fields", name), name, field, changed))
    return tuple(edits)


def bits_text(low: int, width: int) -> str:
    """Return bits as ``bit 3`` or ``bits 5:4``."""
    return f"bit {low}" if width == 1 else f"bits {low + width - 1}:{low}"


def _exchanged(chip: Chip, register: Register, own: list[tuple[str, Segment]]) -> Iterator[Rewiring]:
    for index, (name, one) in enumerate(own):
        for other_name, other in own[index + 1 :]:
            if one.width == other.width:
                swap = {
                    (name, one): (dataclasses.replace(one, low=other.low),),
                    (other_name, other): (dataclasses.replace(other, low=one.low),),
                }
                low, high = sorted((one.low, other.low))
                what = [bits_text(at, one.width) for at in (low, high)]
                text = f"{what[0]} and {what[1]} of {register.name} were exchanged"
                yield Rewiring(_with_segments(chip, swap), high - low, text)


def _turned_and_moved(chip: Chip, register: Register, name: str, s: Segment) -> Iterator[Rewiring]:
    here = f"{bits_text(s.low, s.width)} of {register.name}"
    if s.width > 1:
        turned = tuple(Segment(s.address, s.low + s.width - 1 - k, 1, s.field_low + k) for k in range(s.width))
        yield Rewiring(_with_segments(chip, {(name, s): turned}), s.width, f"{here} came in reverse order")
    free = ~_taken(register) | ((1 << s.width) - 1) << s.low
    for by in (1, -1):
        low = s.low + by
        mask = ((1 << s.width) - 1) << max(low, 0)
        if low >= 0 and low + s.width <= chip.bus.data_bits and mask & ~free == 0:
            moved = {(name, s): (dataclasses.replace(s, low=low),)}
            text = f"{name} took {bits_text(low, s.width)} of {register.name} instead of {bits_text(s.low, s.width)}"
            yield Rewiring(_with_segments(chip, moved), abs(by), text)


def _taken(register: Register) -> int:
    return sum(((2 << f.high - f.low) - 1) << f.low for f in register.fields)


def _register_edit(register: Register, **values: Any) -> Edit:
    changed = dataclasses.replace(register, **values)
    return Edit(("registers", register.address), f"register.{register.name}", register, changed)


def _exchanged_strobes(register: Register) -> Iterator[Rewiring]:
    strobes = [f for f in register.fields if f.role == "strobes"]
    for index, one in enumerate(strobes):
        for other in strobes[index + 1 :]:
            swap = {one: other.target, other: one.target}
            fields = tuple(BitField(f.high, f.low, f.role, swap.get(f, f.target)) for f in register.fields)
            low, high = sorted((one.low, other.low))
            text = f"bit {low} and bit {high} of {register.name} were exchanged"
            yield Rewiring((_register_edit(register, fields=fields),), high - low, text)


def _resets(chip: Chip, register: Register) -> Iterator[Rewiring]:
    for bit in range(chip.bus.data_bits):
        if register.stored >> bit & 1:
            value = register.reset ^ 1 << bit
            resets = {a: r.reset for a, r in chip.registers.items()} | {register.address: value}
            edits = [_register_edit(register, reset=value)]
            for name, field in chip.fields.items():
                reset = join(field.segments, resets)
                if field.segments and reset != field.reset:
                    edits.append(Edit(("fields", name), name, field, dataclasses.replace(field, reset=reset)))
            told = f"register.{register.name}.reset = 0x{value:02X} instead of 0x{register.reset:02X}"
            yield Rewiring(tuple(edits), 1, told)


def _on_write(chip: Chip, register: Register) -> Iterator[Rewiring]:
    """Yield strobes at any write: those that a register has, left out; those of the channel that it is of, put in."""
    for event in register.on_write:
        rest = tuple(e for e in register.on_write if e != event)
        yield Rewiring((_register_edit(register, on_write=rest),), 2, f"writing {register.name} caused no {event}")
    targets = {f.target.partition(".")[0] for f in register.fields if f.role != "shows"}
    for name in chip.channels:
        if name in targets:
            for event in (f"{name}.start", f"{name}.stop"):
                if event not in register.on_write:
                    edit = _register_edit(register, on_write=(*register.on_write, event))
                    yield Rewiring((edit,), 3, f"any write to {register.name} caused {event}")


def _readdressed(chip: Chip, one: Register, other: Register) -> Rewiring:
    """Exchange the addresses of two registers; the model keeps registers by address, so their contents move."""
    swap = {one.address: other.address, other.address: one.address}
    edits = [
        Edit(("registers", swap[r.address]), f"register.{r.name}", r, dataclasses.replace(r, address=swap[r.address]))
        for r in (one, other)
    ]
    for name, field in chip.fields.items():
        if any(s.address in swap for s in field.segments):
            moved = tuple(dataclasses.replace(s, address=swap.get(s.address, s.address)) for s in field.segments)
            edits.append(Edit(("fields", name), name, field, dataclasses.replace(field, segments=moved)))
    return Rewiring(tuple(edits), 4, f"{one.name} and {other.name} had each other's address")
