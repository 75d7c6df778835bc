"""The demo units: what their description says as data is what their prose says in words.

The prose is the independent side; its tables and sentences are read here by plain text matching.
"""

from __future__ import annotations

import re
from fractions import Fraction

import pytest

from psgmodel.chip import Chip, load_chip
from psgmodel.chip.channel import NoiseClock, StepClock
from tests.chip.prose_tables import PATCHES, Prose, Wire, read_prose, table_rows

LETTERS = {
    "linnet": {"A": "a", "B": "b", "W": "wave", "wave": "wave", "N": "noise", "noise": "noise"},
    "siskin": {letter: letter.lower() for letter in "PQUVXY"},
}
HEADER = {"linnet": "| address | name | bits |", "siskin": "| index | name | bits |"}
UNITS = sorted(LETTERS)


def prose_text(unit: str) -> str:
    return " ".join((PATCHES / f"{unit}.md").read_text(encoding="utf-8").split())


@pytest.fixture(scope="module", params=UNITS)
def unit(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="module")
def chip(unit: str) -> Chip:
    return load_chip(PATCHES / f"{unit}.toml")


@pytest.fixture(scope="module")
def prose(unit: str, chip: Chip) -> Prose:
    return read_prose(f"{unit}.md", HEADER[unit], list(chip.unit.outputs), LETTERS[unit])


def test_the_registers_have_the_names_and_addresses_of_the_prose(chip: Chip, prose: Prose) -> None:
    assert {address: register.name for address, register in chip.registers.items()} == prose.names
    assert list(chip.registers) == sorted(prose.names)


def test_every_bit_is_wired_as_the_prose_says(chip: Chip, prose: Prose) -> None:
    said = set()
    for field in chip.fields.values():
        said |= {Wire(s.address, s.low, s.width, field.name, s.field_low) for s in field.segments}
    for address, register in chip.registers.items():
        for group in register.fields:
            if group.role != "drives":
                said.add(Wire(address, group.low, group.high - group.low + 1, group.target))
    assert said == prose.wires


def test_bits_that_a_register_keeps_and_shows_are_its_fields(chip: Chip, prose: Prose) -> None:
    for address, register in chip.registers.items():
        fields = [w for w in prose.wires if w.address == address and not re.search(r"\.(start|stop|active)$", w.target)]
        assert register.stored == sum((1 << w.width) - 1 << w.low for w in fields)


def test_clock_and_channels(unit: str, chip: Chip) -> None:
    megahertz = re.search(r"clock, ([\d.]+) MHz", prose_text(unit))
    assert megahertz is not None
    assert chip.clock_hz == Fraction(megahertz[1]) * 1_000_000
    assert set(chip.channels) == set(LETTERS[unit].values())


def test_patterns(unit: str, chip: Chip) -> None:
    text = (PATCHES / f"{unit}.md").read_text(encoding="utf-8")
    header = next(line for line in text.splitlines() if line.startswith("| pattern |"))
    patterns = tuple(row[1].replace(" ", "") for row in table_rows(text, header))
    squares = [channel for channel in chip.channels.values() if channel.kind == "square"]
    assert len(squares) == 2
    assert all(channel.patterns == patterns for channel in squares)


def test_linnets_ticks_divisors_gains_and_trims() -> None:
    chip, text = load_chip(PATCHES / "linnet.toml"), (PATCHES / "linnet.md").read_text(encoding="utf-8")
    for name, edges, _ in table_rows(text, "| tick | happens at edges | drives |"):
        first, every = (int(n) for n in re.findall(r"\d+", edges)[:2])
        divider = chip.dividers[name.strip("`")]
        assert (divider.first, divider.every) == (first, every)
    step = chip.channels["noise"].step
    divisors = re.search(r"gives divisor ([\d, ]+)\.", prose_text("linnet"))
    assert isinstance(step, NoiseClock)
    assert divisors is not None
    assert step.divisors == tuple(int(n) for n in divisors[1].split(","))
    assert step.stopped == (14, 15)
    gains = re.search(r"the gain is (\d) for A, (\d) for B, (\d) for wave and (\d) for noise", prose_text("linnet"))
    assert gains is not None
    assert [chip.mixer.gains[name] for name in ("a", "b", "wave", "noise")] == [int(n) for n in gains.groups()]
    trims = re.search(
        r"multiplied by (\d), (\d), (\d) or (\d) for trim 0, 1, 2, 3 .* right by (\d) bits", prose_text("linnet")
    )
    assert trims is not None
    assert (*chip.mixer.trims, chip.mixer.trim_shift) == tuple(int(n) for n in trims.groups())
    assert {n: r.reset for n, r in chip.registers.items() if r.reset} == {0x00: 0xFF}
    assert (chip.bus.address_bits, chip.bus.data_bits, chip.mixer.bits) == (7, 8, 9)


def test_siskins_sequencer_loudness_and_mixer() -> None:
    chip, text = load_chip(PATCHES / "siskin.toml"), (PATCHES / "siskin.md").read_text(encoding="utf-8")
    for name, steps, _ in table_rows(text, "| tick | steps | drives |"):
        ticks = chip.ticks[name.strip("`")]
        assert (ticks.divider, ticks.at) == ("beat", tuple(int(n) for n in steps.split(",")))
    beat = chip.dividers["beat"]
    assert (beat.every, beat.first, beat.steps, beat.after_restart, beat.restart_steps) == (
        15_000,
        7_499,
        10,
        15_000,
        True,
    )
    loudness = [int(n) for row in table_rows(text, "| volume | +0 |") for n in row[1:]]
    assert len(loudness) == 64
    loud = [channel for name, channel in chip.channels.items() if name != "v"]
    assert all(channel.volume_table == tuple(loudness) for channel in loud)
    assert chip.channels["v"].volume_table == ()
    # Three-quarter decibel steps up to 255.
    assert all(abs(level - 255 * 10 ** (0.75 * (n - 63) / 20)) <= 0.65 for n, level in enumerate(loudness) if n)
    assert {n: r.reset for n, r in chip.registers.items() if r.reset} == {0x00: 0x0001, 0x02: 0x3F}
    assert chip.registers[0x01].on_write == ("beat.restart",)
    assert chip.registers[0x38].on_write == ("y.start",)
    assert chip.registers[0x03].read_ones == 1 << 15
    assert [chip.mixer.gains[name] for name in "pquvxy"] == [2, 2, 2, 3, 2, 1]
    assert (chip.mixer.trims, chip.mixer.trim_shift, chip.mixer.offset, chip.mixer.latency) == ((4, 3, 2, 1), 2, 512, 3)
    assert (chip.bus.access, chip.bus.index_bits, chip.bus.index_step, chip.bus.data_bits) == ("index-data", 7, 1, 16)
    assert chip.bus.unowned_reads == 0xFFFF


def test_the_memories_are_where_the_prose_says(unit: str, chip: Chip) -> None:
    rows = [
        row
        for row in table_rows((PATCHES / f"{unit}.md").read_text(encoding="utf-8"), HEADER[unit])
        if "MEMORY" in row[1]
    ]
    said = {name: tuple(int(n, 16) for n in addresses.split("-")) for addresses, name, _ in rows}
    assert {m.name: (m.address, m.address + m.size - 1) for m in chip.memories.values()} == said
    for memory in chip.memories.values():
        assert chip.memory_at(memory.address) is memory
        assert chip.memory_at(memory.address + memory.size - 1) is memory
        assert chip.memory_at(memory.address - 1) is not memory
        assert chip.memory_at(memory.address + memory.size) is not memory


def test_step_rules(unit: str, chip: Chip) -> None:
    """A step lasts what section 6 of the prose says, for some periods."""
    rules = {
        "linnet": {"a": lambda p: 2 * (p + 1), "b": lambda p: 2 * (p + 1), "wave": lambda p: p + 1},
        "siskin": {"p": lambda p: 3 * (1024 - p), "q": lambda p: 3 * (1024 - p), "u": lambda p: 2 * (p + 1)},
    }
    for name, rule in rules[unit].items():
        step = chip.channels[name].step
        assert isinstance(step, StepClock)
        for period in (0, 1, 511, (1 << step.bits) - 1):
            up = step.scale * (period + step.offset)
            assert rule(period) == (up if step.rule == "up-from" else step.scale * (step.top - period))
