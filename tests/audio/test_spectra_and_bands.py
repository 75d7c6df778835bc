"""Spectra, windows and third-octave bands against printed figures and sums on paper."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import welch

from psgmodel.audio.bands import band_centres, band_edges, nominal_centres, third_octave_levels
from psgmodel.audio.spectra import power_spectrum, spectrogram, window_figures, window_values
from psgmodel.errors import AudioError

RATE = 48_000


def sine(hertz: float, seconds: float = 1.0, peak: float = 1.0) -> np.ndarray:
    return peak * np.sin(2 * np.pi * hertz * np.arange(int(seconds * RATE)) / RATE + 0.3)


@pytest.mark.parametrize(
    ("window", "gain", "enbw", "scallop_db", "printed"),
    [
        ("rectangular", 1.0, 1.0000, 3.9224, (1.00, 1.00, 3.92)),
        ("hann", 0.5, 1.5000, 1.4236, (0.50, 1.50, 1.42)),
        ("hamming", 0.54, 1.3628, 1.7514, (0.54, 1.36, 1.78)),
        ("blackman", 0.42, 1.7268, 1.0989, (0.42, 1.73, 1.10)),
        ("blackman-harris", 0.35875, 2.0044, 0.8256, (0.36, 2.00, 0.83)),
        ("flat-top", 0.21558, 3.7702, 0.0098, None),
    ],
)
def test_windows_have_the_published_figures(
    window: str, gain: float, enbw: float, scallop_db: float, printed: tuple[float, ...] | None
) -> None:
    # F. J. Harris, Proc. IEEE 66, 1978, Table I (two decimals; its 1.78 dB for Hamming is a known misprint or another
    # coefficient); more decimals from the defining sums over 4096 points.
    figures = window_figures(window, 4096)
    assert figures.coherent_gain == pytest.approx(gain, abs=1e-5)
    assert figures.enbw_bins == pytest.approx(enbw, abs=1e-4)
    values = window_values(window, 4096)
    half_bin = abs(np.sum(values * np.exp(-1j * np.pi * np.arange(4096) / 4096))) / values.sum()
    found = -20 * np.log10(half_bin)
    assert found == pytest.approx(scallop_db, abs=1e-3)
    if printed is not None:
        assert (figures.coherent_gain, figures.enbw_bins) == pytest.approx(printed[:2], abs=0.006)
        assert found == pytest.approx(printed[2], abs=0.03)


@pytest.mark.parametrize("window", ["rectangular", "hann", "hamming", "blackman", "blackman-harris", "flat-top"])
def test_a_full_scale_sine_reads_0_dbfs_with_every_window(window: str) -> None:
    # AES17: 0 dBFS is the rms of a sine whose peak is full scale; -20 dB is a tenth of its peak.
    spectrum = power_spectrum(sine(997), RATE, window=window)
    assert spectrum.dbfs()[997] == pytest.approx(0.0, abs=1e-9)
    assert spectrum.hertz[997] == 997
    assert power_spectrum(sine(997, peak=0.1), RATE, window=window).dbfs()[997] == pytest.approx(-20.0, abs=1e-9)


def test_dc_and_half_the_rate_are_not_counted_twice() -> None:
    constant = power_spectrum(np.full(1_000, 0.5), RATE, window="rectangular")
    assert constant.power[0] == pytest.approx(0.25)
    alternating = power_spectrum(np.tile([0.5, -0.5], 500), RATE, window="rectangular")
    assert alternating.power[-1] == pytest.approx(0.25)
    odd = power_spectrum(np.cos(2 * np.pi * 500 * np.arange(1_001) / 1_001), RATE, window="rectangular")
    assert odd.power[-1] == pytest.approx(0.5)


def test_band_power_of_noise_is_its_mean_square() -> None:
    noise = np.random.default_rng(1).standard_normal(2**17)
    for window in ("rectangular", "hann", "flat-top"):
        spectrum = power_spectrum(noise, RATE, window=window, length=4096)
        assert spectrum.band_power(-RATE, RATE) == pytest.approx(np.mean(noise**2), rel=0.02)
        assert spectrum.band_power(5_000, 8_000) == pytest.approx(np.mean(noise**2) / 8, rel=0.05)
    exact = power_spectrum(noise, RATE, window="rectangular")
    assert exact.band_power(-RATE, RATE) == pytest.approx(np.mean(noise**2), rel=1e-12)  # Parseval


def test_averaged_spectra_are_those_of_scipy_welch() -> None:
    noise = np.random.default_rng(2).standard_normal(20_000)
    ours = power_spectrum(noise, RATE, window="blackman-harris", length=1024, hop=256)
    hertz, theirs = welch(
        noise, RATE, window="blackmanharris", nperseg=1024, noverlap=768, detrend=False, scaling="spectrum"
    )
    assert ours.hertz == pytest.approx(hertz)
    assert ours.power == pytest.approx(theirs, rel=1e-9)


def test_a_spectrogram_shows_when_a_tone_changes() -> None:
    samples = np.concatenate([sine(1_000, 0.5), sine(4_000, 0.5, peak=0.1), np.zeros(RATE // 2)])
    seen = spectrogram(samples, RATE, length=2048, hop=512, floor_db=-100)
    assert seen.dbfs.shape == ((72_000 - 2048) // 512 + 1, 1025)
    assert seen.seconds[0] == 1024 / RATE
    assert np.diff(seen.seconds) == pytest.approx(512 / RATE)
    early, late, silent = (int(np.argmin(np.abs(seen.seconds - t))) for t in (0.25, 0.75, 1.25))
    assert seen.hertz[np.argmax(seen.dbfs[early])] == pytest.approx(1_000, abs=RATE / 2048)
    assert seen.hertz[np.argmax(seen.dbfs[late])] == pytest.approx(4_000, abs=RATE / 2048)
    assert seen.dbfs[early].max() == pytest.approx(0, abs=1.43)  # at most the scallop loss of a Hann window
    assert seen.dbfs[late].max() == pytest.approx(-20, abs=1.43)
    assert (seen.dbfs[silent] == -100).all()


def test_what_makes_no_spectrum_is_refused() -> None:
    for call, message in [
        (lambda: power_spectrum(np.zeros(100), RATE, length=101), r"100 samples are fewer than one frame of 101"),
        (lambda: power_spectrum(np.zeros((100, 2)), RATE), r"a spectrum is of one channel, not .* \(100, 2\)"),
        (lambda: power_spectrum(np.zeros(100), RATE, window="hanning"), r'window "hanning" is not known \(rect'),
        (lambda: spectrogram(np.zeros(5_000), RATE, hop=0), r"frames of 2048 samples every 0 make no spectrum"),
        (lambda: power_spectrum(np.zeros(0), RATE), r"frames of 0 samples"),
        (lambda: third_octave_levels(np.zeros(4), RATE), r"too coarse for third-octave bands \(use a longer frame"),
    ]:
        with pytest.raises(AudioError, match=message):
            call()


def test_third_octave_centres_and_edges_are_those_of_the_standard() -> None:
    # IEC 61260-1:2014, base-10 system: fm = 1000 * 10^(x/10), edges fm * 10^(+-1/20); nominal names as printed there.
    assert nominal_centres().tolist() == [
        *(20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000),
        *(2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000),
    ]
    centre = band_centres()
    low, high = band_edges(centre)
    at = nominal_centres().tolist().index
    assert (low[at(1000)], high[at(1000)]) == pytest.approx((891.250938, 1122.018454), abs=1e-6)
    assert centre[at(3150)] == pytest.approx(3162.277660, abs=1e-6)
    assert centre[at(20)] == pytest.approx(19.952623, abs=1e-6)
    assert high[:-1] == pytest.approx(low[1:], rel=1e-12)
    assert np.abs(centre / nominal_centres() - 1).max() < 0.013


def test_a_tone_stands_in_its_band_and_nowhere_else() -> None:
    bands = third_octave_levels(sine(1_000, 2.0, peak=0.5), RATE)
    at = bands.nominal_hz.tolist().index(1000)
    assert bands.dbfs[at] == pytest.approx(-6.0206, abs=0.001)
    assert np.delete(bands.dbfs, at).max() < -80


def test_white_noise_rises_by_one_db_a_band() -> None:
    # Each band is 10^(1/10) wider than the one below; the sum of all is the power between the outermost edges.
    noise = np.random.default_rng(3).standard_normal(2**19) * 0.1
    bands = third_octave_levels(noise, RATE, length=2**14)
    high = bands.nominal_hz >= 500
    steps = np.diff(bands.dbfs[high])
    assert steps == pytest.approx(np.ones(steps.size), abs=0.35)
    total = 0.5 * (10 ** (bands.dbfs / 10)).sum()
    share = (bands.high_hz[-1] - bands.low_hz[0]) / (RATE / 2)
    assert total == pytest.approx(0.01 * share, rel=0.01)


def test_bands_too_narrow_for_the_lines_are_left_out() -> None:
    bands = third_octave_levels(np.zeros(4_800), RATE)  # lines 10 Hz apart: bands from 100 Hz (23 Hz wide) on
    assert bands.nominal_hz[0] == 100
    assert (bands.dbfs == -200).all()
    assert third_octave_levels(np.zeros(48_000), 8_000).nominal_hz[-1] == 3150  # the 4 kHz band ends above 4 kHz
