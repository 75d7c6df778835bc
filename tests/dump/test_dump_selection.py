"""Signals are chosen by full path, by the end of one, or by a pattern; what is missing or unclear is named."""

from __future__ import annotations

import io

import pytest

from psgmodel.dump import Header, choose, read_header
from psgmodel.errors import DumpError
from tests.dump.dump_text import header

TEXT = """$timescale 1 ns $end
$scope module tb $end
$var reg 1 ! clk $end
$scope module dut $end
$var wire 1 ! clk $end
$var wire 10 " mix [9:0] $end
$var wire 5 # level_a [4:0] $end
$var wire 5 $ level_b [4:0] $end
$scope module noise $end
$var reg 5 % level [4:0] $end
$var reg 15 & bits [14:0] $end
$upscope $end
$scope module wave $end
$var reg 5 ' level [4:0] $end
$upscope $end
$upscope $end
$upscope $end
$enddefinitions $end
"""


def made_header(text: str = TEXT) -> Header:
    return read_header(io.BytesIO(text.encode()))


def paths(*names: str, text: str = TEXT) -> list[str]:
    return [signal.path for signal in choose(made_header(text), names).signals]


@pytest.mark.parametrize(
    ("name", "path"),
    [
        ("tb.dut.mix", "tb.dut.mix"),
        ("dut.mix", "tb.dut.mix"),
        ("mix", "tb.dut.mix"),
        ("mix[9:0]", "tb.dut.mix[9:0]"),
        ("noise.level", "tb.dut.noise.level"),
        ("clk", "tb.clk"),
        ("dut.clk", "tb.dut.clk"),
    ],
)
def test_a_signal_is_found_by_its_path_or_the_end_of_it(name: str, path: str) -> None:
    assert paths(name) == [path]


def test_a_pattern_finds_all_that_fit_in_the_order_of_the_dump() -> None:
    assert paths("*.level_*") == ["tb.dut.level_a", "tb.dut.level_b"]
    assert paths("level_?") == ["tb.dut.level_a", "tb.dut.level_b"]
    assert paths("tb.*.level") == ["tb.dut.noise.level", "tb.dut.wave.level"]
    assert paths("tb.dut.*") == [
        *("tb.dut.clk", "tb.dut.mix", "tb.dut.level_a", "tb.dut.level_b", "tb.dut.noise.level", "tb.dut.noise.bits"),
        "tb.dut.wave.level",
    ]


def test_a_signal_that_is_asked_for_twice_is_kept_once() -> None:
    selection = choose(made_header(), ["mix", "level_a", "dut.mix", "level_*"])
    assert [s.path for s in selection.signals] == ["tb.dut.mix", "tb.dut.level_a", "tb.dut.level_b"]
    assert selection.asked == {"mix": (0,), "level_a": (1,), "dut.mix": (0,), "level_*": (1, 2)}
    assert selection.codes() == [b'"', b"#", b"$"]


def test_every_name_that_cannot_be_used_is_told_in_one_error() -> None:
    with pytest.raises(DumpError) as caught:
        choose(made_header(), ["mixx", "tb.dut.level_c", "level", "mix", "*.volume", "nothing.like.it"])
    noise, wave = TEXT.index("$var reg 5 %"), TEXT.index("$var reg 5 '")
    assert str(caught.value).splitlines() == [
        '<stream>: no signal "mixx" in the dump (did you mean "mix"?)',
        '<stream>: no signal "tb.dut.level_c" in the dump (did you mean "tb.dut.level_b"?)',
        f'<stream>: "level" stands for 2 signals: tb.dut.noise.level (<stream>:10 (byte {noise})), '
        f"tb.dut.wave.level (<stream>:14 (byte {wave})) (name one in full)",
        '<stream>: no signal "*.volume" in the dump',
        '<stream>: no signal "nothing.like.it" in the dump',
    ]


def test_part_of_a_name_is_no_name() -> None:
    with pytest.raises(DumpError, match='no signal "ix" in the dump'):
        paths("ix")
    with pytest.raises(DumpError, match=r'no signal "ut\.mix" in the dump'):
        paths("ut.mix")


def test_a_full_path_wins_over_the_end_of_another() -> None:
    text = (
        "$scope module a $end $var wire 1 ! q $end $scope module a $end $var wire 1 # q $end $upscope $end $upscope "
        "$end $enddefinitions $end"
    )
    assert choose(made_header(text), ["a.q"]).codes() == [b"!"]
    assert choose(made_header(text), ["a.a.q"]).codes() == [b"#"]


def test_names_of_one_code_are_one_signal_and_not_ambiguous() -> None:
    text = (
        "$scope module TOP $end $var wire 4 ! q [3:0] $end $scope module v $end $var wire 4 ! q [3:0] $end $upscope "
        "$end $upscope $end $enddefinitions $end"
    )
    assert paths("q", text=text) == ["TOP.q"]
    assert paths("v.q", text=text) == ["TOP.v.q"]
    assert paths("q", "v.q", text=text) == ["TOP.q"]


def test_names_of_one_code_and_different_widths_are_refused() -> None:
    with pytest.raises(DumpError, match=r'"t.p" shares its identifier code with signals of other widths: \[1, 4\]'):
        paths("p", text=header("wire 4 ! q [3:0]", "wire 1 ! p"))


def test_a_long_list_of_candidates_is_cut() -> None:
    scopes = "".join(f"$scope module m{i} $end $var wire 1 {chr(40 + i)} q $end $upscope $end\n" for i in range(12))
    with pytest.raises(DumpError, match=r'"q" stands for 12 signals: m0.q .*m9.q \(<stream>:10 .*\) and 2 more \(name'):
        paths("q", text=scopes + "$enddefinitions $end\n")
