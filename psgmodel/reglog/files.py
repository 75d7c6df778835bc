"""Files: register logs as CSV and as NumPy archive.

Stage: reglog. In: a path. Out: a `RegisterLog`, and back. The CSV form (RFC 4180) has the header
``cycle,address,value``; numbers are decimal or 0x; lines that begin with # are comments; a last row with a
cycle alone says where the log ends. The .npz form holds the arrays cycle, address, value and the number end.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from psgmodel.errors import Place, Problem, RegisterLogError, nearest
from psgmodel.output import whole_file, write_text_whole
from psgmodel.reglog.log import RegisterLog, make_log, some_of
from psgmodel.steps import MAX_CYCLE

HEADER = ("cycle", "address", "value")


def load_log(path: str | Path) -> RegisterLog:
    """Read a register log.

    Parameters
    ----------
    path : str or Path
        A name that ends in .npz is read as NumPy archive, any other as CSV.

    Raises
    ------
    RegisterLogError
        The file cannot be read, or holds no log; all problems of a CSV are told together.
    """
    if str(path).endswith(".npz"):
        return _load_npz(path)
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except OSError as reason:
        raise RegisterLogError(f"cannot read: {reason.strerror or reason}", place=Place(str(path))) from reason
    except UnicodeDecodeError as reason:
        raise RegisterLogError("not UTF-8 text", place=Place(str(path), byte=reason.start)) from reason
    return parse_log(text, str(path))


def parse_log(text: str, name: str = "log") -> RegisterLog:
    """Read a register log from CSV text; `name` is what problems call it. Raises as `load_log`."""
    rows = _rows(text, name)
    header_line, header = next(rows, (1, []))
    if tuple(word.strip().lower() for word in header) != HEADER:
        found = ",".join(header) or "nothing"
        raise RegisterLogError(
            f"found the header {found[:60]!r}, expected cycle,address,value",
            place=Place(name, header_line),
            hint=" ".join(filter(None, (nearest(w.strip(), HEADER) for w in header if w.strip() not in HEADER))),
        )
    table: list[tuple[int, int, int]] = []
    lines: list[int] = []
    problems: list[Problem] = []
    end: int | None = None
    for line, row in rows:
        place = Place(name, line)
        if end is not None:
            problems.append(Problem("a row after the row that ends the log", place))
            break
        if len(row) != 3:
            problems.append(Problem(f"found {len(row)} columns, expected 3", place))
            continue
        if row[0].strip() and not row[1].strip() and not row[2].strip():
            end = _number(row[0], "cycle", place, problems)
            continue
        numbers = [_number(text, column, place, problems) for text, column in zip(row, HEADER, strict=True)]
        table.append((numbers[0], numbers[1], numbers[2]))
        lines.append(line)
    if problems:
        raise RegisterLogError(some_of(problems))
    columns = np.array(table, dtype=np.int64).reshape(-1, 3).T
    return make_log(columns[0], columns[1], columns[2], end=end, source=name, lines=lines)


def _rows(text: str, name: str) -> Iterator[tuple[int, list[str]]]:
    """Yield each row that is neither blank nor comment, with the line it begins on."""
    bare = ("" if line.lstrip().startswith("#") else line for line in text.splitlines())
    reader = csv.reader(bare, strict=True)
    line = 1
    try:
        for row in reader:
            if row and any(row):
                yield line, row
            line = reader.line_num + 1
    except csv.Error as reason:
        raise RegisterLogError(f"not CSV: {reason}", place=Place(name, line)) from reason


def _number(text: str, column: str, place: Place, problems: list[Problem]) -> int:
    word = text.strip()
    try:
        if len(word) > 40 or not word.isascii():
            raise ValueError
        number = int(word, 16) if word.lower().startswith("0x") else int(word)
    except ValueError:
        shown = word if len(word) <= 40 else word[:37] + "..."
        hint = "a cycle is a whole number" if "." in word else ""
        problems.append(Problem(f'{column} "{shown}", a decimal or 0x number is expected', place, hint))
        return 0
    largest = MAX_CYCLE if column == "cycle" else 2**32 - 1
    if not 0 <= number <= largest:
        problems.append(Problem(f"{column} {word}, accepted: 0 to {largest}", place))
        return 0
    return number


def format_log(log: RegisterLog, *, comment: str = "") -> str:
    """Return a log as CSV text: cycles decimal, addresses and values 0x; ends with the end row."""
    lines = [f"# {line}" if line else "#" for line in comment.splitlines()]
    lines.append(",".join(HEADER))
    rows = zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True)
    lines += [f"{cycle},0x{address:02X},0x{value:02X}" for cycle, address, value in rows]
    lines.append(f"{log.end},,")
    return "\n".join(lines) + "\n"


def save_log(log: RegisterLog, path: str | Path, *, comment: str = "") -> None:
    """Write a log as .npz or CSV, whole or not at all.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    if not str(path).endswith(".npz"):
        write_text_whole(path, format_log(log, comment=comment))
        return
    with whole_file(path) as temporary, open(temporary, "wb") as stream:
        np.savez_compressed(stream, cycle=log.cycle, address=log.address, value=log.value, end=np.int64(log.end))


def _load_npz(path: str | Path) -> RegisterLog:
    place = Place(str(path))
    try:
        columns, end = _arrays(path)
    except RegisterLogError:
        raise
    except OSError as reason:
        raise RegisterLogError(f"cannot read: {reason.strerror or reason}", place=place) from reason
    except Exception as reason:  # a damaged archive can raise anything: zipfile, zlib and NumPy promise no one class
        raise RegisterLogError(f"cannot read as NumPy archive: {reason}", place=place) from reason
    if end.shape != () or end.dtype.kind not in "iu":
        raise RegisterLogError("the array 'end' is not one whole number", place=place)
    return make_log(columns[0], columns[1], columns[2], end=int(end), source=str(path))


def _arrays(path: str | Path) -> tuple[list[NDArray[Any]], NDArray[Any]]:
    with open(path, "rb") as stream, np.load(stream, allow_pickle=False) as archive:
        missing = [key for key in (*HEADER, "end") if key not in archive]
        if missing:
            raise RegisterLogError(f"the archive has no array {missing[0]!r}", place=Place(str(path)))
        arrays = [archive[key] for key in (*HEADER, "end")]
        if not all(isinstance(array, np.ndarray) for array in arrays):
            raise ValueError("it holds something else than arrays")
        return arrays[:3], arrays[3]
