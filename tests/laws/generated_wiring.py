"""Generated wiring: registers, memories and constants for the blocks of a generated chip.

Fields are split over registers, joined with strangers in one register, left as constants or left out.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random
from typing import Any

from psgmodel.chip.channel import Channel, NoiseClock, StepClock
from psgmodel.chip.options import ReadingState, read_record
from psgmodel.chip.records import Mixer, Unit
from psgmodel.chip.wiring import FieldSpec, field_specs
from psgmodel.tomlfile import TomlFile

Table = dict[str, Any]


def specs_of(chip: Table) -> dict[str, FieldSpec]:
    """Return the fields that the blocks of a description have."""
    state = ReadingState(TomlFile("generated", chip, {}), [])
    channels = {}
    for name, table in chip["channel"].items():
        clock: type = NoiseClock if table["kind"] == "noise" else StepClock
        step = read_record(clock, table["step"], (), state)
        channels[name] = read_record(Channel, table, (), state, known=("step",), name=name, step=step)
    mixer = read_record(Mixer, chip["mixer"], (), state, known=("gains",), gains={})
    unit = read_record(Unit, chip["unit"], (), state)
    assert not state.problems, state.problems
    return field_specs(channels, mixer, unit, "power" in chip)


@dataclass(slots=True)
class WiringState:
    """Registers made so far, and the free bits of each."""

    data_bits: int
    registers: list[Table] = field(default_factory=list)
    free: list[int] = field(default_factory=list)

    def place(self, rng: Random, width: int) -> tuple[list[Table], str]:
        """Find `width` neighbouring free bits; return the fields of the register and the bits as text."""
        mask = (1 << width) - 1
        spots = [
            (index, low)
            for index, free in enumerate(self.free)
            for low in range(self.data_bits - width + 1)
            if free >> low & mask == mask
        ]
        if spots and rng.random() < 0.75:
            index, low = rng.choice(spots)
        else:
            self.registers.append({"name": f"R{len(self.registers)}", "fields": []})
            self.free.append((1 << self.data_bits) - 1)
            index, low = len(self.registers) - 1, rng.randint(0, self.data_bits - width)
        self.free[index] &= ~(mask << low)
        return self.registers[index]["fields"], f"{low + width - 1}:{low}" if width > 1 else str(low)

    def drive(self, rng: Random, name: str, bits: int) -> None:
        """Wire a field in segments, lowest bit first."""
        low = 0
        while low < bits:
            width = bits - low if rng.random() < 0.7 else rng.randint(1, bits - low)
            width = min(width, self.data_bits)
            fields, text = self.place(rng, width)
            part = "" if width == bits else f"[{low + width - 1}:{low}]"
            fields.append({"bits": text, "drives": name + part})
            low += width

    def finish(self, rng: Random, addresses: range) -> None:
        """Give each register an address and a reset value."""
        wanted = rng.sample(addresses, len(self.registers))
        for register, address in zip(self.registers, wanted, strict=True):
            register["address"] = address
            stored = 0
            for group in register["fields"]:
                high, _, low = group["bits"].partition(":")
                if "drives" in group:
                    stored |= (2 << int(high)) - (1 << int(low or high))
            if rng.random() < 0.5:
                register["reset"] = rng.getrandbits(self.data_bits) & stored
            for group in register["fields"]:
                if group.get("drives") == "power" and rng.random() < 0.8:
                    register["reset"] = register.get("reset", 0) | 1 << int(group["bits"])


def draw_wiring(rng: Random, chip: Table) -> None:
    """Add registers, memories and constants, so that every field of the blocks has what drives it."""
    wiring = WiringState(chip["bus"].get("data_bits", 8))
    swept = {f"{name}.period" for name, table in chip["channel"].items() if "sweep" in table}
    for name, spec in specs_of(chip).items():
        fate = rng.random()
        if name == "power":
            wiring.drive(rng, name, 1)
        elif fate < 0.07 and name not in swept:
            chip["constants"][name] = rng.getrandbits(spec.bits)
        elif fate < 0.9 or spec.unwired is None:
            wiring.drive(rng, name, spec.bits)
    for name in chip["channel"]:
        for event in ("start", *rng.choice(((), ("stop",), ("start", "stop")))):
            fields, bit = wiring.place(rng, 1)
            fields.append({"bits": bit, "strobes": f"{name}.{event}"})
        if rng.random() < 0.3:
            fields, bit = wiring.place(rng, 1)
            fields.append({"bits": bit, "shows": f"{name}.active"})
    dividers = [*chip["sequencers"], *(name for name, table in chip["ticks"].items() if "every" in table)]
    for name in dividers:
        if rng.random() < 0.4:
            fields, bit = wiring.place(rng, 1)
            fields.append({"bits": bit, "strobes": f"{name}.restart"})
    for name in chip["channel"]:
        if rng.random() < 0.15:
            rng.choice(wiring.registers).setdefault("on_write", []).append(f"{name}.start")
    draw_held(rng, wiring.registers)
    wiring.finish(rng, range(0x80))
    draw_mirrors(rng, chip)
    chip["register"] = wiring.registers
    for number, (name, table) in enumerate(chip["channel"].items()):
        if table["kind"] == "wave":
            chip["memory"].append({"name": f"M_{name}", "channel": name, "address": 0xC0 + 0x10 * number})


def draw_held(rng: Random, registers: list[Table]) -> None:
    """Perhaps let some registers be held until another one is written, which is not held itself."""
    if rng.random() < 0.6 or len(registers) < 3:
        return
    release, *held = rng.sample(registers, rng.randint(2, 3))
    for register in held:
        if all(group.get("drives") != "power" for group in register["fields"]):
            register["held_until"] = release["name"]


def draw_mirrors(rng: Random, chip: Table) -> None:
    """Perhaps mirror some addresses; an index port gets ports that do not stand where mirrors are."""
    bus = chip["bus"]
    if bus.get("access") == "index-data":
        bus["index_address"], bus["data_address"] = rng.sample((0, 1, 5, 6), 2)
        if rng.random() < 0.5:
            chip["mirror"].append({"address": 0x10, "size": 8, "of": 0})
    elif rng.random() < 0.3:
        chip["mirror"].append({"address": 0x80, "size": 0x40, "of": 0x00})
