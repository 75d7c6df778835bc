"""Register maps of small chips made up here: drawings typed by hand."""

from __future__ import annotations

import dataclasses

from psgmodel.chip import channel, parse_chip, records, wiring
from psgmodel.chip.options import options_of
from psgmodel.report.description import TABLES, description_markdown, description_tables, description_text
from psgmodel.report.registers import registers_json, registers_markdown, registers_text

SMALL = """
format = 1
[unit]
name = "Wren"
clock_hz = "100_000_000 / 3"
outputs = ["mono"]
[bus]
data_bits = {bits}
address_bits = 4
[channel.chirp]
kind = "square"
volume_bits = 4
patterns = ["10", "1100"]
step = {{ bits = {period}, scale = 1 }}
[mixer]
bits = 6
[[register]]
name = "PITCH"
address = 1
reset = 3
fields = [{{ bits = "{top}:0", drives = "chirp.period" }}]
[[register]]
name = "LOUD"
address = 9
fields = [
  {{ bits = "3:0", drives = "chirp.volume" }},
  {{ bits = "6", strobes = "chirp.start" }},
  {{ bits = "7", shows = "chirp.active" }},
]
"""

EIGHT = SMALL.format(bits=8, period=7, top=6).replace('["10", "1100"]', '["10"]')
WIDE = SMALL.format(bits=16, period=12, top=11).replace('["10", "1100"]', '["10"]')

DRAWN = """\
Wren: 33.33333 MHz clock, 8 data bits, 4 address bits, 1 channel, 1 output (mono)

  ▸ writing a 1 acts    ◂ read only    · no such bit: reads 0

      7        6        5        4        3        2        1        0
 ┌─ 0x1 PITCH ────────────────────────────────────────────── reset 0x03 ─┐
 │   ·    │ chirp.period                                                 │
 ├─ 0x9 LOUD ─────────────────────────────────────────────── reset 0x00 ─┤
 │◂ chirp.│▸ chirp.│   ·    │   ·    │ chirp.volume                      │
 │active  │start   │        │        │                                   │
 └───────────────────────────────────────────────────────────────────────┘

field             bits  after reset  held by
chirp.volume         4            0  LOUD[3:0]
chirp.period         7            3  PITCH[6:0]
mixer.mono.chirp     1            1  constant
"""

DRAWN_WIDE = """\
 ┌─ 0x1 PITCH  bits 15:8 ───────────────────────────────── reset 0x0003 ─┐
 │   ·    │   ·    │   ·    │   ·    │ chirp.period[11:8]                │
 ├─ 0x1 PITCH  bits 7:0 ─────────────────────────────────────────────────┤
 │ chirp.period[7:0]                                                     │
 ├─ 0x9 LOUD  bits 7:0 ─────────────────────────────────── reset 0x0000 ─┤
"""


def test_a_small_map_is_drawn_as_typed_here_by_hand() -> None:
    assert registers_text(parse_chip(EIGHT)) == DRAWN


def test_a_wide_register_is_drawn_in_strips_of_eight_bits_without_the_empty_ones() -> None:
    assert DRAWN_WIDE in registers_text(parse_chip(WIDE))


def test_a_register_that_only_strobes_says_so_in_its_place() -> None:
    text = EIGHT + '\n[[register]]\nname = "POKE"\naddress = 2\non_write = ["chirp.stop"]\n'
    assert "│ any write: ▸ chirp.stop                                               │" in registers_text(
        parse_chip(text)
    )


def test_every_line_of_the_drawing_is_equally_long() -> None:
    lines = [line for line in registers_text(parse_chip(EIGHT)).splitlines() if line[:2] in (" ┌", " │", " ├", " └")]
    assert {len(line) for line in lines} == {74}


def with_reads_and_writes(text: str) -> str:
    extra = 'name = "PITCH"\non_write = ["chirp.start"]\nread_ones = 0x80\nread_mask = 0x0F'
    return text.replace('name = "PITCH"', extra)


def test_what_writing_and_reading_do_beside_the_bits_is_told_below_and_so_are_mirrored_addresses() -> None:
    text = with_reads_and_writes(EIGHT).replace("address_bits = 4", "address_bits = 5")
    text += "\n[[mirror]]\naddress = 0x10\nsize = 8\nof = 0\n"
    chip = parse_chip(text)
    for line in (
        "any write to PITCH strobes chirp.start",
        "PITCH always reads 1 in the bits 0x80",
        "PITCH reads 0 in the bits 0x70, whatever they hold",
        "0x10 to 0x17 stand for 0x00 to 0x07",
    ):
        assert f"\n  {line}\n" in registers_text(chip)
        assert f"\n- {line}\n" in registers_markdown(chip)


def test_an_index_port_is_told_and_addresses_are_as_wide_as_the_index() -> None:
    ports = 'address_bits = 4\naccess = "index-data"\nindex_bits = 6\nindex_step = 1'
    told = registers_text(parse_chip(EIGHT.replace("address_bits = 4", ports)))
    assert "\n  bus address 0 takes the index (the addresses above), 1 the data, which moves it on by 1\n" in told
    assert "─ 0x01 PITCH ─" in told


def test_markdown_has_a_row_for_each_group_of_bits() -> None:
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in registers_markdown(parse_chip(EIGHT)).splitlines()
        if line.startswith("|")
    ]
    assert ["0x1", "`PITCH`", "0x03", "6:0", "drives", "`chirp.period`"] in rows
    assert ["0x9", "`LOUD`", "0x00", "7", "shows", "`chirp.active`"] in rows
    assert ["", "", "", "6", "strobes", "`chirp.start`"] in rows
    assert ["`chirp.period`", "7", "3", "PITCH[6:0]"] in rows


def test_a_clock_rate_that_is_no_whole_number_stays_exact_in_json() -> None:
    assert registers_json(parse_chip(EIGHT))["clock_hz"] == "100000000/3"


def test_the_reference_says_of_each_option_what_it_accepts_and_its_default() -> None:
    # Read off the records by hand.
    options = {(t.header, o.key): (o.accepts, o.default) for t in description_tables() for o in t.options}
    assert options["[bus]", "data_bits"] == ("8 | 16 | 32", "8")
    assert options["[unit]", "clock_hz"] == ('integer, or "A / B"', "")
    assert options["[sequencers.NAME]", "every"] == ("integer, 1 to 2^40", "")
    assert options["[channel.NAME.register]", "seed"] == ("integer, -1 to 2^32 - 1", "-1")
    assert options["[channel.NAME.step], noise", "stopped"] == ("list of integers, 0 to 31", "[]")
    assert options["[mixer]", "trims"] == ("list of integers, 0 to 2^16", "[1]")
    assert options["[channel.NAME]", "position_on_start"] == ('"keep" | "reset"', '"reset"')
    assert options["[channel.NAME]", "timer"] == ("table", "none")


def test_no_record_of_the_language_is_left_out_of_its_reference() -> None:
    with_options = {
        record
        for module in (channel, records, wiring)
        for record in vars(module).values()
        if isinstance(record, type) and dataclasses.is_dataclass(record) and any(options_of(record))
    }
    assert with_options == {record for _, record in TABLES}


def test_each_option_of_the_reference_stands_in_text_and_markdown() -> None:
    text, markdown = description_text(), description_markdown()
    for table in description_tables():
        assert f"\n{table.header}\n" in text
        for option in table.options:
            assert f"\n    {option.key} = {option.accepts}" in text
            assert f"| `{option.key}`" in markdown
            assert " ".join(option.sentence.split()) in " ".join(text.split())
