"""What tests of coverage ask of tiny units: reasons, and what logs of a few writes show."""

from __future__ import annotations

from psgmodel.coverage import cover
from psgmodel.reglog import make_log
from psgmodel.stimulus import random_log
from tests.engine.tiny_units import tiny

Rows = list[tuple[int, int, int]]
"""Writes as (cycle, address, value), in the order of their cycles."""


def shown(text: str, rows: Rows, end: int, *, spacing: int = 4) -> set[str]:
    """What a log shows; nothing of it is said to be out of reach."""
    log = make_log(*([row[i] for row in rows] for i in range(3)), end=end)
    coverage = cover(tiny(text), [log], spacing=spacing)
    assert coverage.against_reason == ()
    return {b.name for b in coverage.bins if coverage.count(b)}


def reason_of(text: str, name: str, *, spacing: int = 4) -> str:
    """Why a behaviour is said to be out of reach; empty: it is not."""
    return {b.name: b.unreachable for b in cover(tiny(text), [], spacing=spacing).bins}[name]


def assert_kept(text: str) -> None:
    """Nothing that is said to be out of reach is shown by some random logs."""
    chip = tiny(text)
    logs = [random_log(chip, seed, length=600, writes=(150, 60, 25)[seed % 3]) for seed in range(9)]
    assert [b.name for b in cover(chip, logs).against_reason] == []
