"""The line spectrum of a piecewise-constant signal is exact."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import jv

from psgmodel.errors import StageError
from psgmodel.output_stage.measures import line_spectrum
from psgmodel.output_stage.measures import lines as lines_module
from psgmodel.steps import Steps, constant_steps, steps_from_changes

CYCLES = 2**30  # cycles a period of the tone: edge times rounded to 1e-9 of it
RATIO = 39


def crossings(m: float, carrier: str) -> np.ndarray:
    """Times (periods of the tone) at which M cos(2 pi t) meets the carrier, two a carrier period, by root finding."""
    found = []
    for p in range(RATIO):
        begin, middle, end = p / RATIO, (p + 0.5) / RATIO, (p + 1) / RATIO
        if carrier == "triangle":  # +1 at the ends, -1 in the middle: the pulse stands around the middle

            def wave(t: float, b: float = begin) -> float:
                return 4 * abs((t - b) * RATIO - 0.5) - 1

            for a, b in ((begin, middle), (middle, end)):
                found.append(brentq(lambda t: m * np.cos(2 * pi * t) - wave(t), a, b, xtol=1e-15))
        else:  # rising sawtooth: high from the begin on, low from the crossing on
            found.append(begin)
            found.append(
                brentq(lambda t, b=begin: m * np.cos(2 * pi * t) - (2 * (t - b) * RATIO - 1), begin, end, xtol=1e-15)
            )
    return np.array(found)


def natural_lines(m: float, carrier: str, orders: list[int]) -> np.ndarray:
    cycle = np.round(crossings(m, carrier) * CYCLES).astype(np.int64)
    level = np.tile([1, -1], RATIO)
    if carrier == "triangle":
        cycle, level = np.append(0, cycle), np.append(-1, level)
    lines = line_spectrum(steps_from_changes(cycle, level, CYCLES), 1.0, 0, CYCLES, orders=orders)
    return np.abs([lines.at(k) for k in orders])


MOHAN_TABLE = {
    # (multiple of the carrier, sideband): M = 0.2, 0.4, 0.6, 0.8, 1.0
    (1, 0): [1.242, 1.15, 1.006, 0.818, 0.601],
    (1, 2): [0.016, 0.061, 0.131, 0.220, 0.318],
    (2, 1): [0.190, 0.326, 0.370, 0.314, 0.181],
    (2, 3): [None, 0.024, 0.071, 0.139, 0.212],
    (3, 0): [0.335, 0.123, 0.083, 0.171, 0.113],
    (3, 2): [0.044, 0.139, 0.203, 0.176, 0.062],
    (4, 1): [0.163, 0.157, 0.008, 0.105, 0.068],
}


@pytest.mark.parametrize(("column", "m"), list(enumerate([0.2, 0.4, 0.6, 0.8, 1.0])))
def test_natural_double_edge_modulation_has_the_printed_harmonics(column: int, m: float) -> None:
    """N. Mohan, T. M. Undeland, W. P. Robbins, Power Electronics, table 8-1 (three printed places)."""
    rows = {key: row[column] for key, row in MOHAN_TABLE.items() if row[column] is not None}
    for sign in (1, -1):
        orders = [mult * RATIO + sign * side for mult, side in rows]
        lines = dict(zip(orders, natural_lines(min(m, 1 - 1e-6), "triangle", orders), strict=True))
        for (mult, side), printed in rows.items():
            assert lines[mult * RATIO + sign * side] == pytest.approx(printed, abs=0.0012)


def test_natural_double_edge_modulation_has_the_bessel_lines() -> None:
    """H. S. Black, 1953; D. G. Holmes, T. A. Lipo, 2003, chapter 3: no baseband harmonics, sidebands by Bessel."""
    assert natural_lines(0.8, "triangle", [1, 2, 3, 4, 5, 6]) == pytest.approx([0.8, 0, 0, 0, 0, 0], abs=1e-6)
    pairs = [(m, n) for m in (1, 2, 3) for n in range(-4, 5)]
    expected = [4 / (pi * m) * abs(jv(n, m * pi * 0.4) * np.sin((m + n) * pi / 2)) for m, n in pairs]
    lines = natural_lines(0.8, "triangle", [m * RATIO + n for m, n in pairs])
    np.testing.assert_allclose(lines, expected, atol=1e-6)


def test_natural_trailing_edge_modulation_has_the_bessel_lines() -> None:
    assert natural_lines(0.8, "sawtooth", [1, 2, 3, 4]) == pytest.approx([0.8, 0, 0, 0], abs=1e-6)
    pairs = [(m, n) for m in (1, 2) for n in (-3, -2, -1, 1, 2, 3)]
    expected = [2 / (pi * m) * abs(jv(n, m * pi * 0.8)) for m, n in pairs]
    lines = natural_lines(0.8, "sawtooth", [m * RATIO + n for m, n in pairs])
    np.testing.assert_allclose(lines, expected, atol=1e-6)
    carrier = [2 / (pi * m) * abs(1 - (-1) ** m * jv(0, m * pi * 0.8)) for m in (1, 2)]
    np.testing.assert_allclose(natural_lines(0.8, "sawtooth", [RATIO, 2 * RATIO]), carrier, atol=1e-6)


PULSES = {
    2: [0.63662, 0, 0.212207, 0, 0.127324, 0, 0.090946, 0],
    4: [0.450158, 0.318310, 0.150053, 0, 0.090032, 0.106103, 0.064308, 0],
    8: [0.243624, 0.225079, 0.196053, 0.159155, 0.117632, 0.075026, 0.034803, 0],
}


@pytest.mark.parametrize("parts", [2, 4, 8])
def test_pulses_of_a_half_a_quarter_and_an_eighth_have_their_textbook_lines(parts: int) -> None:
    """(2 A / (n pi)) |sin(n pi d)| (TI SPRAA88A, 2008, section 2), printed to six places."""
    pulse = steps_from_changes([0, 1], [1, 0], parts)
    lines = line_spectrum(pulse, parts, 0, parts, orders=range(9))
    np.testing.assert_allclose(np.abs(lines.amplitude[1:]), PULSES[parts], atol=1e-6)
    assert lines.at(0) == 1 / parts


def test_a_32_step_triangle_has_the_lines_of_its_held_samples() -> None:
    """Levels 0..15, 15..0: odd n (2/(n pi)) cot(n pi/32); h1 6.46371, h3 0.69955, h5 0.23821; mean 7.5."""
    levels = [*range(16), *range(15, -1, -1)]
    held = steps_from_changes(np.arange(32), levels, 32)
    lines = line_spectrum(held, 32, 0, 32, orders=range(10))
    expected = [6.46371, 0, 0.69955, 0, 0.23821, 0, 0.11082, 0, 0.05805]
    np.testing.assert_allclose(np.abs(lines.amplitude[1:]), expected, atol=1e-5)
    assert lines.at(0) == 7.5


def random_steps(seed: int, period: int) -> Steps:
    source = np.random.default_rng(seed)
    cycle = np.append(0, np.unique(source.integers(1, period, period // 5)))
    return steps_from_changes(cycle, source.integers(-50, 50, cycle.size), period)


@pytest.mark.parametrize("period", [97, 128, 1000])
def test_lines_equal_the_transform_of_the_held_samples_times_sinc(period: int) -> None:
    """Sampling theory: line m = (2/N) DFT[m mod N] sinc(m/N), a half sample late; by numpy.fft over every clock."""
    signal = random_steps(period, period)
    samples = signal.at(np.arange(period))
    orders = np.arange(3 * period)
    spectrum = np.fft.fft(samples)
    expected = 2 / period * spectrum[orders % period] * np.sinc(orders / period) * np.exp(-1j * pi * orders / period)
    expected[0] /= 2
    found = line_spectrum(signal, period, 0, period, orders=orders)
    np.testing.assert_allclose(found.amplitude, expected, atol=1e-11)


def test_both_ways_of_summing_agree(monkeypatch: pytest.MonkeyPatch) -> None:
    signal = random_steps(1, 5000)
    whole = line_spectrum(signal, 5000, 0, 5000, orders=range(0, 20000, 7))
    monkeypatch.setattr(lines_module, "MAX_TRANSFORM", 100)
    monkeypatch.setattr(lines_module, "_CHUNK", 33)
    direct = line_spectrum(signal, 5000, 0, 5000, orders=range(0, 20000, 7))
    np.testing.assert_allclose(direct.amplitude, whole.amplitude, atol=1e-11)


def test_phases_are_those_of_cosines_at_the_start_and_the_lines_draw_the_signal_again() -> None:
    signal = steps_from_changes([0, 250, 750], [1, -1, 1], 1000)
    lines = line_spectrum(signal, 1000, 0, 1000)
    assert lines.at(1) == pytest.approx(4 / pi, abs=1e-12)
    late = line_spectrum(signal.shifted(40), 1000, 40, 1040)
    np.testing.assert_allclose(late.amplitude, lines.amplitude, atol=1e-12)
    t = np.array([100, 500, 900])
    drawn = (lines.amplitude[:, np.newaxis] * np.exp(2j * pi * lines.order[:, np.newaxis] * t / 1000)).real.sum(axis=0)
    np.testing.assert_allclose(drawn, [1, -1, 1], atol=2e-3)


def test_levels_turn_codes_into_volts_and_a_response_filters_the_lines() -> None:
    signal = steps_from_changes([0, 5], [0, 1], 10)
    lines = line_spectrum(signal, 1000, 0, 10, highest_hz=500, levels=[0.2, 3.5])
    assert lines.at(0) == pytest.approx(1.85)
    assert lines.rms[1] == pytest.approx(3.3 * 2 / pi / sqrt(2))
    assert lines.hz.tolist() == [0, 100, 200, 300, 400, 500]
    half = lines.filtered(lambda hz: 1 / (1 + 1j * hz / 100))
    assert abs(half.at(1)) == pytest.approx(abs(lines.at(1)) / sqrt(2))


def test_bad_periods_levels_and_orders_are_refused() -> None:
    signal = steps_from_changes([0, 5], [0, 3], 10)
    refusals = [
        (lambda: line_spectrum(signal, 10, 0, 11), "a period from cycle 0 to 11 of a signal that covers 0 to 10"),
        (lambda: line_spectrum(signal, 10, 4, 4), "a period from cycle 4 to 4 .accepted: 1 to 2147483647 cycles"),
        (lambda: line_spectrum(signal, 0, 0, 10), "clock is 0 Hz"),
        (lambda: line_spectrum(signal, 10, 0, 10, levels=[0, 1]), "a table of 2 levels for a signal from 0 to 3"),
        (lambda: line_spectrum(signal, 10, 0, 10, orders=[-1]), r"line numbers \[-1\]"),
        (lambda: line_spectrum(signal, 10, 0, 10, orders=[1], highest_hz=3), "both highest_hz and orders are given"),
        (lambda: line_spectrum(signal, 10, 0, 10, orders=[1]).at(2), "line 2 is not in the spectrum"),
        (lambda: line_spectrum(signal, 10, 0, 10).filtered(lambda hz: hz[1:]), "a response of shape .5,. for 6 lines"),
        (lambda: line_spectrum(signal, 10, 0, 10, highest_hz=1e12), "lines up to 1e.12 Hz .accepted: 67108864 lines"),
    ]
    for call, said in refusals:
        with pytest.raises(StageError, match=said):
            call()
    unknown = steps_from_changes([0, 5], [0, 3], 10, unknown=[False, True])
    with pytest.raises(StageError, match="the signal is partly unknown between cycles 0 and 10"):
        line_spectrum(unknown, 10, 0, 10)


def test_work_that_would_take_minutes_is_refused_before_it_begins() -> None:
    edges = 200_000
    long = Steps(np.arange(edges) * 1000, np.tile(np.array([0, 1], np.int32), edges // 2), 1000 * edges)
    with pytest.raises(StageError, match="100001 lines of 200000 edges over 200000000 cycles would take minutes"):
        line_spectrum(long, 200_000_000.0, 0, 1000 * edges, highest_hz=100_000)
    assert line_spectrum(constant_steps(3, 0, 2**31 - 1), 1.0, 0, 2**31 - 1, orders=[0, 1, 5]).amplitude.tolist() == [
        3,
        0,
        0,
    ]
