"""Requantisation and noise shaping have the error power that theory gives, exactly where it is exact."""

from __future__ import annotations

from math import log10

import numpy as np
import pytest
from scipy.signal import periodogram

from psgmodel.errors import StageError
from psgmodel.output_stage.measures import ToneSettings, Window, measure_tone
from psgmodel.output_stage.modulators import (
    IdealDac,
    NoiseShaper,
    Requantise,
    ShaperState,
    ideal_dac,
    samples_of_steps,
    shape_noise,
    shape_noise_part,
    steps_of_samples,
    tpdf_dither,
)
from psgmodel.output_stage.modulators import shaper as shaper_module
from psgmodel.steps import steps_from_changes

WHOLE_BAND = ToneSettings(low_hz=0.5, high_hz=32_768.0, highest_harmonic=2, window=Window.RECTANGULAR)


@pytest.mark.parametrize(("bits", "tolerance"), [(4, 0.6), (8, 0.2), (12, 0.05), (16, 0.05)])
def test_a_truncated_full_scale_sine_has_the_noise_of_bennetts_law(bits: int, tolerance: float) -> None:
    """6.0206 N + 1.7609 dB (W. R. Bennett, BSTJ 1948; W. Kester, MT-001). Truncating a code is a mid-rise quantiser."""
    t = np.arange(65_536)
    codes = np.floor(2**23 + (2**23 - 0.5) * np.sin(2 * np.pi * 1021 * t / 65_536 + 0.1)).astype(int)
    made = samples_of_steps(ideal_dac(steps_of_samples(codes), IdealDac(24, bits)).steps)
    sinad = measure_tone(made, 65_536.0, 1021.0, WHOLE_BAND).sinad_db
    assert sinad == pytest.approx(6.0206 * bits + 1.7609, abs=tolerance)


def test_truncation_drops_low_bits_and_rounding_adds_half_a_step() -> None:
    code = steps_of_samples([0, 1, 2, 3, 4, 5, 6, 255])
    truncated = ideal_dac(code, IdealDac(8, 6))
    assert truncated.steps == steps_of_samples([0, 0, 0, 0, 1, 1, 1, 63])
    assert truncated.saturations == 0
    rounded = ideal_dac(code, IdealDac(8, 6, Requantise.ROUND))
    assert rounded.steps == steps_of_samples([0, 0, 1, 1, 1, 1, 2, 63])
    assert (rounded.saturations, rounded.first_saturation, rounded.full_scale) == (1, 7, 64)


def test_a_wider_converter_takes_the_code_as_its_top_bits() -> None:
    code = steps_from_changes([0, 5], [1, 511], 9)
    assert ideal_dac(code, IdealDac(9, 12, Requantise.ROUND)).steps == steps_from_changes([0, 5], [8, 4088], 9)


def test_absurd_converter_widths_are_told_together() -> None:
    with pytest.raises(StageError) as caught:
        IdealDac(0, 31)
    assert str(caught.value).splitlines() == [
        "code width is 0 (accepted: a whole number from 1 to 30)",
        "converter width is 31 (accepted: a whole number from 1 to 30)",
    ]


EXACT_GAIN_DB = {
    (1, 16): -30.960,
    (1, 32): -39.985,
    (1, 64): -49.014,
    (1, 128): -58.045,
    (2, 16): -47.330,
    (2, 32): -62.366,
    (2, 64): -77.414,
    (2, 128): -92.465,
}


@pytest.mark.parametrize("order", [1, 2])
def test_a_dithered_shaper_has_a_quarter_step_squared_times_the_exact_gain_in_band(order: int) -> None:
    """S. P. Lipshitz, R. A. Wannamaker, J. Vanderkooy, 1992: total error step^2/4 with triangular dither, any input.

    The gains are the integral of |2 sin(pi f)|^(2 L), by quadrature outside this package.
    """
    step, count = 256, 2**17
    form = NoiseShaper(order, step, 255, tpdf_seed=1)
    fine = np.round(32_768 + 9000 * np.sin(np.arange(count) * 0.001)).astype(int)
    shaped = shape_noise(fine, form)
    assert shaped.saturations == 0
    error = shaped.samples * step - fine
    hz, density = periodogram(error, fs=1.0, window="hann", detrend="constant")
    for osr in (16, 32, 64, 128):
        in_band = density[(hz > 0) & (hz <= 0.5 / osr)].sum() * hz[1]
        expected = 10 * log10(step**2 / 4) + EXACT_GAIN_DB[order, osr]
        assert 10 * log10(in_band) == pytest.approx(expected, abs=0.7)


def plain_shaper(fine: list[int], dither: list[int], order: int, step: int, top: int) -> list[int]:
    """The register text, update by update."""
    e1 = e2 = 0
    out = []
    for x, d in zip(fine, dither, strict=True):
        v = x + e1 if order == 1 else x + 2 * e1 - e2
        q = (v + d) // step
        e1, e2 = v - q * step, e1
        out.append(min(max(q, 0), top))
    return out


@pytest.mark.parametrize("order", [1, 2])
@pytest.mark.parametrize("step", [2, 3, 256, 511])
@pytest.mark.parametrize("seed", [None, 4])
def test_the_shaper_without_a_loop_equals_its_register_text(order: int, step: int, seed: int | None) -> None:
    fine = np.random.default_rng(10).integers(0, step * 20, 3000)
    form = NoiseShaper(order, step, 19, seed)
    dither = tpdf_dither(seed, step, fine.size).tolist()
    assert shape_noise(fine, form).samples.tolist() == plain_shaper(fine.tolist(), dither, order, step, 19)


@pytest.mark.parametrize("order", [1, 2])
@pytest.mark.parametrize("block", [1, 2, 3, 50])
def test_the_block_size_and_the_cut_of_a_shaper_have_no_effect(
    order: int, block: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    fine = np.random.default_rng(11).integers(0, 5000, 200)
    form = NoiseShaper(order, 100, 60, 12)
    whole, end = shape_noise_part(fine, form, ShaperState())
    monkeypatch.setattr(shaper_module, "BLOCK", block)
    np.testing.assert_array_equal(shape_noise(fine, form).samples, whole.samples)
    for cut in (1, 2, 99):
        first, state = shape_noise_part(fine[:cut], form, ShaperState())
        rest, state = shape_noise_part(fine[cut:], form, state)
        np.testing.assert_array_equal(np.append(first.samples, rest.samples), whole.samples)
        assert state == end


def test_the_room_a_signal_needs_is_what_the_shaper_promises_and_less_is_counted() -> None:
    constant = [np.full(5000, level) for level in range(10 * 64, 11 * 64)]
    for order, seed, below, above in [(1, None, 0, 1), (2, None, 1, 2), (1, 5, 2, 3), (2, 5, 5, 6)]:
        form = NoiseShaper(order, 64, 2**20, seed)
        codes = np.concatenate([shape_noise(fine, form).samples for fine in constant])
        assert codes.min() >= 10 - below
        assert codes.max() <= 10 + above
    held = shape_noise(np.full(500, 10 * 64 + 20), NoiseShaper(2, 64, 10))
    assert held.saturations > 0
    assert held.first_saturation is not None
    assert held.samples.max() == 10


def test_triangular_dither_is_symmetric_and_repeatable_with_the_variance_of_two_even_numbers() -> None:
    """Two even numbers of 0..D-1: variance (D^2 - 1)/6, mean (D - 1)."""
    dither = tpdf_dither(99, 256, 400_000)
    assert (dither.min(), dither.max()) == (-255, 255)
    assert dither.mean() == pytest.approx(0, abs=0.7)
    assert dither.var() == pytest.approx((256**2 - 1) / 6, rel=0.01)
    np.testing.assert_array_equal(tpdf_dither(99, 256, 10, skip=7), dither[7:17])
    assert not tpdf_dither(None, 256, 5).any()


def test_a_shaper_description_and_its_samples_are_checked() -> None:
    with pytest.raises(StageError) as caught:
        NoiseShaper(3, 1, 0, -1)
    assert str(caught.value).splitlines() == [
        "shaper order is 3 (accepted: 1 or 2)",
        "shaper step is 1 (accepted: a whole number from 2 to 268435456)",
        "top code of the shaper is 0 (accepted: a whole number from 1 to 16777216)",
        "dither seed is -1 (accepted: a whole number from 0 to 9223372036854775807)",
    ]
    with pytest.raises(StageError, match=r"sample 1 is -3 .accepted: 0 to 268435456"):
        shape_noise([1, -3], NoiseShaper(1, 2, 9))
