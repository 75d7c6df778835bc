"""Signal maps: guessed from names with reasons, looked up in a dump, and what is then observed."""

from __future__ import annotations

from pathlib import Path

import pytest

from psgmodel.chip import load_chip
from psgmodel.dump.observe import Kind, observe
from psgmodel.dump.resolve import complete_map, guess_map
from psgmodel.dump.rules import ClockRule, ResetRule
from psgmodel.dump.signal_map import SignalMap, parse_map
from psgmodel.errors import MapError
from tests.dump.map_headers import BENCH, header, vcd

CHIP = load_chip("patches/linnet.toml")


# ----------------------------------------------------------------------------------------------------- guessing


def test_a_whole_map_is_guessed_from_usual_names_and_every_guess_has_a_reason(tmp_path: Path) -> None:
    found = guess_map(header(tmp_path, f"bench: {BENCH}"), CHIP)
    assert found.rule() == ClockRule("bench.clk", "rising", None, ResetRule("bench.rst", 1))
    assert [str(g) for g in found.guesses] == [
        "clock: bench.clk (named like a clock; its rising edges count)",
        "reset: bench.rst (named like a reset; active high)",
        "write strobe: bench.wr (named like one, 1 bit; active high)",
        "address: bench.addr (named like one, 7 bits)",
        "write data: bench.wdata (named like one, 8 bits)",
        "channel a: bench.level_a (named like it, 5 bits)",
        "channel b: bench.level_b (named like it, 5 bits)",
        "channel wave: bench.level_w (named like it, 6 bits)",
        "channel noise: bench.level_n (named like it, 5 bits)",
        "output left: bench.out_left (named like it, 9 bits)",
        "output right: bench.out_right (named like it, 9 bits)",
    ]
    assert found.absent == ()


def test_other_spellings_polarities_and_an_enable_are_guessed(tmp_path: Path) -> None:
    names = "CLOCK:1 RESET_N:1 CLK_EN:1 i_we_n:1 i_address:7 i_data:8 CH_A:5 B_OUT:5 wave_level:6 lvl_noise:8 MIX_L:9"
    found = guess_map(header(tmp_path, f"top.unit: {names}"), CHIP)
    assert found.rule() == ClockRule("top.unit.CLOCK", "rising", "top.unit.CLK_EN", ResetRule("top.unit.RESET_N", 0))
    assert found.bus is not None
    assert (found.bus.write, found.bus.active) == ("top.unit.i_we_n", "low")
    assert found.channels is not None
    assert {n: e.signal.rpartition(".")[2] for n, e in found.channels.items()} == {
        "a": "CH_A", "b": "B_OUT", "wave": "wave_level", "noise": "lvl_noise",
    }  # fmt: skip
    assert found.absent == ("right",)
    assert "output right: none (no such name of fitting width; not compared)" in [str(g) for g in found.guesses]


def test_a_signal_repeated_through_the_hierarchy_is_one_signal(tmp_path: Path) -> None:
    found = guess_map(
        header(tmp_path, f"bench: {BENCH}", "bench.dut: clk:1=A0 rst:1=A1 level_a:5=A5", "bench.dut.note: clk:1=A0"),
        CHIP,
    )
    assert found.clock is not None
    assert found.clock.signal == "bench.clk"


def test_the_scope_with_the_most_parts_is_asked_first(tmp_path: Path) -> None:
    outer = "clk:1 addr:32 wdata:32 wr:1"
    found = guess_map(
        header(tmp_path, f"soc: {outer}", "soc.cpu: clk:1 addr:32=A1 data:32", f"soc.sound: {BENCH}"), CHIP
    )
    assert found.bus is not None
    assert found.clock is not None
    assert (found.clock.signal, found.bus.address) == ("soc.sound.clk", "soc.sound.addr")


def test_of_two_scopes_with_the_same_parts_the_outer_one_is_taken(tmp_path: Path) -> None:
    found = guess_map(header(tmp_path, f"bench.dut: {BENCH}", f"bench: {BENCH}"), CHIP)
    assert found.clock is not None
    assert found.channels is not None
    assert (found.clock.signal, found.channels["a"].signal) == ("bench.clk", "bench.level_a")


def test_two_clocks_are_an_error_that_lists_both(tmp_path: Path) -> None:
    with pytest.raises(MapError) as error:
        guess_map(header(tmp_path, f"bench: {BENCH} mclk:1"), CHIP)
    assert str(error.value) == (
        f'{tmp_path}/d.vcd: 2 signals may be the clock: bench.clk, bench.mclk (say it in a map: [clock] signal = "..." '
        "(or period and phase without a clock))"
    )


def test_everything_that_is_missing_is_told_together_with_how_to_say_it(tmp_path: Path) -> None:
    with pytest.raises(MapError) as error:
        guess_map(header(tmp_path, "bench: tick:1 level_a:5 value:8"), CHIP)
    lines = str(error.value).splitlines()
    assert len(lines) == 4
    assert "no signal of the dump is named like a clock (sought: clk, clock, mclk" in lines[0]
    assert "no signal of the dump is named like a write strobe (sought: wr, we, write" in lines[1]
    assert '[bus] address = "..."' in lines[2]
    assert "write data of 8 bits" in lines[3]


def test_without_channels_and_outputs_there_is_nothing_to_compare(tmp_path: Path) -> None:
    with pytest.raises(MapError) as error:
        guess_map(header(tmp_path, "bench: clk:1 rst:1 wr:1 addr:7 wdata:8 level_a:1 out_left:4"), CHIP)
    assert "no signal to compare: neither a channel (a, b, wave, noise) nor an output (left, right)" in str(error.value)
    assert '[channels] NAME = "..."' in str(error.value)


def test_two_signals_that_fit_a_channel_leave_it_out_and_are_listed(tmp_path: Path) -> None:
    found = guess_map(header(tmp_path, f"bench: {BENCH} a_level:5"), CHIP)
    assert found.absent == ("a",)
    texts = [str(g) for g in found.guesses]
    assert "channel a: none (2 signals fit: bench.level_a, bench.a_level; not compared)" in texts


def test_one_bit_where_a_code_has_nine_is_a_pin(tmp_path: Path) -> None:
    found = guess_map(header(tmp_path, "bench: clk:1 rst:1 wr:1 addr:7 wdata:8 pwm_left:1 out_right:9"), CHIP)
    assert found.pins is not None
    assert found.outputs is not None
    assert (found.pins["left"].signal, list(found.outputs)) == ("bench.pwm_left", ["right"])
    assert "pin left: bench.pwm_left (named like the output, and one bit wide)" in [str(g) for g in found.guesses]


def test_a_bus_is_not_needed_where_a_log_is_given(tmp_path: Path) -> None:
    found = guess_map(header(tmp_path, "bench: clk:1 rst:1 addr:7 level_a:5"), CHIP, need_bus=False)
    assert found.probe() is None
    assert "bus: none (not found: write strobe, write data; the register log is used)" in [
        str(g) for g in found.guesses
    ]


def test_a_section_of_a_map_is_complete_and_the_others_are_guessed(tmp_path: Path) -> None:
    given = parse_map('[channels]\nnoise = "level_n"\n[reset]\nsignal = ""\n', CHIP)
    found = complete_map(given, header(tmp_path, f"bench: {BENCH}"), CHIP)
    assert found.channels is not None
    assert list(found.channels) == ["noise"]
    assert found.channels["noise"].signal == "bench.level_n"
    assert found.absent == ("a", "b", "wave")
    assert found.rule() == ClockRule("bench.clk")
    assert not any("channel" in str(g) or "reset" in str(g) for g in found.guesses)


def test_names_of_a_map_that_the_dump_does_not_have_are_told_with_their_lines(tmp_path: Path) -> None:
    given = parse_map(
        '[clock]\nsignal = "wdata"\n[channels]\na = "level_x"\nb = "level_*"\n[pins]\nleft = "out_left"\n',
        CHIP,
        "m.toml",
    )
    with pytest.raises(MapError) as error:
        complete_map(given, header(tmp_path, f"bench: {BENCH}"), CHIP)
    text = str(error.value)
    assert 'm.toml:2: "bench.wdata" is 8 bits wide; 1 expected' in text
    assert 'm.toml:4: no signal "level_x" in the dump' in text
    assert 'm.toml:5: "level_*" stands for 4 signals: bench.level_a, bench.level_b' in text
    assert 'm.toml:7: "bench.out_left" is 9 bits wide; 1 expected' in text


def test_a_map_without_a_bus_cannot_do_without_a_log(tmp_path: Path) -> None:
    given = parse_map('[bus]\nwrite = ""\n', CHIP, "m.toml")
    with pytest.raises(
        MapError, match=r"m\.toml:1: the map says that the dump has no bus \(give the register log then\)"
    ):
        complete_map(given, header(tmp_path, f"bench: {BENCH}"), CHIP)
    assert complete_map(given, header(tmp_path, f"bench: {BENCH}"), CHIP, need_bus=False).probe() is None


def test_a_map_without_clock_has_no_rule() -> None:
    with pytest.raises(MapError, match="the map names no clock"):
        SignalMap().rule()


# --------------------------------------------------------------------------------------------------- observing

BODY = """#0
$dumpvars
0A0
1A1
0A2
b0 A3
b0 A4
b00000 A5
$end
#10
1A0
#15
0A0
#20
1A0
0A1
1A2
b1110 A3
b1 A4
#25
0A0
#30
1A0
0A2
b10100 A5
#35
0A0
#40
1A0
bx A5
#45
0A0
#50
1A0
#55
0A0
"""


@pytest.mark.parametrize("chunk", [1, 7, 4096])
def test_an_observation_holds_levels_writes_and_counts_whatever_the_chunk(tmp_path: Path, chunk: int) -> None:
    # Edges at 10 (reset), 20 (reset still sampled), 30 (cycle 0: samples the write), 40, 50: three counted edges.
    path = vcd(tmp_path, "bench: clk:1 rst:1 wr:1 addr:7 wdata:8 level_a:5", body=BODY)
    found = observe(path, CHIP, chunk_bytes=chunk)
    assert (found.edges, found.skipped_edges, found.end) == (3, 2, 2)
    (a,) = found.signals
    assert (a.name, a.kind, a.path) == ("a", Kind.CHANNEL, "bench.level_a")
    assert a.steps.cycle.tolist() == [0, 1]
    assert a.steps.level.tolist() == [20, 0]
    assert a.steps.unknown_mask().tolist() == [False, True]
    assert a.unknown_cycles == 1
    assert found.log is not None
    assert (found.log.cycle.tolist(), found.log.address.tolist(), found.log.value.tolist()) == ([0], [14], [1])
    assert (found.log.end, found.later_writes) == (2, 0)
    assert (found.time_of(0), found.time_of(2), found.time_of(3)) == (30, 50, None)
    assert found.end_time == 55
    assert found.map.absent == ("b", "wave", "noise", "left", "right")
    assert found.nothing == ""


def test_a_stream_is_observed_like_a_file(tmp_path: Path) -> None:
    path = vcd(tmp_path, "bench: clk:1 rst:1 wr:1 addr:7 wdata:8 level_a:5", body=BODY)
    with path.open("rb") as stream:
        found = observe(stream, CHIP)
    whole = observe(path, CHIP)
    assert found.signals[0].steps == whole.signals[0].steps
    assert found.log == whole.log


def test_a_single_edge_stands_between_no_two(tmp_path: Path) -> None:
    path = vcd(tmp_path, "bench: clk:1 wr:1 addr:7 wdata:8 level_a:5", body="#0\n0A0\n0A1\nb0 A4\n#10\n1A0\n#15\n0A0\n")
    assert observe(path, CHIP).nothing == "a single clock edge was counted: no level stands between two"
