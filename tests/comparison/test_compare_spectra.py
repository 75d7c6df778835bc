"""Bands, moments and notes of synthetic signals; the judges are Fourier series and ratios of periods."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest

from psgmodel.audio.render import render_steps
from psgmodel.chip import load_chip
from psgmodel.comparison.bands import compare_bands
from psgmodel.comparison.moments import HOP, LENGTH, compare_moments
from psgmodel.comparison.notes import Note, compare_notes, notes_of
from psgmodel.comparison.options import SpectralOptions
from psgmodel.comparison.sides import AudioPair
from psgmodel.comparison.spectral import compare_spectra
from psgmodel.errors import CompareError
from psgmodel.reglog import make_log
from psgmodel.steps import Steps, steps_from_changes

CHIP = load_chip("patches/linnet.toml")
CLOCK = Fraction(6_144_000)
RATE = 48_000
OPTIONS = SpectralOptions()


def square(period: int, level: int, seconds: float, *, start: int = 0) -> Steps:
    """A 50 % square between 0 and `level`, silent before `start`."""
    end = int(seconds * CLOCK)
    edges = np.arange(start, end, period // 2)
    levels = np.where(np.arange(edges.size) % 2 == 0, level, 0)
    if start:
        edges, levels = np.append(0, edges), np.append(0, levels)
    return steps_from_changes(edges, levels, end)


def samples(steps: Steps, full_scale: float = 1.0) -> np.ndarray:
    return render_steps(steps, CLOCK, RATE, full_scale=full_scale)


def pair(model: np.ndarray, dump: np.ndarray, name: str = "a") -> AudioPair:
    return AudioPair(name, model, dump, RATE, 0)


def tone(hertz: float, seconds: float, peak: float = 0.5) -> np.ndarray:
    """A tone of five harmonics with falling peaks."""
    at = np.arange(int(seconds * RATE)) / RATE
    return sum(peak / n * np.sin(2 * np.pi * n * hertz * at + n) for n in range(1, 6))


def test_the_band_levels_of_a_square_are_those_of_its_fourier_series() -> None:
    # Harmonic n (odd) of a square of height 1 has the peak 2 / (n pi): Fourier series. 6.144 MHz / 6144 = 1 kHz.
    found = compare_bands(pair(samples(square(6144, 1, 2.0)), samples(square(6144, 1, 2.0))), OPTIONS)
    for harmonic, nominal in ((1, 1000), (3, 3150), (5, 5000)):
        index = found.nominal_hz.tolist().index(nominal)
        assert found.model_db[index] == pytest.approx(20 * math.log10(2 / (harmonic * math.pi)), abs=0.1)
    assert found.worst_db == 0
    assert found.worst_hz == 1000


def test_a_level_change_of_one_decibel_is_found_as_one_decibel_in_every_band_and_moment() -> None:
    model = samples(square(6144, 1, 2.0))
    result = compare_spectra(CHIP, pair(model, model * 10 ** (-1 / 20)), "output code", OPTIONS)
    assert result.bands is not None
    assert result.moments is not None
    assert result.moments.worst is not None
    assert result.bands.worst_db == pytest.approx(-1, abs=1e-6)
    assert result.bands.worst_allowance_db == pytest.approx(0, abs=1e-3)
    counted = result.bands.model_db > result.bands.floor_db + 2
    difference = result.bands.dump_db - result.bands.model_db
    assert difference[counted] == pytest.approx(-1, abs=1e-6)
    assert result.moments.worst.distance_db == pytest.approx(1, abs=0.01)
    assert not result.agrees
    assert result.reasons()[0].startswith("a: the band at ")
    assert "-1.00 dB off (limit 0.5 dB)" in result.reasons()[0]


def test_a_level_change_below_the_limit_agrees() -> None:
    model = samples(square(6144, 1, 1.0))
    assert compare_spectra(CHIP, pair(model, model * 10 ** (0.4 / 20)), "output code", OPTIONS).agrees
    assert not compare_spectra(CHIP, pair(model, model * 10 ** (0.6 / 20)), "output code", OPTIONS).agrees


def test_a_tone_added_in_one_band_is_named_by_that_band() -> None:
    model = tone(440, 2.0)
    at = np.arange(model.size) / RATE
    found = compare_bands(pair(model, model + 0.05 * np.sin(2 * np.pi * 8000 * at)), OPTIONS)
    assert found.worst_hz == 8000
    # The model has nothing there, so its side stands at the floor, 60 dB below its loudest band.
    loudest = float(found.model_db.max())
    assert found.worst_db == pytest.approx(20 * math.log10(0.05) - (loudest - 60), abs=0.1)


def test_what_lies_below_the_floor_does_not_count() -> None:
    model = tone(440, 2.0)
    at = np.arange(model.size) / RATE
    dump = model + 0.0003 * np.sin(2 * np.pi * 8000 * at)  # 64 dB below the peak of the first harmonic
    assert compare_spectra(CHIP, pair(model, dump), "output code", OPTIONS).agrees
    lower = SpectralOptions(floor_db=-80)
    assert not compare_spectra(CHIP, pair(model, dump), "output code", lower).agrees


def test_two_runs_of_the_same_noise_agree_and_of_noise_one_decibel_louder_do_not() -> None:
    rng = np.random.default_rng(1)
    one, other = (rng.normal(0, 0.1, 20 * RATE) for _ in range(2))
    assert compare_spectra(CHIP, pair(one, other), "output code", OPTIONS).agrees
    louder = compare_spectra(CHIP, pair(one, other * 10 ** (1 / 20)), "output code", OPTIONS)
    assert not louder.agrees
    assert "dB of chance" in louder.reasons()[0]


def test_the_worst_moment_is_where_a_note_is_missing() -> None:
    model = tone(440, 2.0)
    model[:RATE] = 0.0
    model = model + tone(300, 2.0)
    dump = model.copy()
    gap = slice(int(1.4 * RATE), int(1.5 * RATE))
    dump[gap] = tone(300, 2.0)[gap]
    found = compare_moments(pair(model, dump), CLOCK, OPTIONS)
    assert found.worst is not None
    assert 1.4 - LENGTH / RATE / 2 <= found.worst.seconds <= 1.5 + LENGTH / RATE / 2
    assert found.worst.distance_db > 6
    assert found.distance_db[: int(1.3 * RATE / HOP)].max() == 0


def test_a_moment_is_told_in_the_time_of_the_model() -> None:
    model = tone(440, 1.0)
    late = AudioPair("a", model, model * 0.5, RATE, 614_400, skipped=480)
    found = compare_moments(late, CLOCK, OPTIONS)
    assert found.seconds[0] == pytest.approx(0.1 + 480 / RATE + LENGTH / 2 / RATE)


@pytest.mark.parametrize("cents", [-50.0, -5.0, 1.0, 5.0, 100.0])
def test_a_known_detuning_is_measured(cents: float) -> None:
    note = Note("a", 1, 0, int(CLOCK))
    found = compare_notes(CHIP, [note], pair(tone(440, 1.0), tone(440 * 2 ** (cents / 1200), 1.0)))
    assert found.worst is not None
    assert found.worst.model_hz == pytest.approx(440, rel=1e-5)
    assert found.worst.cents == pytest.approx(cents, abs=0.2)


def test_a_detuned_square_is_measured_by_the_ratio_of_its_periods() -> None:
    note = Note("a", 1, 0, int(CLOCK))
    found = compare_notes(CHIP, [note], pair(samples(square(13964, 1, 1.0)), samples(square(13924, 1, 1.0))))
    assert found.worst is not None
    assert found.worst.cents == pytest.approx(1200 * math.log2(13964 / 13924), abs=0.1)  # 4.97 cents
    assert str(found.worst).startswith("note 1 of a at 0.000000 s (A4, 439.99 Hz): +4.9")


def test_a_note_without_pitch_in_the_dump_is_the_worst_of_all() -> None:
    model = np.concatenate([tone(440, 1.0), tone(660, 1.0)])
    dump = np.concatenate([tone(450, 1.0), np.random.default_rng(0).normal(0, 0.2, RATE)])
    notes = [Note("a", 1, 0, int(CLOCK)), Note("a", 2, int(CLOCK), 2 * int(CLOCK))]
    found = compare_notes(CHIP, notes, pair(model, dump))
    assert found.worst is not None
    assert found.worst.note.number == 2
    assert found.worst.cents is None
    assert str(found.worst).endswith("no pitch")


def test_notes_that_cannot_be_measured_are_counted_with_the_reason() -> None:
    second = int(CLOCK)
    notes = [Note("a", 1, 0, second // 200), Note("a", 2, second // 4, second // 4 + second // 40)]
    notes.append(Note("b", 1, second // 2, second))
    channels = {"a": square(2000, 1, 1.0), "b": square(1000, 1, 1.0), "wave": square(10, 0, 1.0)}
    found = compare_notes(CHIP, notes, pair(tone(110, 1.0), tone(110, 1.0)), channels)
    assert found.left_out == {"sounds together with another channel": 3}
    found = compare_notes(CHIP, notes, pair(tone(110, 1.0), tone(110, 1.0)))
    assert found.left_out == {"shorter than 10 ms": 1, "shorter than 10 periods": 1}
    assert len(found.notes) == 1


def test_a_stretch_with_a_single_pulse_has_no_pitch() -> None:
    at = np.linspace(0, 1, 4800)
    pulse = (abs(at - 0.5) < 0.05) + 0.02 * np.cos(2 * np.pi * 3 * at)
    found = compare_notes(CHIP, [Note("a", 1, 0, int(CLOCK) // 10)], pair(pulse, pulse.copy()))
    assert found.left_out == {"no clear pitch in the model": 1}


def test_notes_begin_at_starts_and_at_writes_of_the_period_and_end_at_stops_and_in_silence() -> None:
    # A: start written at 10 acts at 11; period written at 300 000; stop written at 600 000 acts at 600 001; a second
    # note from 700 001 falls silent by itself at 900 000. Start delay of A in Linnet: 1.
    writes = [(0, 0x08, 50), (10, 0x0E, 1), (300_000, 0x08, 60), (600_000, 0x0E, 2), (700_000, 0x0E, 1)]
    writes += [(700_100, 0x16, 1)]  # another channel
    log = make_log(*zip(*writes, strict=True), end=1_000_000)
    edges = np.concatenate([np.arange(11, 600_001, 1000), [600_001], np.arange(700_001, 900_000, 1000), [900_000]])
    levels = np.arange(edges.size) % 2
    levels[[600, edges.size - 1]] = 0
    model = steps_from_changes(np.append(0, edges), np.append(0, levels), 1_000_000)
    notes = notes_of(CHIP, log, "a", model)
    assert [(n.number, n.start) for n in notes] == [(1, 11), (2, 300_000), (3, 700_001)]
    assert [n.end for n in notes][:2] == [300_000, 600_001]
    assert 898_000 <= notes[2].end <= 900_000
    assert notes_of(CHIP, log, "noise", model) == []
    assert notes_of(CHIP, log, "wave", model) == []


def test_a_silent_side_compares_nothing_and_says_which() -> None:
    sound, silence = tone(440, 1.0), np.full(RATE, 0.3)
    for model, dump, text in (
        (silence, silence, "both sides are silent"),
        (sound, silence, "the dump's side is silent"),
        (silence, sound, "the model's side is silent"),
    ):
        result = compare_spectra(CHIP, pair(model, dump), "output code", OPTIONS)
        assert result.nothing == text
        assert not result.agrees
        assert result.reasons() == (f"a: {text}",)


def test_a_few_samples_compare_nothing() -> None:
    result = compare_spectra(CHIP, pair(tone(440, 0.002), tone(440, 0.002)), "output code", OPTIONS)
    assert result.nothing == "96 samples are too few for a spectrum, 256 are needed"


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"band_limit_db": -1.0}, "band_limit_db -1.0, accepted: 0 or more"),
        ({"low_hz": 500.0, "high_hz": 400.0}, "no band lies between 500.0 Hz and 400.0 Hz"),
        ({"floor_db": 0.0}, "floor_db 0.0, accepted: -120 to below 0"),
    ],
)
def test_unusable_limits_are_refused(change: dict[str, float], text: str) -> None:
    with pytest.raises(CompareError, match=text):
        SpectralOptions(**change)
