"""TOML with places: every key of any document has the line it stands on."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from psgmodel.errors import ChipError, PsgmodelError
from psgmodel.tomlfile import TomlFile, load_toml, parse_toml
from tests.laws.toml_documents import document

LAWS = settings(deadline=None, database=None, derandomize=True, max_examples=300)


def paths_in(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every key path of parsed TOML."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, below in inner:
        yield (*path, key)
        yield from paths_in(below, (*path, key))


@LAWS
@given(st.randoms(use_true_random=True), st.sampled_from(["\n", "\r\n"]))
def test_every_key_stands_on_the_line_where_it_was_written(rng: Any, newline: str) -> None:
    written = document(rng)
    text = written.text.replace("\n", newline)
    file = parse_toml(text, "doc.toml", ChipError)
    assert repr(file.data) == repr(tomllib.loads(text))
    found = {path: file.place(*path).line for path in paths_in(file.data)}
    assert found == written.lines


@LAWS
@given(st.randoms(use_true_random=True), st.integers(1, 3))
def test_whatever_else_is_toml_has_a_line_for_every_key(rng: Any, changes: int) -> None:
    text = document(rng).text
    for _ in range(changes):
        at = rng.randint(0, len(text))
        text = (
            text[:at] + rng.choice(("", "\n", "#", '"', "'", "]", "[", "{", "}", ",", "=", ".", "x")) + text[at + 1 :]
        )
    file, message = None, "doc.toml: accepted"
    try:
        file = parse_toml(text, "doc.toml", ChipError)
    except ChipError as error:
        message = str(error)
    assert message.startswith("doc.toml:")
    for path in paths_in(file.data if file is not None else {}):
        assert file is not None
        assert path in file.lines
        assert 1 <= file.lines[path] <= 1 + text.count("\n")


def lines_of(text: str) -> dict[tuple[str | int, ...], int]:
    return parse_toml(text, "t", ChipError).lines


def test_headers_inline_tables_and_arrays_by_hand() -> None:
    text = """# a comment
a.b = 1

[c."d.e"]   # another
f = [
  1,
  [ 2,
    3 ],
  { g = 4, h.i = '''
''', j = 5 },
]
[[k]]
l = 1
[[k]]
[k.m]
n = { }
"""
    assert lines_of(text) == {
        ("a",): 2,
        ("a", "b"): 2,
        ("c",): 4,
        ("c", "d.e"): 4,
        ("c", "d.e", "f"): 5,
        ("c", "d.e", "f", 0): 6,
        ("c", "d.e", "f", 1): 7,
        ("c", "d.e", "f", 1, 0): 7,
        ("c", "d.e", "f", 1, 1): 8,
        ("c", "d.e", "f", 2): 9,
        ("c", "d.e", "f", 2, "g"): 9,
        ("c", "d.e", "f", 2, "h"): 9,
        ("c", "d.e", "f", 2, "h", "i"): 9,
        ("c", "d.e", "f", 2, "j"): 10,
        ("k",): 12,
        ("k", 0): 12,
        ("k", 0, "l"): 13,
        ("k", 1): 14,
        ("k", 1, "m"): 15,
        ("k", 1, "m", "n"): 16,
    }


def test_a_key_that_is_missing_stands_where_its_table_does() -> None:
    file = parse_toml("x = 1\n\n[a.b]\nc = 2\n", "t.toml", ChipError)
    assert str(file.place("a", "b", "zzz")) == "t.toml:3"
    assert str(file.place("a", "b", "c", 5, "zzz")) == "t.toml:4"
    assert str(file.place("zzz", "b")) == "t.toml"
    assert str(file.place()) == "t.toml"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a = 1\nb = \n", "t.toml:2:5: not valid TOML: invalid value"),
        ("a = 1\na = 2\n", "t.toml:2:6: not valid TOML: cannot overwrite a value"),
        ("[a\n", "t.toml:1:3: not valid TOML: expected ']' at the end of a table declaration"),
        ("a = " + "9" * 5000, "t.toml: not valid TOML: exceeds the limit (4300 digits) for integer string conversion"),
        ("a = " + "[" * 20_000, "t.toml: nested too deeply"),
        ("a = " + "{a=" * 20_000, "t.toml: nested too deeply"),
        ("a = '", 't.toml: not valid TOML: expected "\'" (at end of document)'),
    ],
)
def test_what_is_no_toml_is_refused_with_its_place(text: str, message: str) -> None:
    with pytest.raises(ChipError) as caught:
        parse_toml(text, "t.toml", ChipError)
    assert str(caught.value).startswith(message)


def test_deep_nesting_that_tomllib_takes_is_scanned() -> None:
    text = "a = " + "[" * 150 + "]" * 150 + "\nb = 1\n"
    assert parse_toml(text, "t", ChipError).place("b").line == 2


def test_files_that_cannot_be_read_are_told_apart(tmp_path: Path) -> None:
    def message(path: Path) -> str:
        with pytest.raises(PsgmodelError) as caught:
            load_toml(path, ChipError)
        assert isinstance(caught.value, ChipError)
        return str(caught.value).removeprefix(str(path))

    assert message(tmp_path / "none.toml") == ": cannot read: No such file or directory"
    assert message(tmp_path) == ": cannot read: Is a directory"
    bad = tmp_path / "bad.toml"
    bad.write_bytes(b"a = 1\nb = '\xff'\n")
    assert message(bad) == " (byte 11): not UTF-8 text (a TOML file is UTF-8)"
    bad.write_bytes("a = 1".encode("utf-16"))
    assert message(bad) == " (byte 0): not UTF-8 text (a TOML file is UTF-8)"
    good = tmp_path / "good.toml"
    good.write_bytes(b"a = 1\r\nb = 2\r\n")
    file = load_toml(good, ChipError)
    assert isinstance(file, TomlFile)
    assert (file.data, file.place("b").line) == ({"a": 1, "b": 2}, 2)
