"""SNR, THD, THD+N, SINAD, SFDR and ENOB come out as worked by hand."""

from __future__ import annotations

from math import inf, log10, pi, sqrt

import numpy as np
import pytest
from scipy.signal import get_window

from psgmodel.errors import StageError
from psgmodel.output_stage.measures import (
    PowerSpectrum,
    ToneSettings,
    Window,
    levels_of_steps,
    line_spectrum,
    measure_tone,
    measure_tone_of_lines,
    power_spectrum,
    sinad_to_enob,
    snr_and_thd_to_sinad,
    thd_f_to_thd_r,
    window_figures,
    window_samples,
)
from psgmodel.steps import Steps, steps_from_changes

RATE = 48_000.0


def sine(hz: float, peak: float, count: int, phase: float = 0.3) -> np.ndarray:
    return peak * np.sin(2 * pi * hz * np.arange(count) / RATE + phase)


@pytest.mark.parametrize("window", list(Window))
@pytest.mark.parametrize("hz", [1000.0, 997.0])
def test_two_known_harmonics_give_the_thd_of_arithmetic(window: Window, hz: float) -> None:
    """h2 = 0.01 and h3 = 0.005 of the fundamental: 1.1180 %, -39.03 dB."""
    record = sine(hz, 2.0, 48_000) + sine(2 * hz, 0.02, 48_000, 1.0) + sine(3 * hz, 0.01, 48_000, 2.0) + 0.7
    made = measure_tone(record, RATE, settings=ToneSettings(window=window))
    assert made.hz == pytest.approx(hz, rel=1e-6)
    assert made.rms == pytest.approx(sqrt(2), rel=1e-6)
    assert made.thd_f == pytest.approx(sqrt(0.01**2 + 0.005**2), rel=1e-5)
    assert made.thd_db == pytest.approx(-39.03, abs=0.001)
    assert made.dc == pytest.approx(0.7, rel=1e-9)
    assert made.sfdr_db == pytest.approx(40, abs=1e-3)
    assert made.spur_hz == pytest.approx(2 * hz, abs=1)
    assert [(h.order, h.hz) for h in made.harmonics[:2]] == [(2, pytest.approx(2 * hz)), (3, pytest.approx(3 * hz))]


def test_a_tone_off_the_bins_loses_nothing_with_the_default_window() -> None:
    record = sine(1234.567, 1.0, 40_001) + sine(3703.701, 1e-5, 40_001)
    made = measure_tone(record, RATE)
    assert made.rms == pytest.approx(sqrt(0.5), rel=1e-9)
    assert made.hz == pytest.approx(1234.567, rel=1e-6)
    assert made.thd_db == pytest.approx(-100, abs=0.01)
    assert made.snr_db > 180


def test_white_noise_is_found_at_its_level_and_nothing_is_lost_under_the_lobes() -> None:
    """Variance s^2 over 0..24 kHz, 19980/24000 of it in the band."""
    record = sine(1000.0, 1.0, 480_000) + np.random.default_rng(1).normal(0, 1e-3, 480_000)
    in_band = 1e-3 * sqrt(19_980 / 24_000)
    for window in Window:
        made = measure_tone(record, RATE, 1000.0, ToneSettings(window=window))
        assert made.noise_rms == pytest.approx(in_band, rel=0.01)
        assert made.snr_db == pytest.approx(20 * log10(sqrt(0.5) / in_band), abs=0.1)


def test_noise_hidden_under_wide_lobes_is_filled_in() -> None:
    """Tenth-of-a-second records: the lobes of ten harmonics and DC hide a seventh of the band."""
    source = np.random.default_rng(5)
    found = [measure_tone(sine(1000.0, 1.0, 4800) + source.normal(0, 1e-3, 4800), RATE).noise_rms for _ in range(40)]
    assert sqrt(np.mean(np.square(found))) == pytest.approx(1e-3 * sqrt(19_980 / 24_000), rel=0.01)


# IEC 61672-1:2013 table 3, 20 Hz to 20 kHz at the exact third-octave frequencies.
A_TABLE = [
    -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9, -8.6, -6.6, -4.8, -3.2, -1.9, -0.8,
    0.0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3,
]  # fmt: skip


def test_a_weighted_noise_is_white_noise_under_the_curve_of_the_standard() -> None:
    """The curve here is drawn through the printed table, the one measured through the formula."""
    record = sine(1000.0, 1.0, 480_000) + np.random.default_rng(6).normal(0, 1e-3, 480_000)
    made = measure_tone(record, RATE)
    hz = np.arange(20, 20_000)
    curve = 10 ** (np.interp(np.log10(hz), 3 + np.arange(-17, 14) / 10, A_TABLE) / 10)
    expected = 1e-3 * sqrt(curve.sum() / 24_000)
    assert made.noise_a_rms == pytest.approx(expected, rel=0.02)
    assert made.snr_a_db == pytest.approx(20 * log10(sqrt(0.5) / expected), abs=0.2)


def test_sinad_snr_thd_and_thd_n_hang_together_as_defined() -> None:
    """W. Kester, MT-003."""
    record = sine(1000.0, 1.0, 96_000) + sine(3000.0, 1e-3, 96_000) + np.random.default_rng(2).normal(0, 1e-3, 96_000)
    made = measure_tone(record, RATE)
    assert made.sinad_db == pytest.approx(snr_and_thd_to_sinad(made.snr_db, made.thd_db), abs=1e-9)
    assert made.thd_n_db == pytest.approx(-10 * log10(1 + 10 ** (made.sinad_db / 10)), abs=1e-9)
    assert made.enob_bits == pytest.approx((made.sinad_db - 1.76) / 6.02)
    assert made.thd_r == pytest.approx(thd_f_to_thd_r(made.thd_f))


def test_the_worked_sinad_and_enob_values_come_out() -> None:
    """SNR 80 dB and THD -85 dB: SINAD 78.807 dB, ENOB 12.798; SINAD 62 dB: 10.0 bits (W. Kester, MT-003)."""
    assert snr_and_thd_to_sinad(80, -85) == pytest.approx(78.807, abs=5e-4)
    assert sinad_to_enob(snr_and_thd_to_sinad(80, -85)) == pytest.approx(12.798, abs=5e-4)
    assert sinad_to_enob(62) == pytest.approx(10.0, abs=0.01)
    assert thd_f_to_thd_r(0.48343) == pytest.approx(0.4352, abs=1e-4)


def held(levels: list[int]) -> Steps:
    return steps_from_changes(np.arange(len(levels)), levels, len(levels))


CLOSED_FORMS = [
    pytest.param(held([1, 0]), sqrt(pi**2 / 8 - 1), id="square-48.343-per-cent"),
    pytest.param(held([1, 0, 0, 0]), 0.92225, id="quarter-pulse"),
    pytest.param(held([1, 0, 0, 0, 0, 0, 0, 0]), 1.6388, id="eighth-pulse"),
    pytest.param(held(list(range(4096))), sqrt(pi**2 / 6 - 1), id="sawtooth-80.308-per-cent"),
    pytest.param(held([*range(2048), *range(2047, -1, -1)]), sqrt(pi**4 / 96 - 1), id="triangle-12.115-per-cent"),
]


@pytest.mark.parametrize(("wave", "thd_f"), CLOSED_FORMS)
def test_the_thd_of_a_wave_to_infinity_is_its_closed_form(wave: Steps, thd_f: float) -> None:
    """Mean square less the fundamental, both exact (textbook sums of 1/n^2 and 1/n^4)."""
    fundamental = abs(line_spectrum(wave, 1.0, 0, wave.end, orders=[1]).at(1)) / sqrt(2)
    whole = levels_of_steps(wave).ac_rms
    assert sqrt(whole**2 - fundamental**2) / fundamental == pytest.approx(thd_f, rel=1e-4)


def test_exact_lines_of_a_square_give_the_thd_of_its_harmonics_in_the_band() -> None:
    """500 Hz, harmonics 3, 5, ... 39 at 1/n: the finite sum; no noise at all. 48.343 % needs all of them."""
    square = steps_from_changes([0, 100], [1, -1], 200)
    lines = line_spectrum(square, 100_000, 0, 200)
    made = measure_tone_of_lines(lines, 500.0, ToneSettings(highest_harmonic=39))
    assert made.thd_f == pytest.approx(sqrt(sum(1 / n**2 for n in range(3, 41, 2))), rel=1e-12)
    assert made.rms == pytest.approx(4 / pi / sqrt(2), rel=1e-12)
    assert (made.snr_db > 280, made.dc) == (True, 0)
    wide = measure_tone_of_lines(lines, None, ToneSettings(high_hz=1e4, highest_harmonic=2))
    assert wide.thd_f < 1e-12
    assert wide.noise_rms == pytest.approx(4 / pi / sqrt(2) * sqrt(sum(1 / n**2 for n in range(3, 21, 2))), rel=1e-12)


def test_a_32_step_4_bit_sine_table_has_its_known_thd() -> None:
    """round(7.5 + 7.5 sin(2 pi (k + 1/2)/32)): harmonics 2 to 16 of the samples, 4.397 %, -27.14 dB."""
    table = np.round(7.5 + 7.5 * np.sin(2 * pi * (np.arange(32) + 0.5) / 32))
    record = np.tile(table, 1500)
    settings = ToneSettings(high_hz=24_000, highest_harmonic=16, window=Window.RECTANGULAR)
    made = measure_tone(record, RATE, 1500.0, settings)
    # The line at half the rate counts once, as in the printed figure's amplitude |X| / N; the others twice.
    halves = np.abs(np.fft.fft(table)) / 32
    expected = sqrt(sum(halves[n] ** 2 for n in range(2, 16)) + halves[16] ** 2 / 2) / halves[1]
    assert made.thd_f == pytest.approx(expected, rel=1e-9)
    assert made.thd_db == pytest.approx(-27.14, abs=0.02)


WINDOWS = [
    (Window.RECTANGULAR, 1, 1.0000, 3.9224),
    (Window.HANN, 0.5, 1.5000, 1.4236),
    (Window.BLACKMAN_HARRIS, 0.35875, 2.0044, 0.8256),
    (Window.FLAT_TOP, 0.21558, 3.7702, 0.0098),
]


@pytest.mark.parametrize(("window", "gain", "enbw", "scallop"), WINDOWS)
def test_windows_have_their_published_figures(window: Window, gain: float, enbw: float, scallop: float) -> None:
    """F. J. Harris, Proc. IEEE 66(1), 1978, table I, with more places by direct computation."""
    figures = window_figures(window_samples(window, 4096))
    assert figures.coherent_gain == pytest.approx(gain, abs=1e-4)
    assert figures.enbw_bins == pytest.approx(enbw, abs=1e-4)
    assert figures.scallop_db == pytest.approx(scallop, abs=5e-4)


@pytest.mark.parametrize(("name", "enbw", "scallop"), [("hamming", 1.3628, 1.7514), ("blackman", 1.7268, 1.0989)])
def test_figures_of_foreign_windows_are_right_too(name: str, enbw: float, scallop: float) -> None:
    figures = window_figures(get_window(name, 4096))
    assert figures.enbw_bins == pytest.approx(enbw, abs=1e-4)
    assert figures.scallop_db == pytest.approx(scallop, abs=5e-4)


@pytest.mark.parametrize("count", [1000, 1001])
@pytest.mark.parametrize("window", list(Window))
def test_the_bins_of_a_spectrum_sum_to_the_mean_square(count: int, window: Window) -> None:
    """Parseval: exact for a rectangular window, on average for the others."""
    record = np.random.default_rng(3).normal(0.5, 1, count)
    made = power_spectrum(record, RATE, window)
    exact = window is Window.RECTANGULAR
    assert made.power.sum() == pytest.approx(np.mean(record**2), rel=1e-12 if exact else 0.15)
    assert made.hz[-1] == pytest.approx(RATE / 2 if count % 2 == 0 else RATE * 500 / 1001)


def test_band_levels_add_in_power_and_weigh_by_the_standard() -> None:
    """A is -19.1 dB at 100 Hz and 0 at 1 kHz (IEC 61672-1 table 3)."""
    record = sine(100.0, sqrt(2), 48_000) + sine(1000.0, sqrt(2), 48_000)
    made = power_spectrum(record, RATE)
    assert isinstance(made, PowerSpectrum)
    assert made.band_rms(20, 20_000) == pytest.approx(sqrt(2), rel=1e-9)
    assert made.band_rms(500, 20_000) == pytest.approx(1, rel=1e-9)
    weighted = made.band_rms(20, 20_000, a_weighted=True)
    assert 10 * log10(weighted**2 - 1) == pytest.approx(-19.1, abs=0.1)


def test_a_noiseless_tone_has_infinite_ratios_not_an_error() -> None:
    lines = line_spectrum(steps_from_changes([0, 1], [0, 1], 2), 2000.0, 0, 2, highest_hz=20_000)
    made = measure_tone_of_lines(lines, 1000.0, ToneSettings(high_hz=1500, highest_harmonic=2))
    assert made.snr_db == inf
    assert made.thd_f == 0


def test_records_that_cannot_be_measured_are_refused_with_what_would_do() -> None:
    tone = sine(1000.0, 1.0, 4800)
    bad = tone.copy()
    bad[7] = np.nan
    refusals = [
        (lambda: measure_tone(np.zeros(4800), RATE), "no tone was found in the band"),
        (lambda: measure_tone(tone[:50], RATE), r"samples of shape \(50,\) .accepted: a row of at least 108 samples"),
        (
            lambda: measure_tone(tone[:480], RATE, 1000.0),
            "the record holds 10.0 periods of 1000 Hz .accepted.* 26 periods",
        ),
        (lambda: measure_tone(tone[:480], RATE), "the largest tone of the record has fewer than 27 periods in it"),
        (
            lambda: measure_tone(tone[:480] + sine(5000, 0.01, 480), RATE),
            "the largest tone of the record has fewer than 27 periods in it",
        ),
        (lambda: measure_tone(bad, RATE), "sample 7 is nan"),
        (lambda: measure_tone(tone, 30_000.0), "a band from 20 to 20000 Hz .accepted: .* <= 15000 Hz"),
        (lambda: measure_tone(tone, RATE, 25_000.0), "a tone of 25000 Hz .accepted: inside the band, 20 to 20000 Hz"),
        (lambda: measure_tone(tone, -1.0), "sample rate is -1.0 Hz"),
        (lambda: measure_tone(tone * 1j, RATE), "samples of type complex128"),
        (lambda: ToneSettings(highest_harmonic=1), "highest harmonic is 1"),
        (lambda: ToneSettings(low_hz=500, high_hz=100), "a band from 500 to 100 Hz"),
        (lambda: power_spectrum(tone, RATE).band_rms(20, 30_000), "a band from 20 to 30000 Hz"),
        (
            lambda: measure_tone(tone, RATE, 1003.0, ToneSettings(window=Window.RECTANGULAR)),
            "a tone of 1003 Hz falls between the lines, which are 10 Hz apart",
        ),
        (
            lambda: measure_tone_of_lines(line_spectrum(held([0, 1]), 2.0, 0, 2, orders=[1, 3])),
            "the lines do not run from 0 without gaps",
        ),
    ]
    for call, said in refusals:
        with pytest.raises(StageError, match=said):
            call()
