"""Ripple, carrier lines, droop, -3 dB points and idle tones come out as in textbooks and worked examples."""

from __future__ import annotations

from math import gcd, log10, pi, sqrt, tanh

import numpy as np
import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.measures import (
    carrier_of_lines,
    carrier_of_record,
    cutoffs,
    droop_db,
    gain_db,
    hold_response,
    idle_tones,
    line_spectrum,
    ripple,
    ripple_of_lines,
)
from psgmodel.output_stage.modulators import FirstOrder, Pwm, first_order, pwm, second_order, second_order_of_width
from psgmodel.steps import Steps, constant_steps

RC = 4700.0 * 100e-9


def rc(hz: np.ndarray) -> np.ndarray:
    return 1 / (1 + 2j * pi * hz * RC)


def half_duty_lines(length: int = 4000, highest_hz: float = 2.0e7) -> object:
    """A 3.3 V, 10 kHz pin at 50 %."""
    pin = pwm(constant_steps(length // 2, 0, length), Pwm(length)).steps
    return line_spectrum(pin, 10_000.0 * length, 0, length, highest_hz=highest_hz, levels=[0, 3.3])


def test_ripple_behind_an_rc_is_the_worked_value() -> None:
    """3.3 V, 10 kHz, 50 %, 4.7 kohm and 100 nF: V tanh(T/(4RC)) = 0.175367 V (derived; ngspice 0.17536 V)."""
    found = ripple_of_lines(half_duty_lines().filtered(rc), above_hz=5000.0)
    assert 3.3 * tanh(1e-4 / (4 * RC)) == pytest.approx(0.175367, abs=1e-6)
    assert found.peak_to_peak == pytest.approx(0.175367, rel=1e-3)
    # An exponential sawtooth of this short an arc is a triangle to 1e-3: rms is peak-to-peak / sqrt 12.
    assert found.rms == pytest.approx(0.175367 / sqrt(12), rel=2e-3)


def test_ripple_of_a_record_leaves_the_audio_band_out() -> None:
    t = np.arange(19_200) / 1.92e6
    record = 1.65 + np.sin(2 * pi * 1000 * t) + 0.02 * np.sin(2 * pi * 60_000 * t) + 0.01 * np.cos(2 * pi * 20_000 * t)
    found = ripple(record, 1.92e6)
    assert found.rms == pytest.approx(0.02 / sqrt(2), rel=1e-9)
    assert found.peak_to_peak == pytest.approx(0.04, rel=1e-9)
    with pytest.raises(StageError, match=r"ripple above 1e.06 Hz .accepted: 0 to below 960000 Hz"):
        ripple(record, 1.92e6, 1e6)


def test_carrier_lines_of_a_half_duty_pin_stand_at_odd_multiples() -> None:
    """(2 V/(k pi)) |sin(k pi/2)| peak (textbook)."""
    found = carrier_of_lines(half_duty_lines(), 10_000.0, 4)
    assert [line.hz for line in found] == pytest.approx([1e4, 2e4, 3e4, 4e4])
    expected = [6.6 / pi / sqrt(2), 0, 6.6 / pi / 3 / sqrt(2), 0]
    assert [line.rms for line in found] == pytest.approx(expected, abs=1e-12)


def test_carrier_lines_of_a_record_are_read_between_bins_too() -> None:
    t = np.arange(50_000) / 1e6
    record = (
        1.65
        + np.sin(2 * pi * 997 * t)
        + 0.05 * np.sin(2 * pi * 62_512.3 * t + 1)
        + 0.01 * np.sin(2 * pi * 125_024.6 * t)
    )
    found = carrier_of_record(record, 1e6, 62_512.3, 2)
    assert [line.rms for line in found] == pytest.approx([0.05 / sqrt(2), 0.01 / sqrt(2)], rel=1e-6)


def test_carriers_that_are_not_there_are_refused() -> None:
    lines = half_duty_lines(100, 1e5)
    refusals = [
        (
            lambda: carrier_of_lines(lines, 15_000.0),
            "a carrier of 15000 Hz falls between the lines, which are 10000 Hz apart",
        ),
        (lambda: carrier_of_lines(lines, 40_000.0), "line 12 is not in the spectrum"),
        (lambda: carrier_of_lines(lines, 10_000.0, 0), "multiples of the carrier is 0"),
        (lambda: carrier_of_record(np.ones(500), 1e5, 2e4), "3 times 20000 Hz at a rate of 100000 Hz"),
        (lambda: ripple_of_lines(lines, 1e6), "ripple above 1e.06 Hz"),
    ]
    for call, said in refusals:
        with pytest.raises(StageError, match=said):
            call()


@pytest.mark.parametrize(("share", "db"), [(0.1, -0.143), (0.2, -0.579), (0.25, -0.912), (0.4, -2.420), (0.5, -3.9224)])
def test_a_hold_droops_by_sinc(share: float, db: float) -> None:
    """Textbook; K. Castor-Perry, Why are my DAC and ADC responses drooping?, 2020."""
    assert 20 * log10(abs(hold_response(share, 1.0))) == pytest.approx(db, abs=1e-3)


@pytest.mark.parametrize(("rate", "db"), [(44_100, -3.168), (48_000, -2.640), (96_000, -0.629)])
def test_a_hold_droops_at_20_khz_by_the_known_amount(rate: float, db: float) -> None:
    hz = np.append(1.0, np.geomspace(10, 22_000, 400))
    assert droop_db(hz, hold_response(hz, rate), reference_hz=1.0) == pytest.approx(db, abs=1e-3)


def test_the_half_power_point_of_a_hold_is_that_of_sinc() -> None:
    hz = np.geomspace(0.001, 0.9, 4000)
    assert cutoffs(hz, hold_response(hz, 1.0)).high_hz == pytest.approx(0.44295, abs=1e-5)
    assert cutoffs(hz, hold_response(hz, 1.0), drop_db=3.0).high_hz == pytest.approx(0.44224, abs=1e-5)


def test_the_half_power_points_of_rc_networks_are_the_textbook_ones() -> None:
    """1/(2 pi R C); two equal unbuffered sections 1 kohm, 10 nF: 0.374239/(2 pi R C) = 5956.20 Hz."""
    hz = np.geomspace(1, 1e6, 3001)
    assert cutoffs(hz, rc(hz)).high_hz == pytest.approx(1 / (2 * pi * RC), rel=1e-5)
    x = 2j * pi * hz * 1e3 * 10e-9
    assert cutoffs(hz, 1 / (1 + 3 * x + x * x)).high_hz == pytest.approx(5956.20, rel=1e-5)
    band = (1j * hz / 22.61) / (1 + 1j * hz / 22.61) / (1 + 1j * hz / 30_000)
    both = cutoffs(hz, band, reference_hz=1000.0)
    assert both.low_hz == pytest.approx(22.61, rel=2e-3)
    assert both.high_hz == pytest.approx(30_000, rel=2e-3)
    assert cutoffs(hz, np.ones(hz.size)) == (None, None)


def test_an_rc_attenuates_as_the_application_note_says() -> None:
    """4 kohm, 0.01 uF: -8.64 dB at 10 kHz, -14.19 at 20 kHz, -28.01 at 100 kHz (Microchip AN538)."""
    hz = np.geomspace(10, 1e6, 5000)
    response = 1 / (1 + 2j * pi * hz * 4e3 * 0.01e-6)
    found = [gain_db(hz, response, f) for f in (1e4, 2e4, 1e5)]
    assert found == pytest.approx([-8.64, -14.19, -28.01], abs=0.005)


def test_responses_out_of_order_or_out_of_range_are_refused() -> None:
    refusals = [
        (lambda: gain_db([1, 2], [1, 1], 3), "a gain at 3 Hz .accepted: 1 to 2 Hz, where the data are"),
        (lambda: gain_db([2, 1], [1, 1], 1), "frequencies or response out of order"),
        (lambda: gain_db([1, 2], [1], 1), r"a response of shape \(1,\) at frequencies of shape \(2,\)"),
        (lambda: cutoffs([1, 2], [1, 1], drop_db=0), "drop is 0 dB"),
        (lambda: droop_db([100, 2000], [1, 1]), "a gain at 20000 Hz"),
        (lambda: hold_response([1.0], 0), "update rate is 0 Hz"),
    ]
    for call, said in refusals:
        with pytest.raises(StageError, match=said):
            call()


CLOCK = 6_144_000


def first_order_pin(code: int) -> Steps:
    return first_order(constant_steps(code, 0, 2**18), FirstOrder(12)).steps


def test_first_order_idle_tones_stand_where_arithmetic_puts_them() -> None:
    """Lowest line at clock * gcd(K, 2^N) / 2^N, here 1.5, 3 and 6 kHz; its level by the sum over one period."""
    codes = [1, 2, 4, 2047, 2046]
    for tone in idle_tones(first_order_pin, codes, CLOCK):
        step = CLOCK * gcd(tone.code, 4096) / 4096
        assert tone.hz / step == pytest.approx(round(tone.hz / step), abs=0.02)
    tones = idle_tones(first_order_pin, [1], CLOCK)
    # A pulse of one clock in 4096: every line 2 sinc / 4096 peak; full scale is a peak of one half.
    assert tones[0].tone_dbfs == pytest.approx(20 * log10(2 / 4096 / 0.5), abs=0.01)
    assert tones[0].rest_dbfs == pytest.approx(tones[0].tone_dbfs + 10 * log10(12), abs=0.05)


def test_a_quiet_code_of_the_first_order_whistles_and_the_second_order_hardly() -> None:
    form = second_order_of_width(12)
    codes = [1, 1025, 2049, 2052]
    first = idle_tones(first_order_pin, codes, CLOCK)
    second = idle_tones(lambda k: second_order(constant_steps(k, 0, 2**17), form).steps, codes, CLOCK)
    assert max(t.tone_dbfs for t in first) > -70
    assert max(t.tone_dbfs for t in second) < -80
    assert all(t.from_hz <= 400 for t in second)


def test_idle_tone_records_that_tell_nothing_are_refused() -> None:
    with pytest.raises(StageError, match=r"a record of 1024 clocks tells nothing below 20000 Hz .accepted: more than"):
        idle_tones(lambda k: constant_steps(k, 0, 1024), [1], CLOCK)
    with pytest.raises(StageError, match=r"a record of 10 clocks for code 1 .accepted: 64 to 16777216"):
        idle_tones(lambda k: constant_steps(k, 0, 10), [1], CLOCK)
