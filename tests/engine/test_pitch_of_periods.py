"""The period a chip offers for a note, heard from its Steps, against equal temperament.

A4 is 440 Hz (ISO 16:1975); octave 4 as printed in OEIS A329207 to A329218; cents are 1200 log2 of a ratio (Helmholtz,
Ellis).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from psgmodel.audio.pitch import hertz_to_cents, note_to_hertz
from psgmodel.engine import run
from psgmodel.reglog import make_log
from psgmodel.steps import Steps
from tests.engine.linnet_plays import (
    A_GO,
    A_NOTE,
    A_PITCH,
    A_TONE,
    START,
    W_GO,
    W_MEMORY,
    W_NOTE,
    W_PITCH,
    W_TONE,
    play,
)
from tests.engine.one_channel import GO, PERIOD, VOLUME, unit

OCTAVE_4 = {
    "C4": 261.6255653006,
    "C#4": 277.1826309769,
    "D4": 293.6647679174,
    "D#4": 311.1269837221,
    "E4": 329.6275569129,
    "F4": 349.2282314330,
    "F#4": 369.9944227116,
    "G4": 391.9954359817,
    "G#4": 415.3046975799,
    "A4": 440.0,
    "A#4": 466.1637615181,
    "B4": 493.8833012561,
}


def cycles_of_a_period(steps: Steps) -> int:
    """Cycles from one rise to the next, all the same."""
    rises = steps.cycle[1:][steps.level[1:] > steps.level[:-1]][1:]
    distances = set(np.diff(rises).tolist())
    assert len(distances) == 1
    return int(distances.pop())


def cents(hertz: float, reference: float) -> float:
    return 1200 * math.log2(hertz / reference)


@pytest.mark.parametrize("note", OCTAVE_4)
def test_linnets_square_comes_as_near_to_a_note_as_its_divider_allows(note: str) -> None:
    # linnet.md 6: 16 steps of 2 * (period + 1) cycles of 6.144 MHz, 192000 / (period + 1) hertz.
    wanted = OCTAVE_4[note]
    period = round(192_000 / wanted) - 1
    setup = [(A_PITCH, period & 0xFF), (A_TONE, 0x20 | period >> 8), (A_NOTE, 31)]
    steps = play(setup, [(10, A_GO, START)], end=120_000, fast_only=True)["a"]
    hertz = 6_144_000 / cycles_of_a_period(steps)
    assert hertz == pytest.approx(192_000 / (period + 1), rel=1e-12)
    # Rounding the divider to a whole number moves it by half a unit at most.
    worst = 1200 * math.log2(1 + 0.5 / (period + 0.5))
    assert abs(cents(hertz, wanted)) <= worst < 2.3
    assert hertz_to_cents(hertz, note_to_hertz(note)) == pytest.approx(cents(hertz, wanted), abs=1e-6)


@pytest.mark.parametrize(
    ("note", "period", "error"),
    [
        # 192000 / 436 = 440.3670 Hz; / 734 = 261.5804 Hz; / 389 = 493.5733 Hz.
        ("A4", 435, 1.4432),
        ("C4", 733, -0.2990),
        ("B4", 388, -1.0872),
    ],
)
def test_linnets_errors_in_cents(note: str, period: int, error: float) -> None:
    setup = [(A_PITCH, period & 0xFF), (A_TONE, 0x20 | period >> 8), (A_NOTE, 31)]
    steps = play(setup, [(10, A_GO, START)], end=120_000, fast_only=True)["a"]
    assert cents(6_144_000 / cycles_of_a_period(steps), OCTAVE_4[note]) == pytest.approx(error, abs=1e-3)


def test_linnets_wave_channel_at_a4() -> None:
    # 64 steps of period + 1 cycles: 96000 / 218 = 440.3670 Hz, the same 1.4432 cents.
    setup = [(W_MEMORY + n, 63) for n in range(32)] + [(W_NOTE, 31), (W_PITCH, 217), (W_TONE, 0)]
    steps = play(setup, [(10, W_GO, START)], end=100_000, fast_only=True)["wave"]
    assert cents(6_144_000 / cycles_of_a_period(steps), 440) == pytest.approx(1.4432, abs=1e-3)


def test_an_integer_divider_of_one_megahertz_at_a4() -> None:
    # Method example: 1 MHz, 8 steps a cycle: 284.0909 becomes 284: 440.14085 Hz, +0.5541 cents.
    chip = unit(step="bits = 12", patterns='["11110000"]', wires=(("x.period", PERIOD, "11:0"),))
    log = make_log([0, 0, 0], [VOLUME, PERIOD, GO], [5, 283, START], end=20_000)
    hertz = 1_000_000 / cycles_of_a_period(run(chip, log)["x"])
    assert hertz == pytest.approx(440.14085, abs=1e-5)
    assert cents(hertz, 440) == pytest.approx(0.5541, abs=1e-4)
