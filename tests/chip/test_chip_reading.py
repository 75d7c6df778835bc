"""Reading a description: files, rates, wiring, defaults, and problems told together by line."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from random import Random

import pytest

from psgmodel.chip import Chip, load_chip, parse_chip
from psgmodel.chip.records import BitField, Segment
from psgmodel.errors import ChipError
from tests.laws.generators import draw_chip, draw_description, toml_text

SMALL = """format = 1
[unit]
name = "Small"
clock_hz = {clock}
outputs = ["out"]
[channel.x]
kind = "square"
volume_bits = 4
patterns = ["10", "01", "11", "00"]
step = {{ bits = 12 }}
[mixer]
bits = 8
[constants]
"x.volume" = 9
[[register]]
name = "HIGH"
address = 0x20
reset = 0x7A
fields = [
  {{ bits = "3:0", drives = "x.period[11:8]" }},
  {{ bits = "6:5", drives = "x.pattern" }},
  {{ bits = "4", drives = "x.period[7]" }},
]
[[register]]
name = "LOW"
address = 0x10
reset = 0x05
fields = [{{ bits = "7", strobes = "x.start" }}, {{ bits = "6:0", drives = "x.period[6:0]" }}]
"""


def small(clock: str = "1_000_000") -> Chip:
    return parse_chip(SMALL.format(clock=clock), "small.toml")


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("6_144_000", Fraction(6144000)),
        ('"6_144_000"', Fraction(6144000)),
        ('"100_000_000 / 3"', Fraction(100_000_000, 3)),
        ('"100000000/3"', Fraction(100_000_000, 3)),
        ('"4761904.5"', Fraction(9523809, 2)),
        ('"12 / 4"', Fraction(3)),
        ("1", Fraction(1)),
    ],
)
def test_a_clock_rate_is_exact(text: str, rate: Fraction) -> None:
    assert small(text).clock_hz == rate


@pytest.mark.parametrize(
    "text",
    [
        '"-1"',
        '"+1"',
        '"1e3"',
        '"0.5"',
        '"1 / 3"',
        '"١٢"',
        '"1/2/3"',
        '""',
        '"/"',
        "true",
        "[1]",
        "nan",
        "9007199254740993",
    ],
)
def test_a_clock_rate_that_is_none(text: str) -> None:
    with pytest.raises(ChipError, match=r"^small\.toml:4: unit\.clock_hz: found "):
        small(text)


def test_registers_come_by_address_and_fields_by_bit() -> None:
    chip = small()
    assert [r.name for r in chip.registers.values()] == ["LOW", "HIGH"]
    assert chip.registers[0x20].fields == (
        BitField(6, 5, "drives", "x.pattern"),
        BitField(4, 4, "drives", "x.period[7]"),
        BitField(3, 0, "drives", "x.period[11:8]"),
    )
    assert chip.registers[0x20].stored == 0x7F
    assert chip.registers[0x10].stored == 0x7F  # the strobe keeps nothing
    assert chip.fields["x.period"].segments == (Segment(0x20, 0, 4, 8), Segment(0x20, 4, 1, 7), Segment(0x10, 0, 7, 0))


def test_a_field_is_joined_from_its_segments() -> None:
    # HIGH resets to 0x7A: period bits 11:8 are 0xA, bit 7 is 1, pattern 3; LOW to 0x05: bits 6:0 are 5.
    chip = small()
    assert chip.fields["x.period"].reset == 0xA85
    assert chip.fields["x.pattern"].reset == 3
    assert chip.fields["x.volume"].reset == 9
    assert chip.fields["x.volume"].segments == ()


def test_what_is_left_out_has_its_default() -> None:
    chip = small()
    assert (chip.bus.data_bits, chip.bus.address_bits, chip.bus.write_latency) == (8, 8, 0)
    assert (chip.mixer.gains, chip.mixer.trims, chip.mixer.latency) == ({"x": 1}, (1,), 0)
    assert (chip.ticks, chip.memories) == ({}, {})
    channel = chip.channels["x"]
    assert (channel.timer, channel.envelope, channel.sweep, channel.start_delay) == (None, None, None, 0)
    assert chip.fields["mixer.out.x"].reset == 1
    assert "mixer.out.trim" not in chip.fields  # one trim needs no field


def test_a_file_and_its_text_describe_the_same_unit(tmp_path: Path) -> None:
    path = tmp_path / "unit.toml"
    for number in range(20):
        text = toml_text(draw_description(Random(number)))
        for newline in ("\n", "\r\n"):
            path.write_bytes(text.replace("\n", newline).encode())
            assert load_chip(path) == parse_chip(text, str(path))


def test_reading_twice_gives_equal_units() -> None:
    for number in range(20):
        assert draw_chip(Random(number)) == draw_chip(Random(number))


def test_problems_come_by_line_whatever_found_them_first() -> None:
    text = (
        SMALL.format(clock="0")
        .replace("0x20", "0x120")
        .replace('"10", "01"', '"10", "0"')
        .replace("bits = 8", "bits = 0")
    )
    with pytest.raises(ChipError) as caught:
        parse_chip(text, "small.toml")
    assert [str(problem).split(": ")[0:2] for problem in caught.value.problems] == [
        ["small.toml:4", "unit.clock_hz"],
        ["small.toml:9", "channel.x.patterns[1]"],
        ["small.toml:12", "mixer.bits"],
        ["small.toml:17", "register[0].address"],
    ]


def test_demo_units_are_as_their_files_say() -> None:
    patches = Path(__file__).parents[2] / "patches"
    for path in sorted(patches.glob("*.toml")):
        if "[unit]" in path.read_text(encoding="utf-8"):
            chip = load_chip(path)
            assert chip.source == str(path)
            assert chip.unit.name.lower() == path.stem
