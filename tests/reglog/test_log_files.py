"""Register logs: arrays, text and archive say the same log, and back."""

from __future__ import annotations

from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from psgmodel.errors import OutputError, RegisterLogError
from psgmodel.reglog import RegisterLog, format_log, load_log, make_log, parse_log, save_log
from psgmodel.steps import MAX_CYCLE

LAWS = settings(deadline=None, database=None, derandomize=True, max_examples=150)
NUMBERS = st.one_of(st.integers(0, 300), st.integers(0, 2**32 - 1))


@st.composite
def any_log(draw: Any) -> RegisterLog:
    rows = draw(st.lists(st.tuples(st.integers(0, 2**40), NUMBERS, NUMBERS), max_size=20))
    rows.sort(key=lambda row: row[0])
    end = draw(st.one_of(st.none(), st.integers(0, 2**41)))
    last = rows[-1][0] if rows else -1
    return make_log(*(([row[i] for row in rows]) for i in range(3)), end=None if end is None else max(end, last + 1))


@LAWS
@given(any_log(), st.sampled_from(["", "one line", "two\n\nlines, cycle,address,value", 'a,"b']))
def test_text_and_back_is_the_same_log(log: RegisterLog, comment: str) -> None:
    text = format_log(log, comment=comment)
    assert parse_log(text) == log
    assert format_log(parse_log(text), comment=comment) == text


@LAWS
@given(log=any_log())
def test_files_and_back_are_the_same_log(tmp_path_factory: pytest.TempPathFactory, log: RegisterLog) -> None:
    for name in ("log.csv", "log.npz", "log.txt"):
        path = tmp_path_factory.getbasetemp() / name
        save_log(log, path, comment="a log")
        again = load_log(path)
        assert again == log
        assert again.source == str(path)


def test_the_text_form_by_hand() -> None:
    log = make_log([0, 7, 7], [0x0A, 0x100, 5], [255, 0, 0x1F00], end=100)
    text = "# what it is\n#\n# and more\ncycle,address,value\n0,0x0A,0xFF\n7,0x100,0x00\n7,0x05,0x1F00\n100,,\n"
    assert format_log(log, comment="what it is\n\nand more") == text
    again = parse_log(text, "x.csv")
    assert again == log
    assert [str(again.place(i)) for i in range(3)] == ["x.csv:5", "x.csv:6", "x.csv:7"]


def test_the_text_form_is_read_leniently_where_nothing_is_lost() -> None:
    text = '\n  # c\nCycle, ADDRESS ,value\r\n\r\n0x10,16,0XfF\n # c\n"17", 0x10 ,7\n20,,\n# the end\n\n'
    assert parse_log(text) == make_log([16, 17], [16, 16], [255, 7], end=20)


def test_a_byte_order_mark_is_no_part_of_the_header(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes("cycle,address,value\n1,2,3\n".encode("utf-8-sig"))
    assert load_log(path) == make_log([1], [2], [3])


def test_a_log_of_no_writes_is_a_log() -> None:
    assert parse_log("cycle,address,value\n") == make_log([], [], [])
    assert parse_log("cycle,address,value\n") == make_log([], [], [], end=0)
    assert parse_log("cycle,address,value\n50,,\n") == make_log([], [], [], end=50)
    assert len(make_log([], [], [], end=50)) == 0


def test_without_an_end_a_log_ends_after_its_last_write() -> None:
    assert make_log([3, 9], [1, 1], [0, 0]).end == 10
    assert parse_log("cycle,address,value\n9,1,1\n").end == 10
    assert make_log([MAX_CYCLE], [1], [1]).end == MAX_CYCLE + 1


@pytest.mark.parametrize(
    ("columns", "end", "message"),
    [
        (([2, 1], [0, 0], [0, 0]), None, "log, write 2: cycle 1 after cycle 2; cycles must not run backwards"),
        (([1], [0], [-1]), None, "log, write 1: value -1, accepted: 0 to 4294967295"),
        (([1], [2**32], [0]), None, "log, write 1: address 4294967296, accepted: 0 to 4294967295"),
        (([-1], [0], [0]), None, "log, write 1: cycle -1, accepted: 0 to 4611686018427387904"),
        (([5], [0], [0]), 5, "log: a log whose last write is at cycle 5 cannot end at cycle 5"),
        (([], [], []), -1, "log: a log whose last write is at cycle -1 cannot end at cycle -1"),
        (([5], [0], [0]), 2**63, "log: a log whose last write is at cycle 5 cannot end at cycle 9223372036854775808"),
        (
            ([1, 2], [0], [0]),
            None,
            "log: cycle, address and value have the shapes (2,), (1,), (1,); three equal lists are expected",
        ),
        (
            ([1.5], [0], [0]),
            None,
            "log: cycle, address and value have the types float64, int64, int64; integers are expected",
        ),
        (
            (["1"], [0], [0]),
            None,
            "log: cycle, address and value have the types <U1, int64, int64; integers are expected",
        ),
    ],
)
def test_arrays_that_are_no_log(columns: tuple[list[Any], ...], end: int | None, message: str) -> None:
    with pytest.raises(RegisterLogError) as caught:
        make_log(*columns, end=end)
    assert str(caught.value) == message


@LAWS
@given(log=any_log(), first=st.integers(0, 2**40), length=st.integers(0, 2**40))
def test_a_cut_has_the_writes_from_start_to_end(log: RegisterLog, first: int, length: int) -> None:
    part = log.cut(first, first + length)
    rows = list(zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True))
    kept = [row for row in rows if first <= row[0] < first + length]
    assert list(zip(part.cycle.tolist(), part.address.tolist(), part.value.tolist(), strict=True)) == kept
    assert part.end == min(first + length, log.end)
    whole = [log.cut(0, first), log.cut(first, log.end)]
    assert np.array_equal(np.concatenate([p.value for p in whole]), log.value)


@LAWS
@given(log=any_log(), end=st.integers(0, 2**41))
def test_another_end_leaves_out_what_lies_past_it(log: RegisterLog, end: int) -> None:
    other = log.with_end(end)
    assert other.end == end
    assert np.array_equal(other.cycle, log.cycle[log.cycle < end])


def test_logs_compare_by_what_is_written() -> None:
    log = make_log([1, 1], [2, 3], [4, 5])
    assert log == make_log(np.array([1, 1], np.uint8), [2, 3], [4, 5], source="elsewhere")
    assert log != make_log([1, 1], [3, 2], [5, 4])  # the order of one cycle counts
    assert log != make_log([1, 1], [2, 3], [4, 5], end=9)
    assert log != "log"
    with pytest.raises(TypeError):
        hash(log)


def test_a_long_log_is_read_row_by_row() -> None:
    rng = Random(1)
    cycles = sorted(rng.randrange(10**9) for _ in range(5000))
    log = make_log(cycles, [rng.randrange(128) for _ in cycles], [rng.randrange(256) for _ in cycles])
    again = parse_log(format_log(log))
    assert again == log
    assert again.lines is not None
    assert again.lines.tolist() == list(range(2, 5002))


def test_a_log_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    log = make_log([1], [2], [3])
    for name in ("none/log.csv", "none/log.npz"):
        with pytest.raises(OutputError):
            save_log(log, tmp_path / name)
    assert list(tmp_path.iterdir()) == []
