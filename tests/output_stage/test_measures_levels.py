"""Levels, their decibels, the A and K weightings, and loudness agree with standards and published anchors."""

from __future__ import annotations

from math import inf, log10, pi, sqrt

import numpy as np
import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.measures import (
    dbfs_to_rms,
    dbu_to_volt,
    dbv_to_volt,
    levels,
    levels_of_steps,
    loudness_lkfs,
    rms_to_dbfs,
    to_db,
    volt_to_dbu,
    volt_to_dbv,
)
from psgmodel.output_stage.weighting import A_POLES_HZ, a_weighting_db, a_weighting_gain, k_weighting_gain
from psgmodel.steps import empty_steps, steps_from_changes


def sine(hz: float, peak: float, seconds: float = 10.0) -> np.ndarray:
    return peak * np.sin(2 * pi * hz * np.arange(round(48_000 * seconds)) / 48_000)


def test_line_levels_are_the_published_ones() -> None:
    """-10 dBV = 0.316228 V = -7.78 dBu; 0 dBu = 0.774597 V; +4 dBu = 1.227653 V; 11.78 dB apart (audio glossaries)."""
    assert dbv_to_volt(-10) == pytest.approx(0.316228, abs=1e-6)
    assert volt_to_dbu(dbv_to_volt(-10)) == pytest.approx(-7.78, abs=0.005)
    assert dbu_to_volt(0) == pytest.approx(0.774597, abs=1e-6)
    assert dbu_to_volt(4) == pytest.approx(1.227653, abs=1e-6)
    assert volt_to_dbv(dbu_to_volt(4)) - -10 == pytest.approx(11.78, abs=0.01)


def test_a_full_scale_sine_is_0_dbfs_and_a_full_scale_square_3_01() -> None:
    """AES17."""
    record = sine(997, 1.65)
    assert rms_to_dbfs(levels(record).rms, 1.65) == pytest.approx(0, abs=1e-9)
    square = levels_of_steps(steps_from_changes([0, 5], [-1, 1], 10))
    assert rms_to_dbfs(square.rms, 1.0) == pytest.approx(3.0103, abs=1e-4)
    assert dbfs_to_rms(0, 1.65) == pytest.approx(1.65 / sqrt(2))
    assert rms_to_dbfs(0.0, 1.0) == -inf


def test_levels_of_a_record_are_the_textbook_ones() -> None:
    made = levels(sine(1000, 2.0) + 0.5)
    assert made.rms == pytest.approx(sqrt(2 + 0.25))
    assert made.ac_rms == pytest.approx(sqrt(2))
    assert (made.dc, made.peak, made.peak_to_peak) == pytest.approx((0.5, 2.5, 4.0))


def test_levels_of_steps_equal_those_of_every_clock() -> None:
    source = np.random.default_rng(4)
    cycle = np.cumsum(source.integers(1, 30, 500))
    signal = steps_from_changes(cycle, source.integers(-2000, 2000, 500), int(cycle[-1]) + 9)
    every = signal.at(np.arange(signal.start, signal.end)).astype(float)
    assert levels_of_steps(signal) == pytest.approx(levels(every), rel=1e-12)


@pytest.mark.parametrize("convert", [to_db, volt_to_dbv, volt_to_dbu])
def test_a_negative_level_has_no_decibels(convert: object) -> None:
    with pytest.raises(StageError, match=r"an amplitude ratio of -1\.\S* .accepted: 0 and more"):
        convert(-1.0)


def test_levels_of_nothing_are_refused() -> None:
    with pytest.raises(StageError, match=r"samples of shape \(0,\)"):
        levels([])
    with pytest.raises(StageError, match="the signal is empty or partly unknown"):
        levels_of_steps(empty_steps(4))
    with pytest.raises(StageError, match="full scale is 0"):
        rms_to_dbfs(1.0, 0)
    with pytest.raises(StageError, match="a level of 1000000 dB"):
        dbv_to_volt(1_000_000)


A_TABLE = [
    -70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9, -8.6, -6.6, -4.8,
    -3.2, -1.9, -0.8, 0.0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3,
]  # fmt: skip


def test_a_equals_its_table_at_the_exact_frequencies() -> None:
    """IEC 61672-1:2013 table 3, 10 Hz to 20 kHz; exact frequencies are 1000 * 10^(k/10), one printed place."""
    exact = 1000 * 10 ** (np.arange(-20, 14) / 10)
    np.testing.assert_allclose(a_weighting_db(exact), A_TABLE, atol=0.06)
    assert float(a_weighting_db(1000.0)) == pytest.approx(0, abs=0.001)
    assert a_weighting_gain([0.0, 1000.0])[0] == 0
    assert a_weighting_db(0.0) == -inf


def test_the_constants_of_a_follow_from_the_standards_own_rule() -> None:
    """IEC 61672-1 annex E: from f_r 1000, f_L 10^1.5, f_H 10^3.9, f_A 10^2.45 Hz and D = 1/sqrt 2."""
    fr, fl, fh, fa, d = 1000.0, 10**1.5, 10**3.9, 10**2.45, sqrt(0.5)
    c = fl**2 * fh**2
    b = (fr**2 + c / fr**2 - d * (fl**2 + fh**2)) / (1 - d)
    f1, f4 = (sqrt((-b + sign * sqrt(b * b - 4 * c)) / 2) for sign in (-1, 1))
    f2, f3 = ((3 + sign * sqrt(5)) / 2 * fa for sign in (-1, 1))
    assert pytest.approx((f1, f2, f3, f4), rel=1e-7) == A_POLES_HZ


def test_loudness_has_its_published_anchors() -> None:
    """ITU-R BS.1770: 997 Hz at 0 dBFS -3.01 in one channel, 0.00 in both; EBU Tech 3341 case 1: -23.0 +-0.1."""
    one = sine(997, 1.0)
    assert loudness_lkfs(one) == pytest.approx(-3.01, abs=0.01)
    assert loudness_lkfs(np.stack([one, one], axis=1)) == pytest.approx(0.0, abs=0.01)
    quiet = sine(1000, 10 ** (-23 / 20), 20)
    assert loudness_lkfs(np.stack([quiet, quiet], axis=1)) == pytest.approx(-23.0, abs=0.1)


def test_gates_leave_silence_and_quiet_parts_out() -> None:
    """EBU Tech 3341 case 3 in mono terms: -36, -23, -36 dBFS for 10, 60, 10 s reads as the loud part does."""
    parts = [sine(1000, 10 ** (db / 20), s) for db, s in ((-36, 10), (-23, 60), (-36, 10))]
    loud = loudness_lkfs(parts[1])
    assert loudness_lkfs(np.concatenate(parts)) == pytest.approx(loud, abs=0.1)
    assert loudness_lkfs(np.concatenate(parts), gated=False) < loud - 1
    with_silence = np.concatenate([parts[1], np.zeros(48_000 * 60)])
    assert loudness_lkfs(with_silence) == pytest.approx(loud, abs=0.1)
    assert loudness_lkfs(with_silence, gated=False) == pytest.approx(loud - 10 * log10(2), abs=0.1)
    assert loudness_lkfs(np.zeros(48_000)) == -inf


def test_k_gain_as_a_formula_equals_k_as_filters() -> None:
    for hz in (50.0, 500.0, 5000.0, 15_000.0):
        ungated = loudness_lkfs(sine(hz, 1.0), gated=False)
        assert ungated == pytest.approx(-0.691 + 20 * log10(float(k_weighting_gain(hz)) / sqrt(2)), abs=0.01)


def test_loudness_refuses_other_rates_channels_and_lengths() -> None:
    refusals = [
        (
            lambda: loudness_lkfs(np.zeros(48_000), 44_100),
            "a sample rate of 44100 Hz .accepted: 48000 Hz; resample first",
        ),
        (lambda: loudness_lkfs(np.zeros((480, 3))), r"samples of shape \(480, 3\) .accepted: \(n,\) or \(n, 2\)"),
        (lambda: loudness_lkfs(np.zeros(480)), "a record of 480 samples .accepted: at least 19200 .400 ms"),
        (lambda: loudness_lkfs(np.full(48_000, np.inf)), "sample 0 is inf"),
        (lambda: k_weighting_gain(30_000.0), "accepted: 0 to 24000 Hz"),
        (lambda: a_weighting_db(-1.0), "a frequency is negative or not finite"),
    ]
    for call, said in refusals:
        with pytest.raises(StageError, match=said):
            call()
