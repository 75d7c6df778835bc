"""What a rendered signal must sound like: lines where physics puts them, and no others."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from psgmodel.audio import render_steps
from psgmodel.steps import constant_steps, steps_from_changes
from tests.audio import tones

CLOCKS = [6_144_000, 4_761_900, 7_500_000, Fraction(100_000_000, 3)]
RATES = [44_100, 48_000, 96_000]
DUTIES = [2, 3, 4, 8, 16, 32]


def some_periods(clock_hz: int | Fraction, rate: int, count: int, seed: int) -> list[int]:
    """Periods of tones from 200 Hz to 12 kHz that a DFT can tell from their aliases."""
    rng = np.random.default_rng(seed)
    found: list[int] = []
    while len(found) < count:
        period = round(float(clock_hz) / float(np.exp(rng.uniform(np.log(200), np.log(12_000)))))
        if clock_hz / period <= 12_000 and tones.coherent_length(clock_hz, period, rate) is not None:
            found.append(period)
    return found


def lines_of_pulse(clock_hz: int | Fraction, rate: int, period: int, high: int) -> tones.CoherentLines:
    size = tones.coherent_length(clock_hz, period, rate)
    assert size is not None
    steps = tones.pulse_steps(period, high, tones.cycles_needed(clock_hz, size[0], rate) // period + 2)
    return tones.coherent_lines(render_steps(steps, clock_hz, rate, full_scale=1), *size, rate)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("clock_hz", CLOCKS, ids=str)
def test_no_alias_line_up_to_20_khz_is_above_minus_120_db_of_the_fundamental(
    clock_hz: int | Fraction, rate: int
) -> None:
    for period in some_periods(clock_hz, rate, 8, seed=rate):
        for divisor in DUTIES:
            lines = lines_of_pulse(clock_hz, rate, period, period // divisor)
            fundamental = abs(lines.at_harmonic(np.array([1]))[0])
            alias_db = tones.decibels(lines.worst_other_line(20_000) / fundamental)
            assert alias_db <= -120, (period, divisor)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("clock_hz", CLOCKS, ids=str)
def test_alias_lines_of_needle_pulses_stay_140_db_below_the_height_of_the_pulse(
    clock_hz: int | Fraction, rate: int
) -> None:
    for period in some_periods(clock_hz, rate, 3, seed=rate + 1):
        for high in (1, 2, period // 64):
            lines = lines_of_pulse(clock_hz, rate, period, high)
            assert tones.decibels(lines.worst_other_line(20_000)) <= -140, (period, high)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("clock_hz", CLOCKS, ids=str)
def test_harmonics_up_to_20_khz_have_the_level_and_phase_of_the_fourier_series(
    clock_hz: int | Fraction, rate: int
) -> None:
    # Level within 0.005 dB, each line within -120 dB of the pulse height, time aligned to a millionth of a sample.
    for period in some_periods(clock_hz, rate, 6, seed=rate + 2):
        for divisor in DUTIES:
            high = period // divisor
            lines = lines_of_pulse(clock_hz, rate, period, high)
            number = lines.harmonics_below(20_000)
            expected = tones.pulse_line(number, high / period)
            found = lines.at_harmonic(number)
            assert (np.abs(found - expected) <= 10 ** (0.005 / 20) * np.abs(expected) - np.abs(expected) + 1e-6).all()
            per_sample = 2 * np.pi * float(Fraction(clock_hz) / period / rate)
            assert abs(np.angle(found[0] / expected[0])) / per_sample < 1e-6


@pytest.mark.parametrize(
    ("divisor", "expected_db"),
    [
        (4, [0, -3.01, -9.54, None, -13.98, -12.55, -16.90, None]),
        (8, [0, -0.69, -1.89, -3.70, -6.32, -10.23, -16.90, None]),
    ],
)
def test_a_pulse_has_the_published_harmonic_levels_and_nulls(divisor: int, expected_db: list[float | None]) -> None:
    # Fourier series of a pulse, as tabled in signals texts and TI SPRAA88A (2008), section 2.
    lines = lines_of_pulse(6_144_000, 48_000, 3_208, 3_208 // divisor)
    level = np.abs(lines.at_harmonic(np.arange(1, 9)))
    for found, expected in zip(level / level[0], expected_db, strict=True):
        if expected is None:
            assert tones.decibels(found) < -120
        else:
            assert tones.decibels(found) == pytest.approx(expected, abs=0.01)


def test_a_square_has_no_even_harmonics_and_the_series_4_over_n_pi() -> None:
    lines = lines_of_pulse(6_144_000, 48_000, 3_208, 1_604)
    level = np.abs(lines.at_harmonic(np.arange(1, 8)))
    assert level[0::2] == pytest.approx([0.636620, 0.212207, 0.127324, 0.090946], abs=2e-6)
    assert tones.decibels(level[1::2].max()) < -120


def test_a_triangle_of_32_steps_has_the_lines_of_its_staircase() -> None:
    # (2 / (n pi)) cot(n pi / 32) for odd n: DFT of the 32 levels times the sinc of the hold.
    levels = [*range(16), *range(15, -1, -1)]
    each, clock_hz, rate = 401, 6_144_000, 48_000
    size = tones.coherent_length(clock_hz, 32 * each, rate)
    assert size is not None
    repeats = tones.cycles_needed(clock_hz, size[0], rate) // (32 * each) + 2
    samples = render_steps(tones.pattern_steps(levels, each, repeats), clock_hz, rate, full_scale=1)
    lines = tones.coherent_lines(samples, *size, rate)
    level = np.abs(lines.at_harmonic(np.arange(1, 10)))
    assert level[0::2] == pytest.approx([6.46371, 0.69955, 0.23821, 0.11082, 0.05805], abs=1e-5)
    assert level[1::2].max() < 1e-6
    assert samples[tones.LEAD : tones.LEAD + size[0]].mean() == pytest.approx(7.5, abs=1e-9)


def test_any_held_waveform_has_the_lines_dft_times_sinc() -> None:
    # Sampling theory: harmonic m has amplitude (2 / N) |DFT[m mod N]| |sinc(m / N)|.
    rng = np.random.default_rng(5)
    levels = rng.integers(-500, 500, 24).tolist()
    each, clock_hz, rate = 809, 6_144_000, 96_000
    size = tones.coherent_length(clock_hz, 24 * each, rate)
    assert size is not None
    repeats = tones.cycles_needed(clock_hz, size[0], rate) // (24 * each) + 2
    samples = render_steps(tones.pattern_steps(levels, each, repeats), clock_hz, rate, full_scale=1)
    lines = tones.coherent_lines(samples, *size, rate)
    number = lines.harmonics_below(20_000)
    expected = (2 / 24) * np.abs(np.fft.fft(levels)[number % 24]) * np.abs(np.sinc(number / 24))
    assert np.abs(lines.at_harmonic(number)) == pytest.approx(expected, abs=1e-3)
    assert number.size > 50


@pytest.mark.parametrize(
    ("share", "droop_db"), [(0.1, -0.143), (0.2, -0.579), (0.25, -0.912), (0.3, -1.326), (0.4, -2.420)]
)
def test_a_held_sine_droops_as_a_zero_order_hold_does(share: float, droop_db: float) -> None:
    # 20 log10 sinc(f / fs); K. Castor-Perry, "Why are my DAC and ADC responses drooping?", 2020.
    hold_hz, rate, length = 20_000, 48_000, 12_000
    periods = round(length * share * hold_hz / rate)
    count = hold_hz * (length + 2 * tones.LEAD) // rate
    levels = np.rint(2**26 * np.sin(2 * np.pi * share * np.arange(count))).astype(np.int64)
    samples = render_steps(steps_from_changes(np.arange(count), levels, count), hold_hz, rate, full_scale=2**26)
    lines = tones.coherent_lines(samples, length, periods, rate)
    assert tones.decibels(abs(lines.amplitude[periods])) == pytest.approx(droop_db, abs=0.001)


@pytest.mark.parametrize("rate", [8_000, 22_050, 44_100, 48_000, 96_000, 192_000])
def test_a_step_overshoots_by_the_gibbs_constant(rate: int) -> None:
    # Band-limited step: 1/2 + Si(pi) / pi = 1.089490. The transition band of a real low-pass takes a little off.
    clock_hz = 1009 * rate // 100
    highest = max(
        render_steps(
            steps_from_changes([0, 10_000 + at, 10_001 + at], [0, 0, 1], 40_000), clock_hz, rate, full_scale=1
        ).max()
        for at in range(11)
    )
    assert 1.0865 < highest < 1.0895


def test_the_middle_of_a_step_stands_at_its_own_time() -> None:
    # 128 cycles a sample; the change lies exactly on sample 100, where the step has risen by half.
    samples = render_steps(steps_from_changes([0, 12_800], [0, 1], 25_600), 6_144_000, 48_000, full_scale=1)
    assert samples[100] == pytest.approx(0.5, abs=1e-8)
    assert samples[:60] == pytest.approx(0, abs=1e-3)
    assert samples[140:] == pytest.approx(1, abs=1e-3)
    assert samples[100:150] + samples[100:50:-1] == pytest.approx(1, abs=1e-8)  # symmetric about its middle


def test_a_constant_level_gives_constant_samples_and_no_click() -> None:
    samples = render_steps(constant_steps(300, 5_000, 700_000), 4_761_900, 44_100, full_scale=600)
    assert np.array_equal(samples, np.full(samples.size, 0.5))


def test_a_named_start_level_makes_the_step_at_the_start_heard() -> None:
    steps = constant_steps(300, 5_000, 700_000)
    samples = render_steps(steps, 6_144_000, 48_000, full_scale=300, start_level=0)
    assert samples[0] == pytest.approx(0.5, abs=1e-8)
    assert samples[-1] == 1.0


def test_there_are_as_many_samples_as_stand_before_the_end() -> None:
    for cycles, expected in [(1, 1), (128, 1), (129, 2), (12_800, 100), (12_801, 101)]:
        assert render_steps(constant_steps(0, 0, cycles), 6_144_000, 48_000, full_scale=1).size == expected
    assert render_steps(constant_steps(0, 0, 0), 6_144_000, 48_000, full_scale=1).size == 0


def test_a_signal_that_starts_late_sounds_like_the_same_signal_from_cycle_0() -> None:
    steps = tones.pulse_steps(997, 250, 300)
    late = steps.shifted(10**15 + 7)
    assert np.array_equal(
        render_steps(late, 4_761_900, 44_100, full_scale=1), render_steps(steps, 4_761_900, 44_100, full_scale=1)
    )


def test_an_expensive_resampler_of_the_dense_signal_agrees_up_to_20_khz() -> None:
    # soxr VHQ (stop band measured at -189 dB) on every clock cycle of a repeated random signal is the judge.
    import soxr

    factor, rate, length = 16, 48_000, 4_096
    clock_hz, cycles = factor * rate, factor * length
    rng = np.random.default_rng(11)
    at = np.sort(rng.choice(cycles, 2_500, replace=False))
    at[0] = 0
    levels = rng.integers(-256, 256, at.size)
    repeated = np.concatenate([at + k * cycles for k in range(4)])
    steps = steps_from_changes(repeated, np.tile(levels, 4), 4 * cycles)
    ours = render_steps(steps, clock_hz, rate, full_scale=256)[2 * length : 3 * length]
    dense = steps.at(np.arange(4 * cycles)).astype(np.float64) / 256
    judge = soxr.resample(dense, clock_hz, rate, quality="VHQ")[2 * length : 3 * length]
    hertz = np.arange(length // 2 + 1) * rate / length
    # A dense sample is an instant; the held level is that, one cycle long: sinc and half a cycle of delay.
    held = np.sinc(hertz / clock_hz) * np.exp(-1j * np.pi * hertz / clock_hz)
    wanted = np.fft.rfft(judge) * held
    difference = np.abs(np.fft.rfft(ours) - wanted)[hertz <= 20_000]
    assert difference.max() < 6e-4 * np.abs(wanted).max()
    assert difference[hertz[hertz <= 20_000] <= 16_000].max() < 2e-5 * np.abs(wanted).max()
