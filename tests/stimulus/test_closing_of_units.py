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
    ("chough", "high.timer.end-at-envelope-step"),
    ("dabchick", "key.timer.end-at-envelope-step"),
    ("dipper", "echo.timer.end-at-start echo.timer.end-at-stop clutter.shift=30"),
    ("dotterel", "hit.timer.end-at-envelope-step hit.envelope.direction-at-step hit.timer.on-at-tick"),
    ("dotterel", "slap.sweep.step-at-stop slap.sweep.falling-shift=7 slap.sweep.turned-fallen"),
    ("fieldfare", "boop.sweep.tick-at-start-idle"),
    ("fulmar", "power.screw.TRIMMING-cleared"),
    ("godwit", "whistle.timer.end-at-sweep-step"),
    ("grebe", "row.timer.on-at-end"),
    ("lapwing", "soft.timer.on-at-tick soft.envelope.let-go-at-tick soft.period=8"),
    ("nightjar", "bus.index-steps-WORD_SAMPLES"),
    ("petrel", "big.envelope.period=63"),
    ("phalarope", "tone.step.period-at-start"),
    ("quail", "shot.timer.length=0 shot.timer.length=64"),
    ("redpoll", "shot.timer.end-at-stop shot.timer.off-at-tick"),
    ("reeve", "call.sweep.overflow-at-start-edge call.sweep.overflow-at-stop-edge"),
    ("serin", "brake.level=0"),
    ("smew", "chirp.timer.length=64"),
    ("stonechat", "near.timer.length=4 near.timer.length=32 whoop.timer.end-at-sweep-step"),
    ("teal", "power.horn.HORN_TIME-cleared"),
    ("tern", "near.timer.end-at-envelope-step"),
    ("turnstone", "number.timer.length=64 bus.index-steps-WORD_WAVE"),
    ("waxwing", "crackle.timer.tick-at-start-idle-one"),
    ("wheatear", "a.envelope.period=2 b.timer.end-at-sweep-step b.sweep.overflow-at-stop-edge b.sweep.rising-shift=6"),
    ("whimbrel", "tone.sweep.up tone.period=8 tone.timer.on-at-tick"),
    ("wren", "a.envelope.period=3 a.envelope.period=6"),
    ("wryneck", "w0.timer.end-at-envelope-step n0.timer.end-at-envelope-step"),
]
"""What chance hardly finds: ticks that are rare, come at every cycle, or meet only once they are restarted; waves that
are over soon; writes that start or stop a note besides; volumes that only an envelope lifts from 0; a power bit behind
the registers that it locks."""


def test_there_are_as_many_units_as_were_written() -> None:
    assert len(NAMES) == 77


@pytest.mark.parametrize("name", NAMES)
def test_a_unit_is_closed(name: str) -> None:
    chip = load_chip(UNITS / f"{name}.toml")
    logs = closing_logs(chip)
    coverage = cover(chip, logs)
    assert coverage.missing == coverage.against_reason == ()
    assert len(coverage.reachable) > 100
    assert sum(log.end for log in logs) < LONGEST * chip.clock_hz


@pytest.mark.parametrize(("name", "foreseen"), FORESEEN)
def test_what_is_rare_is_played_with_foresight(name: str, foreseen: str) -> None:
    chip = load_chip(UNITS / f"{name}.toml")
    coverage = cover(chip, closing_logs(chip, patience=0))
    assert {b.name for b in coverage.reachable} >= set(foreseen.split())
    assert {b.name for b in coverage.missing} & set(foreseen.split()) == set()
