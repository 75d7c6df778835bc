"""Oddities that dumps of real tools hold: each is read as the standard means it, or refused with its place."""

from __future__ import annotations

import io
import re

import pytest

from psgmodel.dump import read_header
from psgmodel.errors import DumpError
from tests.dump.dump_text import Levels, header, read, read_levels, two_signals

BODY = '#0\n0!\nbx "\n#5\n1!\nb11 "\n#9\n0!\nb1010 "\n'
MEANT: dict[str, Levels] = {"t.a": [(0, 0), (5, 1), (9, 0)], "t.q": [(0, None), (5, 3), (9, 10)]}

SAME_MEANING = {
    "all tokens on one line": BODY.replace("\n", " ") + "\n",
    "one token a line": re.sub(r"[ \n]+", "\n", BODY),
    "several changes on one line": '#0 0! bx "\n#5 1! b11 "\n#9\n0!\nb1010 "\n',
    "carriage returns before line feeds": BODY.replace("\n", "\r\n"),
    "tabs, form feeds and vertical tabs as blanks": BODY.replace("\n", "\t\f\v\n\n"),
    "no final line end": BODY.rstrip("\n"),
    "final blank instead of a line end": BODY.rstrip("\n") + " ",
    "upper-case B and X": BODY.replace("b", "B").replace("x", "X"),
    "a 0b prefix in vector values": BODY.replace("b11 ", "b0b11 ").replace("b1010", "b0B1010"),
    "values before the first time stamp": BODY.removeprefix("#0\n"),
    "a dumpvars section": BODY.replace('0!\nbx "\n', '$dumpvars\n0!\nbx "\n$end\n', 1),
    "a dumpvars section that nobody closes": BODY.replace("0!\n", "$dumpvars\n0!\n", 1),
    "a time stamp within the dumpvars section": BODY.replace("#0\n", "$dumpvars #0 $end\n"),
    "a lone end keyword": BODY.replace("#5", "$end\n#5"),
    "a comment in the body": BODY.replace("#5", "$comment b1 ! #7 $dumpoff 1! b $end\n#5"),
    "a comment before the first time stamp": "$comment nothing yet $end\n" + BODY,
    "a comment within a section": BODY.replace("0!\n", "$dumpvars $comment 1! $end 0!\n$end\n", 1),
    "a checkpoint of all values": BODY.replace("#9", '#7\n$dumpall\n1!\nb11 "\n$end\n#9'),
    "the same time stamp twice": BODY.replace("#5\n1!", "#5\n1!\n#5"),
    "a time stamp with leading zeros": BODY.replace("#5", "#00000000000000000000000000000005"),
    "values that repeat": BODY.replace("#9", '#6\n1!\nb11 "\n#9'),
    "short values extended with 0": BODY.replace("b11 ", "b011 "),
    "a scalar change of a vector": BODY.replace("bx ", "x"),
    "a vector change of a scalar": BODY.replace("1!", "b1 !"),
}


@pytest.mark.parametrize("oddity", SAME_MEANING)
@pytest.mark.parametrize("chunk_bytes", [1, 7, 2**18])
def test_a_dump_means_the_same_with(oddity: str, chunk_bytes: int) -> None:
    assert read_levels(two_signals(SAME_MEANING[oddity]), chunk_bytes=chunk_bytes) == MEANT


def test_the_last_of_several_changes_at_one_time_counts_and_is_noted() -> None:
    text = two_signals("#0\n0!\n#5\n1!\n0!\n1!\n#6\n0!\n1!\n")
    found = read(text, ["a"])
    assert found.signals["t.a"].time.tolist() == [0, 5]
    assert found.signals["t.a"].value.tolist() == [0, 1]
    [note] = found.notes
    assert str(note) == (
        f"<stream> (byte {text.index(b'1!')}): 3 changes were followed by another of the same signal at the same time "
        "(the last one counts)"
    )


@pytest.mark.parametrize("chunk_bytes", [1, 2, 9, 2**18])
def test_a_pulse_of_no_length_is_no_change(chunk_bytes: int) -> None:
    assert read_levels(two_signals("#0\n0!\n#5\n1!\n#5\n0!\n#8\n"), ["a"], chunk_bytes) == {"t.a": [(0, 0)]}


def test_switching_the_dump_off_makes_signals_unknown_until_it_is_on_again() -> None:
    body = '#0\n1!\nb1 "\n#5\n$dumpoff\nx!\nbx "\n$end\n#8\n$dumpon\n1!\nb10 "\n$end\n#9\n0!\n'
    assert read_levels(two_signals(body)) == {
        "t.a": [(0, 1), (5, None), (8, 1), (9, 0)],
        "t.q": [(0, 1), (5, None), (8, 2)],
    }


@pytest.mark.parametrize(
    ("digits", "value"),
    [
        *(("0", 0), ("1", 1), ("10", 2), ("010", 2), ("0010", 2), ("1111", 15), ("0000", 0)),
        *(("x", None), ("z", None), ("X10", None), ("zx0", None), ("0x10", None), ("1z", None), ("Z", None)),
    ],
)
def test_a_short_vector_is_extended_to_the_left_as_table_18_1_says(digits: str, value: int | None) -> None:
    assert read_levels(two_signals(f'#0\nb{digits} "\n'), ["q"]) == {"t.q": [(0, value)]}


@pytest.mark.parametrize(
    ("digits", "value"),
    [("UUUU", None), ("WHLW", None), ("1-00", None), ("HLHL", 10), ("hl01", 9), ("LLLL", 0), ("uHHH", None)],
)
def test_nine_valued_logic_has_weak_levels_as_levels_and_the_rest_unknown(digits: str, value: int | None) -> None:
    assert read_levels(two_signals(f'#0\nb{digits} "\n'), ["q"]) == {"t.q": [(0, value)]}


@pytest.mark.parametrize(("state", "value"), [("H", 1), ("L", 0), ("U", None), ("W", None), ("-", None), ("z", None)])
def test_nine_valued_scalars_are_read_likewise(state: str, value: int | None) -> None:
    assert read_levels(two_signals(f"#0\n{state}!\n"), ["a"]) == {"t.a": [(0, value)]}


CODES = ["#", "$", "b", "B", "r", "s", "0", "1", "x", "#5", "$comment", "b1", "1!", "!", "0b", "~~~", "r1.5"]


@pytest.mark.parametrize("chunk_bytes", [1, 3, 2**18])
def test_identifier_codes_may_look_like_values_times_and_keywords(chunk_bytes: int) -> None:
    variables = [f"wire 4 {code} q{i} [3:0]" for i, code in enumerate(CODES)]
    body = "".join(f"#{t}\n" + "".join(f"b{(i + t) % 13 + 2:b} {c}\n" for i, c in enumerate(CODES)) for t in (1, 2))
    scalars = "#3\n" + "".join(f"{i % 2}{c}\n" for i, c in enumerate(CODES))
    found = read_levels(header(*variables) + body + scalars, ["*"], chunk_bytes)
    assert found == {f"t.q{i}": [(1, (i + 1) % 13 + 2), (2, (i + 2) % 13 + 2), (3, i % 2)] for i in range(len(CODES))}


@pytest.mark.parametrize("length", [1, 2, 3, 4, 7, 8, 9, 12])
def test_identifier_codes_of_every_length_are_told_apart(length: int) -> None:
    codes = [("!" * n + c) for n in range(length) for c in "a~"]
    variables = [f"wire 1 {code} s{i}" for i, code in enumerate(codes)]
    body = "#0\n" + "".join(f"{i % 3 % 2}{c}\n" for i, c in enumerate(codes))
    assert read_levels(header(*variables) + body, ["*"]) == {f"t.s{i}": [(0, i % 3 % 2)] for i in range(len(codes))}
    for undeclared in ("!" * length + "b", "!" * length, "a" * (length + 1), "!" * (length - 1) + "aa"):
        with pytest.raises(DumpError, match=re.escape(f'code "{undeclared}" of the change "1{undeclared}" is not')):
            read(header(*variables) + f"#0\n1{undeclared}\n", ["s0"])


def test_one_code_may_have_several_names() -> None:
    text = header("wire 1 ! a", "wire 1 ! b", 'wire 4 " q [3:0]') + "#0\n1!\n"
    assert read_levels(text, ["b"]) == {"t.b": [(0, 1)]}
    assert read_levels(text, ["a"]) == {"t.a": [(0, 1)]}


@pytest.mark.parametrize("name", ["q[3:0]", "q [3:0]", "q[0:3]", "q [0:3]", "q  [3:0]", "q", "q[ 3:0]"])
def test_a_reference_is_read_with_and_without_a_blank_before_its_range(name: str) -> None:
    if name == "q[ 3:0]":
        with pytest.raises(DumpError, match='no signal "q" in the dump'):
            read(header(f"wire 4 ! {name}") + "#0\nb101 !\n", ["q"])
    else:
        assert read_levels(header(f"wire 4 ! {name}") + "#0\nb101 !\n", ["q"]) == {"t.q": [(0, 5)]}


def test_brackets_that_do_not_fit_the_width_are_part_of_the_name() -> None:
    text = header("wire 4 ! q[7]", "wire 2 # p[3:0]") + "#0\nb101 !\nb11 #\n"
    assert read_levels(text, ["q[7]", "p[3:0]"]) == {"t.q[7]": [(0, 5)], "t.p[3:0]": [(0, 3)]}
    with pytest.raises(DumpError, match='no signal "q" in the dump'):
        read(text, ["q"])


def test_escaped_names_keep_their_dots_and_brackets() -> None:
    text = header("wire 1 ! \\a.b[3]", "wire 4 # \\c[0] [3:0]", "wire 1 % \\d[1]\\") + "#0\n1!\nb11 #\n0%\n"
    assert read_levels(text, ["\\a.b[3]", "c[0]", "t.d[1]"]) == {
        "t.\\a.b[3]": [(0, 1)],
        "t.\\c[0]": [(0, 3)],
        "t.\\d[1]\\": [(0, 0)],
    }


@pytest.mark.parametrize("chunk_bytes", [1, 5, 2**18])
def test_a_vector_written_bit_by_bit_is_joined(chunk_bytes: int) -> None:
    text = header("wire 1 ! q[2]", "wire 1 # q[0]", "wire 1 % q[1]")
    body = "#0\n0!\n1#\n#2\n1%\n#3\n1!\n0#\n#4\nx#\n#5\n1#\n"
    assert read_levels(text + body, ["q"], chunk_bytes) == {
        "t.q": [(0, None), (2, 3), (3, 6), (4, None), (5, 7)],
    }
    assert read_levels(text + body, ["q[1]"], chunk_bytes) == {"t.q[1]": [(2, 1)]}


def test_a_vector_written_in_slices_is_joined_in_either_direction() -> None:
    body = "#0\nb1010 !\nb11 #\n"
    down = header("wire 4 ! q[5:2]", "wire 2 # q[1:0]")
    up = header("wire 4 ! q[0:3]", "wire 2 # q[4:5]")
    assert read_levels(down + body, ["q"]) == read_levels(up + body, ["q"]) == {"t.q": [(0, 0b101011)]}


def test_pieces_that_leave_a_gap_are_not_joined() -> None:
    text = header("wire 1 ! q[2]", "wire 1 # q[0]")
    first = f"t.q (<stream>:3 (byte {text.index('$var')}))"
    with pytest.raises(DumpError, match=re.escape(f'"q" stands for 2 signals: {first}, t.q (<stream>:4')):
        read(text + "#0\n", ["q"])


def test_words_of_a_memory_are_signals_of_their_own() -> None:
    text = header("wire 4 ! ram[0] [3:0]", "wire 4 # ram[1] [3:0]") + "#0\nb1 !\nb10 #\n"
    assert read_levels(text, ["ram[0]", "ram[1]"]) == {"t.ram[0]": [(0, 1)], "t.ram[1]": [(0, 2)]}


def test_reals_strings_events_and_wide_vectors_cost_nothing_unless_chosen() -> None:
    variables = ["real 64 r x", "string 0 s text", "event 1 e ev", "reg 200 w wide [199:0]", "wire 1 ! a"]
    body = f"#0\nr0.30000000000000004 r\nsHello s\n1e\nb{'10' * 100} w\n0!\n#1\nbnonsense w\n1!\n"
    assert read_levels(header(*variables) + body, ["a"]) == {"t.a": [(0, 0), (1, 1)]}
    with pytest.raises(DumpError) as caught:
        read(header(*variables) + body, ["x", "text", "ev", "wide"])
    at = [header(*variables).index(f"$var {v}") for v in variables]
    assert str(caught.value).splitlines() == [
        f'<stream>:3 (byte {at[0]}): "t.x" is of type real, which has no bits',
        f'<stream>:4 (byte {at[1]}): "t.text" is of type string, which has no bits',
        f'<stream>:5 (byte {at[2]}): "t.ev" is of type event, which has no bits',
        f'<stream>:6 (byte {at[3]}): "t.wide" is 200 bits wide; 1 to 64 can be read (dump the part that is compared as '
        "a signal of its own)",
    ]


def test_vectors_of_64_bits_are_read_whole() -> None:
    text = header("wire 64 ! q [63:0]") + f"#0\nb{'1' * 64} !\n#1\nb{'10' * 32} !\n#2\nb1{'0' * 63} !\n"
    assert read_levels(text, ["q"]) == {"t.q": [(0, 2**64 - 1), (1, 0xAAAAAAAAAAAAAAAA), (2, 2**63)]}


def test_unknown_scope_types_declarations_and_extra_scopes_are_tolerated() -> None:
    text = (
        "$comment made by hand $end\n  $timescale\n 100ps\n $end\n$attrbegin misc 07 x 1 $end\n"
        "$scope vhdl_architecture std $end\n$upscope $end\n  $scope module $end\n $scope generate g(0) $end\n"
        "$var logic 1 ! a $end\n$upscope $end\n$enddefinitions $end\n#0\n1!\n"
    )
    found = read(text, ["a"])
    assert list(found.signals) == ["g(0).a"]
    assert str(found.timescale) == "100 ps"
    assert [str(n) for n in found.notes] == [
        f"<stream>:5 (byte {text.index('$attr')}): unknown declaration $attrbegin left out"
    ]


@pytest.mark.parametrize("magnitude", [1, 10, 100])
@pytest.mark.parametrize(("unit", "power"), [("s", 0), ("ms", 3), ("us", 6), ("ns", 9), ("ps", 12), ("fs", 15)])
def test_timescales_are_exact(magnitude: int, unit: str, power: int) -> None:
    found = read(header("wire 1 ! a", timescale=f"{magnitude}{unit}") + "#0\n", ["a"]).timescale
    assert found is not None
    assert found.seconds * 10**power == magnitude


def test_an_empty_body_gives_empty_lists_and_no_times() -> None:
    found = read(two_signals(""), ["a"])
    assert (found.signals["t.a"].time.size, found.first_time, found.end_time) == (0, None, None)


def test_a_dump_without_signals_says_so() -> None:
    with pytest.raises(DumpError, match="the dump declares no signals \\(did \\$dumpvars name a scope\\?\\)"):
        read("$timescale 1 ns $end\n$enddefinitions $end\n#0\n#5\n", ["a"])


def test_times_up_to_2_to_the_63_are_read() -> None:
    assert read_levels(two_signals(f"#1\n0!\n#{2**63 - 1}\n1!\n"), ["a"]) == {"t.a": [(1, 0), (2**63 - 1, 1)]}


def test_a_bit_blasted_vector_of_more_than_64_bits_is_refused() -> None:
    variables = [f"wire 1 {chr(33 + i)} q[{i}]" for i in range(65)]
    with pytest.raises(DumpError, match=r'"t\.q" is 65 bits wide; 1 to 64 can be read'):
        read(header(*variables), ["q"])


def test_the_listing_of_a_header_does_not_need_the_body() -> None:
    found = read_header(io.BytesIO(two_signals("this is no body")))
    assert [(v.path, v.range_text) for v in found.variables] == [("t.a", ""), ("t.q", "[3:0]")]
