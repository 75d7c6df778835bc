"""Whatever stands in a file, readers give a result or the project's own error, which names the file; nothing else."""

from __future__ import annotations

import zipfile
from copy import deepcopy
from io import BytesIO
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from psgmodel.chip import Chip, load_chip, parse_chip
from psgmodel.engine import run
from psgmodel.errors import ChipError, PsgmodelError, RegisterLogError
from psgmodel.reglog import check_log, format_log, load_log, make_log, parse_log, save_log
from tests.laws.generated_logs import draw_log
from tests.laws.generators import Raw, draw_chip, draw_description, toml_text

FUZZ = settings(
    deadline=None, database=None, derandomize=True, max_examples=300, suppress_health_check=list(HealthCheck)
)
RANDOM = st.randoms(use_true_random=True)


ODD_VALUES = (
    *map(
        Raw,
        ("nan", "-inf", "1e400", "-1", "0", "1", "3", "255", "65536", "4294967296", "9007199254740993", "1979-05-27"),
    ),
    *map(Raw, ("07:32:00", "[]", "{}", "true", "''", "'x'", "'1 / 0'", "[[1], [2]]", "{ a = { b = 1 } }", "[1, 1, 1]")),
    *map(Raw, ("'main.main'", "'7:0'", "'0'", "'a.b[9:0]'", '"""\n\n"""', "[{}]", "['start', 'x.start']")),
)


def tables_in(value: Any) -> list[Any]:
    """Every table and list within a value."""
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else []
    found = [value] if isinstance(value, dict | list) and len(value) else []
    for below in inner:
        found += tables_in(below)
    return found


def harm(rng: Random, description: Any) -> None:
    """Change one thing somewhere: a value, a key, a repetition, a loss."""
    table = rng.choice(tables_in(description))
    key = rng.choice(list(table)) if isinstance(table, dict) else rng.randrange(len(table))
    other = rng.choice(tables_in(description))
    how = rng.randrange(6)
    if how == 0:
        del table[key]
    elif how == 1 and isinstance(table, dict):
        table[key + rng.choice("x_")] = table.pop(key)
    elif how == 2 and isinstance(table, list):
        table.append(table[key])
    elif how == 3:
        values = list(other.values() if isinstance(other, dict) else other)
        table[key] = rng.choice([v for v in values if not isinstance(v, dict | list)] or [Raw("0")])
    elif how == 4 and type(table[key]) is int:
        table[key] += rng.choice((-1, 1, 7, 1 << 20, -(1 << 20)))
    else:
        table[key] = rng.choice(ODD_VALUES)


def text_of(description: Any) -> str | None:
    """The description as TOML text, where it still has a shape that can be written."""
    try:
        return toml_text(description)
    except (KeyError, AttributeError, TypeError, ValueError):
        return None


@FUZZ
@given(RANDOM, st.integers(1, 3))
def test_a_harmed_description_is_refused_with_places_or_describes_a_unit_that_runs(rng: Random, harms: int) -> None:
    description = deepcopy(draw_description(rng))
    for _ in range(harms):
        harm(rng, description)
    text = text_of(description)
    if text is None:
        return
    chip: Chip | None = None
    message = "unit.toml accepted"
    try:
        chip = parse_chip(text, "unit.toml")
    except ChipError as error:
        message = str(error)
    assert all(line.startswith("unit.toml") for line in message.splitlines())
    if chip is None or min(d.first for d in chip.dividers.values()) > 500:
        return
    log = draw_log(rng, chip, 300, 20)
    fast, slow = run(chip, log), run(chip, log, engine="reference")
    assert all(fast[name] == slow[name] for name in (*fast.channels, *fast.outputs))
    assert fast.state == slow.state


def reads(path: Path, reader: Any, error: type[PsgmodelError]) -> None:
    """Read a file; the only exception that may come is the right one, and it names the file."""
    message = f"{path}: accepted"
    try:
        reader(path)
    except error as reason:
        message = str(reason)
    assert message.startswith(str(path))


def harmed(rng: Random, data: bytes) -> bytes:
    """Cut, repeat, change some bytes."""
    for _ in range(rng.randint(1, 4)):
        at = rng.randint(0, len(data))
        how = rng.randrange(4)
        if how == 0:
            data = data[:at]
        elif how == 1:
            data = (
                data[:at] + rng.choice((b"\x00", b"\xff", b"\n", b'"', b"[", b"{", b"=", b",", b"9" * 50)) + data[at:]
            )
        elif how == 2:
            data = data[:at] + data[at + rng.randint(1, 9) :]
        else:
            data = data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
    return data


@FUZZ
@given(RANDOM)
def test_harmed_bytes_of_a_description(tmp_path_factory: pytest.TempPathFactory, rng: Random) -> None:
    path = tmp_path_factory.getbasetemp() / "unit.toml"
    path.write_bytes(harmed(rng, toml_text(draw_description(rng)).encode()))
    reads(path, load_chip, ChipError)


@FUZZ
@given(st.binary(max_size=300))
def test_any_bytes_as_description_and_as_log(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    for name, reader, error in (
        ("any.toml", load_chip, ChipError),
        ("any.csv", load_log, RegisterLogError),
        ("any.npz", load_log, RegisterLogError),
    ):
        path = tmp_path_factory.getbasetemp() / name
        path.write_bytes(data)
        reads(path, reader, error)


@FUZZ
@given(st.text(max_size=200))
def test_any_text_after_the_header_of_a_log(text: str) -> None:
    message = "log: accepted"
    try:
        parse_log("cycle,address,value\n" + text)
    except RegisterLogError as error:
        message = str(error)
    assert message.startswith("log:")


@FUZZ
@given(RANDOM)
def test_harmed_bytes_of_a_log(tmp_path_factory: pytest.TempPathFactory, rng: Random) -> None:
    chip = draw_chip(Random(rng.randrange(5)))
    log = draw_log(rng, chip, 200, 10)
    path = tmp_path_factory.getbasetemp() / "log.csv"
    path.write_bytes(harmed(rng, format_log(log, comment="a log").encode()))

    def reader(path: Path) -> None:
        check_log(load_log(path), chip)

    reads(path, reader, RegisterLogError)


@FUZZ
@given(RANDOM)
def test_harmed_bytes_of_an_archive(tmp_path_factory: pytest.TempPathFactory, rng: Random) -> None:
    path = tmp_path_factory.getbasetemp() / "log.npz"
    count = rng.randint(0, 50)
    save_log(make_log(sorted(rng.randrange(999) for _ in range(count)), [3] * count, [5] * count), path)
    path.write_bytes(harmed(rng, path.read_bytes()))
    reads(path, load_log, RegisterLogError)


ARRAYS: dict[str, Any] = {"cycle": [1, 2], "address": [3, 4], "value": [5, 6], "end": 9}


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"end": None}, ": the archive has no array 'end'"),
        ({"value": None}, ": the archive has no array 'value'"),
        ({"end": [9]}, ": the array 'end' is not one whole number"),
        ({"end": 9.5}, ": the array 'end' is not one whole number"),
        ({"end": 2}, ": a log whose last write is at cycle 2 cannot end at cycle 2"),
        ({"cycle": [2, 1]}, ", write 2: cycle 1 after cycle 2; cycles must not run backwards"),
        ({"end": [1, 2]}, ": the array 'end' is not one whole number"),
        (
            {"cycle": [1.0, 2.0]},
            ": cycle, address and value have the types float64, int64, int64; integers are expected",
        ),
        ({"cycle": [1]}, ": cycle, address and value have the shapes (1,), (2,), (2,); three equal lists are expected"),
        ({"address": [3, -4]}, ", write 2: address -4, accepted: 0 to 4294967295"),
        ({"value": [2**40, 6]}, ", write 1: value 1099511627776, accepted: 0 to 4294967295"),
        (
            {"cycle": np.array([1, 2**63], np.uint64)},
            ", write 2: cycle 9223372036854775808, accepted: 0 to 4611686018427387904",
        ),
        (
            {"value": np.array([{}, {}], object)},
            ": cannot read as NumPy archive: Object arrays cannot be loaded when allow_pickle=False",
        ),
    ],
)
def test_an_archive_that_holds_no_log(changes: dict[str, Any], message: str, tmp_path: Path) -> None:
    arrays = {key: value for key, value in {**ARRAYS, **changes}.items() if value is not None}
    path = tmp_path / "log.npz"
    np.savez(path, **arrays)
    with pytest.raises(RegisterLogError) as caught:
        load_log(path)
    assert str(caught.value) == f"{path}{message}"


def test_a_single_array_and_a_zip_of_texts_are_no_archive(tmp_path: Path) -> None:
    path = tmp_path / "log.npz"
    stream = BytesIO()
    np.save(stream, np.arange(5))
    path.write_bytes(stream.getvalue())
    reads(path, load_log, RegisterLogError)
    with zipfile.ZipFile(path, "w") as archive:
        for name in ("cycle", "address", "value", "end"):
            archive.writestr(name, "no array")
    with pytest.raises(RegisterLogError, match="cannot read as NumPy archive"):
        load_log(path)


def test_a_cell_longer_than_csv_allows() -> None:
    with pytest.raises(RegisterLogError, match=r"^log:2: not CSV: field larger than field limit"):
        parse_log("cycle,address,value\n" + "1" * 200_000 + ",1,1\n")


def test_files_that_are_not_there(tmp_path: Path) -> None:
    for name in ("none.csv", "none.npz"):
        with pytest.raises(RegisterLogError, match="No such file or directory"):
            load_log(tmp_path / name)
    with pytest.raises(RegisterLogError, match="cannot read: Is a directory"):
        load_log(tmp_path)
    with pytest.raises(ChipError, match="cannot read: No such file or directory"):
        load_chip(tmp_path / "none.toml")
