"""Registers: the register map of a chip as a drawing, as Markdown and as plain values.

Stage: report. In: a `Chip`. Out: text. The drawing shows each register as a strip of bits, eight to a line, the highest
at the left: plain names are fields that the bits drive, ``▸`` marks a strobe (writing a 1 acts), ``◂`` a state that can
only be read.
"""

from __future__ import annotations

import re
from typing import Any

from psgmodel.chip.records import BitField, Chip, Field, Memory, Register
from psgmodel.report.layout import counted, markdown_table, table
from psgmodel.units import show_hertz

_CELL = 8
_INNER = 8 * (_CELL + 1) - 1
_MARK = {"drives": "", "strobes": "▸ ", "shows": "◂ "}
_EMPTY = "·"
_PARTS = re.compile(r"[▸◂] |\[[0-9:]+\]|\.|[^.\[]+")


def registers_text(chip: Chip) -> str:
    """Return the register map as a drawing with tables of fields and memories below."""
    lines = [headline(chip), "", "  ▸ writing a 1 acts    ◂ read only    · no such bit: reads 0", ""]
    lines.append("  " + "".join(f"{bit % 8:^{_CELL + 1}}" for bit in range(7, -1, -1)).rstrip())
    first = True
    for register in chip.registers.values():
        for number, high in enumerate(_strips(chip, register)):
            lines.append(_rule(chip, register, high, number == 0, "┌┐" if first else "├┤"))
            lines += _strip(register, high)
            first = False
    for memory in chip.memories.values():
        lines.append(_rule_text(_memory_name(chip, memory), "", "├┤"))
        lines += _cells([(_INNER, _memory_words(chip, memory))])
    lines += [" └" + "─" * _INNER + "┘", ""]
    if words := _special(chip):
        lines += [*(f"  {line}" for line in words), ""]
    return "\n".join(lines) + "\n" + table(("field", "bits", "after reset", "held by"), _field_rows(chip), right=(1, 2))


def registers_markdown(chip: Chip) -> str:
    """Return the register map as Markdown tables."""
    rows = []
    for register in chip.registers.values():
        name, address, reset = f"`{register.name}`", _address(chip, register.address), _value(chip, register.reset)
        for group in register.fields:
            rows.append([address, name, reset, _bits(group), group.role, f"`{group.target}`"])
            address = name = reset = ""
        if not register.fields:
            acts = ", ".join(f"`{strobe}`" for strobe in register.on_write)
            rows.append([address, name, reset, "any", "strobes", acts] if acts else [address, name, reset, "", "", ""])
    for memory in chip.memories.values():
        rows.append([_memory_range(chip, memory), f"`{memory.name}`", "", "", "holds", _memory_words(chip, memory)])
    text = f"# Registers of {chip.unit.name}\n\n{headline(chip)}\n\n"
    text += "Bits that are not listed do not exist: they read 0. A strobe acts when a 1 is written, stores nothing.\n\n"
    text += markdown_table(("address", "register", "reset", "bits", "what they do", "target"), rows)
    if words := _special(chip):
        text += "\n" + "".join(f"- {line}\n" for line in words)
    fields = [[f"`{name}`", bits, reset, held] for name, bits, reset, held in _field_rows(chip)]
    return text + "\n## Fields\n\n" + markdown_table(("field", "bits", "after reset", "held by"), fields)


def registers_json(chip: Chip) -> dict[str, Any]:
    """Return the register map as plain values."""
    return {
        "unit": chip.unit.name,
        "clock_hz": str(chip.clock_hz),
        "data_bits": chip.bus.data_bits,
        "address_bits": chip.bus.address_bits,
        "registers": [
            {
                "name": register.name,
                "address": register.address,
                "reset": register.reset,
                "stored_mask": register.stored,
                "read_mask": register.read_mask,
                "read_ones": register.read_ones,
                "on_write": list(register.on_write),
                "fields": [{"high": g.high, "low": g.low, "role": g.role, "target": g.target} for g in register.fields],
            }
            for register in chip.registers.values()
        ],
        "memories": [
            {
                "name": memory.name,
                "channel": memory.channel,
                "address": memory.address,
                "addresses": memory.size,
                "samples": _table_of(chip, memory)[0],
                "bits": _table_of(chip, memory)[1],
            }
            for memory in chip.memories.values()
        ],
        "fields": [
            {
                "name": field.name,
                "bits": field.bits,
                "reset": field.reset,
                "segments": [
                    {"address": s.address, "low": s.low, "width": s.width, "field_low": s.field_low}
                    for s in field.segments
                ],
            }
            for field in chip.fields.values()
        ],
    }


def headline(chip: Chip) -> str:
    """Return one line that says which unit this is."""
    outputs = f"{counted(len(chip.unit.outputs), 'output')} ({', '.join(chip.unit.outputs)})"
    return (
        f"{chip.unit.name}: {show_hertz(chip.clock_hz)} clock, {chip.bus.data_bits} data bits, "
        f"{counted(chip.bus.address_bits, 'address bit')}, {counted(len(chip.channels), 'channel')}, {outputs}"
    )


def _strips(chip: Chip, register: Register) -> list[int]:
    """Return the highest bit of each group of eight that holds something; of the lowest where none does."""
    every = range(chip.bus.data_bits - 1, -1, -8)
    return [h for h in every if any(g.low <= h and g.high >= h - 7 for g in register.fields)] or [7]


def _rule(chip: Chip, register: Register, high: int, named: bool, corners: str) -> str:
    """Return the line above a strip; the first strip of a register carries its reset value."""
    left = f"{_address(chip, register.address)} {register.name}"
    if chip.bus.data_bits > 8:
        left += f"  bits {high}:{high - 7}"
    return _rule_text(left, f"reset {_value(chip, register.reset)}" if register.stored and named else "", corners)


def _rule_text(left: str, right: str, corners: str) -> str:
    end = f" {right} ─" if right else ""
    return f" {corners[0]}{f'─ {left} '.ljust(_INNER - len(end), '─')}{end}{corners[1]}"


def _strip(register: Register, high: int) -> list[str]:
    """Return the lines of bits `high` to ``high - 7``."""
    if not register.fields and register.on_write:
        return _cells([(_INNER, f"any write: {_MARK['strobes']}{', '.join(register.on_write)}")])
    cells: list[tuple[int, str]] = []
    bit = high
    for group in register.fields:
        if group.low > high or group.high < high - 7:
            continue
        top, bottom = min(group.high, high), max(group.low, high - 7)
        cells += [(_CELL, _EMPTY)] * (bit - top)
        cells.append(((top - bottom + 1) * (_CELL + 1) - 1, _MARK[group.role] + _part(group, top, bottom)))
        bit = bottom - 1
    cells += [(_CELL, _EMPTY)] * (bit - (high - 7) + 1)
    return _cells(cells)


def _part(group: BitField, top: int, bottom: int) -> str:
    """Return the target of register bits `top` to `bottom`, with the bits of the field where they are not all."""
    name, _, bits = group.target.rstrip("]").partition("[")
    if (top, bottom) == (group.high, group.low):
        return group.target
    low = int(bits.split(":")[-1]) if bits else 0
    return f"{name}[{_span(low + top - group.low, low + bottom - group.low)}]"


def _cells(cells: list[tuple[int, str]]) -> list[str]:
    """Return lines that show texts in cells of given widths, broken where they do not fit."""
    parts = [_broken(text, width) for width, text in cells]
    lines = []
    for row in range(max(map(len, parts))):
        shown = []
        for (width, text), part in zip(cells, parts, strict=True):
            line = part[row] if row < len(part) else ""
            roomy = max(map(len, part)) < width
            shown.append(line.center(width) if text == _EMPTY else f"{' ' * roomy}{line}".ljust(width))
        lines.append(" │" + "│".join(shown) + "│")
    return lines


def _broken(text: str, width: int) -> list[str]:
    """Return a name in lines of at most `width` letters, broken at its dots and brackets where it has any."""
    roomy = width - 1 if len(text) < width else width
    lines = [""]
    for part in _PARTS.findall(text):
        for at in range(0, len(part), width):
            piece = part[at : at + width]
            if len(lines[-1] + piece) <= (width if len(piece) == width else roomy):
                lines[-1] += piece
            else:
                lines.append(piece)
    return [line for line in lines if line]


def _field_rows(chip: Chip) -> list[list[str]]:
    return [[f.name, str(f.bits), str(f.reset), _held_by(chip, f)] for f in chip.fields.values()]


def _held_by(chip: Chip, field: Field) -> str:
    if not field.segments:
        return "constant"
    parts = sorted(field.segments, key=lambda s: -s.field_low)
    return " ".join(f"{chip.registers[s.address].name}[{_span(s.low + s.width - 1, s.low)}]" for s in parts)


def _bits(group: BitField) -> str:
    return _span(group.high, group.low)


def _span(high: int, low: int) -> str:
    return str(high) if high == low else f"{high}:{low}"


def _table_of(chip: Chip, memory: Memory) -> tuple[int, int]:
    wave = chip.channels[memory.channel].table
    return (wave.samples, wave.bits) if wave is not None else (0, 0)


def _memory_words(chip: Chip, memory: Memory) -> str:
    samples, bits = _table_of(chip, memory)
    each = samples // memory.size if memory.size else 0
    packed = "one an address" if each <= 1 else f"{each} an address"
    return f"{samples} samples of {bits} bits, {packed}, played by {memory.channel}"


def _memory_range(chip: Chip, memory: Memory) -> str:
    return _range(chip, memory.address, memory.size)


def _special(chip: Chip) -> list[str]:
    """Return what the strips cannot show: ports, writes that act, bits that read 1, mirrored addresses."""
    bus, words = chip.bus, []
    if bus.access == "index-data":
        on = f", which moves it on by {bus.index_step}" if bus.index_step else ""
        words.append(
            f"bus address {bus.index_address} takes the index (the addresses above), {bus.data_address} the data{on}"
        )
    for register in chip.registers.values():
        if register.on_write:
            words.append(f"any write to {register.name} strobes {', '.join(register.on_write)}")
        if register.held_until:
            words.append(f"a write to {register.name} is held until the next one to {register.held_until}")
        if register.read_ones:
            words.append(f"{register.name} always reads 1 in the bits {_value(chip, register.read_ones)}")
        hidden = (register.stored | _shown(register)) & ~register.read_mask
        if hidden:
            words.append(f"{register.name} reads 0 in the bits {_value(chip, hidden)}, whatever they hold")
    for m in chip.mirrors:  # these are addresses of the bus, also where an index port chooses registers
        here, there = (
            f"{_hex(a, bus.address_bits)} to {_hex(a + m.size - 1, bus.address_bits)}" for a in (m.address, m.of)
        )
        words.append(f"{here} stand for {there}")
    return words


def _shown(register: Register) -> int:
    return sum(((2 << (g.high - g.low)) - 1) << g.low for g in register.fields if g.role == "shows")


def _range(chip: Chip, first: int, count: int) -> str:
    return f"{_address(chip, first)} to {_address(chip, first + count - 1)}"


def _memory_name(chip: Chip, memory: Memory) -> str:
    return f"{_memory_range(chip, memory)} {memory.name}"


def _address(chip: Chip, address: int) -> str:
    return _hex(address, chip.bus.address_bits if chip.bus.access == "direct" else chip.bus.index_bits)


def _hex(number: int, bits: int) -> str:
    return f"0x{number:0{-(-bits // 4)}X}"


def _value(chip: Chip, value: int) -> str:
    return _hex(value, chip.bus.data_bits)
