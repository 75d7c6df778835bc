"""Names, widths and texts of exports: what is refused, and what stands in the files."""

from __future__ import annotations

import re
from random import Random
from typing import Any

import pytest

from psgmodel.dump.names import level_width
from psgmodel.errors import StimulusError
from psgmodel.reglog import make_log, parse_log
from psgmodel.stimulus import SIMULATORS, dump_snippet, export_files, make_bench, one_write_a_cycle
from psgmodel.stimulus.bench import level_bits
from tests.laws.generators import draw_chip
from tests.stimulus.exported import LINNET_BENCH, LINNET_CHIP, SISKIN_BENCH, SISKIN_CHIP

SHARED = make_log([4, 4, 5, 90], [8, 9, 10, 8], [1, 2, 3, 4], end=91)


def test_writes_that_share_a_cycle_are_refused_with_their_places() -> None:
    for kind in ("csv", "verilog", "vhdl", "cocotb"):
        with pytest.raises(StimulusError) as caught:
            export_files(SHARED, LINNET_BENCH, kind)
        assert str(caught.value) == "log, write 2: a second write at cycle 4 (--spread CYCLES moves the later one on)"


@pytest.mark.parametrize(
    ("spacing", "cycles", "end"), [(1, [4, 5, 6, 90], 91), (4, [4, 8, 12, 90], 91), (40, [4, 44, 84, 124], 125)]
)
def test_spreading_follows_its_rule(spacing: int, cycles: list[int], end: int) -> None:
    spread = one_write_a_cycle(SHARED, spacing)
    assert (spread.cycle.tolist(), spread.end) == (cycles, end)
    assert spread.value.tolist() == [1, 2, 3, 4]


def test_the_memory_image_is_what_a_person_would_write() -> None:
    log = make_log([10, 136], [0x00, 0x0E], [0xFF, 1], end=100_000)
    assert export_files(log, LINNET_BENCH, "verilog")["stimulus.hex"].splitlines()[1:] == [
        "100000000000000A_00000000_000000FF",
        "1000000000000088_0000000E_00000001",
        "20000000000186A0_00000000_00000000",
    ]


def test_the_vhdl_text_is_what_a_person_would_write() -> None:
    log = make_log([10, 136], [0, 1], [0x12, 0x8001], end=200)
    text = export_files(log, SISKIN_BENCH, "vhdl")["stimulus.txt"]
    assert text == "w 10 0 0000000000010010\nw 136 1 1000000000000001\ne 200\n"


def test_vhdl_refuses_what_its_integers_and_the_bus_cannot_hold() -> None:
    with pytest.raises(StimulusError, match="the log ends at cycle 2147483649; a VHDL integer goes to 2147483647"):
        export_files(make_log([2**31], [0], [1]), SISKIN_BENCH, "vhdl")
    with pytest.raises(StimulusError, match="write 1: address 0x02, value 0x10000: the bus has 1 and 16 bits"):
        export_files(make_log([3], [2], [0x10000]), SISKIN_BENCH, "vhdl")


def test_the_csv_of_an_export_is_the_log_with_its_comment() -> None:
    log = make_log([10, 136], [0x00, 0x0E], [0xFF, 1], end=100_000)
    text = export_files(log, LINNET_BENCH, "cocotb", comment="seed 3")["stimulus.csv"]
    assert text.startswith("# seed 3\ncycle,")
    assert parse_log(text) == log


@pytest.mark.parametrize("seed", range(40))
def test_levels_are_as_wide_as_the_reader_of_dumps_expects_them(seed: int) -> None:
    chip = draw_chip(Random(f"width {seed}"))
    for channel in [*chip.channels.values(), *LINNET_CHIP.channels.values(), *SISKIN_CHIP.channels.values()]:
        assert level_bits(channel) == max(1, level_width(channel).bits)


@pytest.mark.parametrize(
    ("names", "message"),
    [
        (
            {"clock": "2clk"},
            '"2clk" is no name in Verilog, VHDL and Python alike (a letter, then letters, digits and single _)',
        ),
        (
            {"write": "wr_"},
            '"wr_" is no name in Verilog, VHDL and Python alike (a letter, then letters, digits and single _)',
        ),
        ({"data": "Signal"}, '"signal" is a word of a language'),
        ({"reset": "CLK"}, 'two signals are called "clk"'),
        ({"address": "dut"}, '"dut" is a name of the bench itself'),
        ({"ties": {"rd": 2}}, "rd is tied to 2, accepted: 0, 1"),
        ({"signals": {"wavy": "x"}}, 'no channel or output "wavy" (did you mean "wave"?)'),
        ({"signals": {"a": "x:0"}}, 'signal "x:0" of a: the bits after the colon are 1 to 64'),
    ],
)
def test_names_that_no_bench_can_have_are_refused(names: dict[str, Any], message: str) -> None:
    with pytest.raises(StimulusError) as caught:
        make_bench(LINNET_CHIP, **names)
    assert str(caught.value) == message


@pytest.mark.parametrize("simulator", SIMULATORS)
@pytest.mark.parametrize("clock", [True, False])
def test_a_snippet_names_bus_levels_and_outputs_and_nothing_else(simulator: str, clock: bool) -> None:
    text = dump_snippet(LINNET_BENCH, simulator, clock=clock)
    for name in ("rst", "wr", "addr", "wdata", "level_a", "level_w", "level_n", "out_left", "out_right"):
        assert re.search(rf"\b{name}\b", text), name
    assert not {"rd", "finished", "ended"} & set(re.findall(r"\w+", text))
    assert simulator == "verilator" or bool(re.search(r"\bclk\b", text)) is clock
    assert simulator == "ghdl" or "--period and --phase" in text


def test_a_channel_without_a_port_is_left_out_of_bench_and_dump() -> None:
    bench = make_bench(LINNET_CHIP, signals={"noise": "", "a": "first:7"})
    files = export_files(make_log([1], [8], [2]), bench, "verilog")
    assert "level_noise" not in "".join(files.values())
    assert "wire [6:0] first;" in files["stimulus_bench.v"]
