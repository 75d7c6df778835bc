"""What each option of bus, ports, mirrors, registers and memories means, write by write.

Every expected number was worked out by hand from the option's sentence and the numbered list in `psgmodel.engine`.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from psgmodel.chip import Chip, parse_chip
from psgmodel.dump import parse_map
from psgmodel.dump.observe import observe
from psgmodel.errors import ChipError, RegisterLogError
from tests.engine.tiny_units import GO, MEMORY, PERIOD, START, VOLUME, play, reads, sounds, tiny

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
