"""Small dumps for the tests, and change lists in a form that is easy to compare."""

from __future__ import annotations

import io
from collections.abc import Sequence

from psgmodel.dump import Changes, DumpChanges, read_changes

Levels = list[tuple[int, int | None]]


def header(*variables: str, timescale: str = "1 ns") -> str:
    """Return a header with one scope ``t`` and the variables given as "type width code name"."""
    lines = "".join(f"$var {v} $end\n" for v in variables)
    return f"$timescale {timescale} $end\n$scope module t $end\n{lines}$upscope $end\n$enddefinitions $end\n"


def two_signals(body: str) -> bytes:
    """Return a dump of ``t.a`` (one bit, code !) and ``t.q`` (four bits, code ") with this body."""
    return (header("wire 1 ! a", 'reg 4 " q [3:0]') + body).encode()


def levels(changes: Changes) -> Levels:
    """Return (time, number), None where unknown."""
    return [
        (t, None if u else v)
        for t, v, u in zip(changes.time.tolist(), changes.value.tolist(), changes.unknown.tolist(), strict=True)
    ]


def read(data: bytes | str, names: Sequence[str] = ("a", "q"), chunk_bytes: int = 2**18) -> DumpChanges:
    """Read a dump from memory."""
    raw = data.encode() if isinstance(data, str) else data
    return read_changes(io.BytesIO(raw), names, chunk_bytes=chunk_bytes)


def read_levels(data: bytes | str, names: Sequence[str] = ("a", "q"), chunk_bytes: int = 2**18) -> dict[str, Levels]:
    """Read a dump from memory; return the levels of each signal."""
    return {path: levels(changes) for path, changes in read(data, names, chunk_bytes).signals.items()}
