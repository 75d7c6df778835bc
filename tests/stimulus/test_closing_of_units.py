"""Closing logs of units that a designer could build, each unlike the others: they show all that can be reached."""

from __future__ import annotations

from pathlib import Path

import pytest

from psgmodel.chip import load_chip
from psgmodel.coverage import cover
from psgmodel.stimulus import closing_logs

UNITS = Path(__file__).parent / "units"
NAMES = sorted(path.stem for path in UNITS.glob("*.toml"))
LONGEST = 300
"""Seconds of sound, which a simulator has to go through; the 10-bit note timer of a unit asks for most of them."""

FORESEEN = [
    ("dotterel", "hit.timer.end-at-envelope-step hit.envelope.direction-at-step hit.timer.on-at-tick"),
    ("dotterel", "slap.sweep.step-at-stop slap.sweep.falling-shift=7 slap.sweep.turned-fallen"),
    ("fieldfare", "boop.sweep.tick-at-start-idle"),
    ("godwit", "whistle.timer.end-at-sweep-step"),
    ("lapwing", "soft.timer.on-at-tick soft.envelope.let-go-at-tick soft.period=8"),
    ("redpoll", "shot.timer.end-at-stop shot.timer.off-at-tick"),
    ("tern", "near.timer.end-at-envelope-step"),
    ("wheatear", "a.envelope.period=2 b.timer.end-at-sweep-step b.sweep.overflow-at-stop-edge b.sweep.rising-shift=6"),
    ("wren", "a.envelope.period=3 a.envelope.period=6"),
    ("wryneck", "w0.timer.end-at-envelope-step n0.timer.end-at-envelope-step"),
]
"""What chance hardly finds: ticks that are rare or meet only once they are restarted, waves that are over soon, writes
that start a note anew, volumes that only an envelope lifts from 0."""


def test_there_are_as_many_units_as_were_written() -> None:
    assert len(NAMES) == 49


@pytest.mark.parametrize("name", NAMES)
def test_a_unit_is_closed(name: str) -> None:
    chip = load_chip(UNITS / f"{name}.toml")
    logs = closing_logs(chip)
    coverage = cover(chip, logs)
    assert coverage.missing == coverage.against_reason == ()
    assert len(coverage.reachable) > 130
    assert sum(log.end for log in logs) < LONGEST * chip.clock_hz


@pytest.mark.parametrize(("name", "foreseen"), FORESEEN)
def test_what_is_rare_is_played_with_foresight(name: str, foreseen: str) -> None:
    chip = load_chip(UNITS / f"{name}.toml")
    coverage = cover(chip, closing_logs(chip, patience=0))
    assert {b.name for b in coverage.reachable} >= set(foreseen.split())
    assert {b.name for b in coverage.missing} & set(foreseen.split()) == set()
