"""Notes against printed tables; pitch of segments against tones made sine by sine."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from psgmodel.audio import render_steps
from psgmodel.audio.frequency import estimate_pitch, repetition_cycles
from psgmodel.audio.pitch import (
    cents_to_ratio,
    hertz_to_cents,
    hertz_to_note,
    hertz_to_number,
    note_to_hertz,
    note_to_number,
    number_to_hertz,
    number_to_note,
)
from psgmodel.errors import AudioError
from psgmodel.steps import steps_from_changes
from tests.audio.tones import pattern_steps, pulse_steps

RATE = 48_000

OCTAVE_4 = {  # OEIS A329207 to A329218
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


@pytest.mark.parametrize(("name", "hertz"), OCTAVE_4.items())
def test_octave_4_has_the_published_frequencies(name: str, hertz: float) -> None:
    assert note_to_hertz(name) == pytest.approx(hertz, rel=1e-11)
    assert hertz_to_note(hertz)[:2] == (name, note_to_number(name))


@pytest.mark.parametrize(
    ("name", "hertz"), [("C0", 16.352), ("C2", 65.406), ("C6", 1046.50), ("D6", 1174.66), ("E6", 1318.51)]
)
def test_other_octaves_have_the_printed_frequencies(name: str, hertz: float) -> None:
    # CRC Handbook of Chemistry and Physics, section 14-22, Table 1.
    assert note_to_hertz(name) == pytest.approx(hertz, abs=0.005)


def test_the_outermost_keys_of_a_piano_are_a0_and_c8() -> None:
    assert note_to_hertz("A0") == 27.5
    assert note_to_hertz("C8") == pytest.approx(4186.009, abs=5e-4)


def test_intervals_have_the_published_cents() -> None:
    # Helmholtz and Ellis, On the Sensations of Tone, 1885.
    assert hertz_to_cents(441, 440) == pytest.approx(3.9302, abs=1e-4)
    assert hertz_to_cents(3, 2) == pytest.approx(701.955, abs=1e-3)
    assert hertz_to_cents(5, 4) == pytest.approx(386.314, abs=1e-3)
    assert hertz_to_cents(81, 80) == pytest.approx(21.506, abs=1e-3)
    assert cents_to_ratio(100) == pytest.approx(1.0594630944, abs=1e-10)


def test_a_divided_clock_is_told_with_its_tuning_error() -> None:
    # 1 MHz, 8 steps a cycle: 284 instead of 284.0909 for A4.
    assert str(hertz_to_note(1e6 / 8 / 284)) == "A4 +0.6 cents"
    assert hertz_to_note(1e6 / 8 / 284).cents == pytest.approx(0.5541, abs=1e-4)


@given(st.integers(-24, 160))
def test_names_numbers_and_hertz_go_there_and_back(number: int) -> None:
    assert note_to_number(number_to_note(number)) == number
    assert hertz_to_number(number_to_hertz(number)) == pytest.approx(number, abs=1e-9)


def test_flats_sharps_and_octaves_are_read() -> None:
    assert [note_to_number(n) for n in ("Bb3", "A#3", "b♭3", "C♯-1", "Cb4", "B3", " E#2 ")] == [
        *(58, 58, 58, 1, 59, 59, 41)
    ]


@pytest.mark.parametrize("name", ["", "H2", "A", "A##4", "4A", "A4.5"])
def test_what_is_no_note_is_refused(name: str) -> None:
    with pytest.raises(AudioError, match=rf'"{name}" is not a note name \(a letter A to G'):
        note_to_hertz(name)


@pytest.mark.parametrize("hertz", [0, -1, float("nan"), float("inf")])
def test_what_has_no_pitch_is_refused(hertz: float) -> None:
    with pytest.raises(AudioError, match=r"Hz has no pitch: a frequency above 0 is needed"):
        hertz_to_note(hertz)


def additive_pulse(hertz: float, duty: float, seconds: float, phase: float) -> np.ndarray:
    """A pulse as the sum of its Fourier series up to 20 kHz."""
    t = np.arange(round(seconds * RATE)) / RATE
    number = np.arange(1, int(20_000 / hertz) + 1)
    peak = 2 / (np.pi * number) * np.sin(np.pi * number * duty)
    return peak @ np.cos(2 * np.pi * number[:, None] * (hertz * t + phase))


@pytest.mark.parametrize("duty", [0.5, 0.25, 0.125, 1 / 32])
def test_the_pitch_of_a_steady_pulse_is_found_to_under_one_cent(duty: float) -> None:
    rng = np.random.default_rng(round(duty * 64))
    for hertz in np.geomspace(40, 11_800, 25) * rng.uniform(0.98, 1.01, 25):
        samples = additive_pulse(hertz, duty, max(0.02, 12 / hertz), rng.uniform())
        found = estimate_pitch(samples, RATE)
        assert found is not None
        assert abs(hertz_to_cents(found.hertz, hertz)) < 1, hertz
        assert found.clarity > 0.95


def test_a_few_periods_give_the_pitch_to_ten_cents() -> None:
    for hertz in (61.7, 220.3, 1_234.5):
        found = estimate_pitch(additive_pulse(hertz, 0.25, 3.2 / hertz, 0.1), RATE)
        assert found is not None
        assert abs(hertz_to_cents(found.hertz, hertz)) < 10


def test_a_missing_fundamental_is_still_the_pitch() -> None:
    t = np.arange(RATE // 5) / RATE
    samples = sum(np.sin(2 * np.pi * 150 * n * t + n) for n in (2, 3, 4, 5))
    found = estimate_pitch(np.asarray(samples), RATE)
    assert found is not None
    assert abs(hertz_to_cents(found.hertz, 150)) < 1


def test_a_rendered_note_has_the_pitch_of_its_divider() -> None:
    for period in (13_964, 6_982, 1_397, 611):
        samples = render_steps(pulse_steps(period, period // 4, 400), 6_144_000, RATE, full_scale=1)
        found = estimate_pitch(samples[500:], RATE)
        assert found is not None
        assert abs(hertz_to_cents(found.hertz, 6_144_000 / period)) < 0.1


def test_a_little_noise_moves_the_pitch_only_a_little() -> None:
    samples = additive_pulse(440.0, 0.5, 0.2, 0.0) + 0.01 * np.random.default_rng(1).standard_normal(9_600)
    found = estimate_pitch(samples, RATE)
    assert found is not None
    assert abs(hertz_to_cents(found.hertz, 440)) < 1


def test_noise_silence_and_a_slope_have_no_pitch() -> None:
    assert estimate_pitch(np.random.default_rng(0).standard_normal(9_600), RATE) is None
    assert estimate_pitch(np.full(9_600, 0.7), RATE) is None
    assert estimate_pitch(np.linspace(0, 1, 9_600), RATE) is None
    assert estimate_pitch(np.zeros(3), RATE) is None


def test_a_pitch_needs_one_channel_and_a_range() -> None:
    with pytest.raises(AudioError, match=r"a pitch is of one channel, not of samples of shape \(100, 2\)"):
        estimate_pitch(np.zeros((100, 2)), RATE)
    with pytest.raises(AudioError, match=r"no frequency lies between 500 Hz and 100 Hz"):
        estimate_pitch(np.zeros(100), RATE, low_hz=500, high_hz=100)


@pytest.mark.parametrize(("start", "end"), [(0, 10_000), (123, 9_321), (997, 3_000)])
def test_the_period_of_level_changes_is_exact_wherever_the_segment_is_cut(start: int, end: int) -> None:
    assert repetition_cycles(pulse_steps(500, 125, 20).cut(start, end)) == 500


def test_a_period_may_hold_many_changes() -> None:
    levels = [0, 3, 1, 3, 0, 2, 9]
    assert repetition_cycles(pattern_steps(levels, 37, 6)) == 37 * len(levels)


def test_what_does_not_repeat_twice_has_no_period() -> None:
    rng = np.random.default_rng(2)
    at = np.cumsum(rng.integers(1, 50, 300))
    noise = steps_from_changes(at, rng.integers(0, 2, 300), int(at[-1]) + 5)
    assert repetition_cycles(noise) is None
    assert repetition_cycles(pulse_steps(500, 125, 1)) is None
    assert repetition_cycles(pulse_steps(500, 125, 2)) is None
    assert repetition_cycles(pulse_steps(500, 125, 3)) == 500


def test_unknown_levels_have_no_exact_period() -> None:
    unknown = steps_from_changes([0, 5, 9], [1, 0, 1], 20, unknown=[False, True, False])
    with pytest.raises(AudioError, match=r"a signal with unknown levels has no exact period"):
        repetition_cycles(unknown)
