"""The pulse-width modulator has the spectrum of uniform sampling, and its carrier is exact or refused."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from scipy.special import jv

from psgmodel.errors import StageError
from psgmodel.output_stage.measures import line_spectrum
from psgmodel.output_stage.modulators import (
    Pwm,
    PwmEdge,
    PwmState,
    pwm,
    pwm_of_carrier,
    pwm_of_width,
    pwm_part,
    steps_of_samples,
)
from psgmodel.steps import constant_steps, steps_from_changes

RATIO = 39  # carrier periods a period of the tone: the worked values' fc / f0
LENGTH = 2**24  # the finest counter: duty quantised to 6e-8
M = 0.8


def uniform_lines(edge: PwmEdge, orders: list[int]) -> np.ndarray:
    """Amplitudes of a +-1 pin for M cos(w0 t), sampled once a carrier period."""
    form = Pwm(LENGTH, edge)
    duty = np.round(LENGTH * (1 + M * np.cos(2 * np.pi * np.arange(RATIO) / RATIO)) / 2).astype(int)
    pin = pwm(steps_of_samples(duty, form.period), form).steps
    lines = line_spectrum(pin, RATIO * form.period, 0, RATIO * form.period, orders=orders, levels=[-1, 1])
    return np.abs([lines.at(k) for k in orders])


def test_the_centre_aligned_pin_has_the_lines_of_uniform_symmetric_double_edge_sampling() -> None:
    """D. G. Holmes, T. A. Lipo, Pulse Width Modulation for Power Converters, 2003, chapter 3 (Bessel sums)."""
    orders = [1, 2, 3, 4, *range(RATIO - 4, RATIO + 5), *range(2 * RATIO - 3, 2 * RATIO + 4)]
    expected = []
    for k in orders:
        m, n = round(k / RATIO), k - RATIO * round(k / RATIO)
        turns = m + n / RATIO
        expected.append(abs(4 / (np.pi * turns) * jv(n, turns * np.pi * M / 2) * np.sin((turns + n) * np.pi / 2)))
    np.testing.assert_allclose(uniform_lines(PwmEdge.CENTRE, orders), expected, atol=1e-6)


@pytest.mark.parametrize("edge", [PwmEdge.TRAILING, PwmEdge.LEADING])
def test_the_single_edge_pins_have_the_lines_of_uniform_sawtooth_sampling(edge: PwmEdge) -> None:
    """Same source; the leading edge is the trailing one with time reversed, so its magnitudes are the same."""
    orders = [1, 2, 3, 4, RATIO - 2, RATIO - 1, RATIO + 1, RATIO + 2, 2 * RATIO - 1, 2 * RATIO + 1]
    turns = np.array(orders) / RATIO
    n = [k - RATIO * round(k / RATIO) for k in orders]
    expected = np.abs(2 / (np.pi * turns) * jv(n, turns * np.pi * M))
    np.testing.assert_allclose(uniform_lines(edge, orders), expected, atol=1e-6)
    carrier = [2 / np.pi * abs(1 - (-1) * jv(0, np.pi * M)), 1 / np.pi * abs(1 - jv(0, 2 * np.pi * M))]
    np.testing.assert_allclose(uniform_lines(edge, [RATIO, 2 * RATIO]), carrier, atol=1e-6)


def test_the_worked_values_of_both_uniform_forms_come_out_to_six_places() -> None:
    """Worked example fc/f0 = 39, M = 0.8, computed from exact edge times, independent of this package."""
    centre = uniform_lines(PwmEdge.CENTRE, [1, 2, 3, RATIO + 2, RATIO - 2])
    np.testing.assert_allclose(centre, [0.799247, 0.001037, 0.000309, 0.227086, 0.210737], atol=1e-6)
    trailing = uniform_lines(PwmEdge.TRAILING, [1, 2, 3, RATIO, RATIO + 1, RATIO - 1])
    np.testing.assert_allclose(trailing, [0.799585, 0.025742, 0.001243, 0.601631, 0.296037, 0.332777], atol=1e-6)


@pytest.mark.parametrize("edge", list(PwmEdge))
@pytest.mark.parametrize("duty", [1, 25, 50, 99])
def test_a_constant_duty_has_the_textbook_pulse_lines(edge: PwmEdge, duty: int) -> None:
    """Line k of a pulse 0..V of duty d: (2 V / (k pi)) |sin(k pi d)|; mean d V (TI SPRAA88A, 2008, section 2)."""
    form = Pwm(100, edge)
    pin = pwm(constant_steps(duty, 0, 10 * form.period), form).steps
    lines = line_spectrum(pin, 1000, 0, 10 * form.period, orders=range(0, 200, 10), levels=[0.0, 3.3])
    k = np.arange(1, 20)
    np.testing.assert_allclose(
        np.abs(lines.amplitude[1:]), 6.6 / (k * np.pi) * abs(np.sin(k * np.pi * duty / 100)), atol=1e-12
    )
    assert lines.amplitude[0].real == pytest.approx(3.3 * duty / 100, rel=1e-15)


@pytest.mark.parametrize("edge", list(PwmEdge))
def test_0_and_100_per_cent_never_switch_even_across_period_ends(edge: PwmEdge) -> None:
    form = pwm_of_width(8, edge)
    assert pwm(constant_steps(0, 3, 5000), form).steps == constant_steps(0, 3, 5000)
    assert pwm(constant_steps(256, 3, 5000), form).steps == constant_steps(1, 3, 5000)


def test_each_edge_form_puts_its_pulse_where_its_name_says() -> None:
    def pulse(edge: PwmEdge) -> str:
        form = Pwm(4, edge)
        return "".join(map(str, pwm(constant_steps(1, 0, form.period), form).steps.at(np.arange(form.period))))

    assert pulse(PwmEdge.TRAILING) == "1000"
    assert pulse(PwmEdge.LEADING) == "0001"
    assert pulse(PwmEdge.CENTRE) == "00011000"


def test_a_code_that_changes_within_a_period_waits_for_the_next_one() -> None:
    code = steps_from_changes([0, 1, 9], [2, 7, 0], 30)
    pin = pwm(code, Pwm(10)).steps
    assert pin == steps_from_changes([0, 2], [1, 0], 30)


@pytest.mark.parametrize("edge", list(PwmEdge))
@pytest.mark.parametrize("cut", range(1, 41))
def test_a_run_can_be_cut_at_any_cycle(edge: PwmEdge, cut: int) -> None:
    form = Pwm(7, edge)
    code = steps_of_samples(np.random.default_rng(5).integers(0, 8, 60), 1, start=100)
    whole, end = pwm_part(code, form, PwmState())
    first, state = pwm_part(code.cut(100, 100 + cut), form, PwmState())
    rest, state = pwm_part(code.cut(100 + cut, 160), form, state)
    assert first.then(rest) == whole
    assert state == end


def test_a_carrier_follows_from_clock_and_length() -> None:
    """16 MHz / 1024 = 15625 Hz; half of that where the counter runs up and down."""
    assert Pwm(1024).carrier_hz(16_000_000) == 15_625
    assert pwm_of_carrier(16_000_000, 15_625) == Pwm(1024)
    assert pwm_of_carrier(16_000_000, Fraction(15_625, 2), PwmEdge.CENTRE) == Pwm(1024, PwmEdge.CENTRE)


def test_a_carrier_that_the_clock_cannot_make_is_refused_with_its_neighbours() -> None:
    with pytest.raises(StageError) as caught:
        pwm_of_carrier(49_152_000, 44_100)
    assert str(caught.value) == (
        "a trailing carrier of 44100 Hz from a clock of 49152000 Hz needs a counter of 1114.557823 positions "
        "(accepted: a whole number from 1 to 16777216; nearest carriers: 44122.08259 Hz (length 1114) or 44082.51121 "
        "Hz (length 1115))"
    )
    with pytest.raises(StageError, match=r"nearest carriers: 500000 Hz \(length 1\)"):
        pwm_of_carrier(1_000_000, 2_000_000, PwmEdge.CENTRE)


@pytest.mark.parametrize("length", [0, -4, 2**24 + 1, 2.5, True, "8"])
def test_an_absurd_counter_length_is_refused(length: object) -> None:
    with pytest.raises(StageError, match=r"counter length is .*accepted: a whole number from 1 to 16777216"):
        Pwm(length)


def test_an_absurd_counter_width_is_refused() -> None:
    with pytest.raises(StageError, match=r"counter width is 40 .accepted: a whole number from 1 to 24"):
        pwm_of_width(40)
