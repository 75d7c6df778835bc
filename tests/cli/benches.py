"""Small dumps of Linnet's RTL for commands, made by Icarus Verilog: what the commands compare is not their own.

Stage: tests. In: a register log. Out: a dump; clockless ones have a period of 162 and their first edge at 81.
"""

from __future__ import annotations

import csv
from pathlib import Path

from tests.rtl.simulate import LINNET, build_icarus, simulate


def writes_of(log: Path) -> list[tuple[int, str, int, int]]:
    """Read a register log without the project's reader."""
    lines = [line for line in log.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    return [(int(r["cycle"]), "w", int(r["address"], 16), int(r["value"], 16)) for r in rows if r["address"]]


def dump_of(writes: list[tuple[int, str, int, int]], cycles: int, path: Path, *, clock: bool = False) -> Path:
    """Simulate some writes and return the dump."""
    simulate(build_icarus(LINNET, path.parent / "built"), writes, cycles, path, clock=clock)
    return path
