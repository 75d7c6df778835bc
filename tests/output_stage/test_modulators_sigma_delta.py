"""The sigma-delta modulators keep the counts, patterns and noise that algebra and theory give them."""

from __future__ import annotations

from fractions import Fraction
from math import gcd

import numpy as np
import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.measures import line_spectrum
from psgmodel.output_stage.modulators import (
    FirstOrder,
    FirstOrderState,
    LfsrDither,
    SecondOrder,
    SecondOrderState,
    constant_input_bound,
    first_order,
    first_order_part,
    in_band_gain_db,
    oversampled_bits,
    samples_of_steps,
    second_order,
    second_order_batch,
    second_order_of_width,
    second_order_part,
    sigma_delta_1,
    steps_of_samples,
)
from psgmodel.steps import constant_steps


@pytest.mark.parametrize("code", [0, 1, 37, 64, 128, 200, 255])
def test_the_first_order_pin_is_high_for_exactly_k_of_any_256_clocks(code: int) -> None:
    """Bit n = floor((n+1) K / 2^N) - floor(n K / 2^N) (Beatty and Bresenham words)."""
    bits = samples_of_steps(first_order(constant_steps(code, 0, 2000), FirstOrder(8)).steps)
    sums = np.convolve(bits, np.ones(256, int), "valid")
    assert set(sums) == {code}
    assert list(bits) == [((n + 1) * code >> 8) - (n * code >> 8) for n in range(2000)]


@pytest.mark.parametrize("code", [1, 37, 64, 96, 128, 200, 255])
def test_the_lowest_first_order_tone_stands_at_clock_times_gcd_over_2_to_the_n(code: int) -> None:
    pin = first_order(constant_steps(code, 0, 256), FirstOrder(8)).steps
    lines = line_spectrum(pin, 256, 0, 256, highest_hz=128)
    tones = lines.order[1:][np.abs(lines.amplitude[1:]) > 1e-9]
    assert tones[0] == gcd(code, 256)
    assert abs(lines.amplitude[0]) == pytest.approx(code / 256, rel=1e-15)


def test_a_constant_of_plus_one_third_settles_to_the_pattern_high_high_low() -> None:
    """J. C. Candy, O. J. Benjamin, 1981: bipolar +1/3 is two thirds of the unsigned range."""
    code = round(2 / 3 * 2**24)
    bits = samples_of_steps(first_order(constant_steps(code, 0, 30_000), FirstOrder(24)).steps)
    np.testing.assert_array_equal(bits[1:29_998].reshape(-1, 3), np.tile([1, 1, 0], (9_999, 1)))


def test_a_changing_code_gives_the_carries_of_big_integers() -> None:
    codes = np.random.default_rng(6).integers(0, 2**31, 5000)
    bits = samples_of_steps(first_order(steps_of_samples(codes), FirstOrder(31)).steps)
    acc, expected = 0, []
    for code in codes.tolist():
        acc += code
        expected.append(acc >> 31)
        acc &= 2**31 - 1
    assert bits.tolist() == expected


@pytest.mark.parametrize("block", [1, 2, 3, 7, 64, 1000])
def test_the_block_size_of_the_first_order_loop_has_no_effect(block: int, monkeypatch: pytest.MonkeyPatch) -> None:
    code = steps_of_samples(np.random.default_rng(7).integers(0, 256, 60), 5, start=11)
    whole = first_order(code, FirstOrder(8)).steps
    monkeypatch.setattr(sigma_delta_1, "BLOCK", block)
    assert first_order(code, FirstOrder(8)).steps == whole


@pytest.mark.parametrize("cut", [1, 2, 30, 149, 299])
def test_sigma_delta_runs_can_be_cut_at_any_cycle(cut: int) -> None:
    code = steps_of_samples(np.random.default_rng(8).integers(0, 256, 60), 5, start=11)
    a, b = code.cut(11, 11 + cut), code.cut(11 + cut, code.end)
    whole, end = first_order_part(code, FirstOrder(8), FirstOrderState())
    first, state = first_order_part(a, FirstOrder(8), FirstOrderState())
    rest, state = first_order_part(b, FirstOrder(8), state)
    assert (first.then(rest), state) == (whole, end)

    form = second_order_of_width(8, dither=LfsrDither(9, (9, 5), 6, 2))
    pin, last, _ = second_order_part(code, form, SecondOrderState())
    before, kept, _ = second_order_part(a, form, SecondOrderState())
    after, kept, _ = second_order_part(b, form, kept)
    assert (before.then(after), kept) == (pin, last)


def plain_second_order(codes: list[int], form: SecondOrder) -> list[int]:
    """The register text, clock by clock, in unbounded integers and without clamps."""
    half, scale = 2 ** (form.code_bits - 1), Fraction(form.input_scale)
    a1 = a2 = pin = 0
    out = []
    for code in codes:
        f = scale.denominator * half * (1 if pin else -1)
        a1 += scale.numerator * (code - half) - f
        a2 += a1 - f
        pin = int(a2 >= 0)
        out.append(pin)
    return out


def test_the_second_order_loop_is_the_error_feedback_form_of_double_differences() -> None:
    """v = u - 2 e[n-1] + e[n-2], pin its sign, e = output - v: noise transfer (1 - 1/z)^2, signal transfer 1."""
    form = second_order_of_width(12)
    t = np.arange(20_000)
    codes = np.round(2048 + 1800 * np.sin(2 * np.pi * t / 911)).astype(int)
    bits = samples_of_steps(second_order(steps_of_samples(codes), form).steps)
    f = form.feedback
    e1, e2 = -f, 0  # out of reset the pin is low while the accumulators are zero: an error of -f
    for code, bit in zip(codes.tolist(), bits.tolist(), strict=True):
        v = 3 * (code - 2048) - 2 * e1 + e2
        assert bit == int(v >= 0)
        e1, e2 = (f if bit else -f) - v, e1


def test_the_second_order_pin_has_the_mean_its_scale_promises() -> None:
    form = second_order_of_width(9)
    for code in (0, 100, 256, 400, 511):
        bits = samples_of_steps(second_order(constant_steps(code, 0, 40_000), form).steps)
        assert bits.mean() == pytest.approx(0.5 + 0.75 * (code / 512 - 0.5), abs=3e-4)


@pytest.mark.parametrize(("osr", "linear_db"), [(32, 58.1), (64, 73.2), (128, 88.2)])
def test_a_one_bit_second_order_loop_comes_within_8_db_below_linear_theory(osr: int, linear_db: float) -> None:
    """-6 dB sine. R. Schreier, G. C. Temes: one-bit loops miss the linear figure by several dB; a loose test."""
    clocks, form = 2**16, second_order_of_width(16, Fraction(1))
    cycles = 2 * round(clocks / osr / 7 / 2) + 1
    t = np.arange(clocks + 1000)
    codes = np.round(32768 + 16384 * np.sin(2 * np.pi * cycles * t / clocks)).astype(int)
    made = second_order(steps_of_samples(codes), form)
    bits = samples_of_steps(made.steps)[1000:] * 2.0 - 1
    shape = np.hanning(clocks + 1)[:-1]
    power = np.abs(np.fft.rfft(bits * shape)) ** 2
    band = clocks // (2 * osr)
    tone = power[cycles - 2 : cycles + 3].sum()
    noise = power[3 : band + 1].sum() - tone
    assert made.saturations == 0
    assert linear_db - 8 < 10 * np.log10(tone / noise) < linear_db + 1


@pytest.mark.parametrize(
    ("order", "table"),
    [
        (1, [-21.954, -30.960, -39.985, -49.014, -58.045, -67.075]),
        (2, [-32.338, -47.330, -62.366, -77.414, -92.465, -107.516]),
    ],
)
def test_the_in_band_gain_equals_the_exact_table(order: int, table: list[float]) -> None:
    """Integral of |2 sin(pi f)|^(2 L) for OSR 8 to 256, computed by quadrature outside this package."""
    assert [in_band_gain_db(order, 2**n) for n in range(3, 9)] == pytest.approx(table, abs=1e-3)


def test_the_oversampling_examples_of_a_textbook_come_out() -> None:
    """L. Tan, Digital Signal Processing, examples 12.9 and 12.10: 14.6 and 16.3 bits."""
    assert oversampled_bits(2, 1, 4_000_000 / 8_000) == pytest.approx(14.6, abs=0.05)
    assert oversampled_bits(1, 2, 1_000_000 / 8_000) == pytest.approx(16.3, abs=0.05)


@pytest.mark.parametrize("dither", [None, LfsrDither(16, (16, 15, 13, 4), 8, 3)])
@pytest.mark.parametrize("form", [(12, 14, Fraction(1)), (14, 16, Fraction(3, 4))])
def test_many_loops_side_by_side_equal_one_loop_each(
    form: tuple[int, int, Fraction], dither: LfsrDither | None
) -> None:
    loop = SecondOrder(9, form[0], form[1], form[2], dither)
    codes = np.random.default_rng(9).integers(0, 512, (5, 700))
    bits, saturations = second_order_batch(codes, loop)
    for row in range(5):
        single = second_order(steps_of_samples(codes[row]), loop)
        np.testing.assert_array_equal(bits[row], samples_of_steps(single.steps))
        assert saturations[row] == single.saturations


def test_an_overloaded_loop_ends_and_is_reported() -> None:
    made = second_order(constant_steps(511, 50, 20_050), SecondOrder(9, 12, 14, Fraction(1)))
    assert made.saturations > 1000
    assert made.first_saturation is not None
    assert 50 <= made.first_saturation < 20_050
    assert made.steps.end == 20_050


def test_a_loop_within_its_published_bounds_is_never_clamped() -> None:
    """S. Hein, A. Zakhor, 1993: |a1| <= (|x|+2) f, |a2| <= (5-|x|)^2/(8(1-|x|)) f; at 3/4 that is 2.75 and 9.03."""
    assert constant_input_bound(0.75) == pytest.approx((2.75, 9.03125))
    form = second_order_of_width(9)
    bits, saturations = second_order_batch(np.broadcast_to(np.arange(0, 512, 7)[:, np.newaxis], (74, 3000)), form)
    assert saturations.sum() == 0
    assert plain_second_order([504] * 3000, form) == list(bits[72])


def test_dither_at_the_quantiser_leaves_the_mean_and_breaks_the_period() -> None:
    source = LfsrDither(16, (16, 15, 13, 4), 9, 2)
    plain, dithered = (second_order_of_width(9, dither=d) for d in (None, source))
    bits = [samples_of_steps(second_order(constant_steps(256, 0, 8192), form).steps) for form in (plain, dithered)]
    assert bits[1].mean() == pytest.approx(0.5, abs=1e-3)
    periods = [[p for p in range(1, 65) if np.array_equal(b[4096:-p], b[4096 + p :])] for b in bits]
    assert periods[0]
    assert not periods[1]


def test_a_second_order_description_tells_all_its_faults_at_once() -> None:
    with pytest.raises(StageError) as caught:
        SecondOrder(9, 3, 99)
    assert str(caught.value).splitlines() == [
        "first accumulator width is 3 (accepted: a whole number from 12 to 48)",
        "second accumulator width is 99 (accepted: a whole number from 12 to 48)",
    ]
    with pytest.raises(StageError, match=r"code width is 0 .*\n?input scale is Fraction\(5, 4\)"):
        SecondOrder(0, 20, 20, Fraction(5, 4))


@pytest.mark.parametrize("bits", [0, 32, -1, 8.0])
def test_an_absurd_accumulator_width_is_refused(bits: object) -> None:
    with pytest.raises(StageError, match=r"accumulator width is .*accepted: a whole number from 1 to 31"):
        FirstOrder(bits)


def test_bad_input_to_the_yardsticks_and_the_batch_is_refused() -> None:
    with pytest.raises(StageError, match="an oversampling ratio of 0"):
        in_band_gain_db(1, 0)
    with pytest.raises(StageError, match="order is 3"):
        oversampled_bits(1, 3, 64)
    with pytest.raises(StageError, match=r"constant input 1.0 of the feedback"):
        constant_input_bound(1.0)
    with pytest.raises(StageError, match=r"codes from 0 to 600 .accepted: 0 to 511"):
        second_order_batch([[0, 600]], second_order_of_width(9))
    with pytest.raises(StageError, match=r"codes of shape \(2,\)"):
        second_order_batch([0, 1], second_order_of_width(9))
