"""Recordings that a bench wrote and one-bit pins: gain, delay and polarity are found, and faults in what is left."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

from psgmodel.chip import load_chip
from psgmodel.comparison import Comparison, SpectralOptions, Status, compare
from psgmodel.dump.observe import Observation, observe
from psgmodel.dump.signal_map import parse_map
from psgmodel.engine import run
from psgmodel.errors import AudioError, CompareError
from psgmodel.reglog import RegisterLog, make_log
from psgmodel.steps import steps_from_changes
from tests.comparison.dump_writer import write_dump

CHIP = load_chip("patches/linnet.toml")
CLOCK = 6_144_000
SECONDS = 0.5
END = int(CLOCK * SECONDS)


def log_of(a_pitch: int = 0xB0, b_volume: int = 12) -> RegisterLog:
    """A alone, then B alone, then both: 768 kHz / (period + 1) / 4 on a pattern of one pulse."""
    writes = [
        (10, 0x08, a_pitch), (11, 0x09, 0x21), (12, 0x0A, 20), (13, 0x0E, 1),
        (1_000_000, 0x0E, 2), (1_000_010, 0x10, 0x40), (1_000_011, 0x11, 0x21), (1_000_012, 0x12, b_volume),
        (1_000_013, 0x16, 1), (2_000_000, 0x0E, 1),
    ]  # fmt: skip
    return make_log(*zip(*writes, strict=True), end=END)


def dense(log: RegisterLog, output: str = "left") -> np.ndarray:
    steps = run(CHIP, log)[output]
    return np.repeat(steps.level, steps.durations()) / 511.0


def filtered(log: RegisterLog, rate: int, output: str = "left") -> np.ndarray:
    """What an ideal low-pass and converter make of the output: an independent resampler on the dense signal."""
    return np.asarray(soxr.resample(dense(log, output), CLOCK, rate, quality="VHQ"))


def wav(path: Path, *channels: np.ndarray, rate: int = 48_000) -> Path:
    soundfile.write(path, np.stack(channels, axis=1), rate, subtype="FLOAT")
    return path


def recorded(path: Path, log: RegisterLog, **more: object) -> Comparison:
    return compare(CHIP, path, log=log, **more)


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_a_recording_of_unknown_gain_and_delay_agrees_and_both_are_told(tmp_path: Path, rate: int) -> None:
    log = log_of()
    sound = filtered(log, rate)
    late = np.concatenate([np.zeros(100), sound])[: sound.size] * 0.25 + 0.1
    found = recorded(wav(tmp_path / "r.wav", late, late, rate=rate), log)
    assert found.status is Status.AGREE, found.reasons()
    spectral = found["left"].spectral
    assert spectral is not None
    assert spectral.delay_seconds == pytest.approx(100 / rate, abs=0.05 / rate)
    assert spectral.gain_db == pytest.approx(20 * np.log10(0.25), abs=0.02)
    assert not spectral.inverted
    assert found["left"].judged_by == "spectrum"
    assert found.not_compared == ("a", "b", "wave", "noise")
    assert found.coverage.cycles == pytest.approx(END, abs=CLOCK / rate)


def test_of_the_delays_that_fit_a_steady_tone_the_smallest_is_taken(tmp_path: Path) -> None:
    log = make_log([10, 11, 12, 13], [0x08, 0x09, 0x0A, 0x0E], [0x7F, 0x22, 20, 1], end=END)  # 600 Hz: 80 samples
    late = np.roll(filtered(log, 48_000), 15)
    late[:15] = late[15]
    found = recorded(wav(tmp_path / "r.wav", late, late), log)
    spectral = found["left"].spectral
    assert spectral is not None
    assert spectral.delay_seconds * 48_000 == pytest.approx(15, abs=0.1)


def test_a_recording_upside_down_is_told(tmp_path: Path) -> None:
    log = log_of()
    sound = filtered(log, 48_000)
    found = recorded(wav(tmp_path / "r.wav", -sound, sound), log)
    assert found.status is Status.AGREE, found.reasons()
    left, right = found["left"].spectral, found["right"].spectral
    assert left is not None
    assert right is not None
    assert (left.inverted, right.inverted) == (True, False)


def test_a_note_out_of_tune_is_named_where_it_sounds_alone(tmp_path: Path) -> None:
    log = log_of()
    # Period 0x1B0 + 1 = 433 steps against 434: 1200 log2(433 / 434) = -3.99 cents, over the limit of 3.
    sound = filtered(log_of(a_pitch=0xB1), 48_000)
    found = recorded(wav(tmp_path / "r.wav", sound, sound), log)
    assert found.status is Status.DIFFER
    spectral = found["left"].spectral
    assert spectral is not None
    assert spectral.notes is not None
    assert spectral.notes.worst is not None
    worst = spectral.notes.worst
    assert (worst.note.channel, worst.note.number) == ("a", 1)
    assert worst.cents == pytest.approx(-3.99, abs=0.3)
    assert spectral.notes.left_out == {"sounds together with another channel": 2}
    assert any("note 1 of a at 0.000002 s" in r and "(limit 3 cents)" in r for r in found.reasons())


def test_a_note_too_loud_is_found_in_the_moments_and_bands(tmp_path: Path) -> None:
    log = log_of()
    sound = filtered(log_of(b_volume=24), 48_000)
    found = recorded(wav(tmp_path / "r.wav", sound, sound), log)
    assert found.status is Status.DIFFER
    assert any("left: the band at" in r for r in found.reasons())


def test_a_bench_that_writes_the_codes_as_they_stand_is_compared_with_such_points(tmp_path: Path) -> None:
    log = log_of()
    points = dense(log)[::128]
    wav(tmp_path / "r.wav", points, points)
    dump = write_dump(tmp_path / "d.vcd", {"level_a": [(-5, 0)]}, [], 600, bus=False)
    text = '[channels]\n[outputs]\n[recordings]\nleft = { file = "r.wav", sampling = "points" }\n'
    found = compare(CHIP, dump, log=log, signal_map=parse_map(text, CHIP, str(tmp_path / "map.toml")))
    assert found.status is Status.AGREE, found.reasons()
    spectral = found["left"].spectral
    assert spectral is not None
    assert spectral.bands is not None
    assert abs(spectral.bands.worst_db) < 1e-6
    text = text.replace(', sampling = "points"', "")
    found = compare(CHIP, dump, log=log, signal_map=parse_map(text, CHIP, str(tmp_path / "map.toml")))
    assert found.status is Status.DIFFER  # aliases: such points are no low-passed recording


def test_a_silent_recording_compares_nothing(tmp_path: Path) -> None:
    flat = np.full(int(48_000 * SECONDS), 0.2)
    found = recorded(wav(tmp_path / "r.wav", flat, flat), log_of())
    assert found.status is Status.NOTHING
    assert found.nothing == ("left: the dump's side is silent", "right: the dump's side is silent")


def test_a_recording_with_one_silent_side_differs(tmp_path: Path) -> None:
    sound = filtered(log_of(), 48_000)
    found = recorded(wav(tmp_path / "r.wav", sound, 0 * sound), log_of())
    assert found.status is Status.DIFFER
    assert found.reasons() == ("right: the dump's side is silent",)


def test_unusable_recordings_are_refused(tmp_path: Path) -> None:
    one = wav(tmp_path / "r.wav", np.zeros(4800))
    with pytest.raises(CompareError, match=r"r\.wav: has 1 channels, the chip has the outputs left, right"):
        recorded(one, log_of())
    with pytest.raises(AudioError, match="cannot read: No such file"):
        recorded(tmp_path / "none.wav", log_of())
    with pytest.raises(CompareError, match="neither a register log nor a bus"):
        compare(CHIP, wav(tmp_path / "s.wav", np.zeros(4800), np.zeros(4800)))
    with pytest.raises(CompareError, match="a recording has no signals to map"):
        compare(CHIP, one, log=log_of(), signal_map=parse_map("", CHIP))
    dump = write_dump(tmp_path / "d.vcd", {"level_a": [(-5, 0)]}, [], 600, bus=False)
    text = '[outputs]\n[recordings]\nleft = { file = "r.wav", channel = 2 }\n'
    named = parse_map(text, CHIP, str(tmp_path / "map.toml"))
    with pytest.raises(CompareError, match=r"r\.wav: has 1 channels; channel 2 was asked for"):
        compare(CHIP, dump, log=log_of(), signal_map=named)


def pin_observation(tmp_path: Path, log: RegisterLog, *, upside_down: bool = False) -> Observation:
    """A first-order sigma-delta pin, worked by hand: it is 1 where the sum of all codes passes a multiple of 512.

    (J. C. Candy, G. C. Temes, *Oversampling Delta-Sigma Data Converters*, 1992: the first-order modulator is an
    accumulator whose carry is the output.)
    """
    codes = np.rint(dense(log) * 511).astype(np.int64)
    carries = np.diff(np.cumsum(codes) // 512, prepend=0)
    levels = 1 - carries if upside_down else carries
    dump = write_dump(tmp_path / "d.vcd", {"pin": [(-5, 0), (3, 1)]}, [], 600, bus=False)
    named = parse_map('[channels]\n[outputs]\n[pins]\nleft = "pin"\n', CHIP)
    seen = observe(dump, CHIP, named, need_bus=False)
    pin = dataclasses.replace(seen.signals[0], steps=steps_from_changes(np.arange(END), levels, END))
    return dataclasses.replace(seen, signals=(pin,), edges=END + 1, end=END)


@pytest.mark.parametrize("upside_down", [False, True])
def test_a_one_bit_pin_is_compared_as_audio(tmp_path: Path, upside_down: bool) -> None:
    log = log_of()
    options = SpectralOptions(floor_db=-50)
    pin = pin_observation(tmp_path, log, upside_down=upside_down)
    found = compare(CHIP, pin, log=log, options=options)
    assert found.status is Status.AGREE, found.reasons()
    assert found["left"].judged_by == "spectrum"
    assert found["left"].exact is None
    spectral = found["left"].spectral
    assert spectral is not None
    assert spectral.inverted == upside_down
    # Code 511, full scale, is 1 in 511 of 512 cycles.
    assert spectral.gain_db == pytest.approx(20 * np.log10(511 / 512), abs=0.01)
    assert spectral.notes is not None
    assert spectral.notes.worst is not None
    assert abs(spectral.notes.worst.cents or 9) < 0.1
    louder = compare(CHIP, pin, log=log_of(b_volume=20), options=options)
    assert louder.status is Status.DIFFER
    assert "left: the band at" in louder.reasons()[0]


def test_a_pin_that_is_read_from_a_dump_is_one_where_it_stands_for_more(tmp_path: Path) -> None:
    for active, expected in (("high", [0, 1, 0]), ("low", [1, 0, 1])):
        dump = write_dump(tmp_path / "d.vcd", {"pin": [(-5, 0), (3, 1), (9, 0)]}, [], 600, bus=False)
        text = f'[channels]\n[outputs]\n[pins]\nleft = {{ signal = "pin", active = "{active}" }}\n'
        (pin,) = observe(dump, CHIP, parse_map(text, CHIP), need_bus=False).signals
        assert pin.steps.cycle.tolist() == [0, 3, 9]
        assert pin.steps.level.tolist() == expected
