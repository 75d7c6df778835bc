"""What each option of registers, fields and wave memories means, write by write and read by read.

Every expected number was worked out by hand from the option's sentence and the numbered list in `psgmodel.engine`.
"""

from __future__ import annotations

import pytest

from psgmodel.chip import Chip
from psgmodel.errors import RegisterLogError
from tests.engine.tiny_units import GO, MEMORY, PERIOD, START, STOP, VOLUME, play, reads, sounds, tiny

# --- registers ------------------------------------------------------------------------------------------------------


def test_a_register_holds_its_reset_value_and_only_the_bits_that_drive() -> None:
    chip = tiny('[[register]]\nname = "V"\naddress = 9\nreset = 0xA0\nfields = [{ bits = "7:5", drives = "x.volume" }]')
    assert sounds(chip, [(3, GO, START), (5, 9, 0xFF), (7, 9, 0x1F)], 9) == [(0, 0), (3, 5), (5, 7), (7, 0)]
    assert play(chip, [(5, 9, 0xFF)], 9).state.registers[9] == 0xE0
    assert play(tiny(""), [], 1).state.registers[VOLUME] == 0  # without a reset value


def test_a_field_is_joined_from_segments() -> None:
    chip = tiny(
        """
        [[register]]
        name = "LOW"
        address = 20
        fields = [{ bits = "4", drives = "x.volume[0]" }, { bits = "9:8", drives = "x.period[3:2]" }]
        [[register]]
        name = "HIGH"
        address = 21
        fields = [{ bits = "15:14", drives = "x.volume[2:1]" }, { bits = "1:0", drives = "x.period[1:0]" }]
        [channel.x]
        patterns = ["10"]
        """
    )
    # Volume 0b10 0 = 4, 0b10 1 = 5; period 0b01 10 = 6: steps of 7 cycles.
    writes = [(0, 20, 0x0100), (0, 21, 0x8002), (3, GO, START), (5, 20, 0x0110)]
    assert sounds(chip, writes, 12) == [(0, 0), (3, 4), (5, 5), (10, 0)]


def test_strobes_act_on_a_1_and_bits_that_show_read_what_is() -> None:
    text = """
    [[register]]
    name = "KEY"
    address = 20
    fields = [
      { bits = "4", strobes = "x.start" }, { bits = "6", strobes = "x.stop" }, { bits = "9", shows = "x.active" },
      { bits = "1:0", drives = "x.volume[1:0]" },
    ]
    [[register]]
    name = "REST"
    address = 21
    fields = [{ bits = "0", drives = "x.volume[2]" }]
    """
    chip = tiny(text)
    writes = [(2, 20, 0x0013), (4, 20, 0x0002), (6, 20, 0x0041), (8, 20, 0x0203)]
    assert sounds(chip, writes, 10) == [(0, 0), (2, 3), (4, 2), (6, 0)]
    # Strobes and bits without a name read 0; a read just before edge 2 does not show the start at it.
    reads(
        chip, writes, [(2, 20, 0), (3, 20, 0x0203), (5, 20, 0x0202), (6, 20, 0x0202), (7, 20, 0x0001), (9, 20, 0x0003)]
    )


def test_any_write_to_a_register_causes_its_strobes() -> None:
    text = """
    channel.x.envelope = {}
    [[register]]
    name = "V"
    address = 20
    on_write = ["x.start"TICK]
    fields = [{ bits = "2:0", drives = "x.volume" }]
    """
    fade = 5
    # Started by the write at 3, and by that of a 0 at 6; it falls at 10.
    chip = tiny(text.replace("TICK", ""))
    assert sounds(chip, [(0, fade, 1), (3, 20, 6), (6, 20, 0), (8, 20, 4)], 15) == [
        (0, 0),
        (3, 6),
        (6, 0),
        (8, 4),
        (10, 3),
    ]
    # Each write also restarts the tick: the next is 10 after 8.
    chip = tiny(text.replace("TICK", ', "t.restart"'))
    assert sounds(chip, [(0, fade, 1), (3, 20, 6), (8, 20, 4)], 20) == [(0, 0), (3, 6), (8, 4), (18, 3)]
    # Without the list only a strobe bit starts.
    assert sounds(tiny(""), [(3, VOLUME, 6)], 6) == [(0, 0)]


def test_reads_show_the_bits_of_the_mask_and_those_that_are_always_1() -> None:
    text = """
    [[register]]
    name = "V"
    address = 20
    READ
    fields = [{ bits = "3:1", drives = "x.volume" }, { bits = "8", shows = "x.active" }]
    """
    writes = [(0, 20, 0xFFFF), (2, GO, START)]
    # All that drive or show; of these the bits 8 and 1; besides, two bits that are always 1, one of them a volume's.
    for read, value in (
        ("", 0x10E),
        ("read_mask = 0x0F02", 0x102),
        ("read_mask = 0", 0),
        ("read_ones = 0x8000", 0x810E),
        ("read_mask = 0\nread_ones = 0x8004", 0x8004),
    ):
        chip = tiny(text.replace("READ", read))
        reads(chip, writes, [(5, 20, value)])
        assert play(chip, writes, 5).state.registers[20] == 0xE  # whatever is read, the volume is what it is


@pytest.mark.parametrize(("options", "value"), [("", 0), ("unowned_reads = 0", 0), ("unowned_reads = 0xBEEF", 0xBEEF)])
def test_an_address_of_nobody_reads_what_the_bus_gives(options: str, value: int) -> None:
    reads(tiny(f"[bus]\n{options}"), [], [(5, 0x99, value)])


# --- wave memories ---------------------------------------------------------------------------------------------------


def memory(table: str, bus: str = "") -> Chip:
    return tiny(f'[bus]\n{bus}\n[channel.x]\nkind = "wave"\ntable = {{ {table} }}')


def test_a_memory_stands_at_its_address_and_belongs_to_its_channel() -> None:
    two = """
    channel.x = { kind = "wave", table = { samples = 2, bits = 4 } }
    channel.y = { kind = "wave", table = { samples = 2, bits = 4 } }
    memory = [{ name = "MY", channel = "y", address = 0x80 }, { name = "MX", channel = "x", address = 0x90 }]
    """
    trace = play(tiny(two), [(0, 0x80, 5), (0, 0x81, 6), (0, 0x90, 7), (0, 0x91, 8)], 3)
    assert trace.state.memories == {"x": [7, 8], "y": [5, 6]}
    with pytest.raises(RegisterLogError, match="nobody owns address 0x82"):
        play(tiny(two), [(0, 0x82, 5)], 3)


PACKED = "samples = 6, bits = 4, per_address = 3"
FILL = [(0, VOLUME, 1), (0, MEMORY, 0x7321), (0, MEMORY + 1, 0xF654)]


@pytest.mark.parametrize(
    ("order", "first", "second"),
    [
        # Of 0x7321 the lowest three groups of 4 bits, from the lowest or from the highest.
        ("", [1, 2, 3], [4, 5, 6]),
        (', order = "low-first"', [1, 2, 3], [4, 5, 6]),
        (', order = "high-first"', [3, 2, 1], [6, 5, 4]),
    ],
)
def test_samples_are_packed_side_by_side(order: str, first: list[int], second: list[int]) -> None:
    chip = memory(PACKED + order)
    trace = play(chip, [*FILL, (2, GO, START)], 9)  # period 0: a sample a cycle
    assert trace["x"].at(range(2, 9)).tolist() == [*first, *second, first[0]]
    reads(chip, FILL, [(5, MEMORY, 0x321), (6, MEMORY + 1, 0x654)])
    with pytest.raises(RegisterLogError, match="nobody owns address 0x22"):
        play(chip, [(0, MEMORY + 2, 0)], 3)


def test_one_sample_at_an_address_and_no_more_bits_than_it_has() -> None:
    chip = memory("samples = 3, bits = 4")
    trace = play(chip, [(0, VOLUME, 1), (0, MEMORY, 0x321), (0, MEMORY + 2, 0x1F), (2, GO, START)], 6)
    assert trace["x"].at(range(2, 6)).tolist() == [1, 0, 15, 1]


@pytest.mark.parametrize(
    ("option", "idle", "playing"),
    [
        ("", [0x321, 0x654], [0x321, 0x654]),
        (', reads = "memory"', [0x321, 0x654], [0x321, 0x654]),
        (', reads = "zero"', [0, 0], [0, 0]),
        # L = 2 from 2: position 3, in the second address, from 8 to 14.
        (', reads = "sounding"', [0x321, 0x654], [0x654, 0x654]),
    ],
)
def test_what_a_read_of_a_memory_returns(option: str, idle: list[int], playing: list[int]) -> None:
    chip = memory(PACKED + option)
    writes = [*FILL, (0, PERIOD, 1), (2, GO, START), (12, GO, STOP)]
    reads(chip, writes, [(2, MEMORY, idle[0]), (2, MEMORY + 1, idle[1])])  # the start is at that edge
    reads(chip, writes, [(9, MEMORY, playing[0]), (9, MEMORY + 1, playing[1])])
    reads(chip, writes, [(13, MEMORY, idle[0]), (13, MEMORY + 1, idle[1])])
