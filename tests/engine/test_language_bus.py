"""What each option of bus, ports, mirrors, registers and memories means, write by write.

Every expected number was worked out by hand from the option's sentence and the numbered list in `psgmodel.engine`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from psgmodel.chip import Chip, parse_chip
from psgmodel.comparison.reads import compare_reads
from psgmodel.dump import BusTraffic, parse_map
from psgmodel.dump.observe import observe
from psgmodel.errors import ChipError, RegisterLogError
from psgmodel.reglog import make_log
from tests.engine.linnet_plays import Write
from tests.engine.tiny_units import GO, MEMORY, PERIOD, START, STOP, VOLUME, play, sounds, tiny

PLAIN = """
format = 1
unit = { name = "Plain", clock_hz = 1_000_000, outputs = ["out"] }
mixer = { bits = 8 }
channel.x = { kind = "square", volume_bits = 3, patterns = ["1"], step = { bits = 1 } }
constants = { "x.period" = 0 }
[[register]]
name = "TONE"
address = ADDRESS
fields = [{ bits = "7:5", drives = "x.volume" }, { bits = "0", strobes = "x.start" }]
"""


def reads(chip: Chip, writes: list[Write], wanted: list[tuple[int, int, int]], end: int = 40) -> None:
    """Check reads (cycle, address on the bus, value) against what the comparison of reads expects."""
    columns = [np.array([row[i] for row in wanted], dtype=np.int64) for i in range(3)]
    log = make_log(*([row[i] for row in writes] for i in range(3)), end=end)
    result = compare_reads(
        chip,
        log,
        BusTraffic(*columns, edges=end, unknown_strobes=0, unknown_transfers=0, unfinished=0, problems=()),
        end,
    )
    assert result.compared == len(wanted)
    assert [str(read) for read in result.first_wrong] == []


# --- widths ---------------------------------------------------------------------------------------------------------


def top_bits(bits: int, high: int) -> Chip:
    """A unit whose volume stands in three bits of a register, the highest being `high`."""
    wires = f'fields = [{{ bits = "{high}:{high - 2}", drives = "x.volume" }}]'
    return tiny(f'bus.data_bits = {bits}\n[[register]]\nname = "TOP"\naddress = 8\n{wires}')


@pytest.mark.parametrize("bits", [8, 16, 32])
def test_data_are_as_wide_as_the_bus(bits: int) -> None:
    assert sounds(top_bits(bits, bits - 1), [(0, 8, 5 << bits - 3), (2, GO, START)], 5) == [(0, 0), (2, 5)]
    with pytest.raises(ChipError, match=f'accepted: "high:low" or "bit" within {bits - 1}:0'):
        top_bits(bits, bits)


@pytest.mark.parametrize("bits", [8, 16])
def test_a_value_wider_than_the_bus_is_refused(bits: int) -> None:
    with pytest.raises(RegisterLogError, match=f"is wider than the {bits} data bits"):
        play(top_bits(bits, bits - 1), [(0, 8, 1 << bits)], 5)


def test_without_a_word_about_it_a_bus_has_8_data_bits_and_8_address_bits() -> None:
    chip = parse_chip(PLAIN.replace("ADDRESS", "0xFF"))
    assert sounds(chip, [(3, 0xFF, 5 << 5 | 1)], 5) == [(0, 0), (3, 5)]
    with pytest.raises(RegisterLogError, match="value 0x100 is wider than the 8 data bits"):
        play(chip, [(3, 0xFF, 0x100)], 5)
    with pytest.raises(ChipError, match="found 0x100, accepted: 0x00 to 0xFF"):
        parse_chip(PLAIN.replace("ADDRESS", "0x100"))


def test_a_wider_bus_has_more_addresses() -> None:
    chip = parse_chip("bus.address_bits = 9\n" + PLAIN.replace("ADDRESS", "0x1FF"))
    assert sounds(chip, [(3, 0x1FF, 5 << 5 | 1)], 5) == [(0, 0), (3, 5)]
    with pytest.raises(ChipError, match="found 0x200, accepted: 0x00 to 0x1FF"):
        parse_chip("bus.address_bits = 9\n" + PLAIN.replace("ADDRESS", "0x200"))


# --- an index port and a data port ----------------------------------------------------------------------------------


def ports(options: str = "") -> Chip:
    return tiny(f'bus = {{ access = "index-data"{options} }}')


def test_the_bus_carries_addresses_or_an_index_and_data() -> None:
    writes = [(0, 0, VOLUME), (0, 1, 5), (3, 0, GO), (3, 1, START)]
    assert sounds(tiny('bus.access = "index-data"'), writes, 6) == [(0, 0), (3, 5)]
    # The same on a bus that carries addresses: 0 is GO, 1 VOLUME; the 5 and the 1 are volumes, the first 1 a start.
    assert VOLUME == 1
    assert GO == 0
    for direct in (tiny('bus.access = "direct"'), tiny("")):
        assert sounds(direct, writes, 6) == [(0, 5), (3, 1)]


def test_ports_stand_where_the_description_puts_them() -> None:
    chip = ports(", index_address = 6, data_address = 4")
    assert sounds(chip, [(0, 6, VOLUME), (0, 4, 5), (3, 6, GO), (3, 4, START)], 6) == [(0, 0), (3, 5)]
    with pytest.raises(RegisterLogError, match="no port at address 0x00"):
        play(chip, [(0, 0, VOLUME)], 6)


def test_bits_above_the_width_of_an_index_are_lost() -> None:
    # 0x13 is 3 in 4 bits and in 2; in 8 bits, the default, nobody is there.
    writes = [(0, 0, 0x10 | VOLUME), (0, 1, 5), (3, 0, 0x30 | GO), (3, 1, START)]
    for options in (", index_bits = 4", ", index_bits = 2"):
        assert sounds(ports(options), writes, 6) == [(0, 0), (3, 5)]
    with pytest.raises(RegisterLogError, match="nobody owns address 0x11"):
        play(ports(), writes, 6)
    with pytest.raises(ChipError, match="found 0x02, accepted: 0x00 to 0x01"):
        ports(", index_bits = 1")


@pytest.mark.parametrize(
    ("options", "volume", "period", "index"),
    [
        ("", 3, 0, VOLUME),  # both reach VOLUME
        (", index_step = 0", 3, 0, VOLUME),
        (", index_step = 1", 5, 3, 3),  # VOLUME, then the register after it
        # With 2 bits 1 + 4 is 1 again.
        (", index_step = 4, index_bits = 2", 3, 0, VOLUME),
    ],
)
def test_data_moves_the_index_on_afterwards(options: str, volume: int, period: int, index: int) -> None:
    assert PERIOD == VOLUME + 1
    state = play(ports(options), [(0, 0, VOLUME), (0, 1, 5), (1, 1, 3)], 6).state
    assert (state.registers[VOLUME], state.registers[PERIOD], state.index) == (volume, period, index)


def test_an_index_moved_past_its_end_begins_again() -> None:
    # 2 bits, 3 on: PERIOD (2), then 5 modulo 4 = 1, VOLUME, then 4 modulo 4 = 0, GO, then 3.
    chip = ports(", index_bits = 2, index_step = 3")
    trace = play(chip, [(0, 0, PERIOD), (0, 1, 9), (0, 1, 5), (3, 1, START)], 6)
    assert trace["x"].level.tolist() == [0, 5]
    assert (trace.state.registers, trace.state.index) == ({GO: 0, VOLUME: 5, PERIOD: 9}, 3)


def test_an_index_is_0_after_reset_and_changes_as_late_as_a_register() -> None:
    assert sounds(ports(), [(2, 1, START)], 4) == [(0, 0)]
    chip = ports(", write_latency = 2")
    # Volume at 0 + 2, start at 3 + 2, volume at 8 + 2.
    writes = [(0, 0, VOLUME), (0, 1, 5), (3, 0, GO), (3, 1, START), (6, 0, VOLUME), (8, 1, 7)]
    assert sounds(chip, writes, 12) == [(0, 0), (5, 5), (10, 7)]
    assert play(chip, writes[:5], 8).state.index == GO
    assert play(chip, writes[:5], 9).state.index == VOLUME


def test_a_read_of_the_index_port_returns_the_index_and_one_of_the_data_port_the_register() -> None:
    chip = ports(", index_step = 1, unowned_reads = 0xBEEF")
    writes = [(0, 0, VOLUME), (2, 1, 5), (4, 0, VOLUME)]
    # A read gives what stands just before its edge, and moves nothing.
    reads(
        chip, writes, [(0, 0, 0), (1, 0, VOLUME), (2, 0, VOLUME), (3, 0, PERIOD), (5, 1, 5), (6, 1, 5), (7, 7, 0xBEEF)]
    )


# --- mirrors --------------------------------------------------------------------------------------------------------


def test_mirrored_addresses_stand_for_others() -> None:
    chip = tiny("mirror = [{ address = 0x40, size = 3, of = 0 }, { address = 0x81, size = 1, of = 1 }]")
    assert sounds(chip, [(0, 0x40 + VOLUME, 5), (3, 0x40 + GO, START), (5, 0x81, 6)], 7) == [(0, 0), (3, 5), (5, 6)]
    reads(chip, [(0, 0x81, 5)], [(1, VOLUME, 5), (2, 0x41, 5), (3, 0x81, 5)])
    for nobody in (0x43, 0x80, 0x82):  # just past them
        with pytest.raises(RegisterLogError, match=f"nobody owns address 0x{nobody:02X}"):
            play(chip, [(0, nobody, 1)], 6)


def test_ports_can_be_mirrored() -> None:
    chip = tiny('bus.access = "index-data"\nmirror = [{ address = 0x42, size = 2, of = 0 }]')
    assert sounds(chip, [(0, 0x42, VOLUME), (0, 0x43, 5), (3, 0, GO), (3, 0x43, START)], 6) == [(0, 0), (3, 5)]


def test_a_mirror_of_a_mirror_is_refused_whichever_comes_first() -> None:
    one, other = "{ address = 0x40, size = 4, of = 0 }", "{ address = 0x80, size = 1, of = 0x43 }"
    for mirrors in ((one, other), (other, one)):
        with pytest.raises(ChipError, match=r"of: 0x43 is an address that is itself mirrored"):
            tiny(f"mirror = [{mirrors[0]}, {mirrors[1]}]")


# --- order and lateness ---------------------------------------------------------------------------------------------


def test_writes_of_one_cycle_are_made_in_their_order() -> None:
    assert sounds(tiny(""), [(3, VOLUME, 2), (3, GO, START), (3, VOLUME, 6)], 5) == [(0, 0), (3, 6)]


@pytest.mark.parametrize("latency", [0, 3])
def test_a_sample_changes_as_late_as_a_register(latency: int) -> None:
    table = 'channel.x = { kind = "wave", table = { samples = 2, bits = 4, fetch = "direct" } }'
    chip = tiny(f"bus.write_latency = {latency}\n{table}")
    writes = [(0, VOLUME, 1), (0, PERIOD, 15), (1, GO, START), (6, MEMORY, 9)]
    assert sounds(chip, writes, 12) == [(0, 0), (6 + latency, 9)]


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


def test_one_sample_at_an_address_where_nothing_else_is_said_and_no_more_bits_than_it_has() -> None:
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


# --- reads on the bus -------------------------------------------------------------------------------------------------

SIGNALS = {"clk": 1, "wr": 1, "re": 1, "addr": 8, "wdata": 16, "rdata": 16, "level_x": 3}
MAP = """
clock.signal = "clk"
reset.signal = ""
bus = { write = "wr", address = "addr", data = "wdata", read = "re", read_data = "rdata" }
channels.x = "level_x"
outputs = {}
"""


def dump_of_a_read() -> str:
    """Edge c is at 10 c + 5. Edge 3 samples a read of address 1; 0x11 stands before it, 0x22 before edge 4."""
    codes = dict(zip(SIGNALS, "abcdefg", strict=True))
    lines = ["$timescale 1 ns $end", *(f"$var wire {bits} {codes[name]} {name} $end" for name, bits in SIGNALS.items())]
    lines += ["$enddefinitions $end", "#0", *(f"b0 {code}" for code in codes.values()), "b1 d"]
    for cycle in range(8):
        lines += [f"#{10 * cycle}", f"b{cycle == 3:b} c", f"b{ ({3: 0x11, 4: 0x22}.get(cycle, 0)):b} f"]
        lines += [f"#{10 * cycle + 5}", "b1 a", f"#{10 * cycle + 9}", "b0 a"]
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize(("options", "value"), [("", 0x22), ("read_latency = 0", 0x11), ("read_latency = 1", 0x22)])
def test_the_value_of_a_read_stands_on_the_bus_at_once_or_an_edge_later(
    options: str, value: int, tmp_path: Path
) -> None:
    dump = tmp_path / "read.vcd"
    dump.write_text(dump_of_a_read(), encoding="ascii")
    chip = tiny(f"[bus]\n{options}")
    seen = observe(dump, chip, parse_map(MAP, chip)).reads
    assert seen is not None
    assert (seen.cycle.tolist(), seen.address.tolist(), seen.value.tolist()) == ([3], [1], [value])
