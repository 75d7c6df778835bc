"""Register tables read out of the prose of a unit, without the package.

A row of the table ``| address | name | bits |`` lists items such as "3:0 period bits 11:8"; "as A" repeats the register
of channel A with the same ending; "0 P active, 1 Q" means that bit 1 is "Q active".
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

PATCHES = Path(__file__).parents[2] / "patches"

WORDS = {
    "volume": "volume",
    "pattern": "pattern",
    "period": "period",
    "length": "timer.length",
    "timer enable": "timer.enable",
    "envelope period": "envelope.period",
    "envelope direction": "envelope.rising",
    "sweep shift": "sweep.shift",
    "sweep direction": "sweep.falling",
    "sweep period": "sweep.period",
    "shift": "shift",
    "divisor select": "divisor",
    "short mode": "short",
}


class Wire(NamedTuple):
    """Some bits of a register and what they are: a field from bit `field_low` on, or an event, or a state."""

    address: int
    low: int
    width: int
    target: str
    field_low: int = 0


class Prose(NamedTuple):
    """What the table says."""

    names: dict[int, str]
    wires: set[Wire]


def table_rows(text: str, header: str) -> list[list[str]]:
    """The cells of a Markdown table, by its header line."""
    lines = text[text.index(header) :].splitlines()[2:]
    rows = []
    for line in lines:
        if not line.startswith("|"):
            break
        rows.append([cell.strip() for cell in line.strip("|").split("|")])
    return rows


def bits_of(text: str) -> tuple[int, int]:
    """Lowest bit and width of "7:4" or "3"."""
    high, _, low = text.partition(":")
    return int(low or high), int(high) - int(low or high) + 1


def wire(address: int, channel: str, bits: str, phrase: str, outputs: list[str], channels: dict[str, str]) -> Wire:
    """One item of a row."""
    low, width = bits_of(bits)
    phrase = phrase.strip().removesuffix(" to the output")
    if found := re.fullmatch(r"(\w+) to (\w+)", phrase):
        return Wire(address, low, width, f"mixer.{found[2]}.{channels[found[1]]}")
    if found := re.fullmatch(r"(?:(\w+) )?trim", phrase):
        return Wire(address, low, width, f"mixer.{found[1] or outputs[0]}.trim")
    if found := re.fullmatch(r"(\w+) active", phrase):
        return Wire(address, low, width, f"{channels[found[1]]}.active")
    if phrase in channels:
        return Wire(address, low, width, f"mixer.{outputs[0]}.{channels[phrase]}")
    if phrase == "power":
        return Wire(address, low, width, phrase)
    if phrase in ("start", "stop"):
        return Wire(address, low, width, f"{channel}.{phrase}")
    if found := re.fullmatch(r"(period|length) bits? ([\d:]+)", phrase):
        field_low, field_width = bits_of(found[2])
        assert field_width == width
        return Wire(address, low, width, f"{channel}.{WORDS[found[1]]}", field_low)
    return Wire(address, low, width, f"{channel}.{WORDS[phrase]}")


def read_prose(name: str, header: str, outputs: list[str], letters: dict[str, str]) -> Prose:
    """Read a unit's register table; `letters` name its channels, as register names and as words begin with them."""
    text = (PATCHES / name).read_text(encoding="utf-8")
    bits_by_name: dict[str, str] = {}
    names: dict[int, str] = {}
    wires: set[Wire] = set()
    for addresses, register_names, bits in table_rows(text, header):
        if "MEMORY" in register_names:
            continue
        first = int(addresses.split("-")[0], 16)
        for number, register in enumerate(register_names.split(", ")):
            prefix, _, ending = register.partition("_")
            says = bits
            if found := re.fullmatch(r"as (\w+)", bits):
                says = bits_by_name[f"{found[1]}_{ending}"]
            bits_by_name[register] = says
            names[first + number] = register
            inside = re.sub(r"\([^)]*\)|\*\*[^*]*\*\*", "", says).replace("read only:", "").split(";")[0]
            for item in inside.split(","):
                if found := re.fullmatch(r"\s*(\d+(?::\d+)?) (.+?)\s*", item):
                    phrase = found[2] + " active" if found[2] in letters and " active" in says else found[2]
                    wires.add(wire(first + number, letters.get(prefix, ""), found[1], phrase, outputs, letters))
    return Prose(names, wires)
