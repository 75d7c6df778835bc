"""Every option of the description language is documented, bounded and read as its metadata says."""

from __future__ import annotations

import dataclasses
import re
from fractions import Fraction
from typing import Any, get_args, get_origin

import pytest

import psgmodel.chip.channel
import psgmodel.chip.records
import psgmodel.chip.wiring
from psgmodel.chip.options import MAX_INT, ReadingState, choices_of, options_of, plain_type, read_record
from psgmodel.tomlfile import TomlFile

MODULES = (psgmodel.chip.records, psgmodel.chip.channel, psgmodel.chip.wiring)
RECORDS = sorted(
    {
        thing
        for module in MODULES
        for thing in vars(module).values()
        if isinstance(thing, type) and dataclasses.is_dataclass(thing) and list(options_of(thing))
    },
    key=lambda record: record.__name__,
)
OPTIONS = [(record, item, kind) for record in RECORDS for item, kind in options_of(record)]
IDS = [f"{record.__name__}.{item.name}" for record, item, _ in OPTIONS]
every_option = pytest.mark.parametrize(("record", "item", "kind"), OPTIONS, ids=IDS)


def problems_with(record: type, item: Any, value: Any) -> list[str]:
    """What is said about this option when its table holds the value and nothing else."""
    name = item.name
    table = {name: value}
    state = ReadingState(TomlFile("t", {"t": table}, {}), [])
    others = {f.name: None for f in dataclasses.fields(record) if "doc" not in f.metadata}
    read_record(record, table, ("t",), state, **others)
    return [p.message for p in state.problems if p.message.startswith((f"t.{name}:", f"t.{name}[", f"t.{name}."))]


def test_there_are_many_of_them() -> None:
    assert len(RECORDS) >= 12
    assert len(OPTIONS) >= 60


@every_option
def test_every_option_has_a_sentence(record: type, item: Any, kind: Any) -> None:
    doc = item.metadata["doc"]
    assert doc.endswith(".")
    assert re.match(r"[A-Z`]", doc)
    assert 10 <= len(doc) <= 250
    assert "  " not in doc


def test_no_two_options_of_a_record_say_the_same() -> None:
    for record in RECORDS:
        docs = [item.metadata["doc"] for item, _ in options_of(record)]
        assert len(docs) == len(set(docs)), record


@every_option
def test_every_option_is_required_or_has_a_default_of_its_kind(record: type, item: Any, kind: Any) -> None:
    meta, default = item.metadata, item.default
    if default is dataclasses.MISSING:
        assert not meta["shown"]
        return
    if words := choices_of(kind):
        assert default in words
    elif dataclasses.is_dataclass(kind):
        assert default is None
    elif get_origin(kind) is tuple:
        assert isinstance(default, tuple)
    else:
        assert type(default) is kind
    if kind is int:
        low, high = meta["at_least"], meta["at_most"]
        inside = (low is None or default >= low) and default <= high
        # A default outside the bounds stands for something else, and `shown` says what.
        assert inside or meta["shown"] or (record.__name__, item.name) == ("ShiftRegister", "seed")


@every_option
def test_every_option_has_a_kind_that_the_reader_knows(record: type, item: Any, kind: Any) -> None:
    words = choices_of(kind)
    if words:
        assert len(words) >= 2
        assert len(set(words)) == len(words)
        assert all(type(w) is int or re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", w) for w in words)
    elif get_origin(kind) is tuple:
        assert get_args(kind) in ((int, ...), (str, ...))
    else:
        assert kind in (int, bool, str, Fraction) or dataclasses.is_dataclass(kind)
    assert plain_type(kind | None) == kind


@every_option
def test_a_closed_choice_takes_its_words_and_nothing_else(record: type, item: Any, kind: Any) -> None:
    words = choices_of(kind)
    for word in words:
        assert problems_with(record, item, word) == []
    for other in ("no-such-word", "", 12345, 1.0, True, None, [], {}) if words else ():
        (message,) = problems_with(record, item, other)
        assert "accepted: " + ", ".join(f'"{w}"' if isinstance(w, str) else str(w) for w in words) in message


@every_option
def test_an_integer_takes_its_bounds_and_nothing_past_them(record: type, item: Any, kind: Any) -> None:
    ints = kind is int or get_args(kind) == (int, ...)
    if not ints:
        return
    low, high = item.metadata["at_least"], item.metadata["at_most"]
    assert high <= MAX_INT
    assert low is None or low <= high

    def said(value: int) -> list[str]:
        return problems_with(record, item, value if kind is int else [value])

    bottom = -MAX_INT if low is None else low
    for value in (bottom, high):
        assert said(value) == []
    for value in (bottom - 1, high + 1):
        (message,) = said(value)
        assert f"found {value}, accepted: {bottom} to {high}" in message


@every_option
def test_a_value_of_another_kind_is_told_what_is_expected(record: type, item: Any, kind: Any) -> None:
    expected = {int: "an integer is expected", str: "a text is expected", bool: "true or false is expected"}
    if kind in expected:
        for value in (1.5, [1], {"a": 1}, "1" if kind is not str else 1):
            (message,) = problems_with(record, item, value)
            assert message.endswith(expected[kind])
    elif get_origin(kind) is tuple:
        for value in (1, "1", {"a": 1}):
            (message,) = problems_with(record, item, value)
            assert message.endswith("a list is expected")
    elif dataclasses.is_dataclass(kind):
        messages = problems_with(record, item, 5)
        assert messages[0].endswith("found 5, a table is expected")


@every_option
def test_a_required_option_is_missed_in_the_words_of_its_sentence(record: type, item: Any, kind: Any) -> None:
    state = ReadingState(TomlFile("t", {}, {}), [])
    others = {f.name: None for f in dataclasses.fields(record) if "doc" not in f.metadata}
    value = read_record(record, {}, ("t",), state, **others)
    missed = [p.message for p in state.problems if p.message.startswith(f"t.{item.name}: missing: ")]
    doc = item.metadata["doc"]
    if item.default is dataclasses.MISSING:
        assert missed == [f"t.{item.name}: missing: {doc[0].lower()}{doc[1:]}"]
    else:
        assert missed == []
        assert getattr(value, item.name) == item.default


def test_an_unknown_key_names_the_nearest_or_all() -> None:
    for record in RECORDS:
        names = [item.name for item, _ in options_of(record)]
        for name in names:
            state = ReadingState(TomlFile("t", {}, {}), [])
            others = {f.name: None for f in dataclasses.fields(record) if "doc" not in f.metadata}
            read_record(record, {name + "s": 1}, ("t",), state, **others)
            said = [str(p) for p in state.problems if p.message == f"t.{name}s: unknown key"]
            if f"{name}s" in names:
                assert said == []
            else:
                (text,) = said
                assert 'did you mean "' in text


def test_records_are_frozen() -> None:
    for record in RECORDS:
        assert record.__dataclass_params__.frozen
        assert "__slots__" in vars(record)
