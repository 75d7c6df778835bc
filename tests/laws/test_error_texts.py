"""Errors: how places, problems and hints read. The texts here are the form that every message of the project has."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import psgmodel.errors
from psgmodel.errors import ChipError, DumpError, Place, Problem, PsgmodelError, nearest

LAWS = settings(deadline=None, database=None, derandomize=True, max_examples=100)


@pytest.mark.parametrize(
    ("place", "text"),
    [
        (Place("unit.toml"), "unit.toml"),
        (Place("unit.toml", 3), "unit.toml:3"),
        (Place("unit.toml", 3, 14), "unit.toml:3:14"),
        (Place("run.vcd", byte=0), "run.vcd (byte 0)"),
        (Place("run.vcd", 7, 1, 99), "run.vcd:7:1 (byte 99)"),
        (Place("-", None, 5), "-"),
    ],
)
def test_a_place_reads_file_line_column_byte(place: Place, text: str) -> None:
    assert str(place) == text


def test_a_problem_reads_place_message_hint() -> None:
    assert str(Problem("no such thing")) == "no such thing"
    assert str(Problem("no such thing", Place("a.toml", 2))) == "a.toml:2: no such thing"
    assert str(Problem("no such thing", Place("a.toml", 2), "try that")) == "a.toml:2: no such thing (try that)"
    assert str(Problem("no such thing", hint="try that")) == "no such thing (try that)"


def test_a_problem_is_one_line_whatever_stands_in_it() -> None:
    odd = Problem('found "a\nb\x1b[31m\u2028"', Place("a\tb.toml", 2), "\r")
    assert str(odd) == 'a\\tb.toml:2: found "a\\nb\\x1b[31m\\u2028" (\\r)'
    assert str(Problem("größer — 5 Ω")) == "größer — 5 Ω"


def test_an_error_holds_all_its_problems_a_line_each() -> None:
    one, other = Problem("first", Place("a", 1)), Problem("second", Place("a", 9), "hint")
    error = ChipError([one, other])
    assert error.problems == (one, other)
    assert str(error) == "a:1: first\na:9: second (hint)"
    assert str(ChipError(one)) == "a:1: first"
    assert ChipError(one).problems == (one,)
    assert str(ChipError("plain", place=Place("a", 4), hint="so")) == "a:4: plain (so)"


def test_every_error_of_the_project_has_the_one_root() -> None:
    found = [
        thing
        for thing in vars(psgmodel.errors).values()
        if isinstance(thing, type) and issubclass(thing, Exception) and thing is not PsgmodelError
    ]
    assert len(found) >= 9
    for error in found:
        assert issubclass(error, PsgmodelError)
        assert str(error("text", place=Place("f", 1))) == "f:1: text"


def test_a_dump_error_says_how_far_the_dump_was_good() -> None:
    assert DumpError("cut", last_good_time=40).last_good_time == 40
    assert DumpError("cut").last_good_time is None


@pytest.mark.parametrize(
    ("word", "known", "hint"),
    [
        ("pattrens", ["kind", "patterns", "step"], 'did you mean "patterns"?'),
        ("LEVEL", ["level", "label"], 'did you mean "level"?'),
        ("zzz", ["level", "label"], ""),
        ("anything", [], ""),
        ("", ["level"], ""),
    ],
)
def test_the_nearest_known_name(word: str, known: list[str], hint: str) -> None:
    assert nearest(word, known) == hint


@LAWS
@given(st.text(max_size=12), st.lists(st.text(max_size=12), max_size=8))
def test_a_hint_is_nothing_or_a_known_name(word: str, known: list[str]) -> None:
    assert nearest(word, known) in {"", *(f'did you mean "{name}"?' for name in known)}


@LAWS
@given(st.lists(st.text("abcdefgh_", min_size=4, max_size=12), min_size=1, max_size=6), st.data())
def test_a_name_that_is_known_is_its_own_nearest(known: list[str], data: st.DataObject) -> None:
    word = data.draw(st.sampled_from(known))
    assert nearest(word, known) == f'did you mean "{word}"?'
