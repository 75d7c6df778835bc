"""Signal maps: read from TOML with places, guessed from names with reasons, looked up in a dump."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from psgmodel.chip import load_chip
from psgmodel.dump.names import control_name, level_rank, level_width, output_rank
from psgmodel.dump.rules import ClockRule, GridRule, ResetRule
from psgmodel.dump.signal_map import load_map, parse_map
from psgmodel.errors import MapError

CHIP = load_chip("patches/linnet.toml")


def refused(text: str) -> str:
    with pytest.raises(MapError) as error:
        parse_map(text, CHIP, "map.toml")
    return str(error.value)


# ------------------------------------------------------------------------------------------------------ reading


def test_a_map_says_every_part_in_plain_words() -> None:
    found = parse_map(
        """
        [clock]
        signal = "bench.clk"
        edge = "falling"
        enable = "clk_en"
        [reset]
        signal = "rst_n"
        active = "low"
        [bus]
        write = "we_n"
        active = "low"
        address = "a"
        data = "d"
        [channels]
        a = "level_a"
        wave = { signal = "level_w", signed = true }
        [outputs]
        left = { signal = "out_left", strobe = "valid", strobe_active = "low" }
        [pins]
        right = "pwm_right"
        """,
        CHIP,
    )
    assert found.rule() == ClockRule("bench.clk", "falling", "clk_en", ResetRule("rst_n", 0))
    probe = found.probe()
    assert probe is not None
    assert (probe.strobe, probe.address, probe.data, probe.active) == ("we_n", "a", "d", 0)
    assert found.channels is not None
    assert found.channels["wave"].signed
    assert not found.channels["a"].signed

    assert found.outputs is not None
    assert found.outputs["left"].strobe_active == "low"
    assert found.pins is not None
    assert found.pins["right"].signal == "pwm_right"


def test_a_level_that_can_be_negative_is_read_as_twos_complement_unless_the_map_says_otherwise() -> None:
    siskin = load_chip("patches/siskin.toml")
    assert siskin.channels["v"].levels == "bipolar"
    found = load_map("patches/siskin-bench.toml", siskin)
    assert found.channels is not None
    assert {name for name, entry in found.channels.items() if entry.signed} == {"v"}
    plain = parse_map('format = 1\n[channels]\nv = { signal = "level_v", signed = false }\n', siskin)
    assert plain.channels is not None
    assert not plain.channels["v"].signed


def test_a_dump_without_its_clock_has_a_period_in_the_map() -> None:
    found = parse_map('[clock]\nperiod = 162\nphase = 81\ndelay = 2\n[reset]\nsignal = ""\n', CHIP)
    assert found.rule() == GridRule(162, 81, 2)


def test_a_recording_is_looked_for_beside_the_map(tmp_path: Path) -> None:
    path = tmp_path / "map.toml"
    path.write_text('[recordings]\nleft = { file = "run.wav", channel = 2 }\nright = "run.wav"\n', encoding="utf-8")
    found = load_map(path, CHIP)
    assert found.recordings is not None
    assert found.recordings["left"].file == str(tmp_path / "run.wav")
    assert (found.recordings["left"].channel, found.recordings["right"].channel) == (2, 1)


def test_all_problems_of_a_map_are_told_together_with_lines_and_hints() -> None:
    text = refused('[clok]\n[clock]\nsingal = "clk"\n[channels]\nwove = "level_w"\n[bus]\nwrite = "wr"\n')
    assert 'map.toml:1: clok: unknown section (did you mean "clock"?)' in text
    assert 'map.toml:3: clock.singal: unknown key (did you mean "signal"?)' in text
    assert 'map.toml:5: channels.wove: the chip has no channel "wove" (did you mean "wave"?)' in text
    assert "map.toml:6: bus.address: missing: a bus with a write strobe has address and data" in text
    assert "map.toml:2: clock: either signal or period is expected" in text


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[clock]\nsignal = "clk"\nperiod = 5\n', "clock: either signal or period is expected"),
        ("[clock]\nperiod = 5\nenable = 'en'\n", "clock.enable: does not go with period"),
        ('[clock]\nsignal = "clk"\nphase = 5\n', "clock.phase: goes with period only"),
        ("[clock]\nperiod = 5\ndelay = 5\n", "clock.delay: found 5, accepted: 0 to 4"),
        ("[clock]\nperiod = 2.5\n", "clock.period: found 2.5, an integer is expected"),
        ('[reset]\nsignal = "r"\nactive = 0\n', 'reset.active: found 0, accepted: "high", "low"'),
        ("[bus]\nwrite = 'w'\naddress = 'a'\ndata = 'd'\nread = 'r'\n", "bus.read: read and read_data go together"),
        ("[outputs]\nleft = 3\n", "outputs.left: found 3, a table is expected"),
        ("channels = 3\n", "channels: found 3, a table is expected"),
        ("format = 2\n", "format: found 2, accepted: 1"),
        ("[clock\n", "not valid TOML"),
    ],
)
def test_a_map_that_cannot_be_used_says_why(text: str, message: str) -> None:
    assert message in refused(text)


def test_a_map_that_is_not_there_says_so(tmp_path: Path) -> None:
    with pytest.raises(MapError, match=r"none\.toml: cannot read: No such file"):
        load_map(tmp_path / "none.toml", CHIP)


# ------------------------------------------------------------------------------------------------------- names


@pytest.mark.parametrize(
    ("name", "base", "low"),
    [
        ("RST_N", "rst", True), ("resetn", "reset", True), ("nrst", "rst", True), ("i_rst_n", "rst", True),
        ("reset_b", "reset", True), ("rst_i", "rst", False), ("wr_n_i", "wr", True), ("n_reset", "reset", True),
        ("we", "we", False), ("clk_i", "clk", False),
    ],
)  # fmt: skip
def test_polarity_is_told_by_a_trailing_mark(name: str, base: str, low: bool) -> None:
    assert control_name(name) == (base, low)


def test_names_of_channels_are_ranked_from_plain_to_abbreviated() -> None:
    others = ["b", "wave", "noise"]
    ranks = [level_rank((), n, "a", others) for n in ("level_a", "a_level", "LVL_A", "ch_a", "ch_a_out", "a")]
    assert ranks == [0, 0, 0, 1, 1, None]  # one letter alone is too often something else
    assert level_rank((), "wave", "wave", ["a"]) == 2
    assert level_rank((), "level_w", "wave", ["a", "noise"]) == 3
    assert level_rank((), "level_w", "wave", ["a", "warble"]) is None  # stands for either
    assert level_rank(("dut", "wave"), "level", "wave", ["a"]) == 10
    assert level_rank(("dut", "mixer"), "level", "wave", ["a"]) is None
    assert level_rank((), "level_wave_next", "wave", ["a"]) is None


def test_a_level_needs_as_many_bits_as_its_extremes() -> None:
    # Linnet: volumes to 31; wave samples to 63, times 31, shifted right by 5: 61.
    assert [level_width(c) for c in CHIP.channels.values()] == [(5, False), (5, False), (6, False), (5, False)]
    both = replace(CHIP.channels["a"], levels="bipolar")  # -31 to 31
    assert level_width(both) == (6, True)
    assert level_width(replace(both, volume_table=(0, 7, 32))) == (7, True)  # -32 to 32
    wave = replace(CHIP.channels["wave"], levels="bipolar")  # -32 * 31 >> 5 = -31, 31 * 31 >> 5 = 30
    assert level_width(wave) == (6, True)
    assert level_width(replace(CHIP.channels["a"], idle_level=-40)) == (7, True)
    assert level_width(replace(CHIP.channels["a"], idle_level=40)) == (6, False)


def test_the_only_output_may_be_called_by_a_usual_word_alone() -> None:
    assert output_rank("audio_out", "mono", []) is not None
    assert output_rank("audio_out", "left", ["right"]) is None
    assert output_rank("out_l", "left", ["right"]) == 4
    assert output_rank("DAC_left", "left", ["right"]) == 1
