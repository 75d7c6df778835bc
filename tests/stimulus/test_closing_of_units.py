"""Closing logs of units that a designer could build, each unlike the others: what is left open is little."""

from __future__ import annotations

from pathlib import Path

import pytest

from psgmodel.chip import load_chip
from psgmodel.coverage import Coverage, cover
from psgmodel.stimulus import closing_logs

UNITS = Path(__file__).parent / "units"
NAMES = sorted(path.stem for path in UNITS.glob("*.toml"))


def closed(name: str) -> Coverage:
    chip = load_chip(UNITS / f"{name}.toml")
    return cover(chip, closing_logs(chip))


@pytest.mark.parametrize("name", ["bunting", "ouzel", "twite"])
def test_a_unit_is_closed(name: str) -> None:
    coverage = closed(name)
    assert coverage.missing == coverage.against_reason == ()
    assert len(coverage.reachable) > 300


@pytest.mark.long
@pytest.mark.parametrize("name", NAMES)
def test_nearly_all_of_each_unit_is_shown(name: str) -> None:
    coverage = closed(name)
    assert coverage.against_reason == ()
    assert coverage.share > 0.97
