from __future__ import annotations

import math

import pytest
from scipy import signal

from psgmodel.errors import StageError
from psgmodel.output_stage.networks import (
    MultipleFeedback,
    RcRc,
    bessel_sections,
    butterworth_attenuation,
    butterworth_doubly_terminated,
    butterworth_sections,
    butterworth_singly_terminated,
    capacitance_for_corner,
    coupling_capacitance,
    lc_butterworth,
    multiple_feedback,
    multiple_feedback_terms,
    overshoot,
    rc_corner,
    rc_rc_corner,
    rc_rc_terms,
    rc_ripple,
    rc_ripple_small,
    resistance_for_corner,
    sallen_key_equal_resistors,
    sallen_key_for_capacitors,
    sallen_key_terms,
    settling_time,
    time_constant_for_ripple,
)


# Zverev, Handbook of Filter Synthesis, 1967 (from memory, verified by continued fraction: checks.md section 5).
@pytest.mark.parametrize(
    ("order", "values"),
    [
        (2, (1.4142, 0.7071)),
        (3, (1.5000, 1.3333, 0.5000)),
        (4, (1.5307, 1.5772, 1.0824, 0.3827)),
        (5, (1.5451, 1.6944, 1.3820, 0.8944, 0.3090)),
    ],
)
def test_a_singly_terminated_butterworth_ladder_has_the_tabulated_values(order: int, values: tuple[float, ...]) -> None:
    assert butterworth_singly_terminated(order) == pytest.approx(values, abs=6e-5)


# Matthaei, Young and Jones; rfcafe prototype table (checks.md section 5).
@pytest.mark.parametrize(
    ("order", "values"),
    [
        (2, (1.41421, 1.41421)),
        (3, (1, 2, 1)),
        (4, (0.76537, 1.84776, 1.84776, 0.76537)),
        (5, (0.61803, 1.61803, 2, 1.61803, 0.61803)),
        (6, (0.51764, 1.41421, 1.93185, 1.93185, 1.41421, 0.51764)),
    ],
)
def test_a_doubly_terminated_butterworth_ladder_has_the_tabulated_values(order: int, values: tuple[float, ...]) -> None:
    assert butterworth_doubly_terminated(order) == pytest.approx(values, abs=6e-6)


# checks.md section 5; the n = 4 pair also on dsp.stackexchange.
@pytest.mark.parametrize(
    ("order", "qs"),
    [(2, [0.7071]), (3, [1.0]), (4, [1.3066, 0.5412]), (5, [1.6180, 0.6180]), (6, [1.9319, 0.7071, 0.5176])],
)
def test_butterworth_pairs_have_the_tabulated_q(order: int, qs: list[float]) -> None:
    assert [s.q for s in butterworth_sections(order) if s.q] == pytest.approx(qs, abs=6e-5)


@pytest.mark.parametrize("order", range(1, 9))
def test_butterworth_pairs_are_those_of_scipy(order: int) -> None:
    poles = [p for p in signal.buttap(order)[1] if p.imag >= -1e-12]
    wanted = sorted((abs(p) / (-2 * p.real) for p in poles if p.imag > 1e-9), reverse=True)
    assert [s.q for s in butterworth_sections(order) if s.q] == pytest.approx(wanted, rel=1e-12)
    assert sum(s.q is None for s in butterworth_sections(order)) == order % 2


# scipy.signal.besselap(norm="mag") as tabulated in checks.md section 5; TI SLOA049 departs, see section 12.
@pytest.mark.parametrize(
    ("order", "pairs", "real"),
    [
        (2, [(1.2720, 0.5774)], None),
        (3, [(1.4476, 0.6910)], 1.3227),
        (4, [(1.6034, 0.8055), (1.4302, 0.5219)], None),
        (5, [(1.7554, 0.9165), (1.5563, 0.5635)], 1.5023),
        (6, [(1.9047, 1.0233), (1.6892, 0.6112), (1.6039, 0.5103)], None),
    ],
)
def test_bessel_pairs_have_the_tabulated_frequency_and_q(
    order: int, pairs: list[tuple[float, float]], real: float | None
) -> None:
    found = bessel_sections(order)
    assert [(s.frequency, s.q) for s in found if s.q] == [pytest.approx(p, abs=6e-5) for p in pairs]
    assert [s.frequency for s in found if s.q is None] == ([] if real is None else [pytest.approx(real, abs=6e-5)])


# checks.md section 5: at 2 fc 6.99 / 12.30 / 18.13 / 24.10 dB, at 10 fc 20.04 / 40 / 60 / 80 dB.
@pytest.mark.parametrize(("order", "at_2", "at_10"), [(1, 6.99, 20.04), (2, 12.30, 40), (3, 18.13, 60), (4, 24.10, 80)])
def test_butterworth_attenuates_as_tabulated(order: int, at_2: float, at_10: float) -> None:
    assert butterworth_attenuation(order, 2) == pytest.approx(at_2, abs=0.006)
    assert butterworth_attenuation(order, 10) == pytest.approx(at_10, abs=0.006)


# exp(-pi z / sqrt(1 - z^2)): checks.md section 5.
@pytest.mark.parametrize(
    ("q", "wanted"), [(0.5, 0), (0.4, 0), (3**-0.5, 0.004333), (2**-0.5, 0.043214), (1.0, 0.16303)]
)
def test_the_overshoot_follows_from_q(q: float, wanted: float) -> None:
    assert overshoot(q) == pytest.approx(wanted, abs=1e-6 if q < 1 else 6e-6)


# checks.md section 5: worked ripple, exact and approximate; ngspice 0.17536 V.
def test_the_worked_ripple_is_reproduced() -> None:
    assert rc_ripple(3.3, 0.5, 1e-4, 4.7e3 * 100e-9) == pytest.approx(0.175367, abs=5e-7)
    assert rc_ripple_small(3.3, 0.5, 1e-4, 4.7e3 * 100e-9) == pytest.approx(0.175532, abs=5e-7)
    assert rc_ripple(3.3, 0.5, 1e-4, 4.7e-4) == pytest.approx(3.3 * math.tanh(1e-4 / (4 * 4.7e-4)), rel=1e-13)


# A. Levido, Circuit Cellar 2022: one step of 8 bits needs RC >= 64 T; settling to one step 64 ln 256 = 355 T.
def test_eight_bits_need_64_periods_of_rc_and_355_periods_to_settle() -> None:
    assert time_constant_for_ripple(1 / 256, 1.0) == pytest.approx(64, rel=1e-4)
    assert rc_ripple(1.0, 0.5, 1.0, 64.0) == pytest.approx(0.0039062, abs=1e-7)
    assert settling_time(1 / 256, 64.0) == pytest.approx(354.9, abs=0.05)


# checks.md section 5: equal sections have Q = 1/3.
def test_equal_rc_sections_have_a_q_of_one_third() -> None:
    terms = rc_rc_terms(RcRc(1e3, 1e-8, 1e3, 1e-8))
    assert terms.q == pytest.approx(1 / 3, rel=1e-12)
    assert rc_rc_corner(RcRc(1e3, 1e-8, 1e3, 1e-8)) == pytest.approx(5956.20, abs=0.005)
    assert terms.natural == pytest.approx(15915.494, abs=0.001)


def test_corner_formulas_are_inverses_of_each_other() -> None:
    assert rc_corner(4.7e3, capacitance_for_corner(20e3, 4.7e3)) == pytest.approx(20e3, rel=1e-12)
    assert rc_corner(resistance_for_corner(20e3, 1e-9), 1e-9) == pytest.approx(20e3, rel=1e-12)
    assert coupling_capacitance(22.6076, 32) == pytest.approx(220e-6, rel=2e-5)
    assert coupling_capacitance(10, 32, 8) == pytest.approx(1 / (2 * math.pi * 10 * 40), rel=1e-12)


# checks.md section 5: 8 ohm, 30 kHz; a bridged load takes half the resistance on each side.
def test_the_lc_values_for_a_bridged_load_are_those_of_half_the_load() -> None:
    assert lc_butterworth(30e3, 4).inductance == pytest.approx(60.0211e-6 / 2, rel=1e-5)
    assert lc_butterworth(30e3, 4).capacitance == pytest.approx(2 * 0.468915e-6, rel=1e-5)


@pytest.mark.parametrize("q", [0.5, 0.5773, 0.7071, 1.3066])
def test_a_sallen_key_section_has_the_wanted_pole_whichever_parts_are_given(q: float) -> None:
    for parts in (
        sallen_key_equal_resistors(12e3, q, 10e3),
        sallen_key_for_capacitors(12e3, q, 10e-9, 10e-9 / (4 * q * q)),
        sallen_key_for_capacitors(12e3, q, 10e-9, 1e-9),
    ):
        terms = sallen_key_terms(parts)
        assert (terms.natural, terms.q) == pytest.approx((12e3, q), rel=1e-12)
    assert sallen_key_for_capacitors(12e3, q, 10e-9, 1e-9).c2 == 1e-9


@pytest.mark.parametrize("gain", [0.5, 1.0, 4.0])
def test_a_multiple_feedback_section_has_the_wanted_pole_and_gain(gain: float) -> None:
    parts = multiple_feedback(12e3, 0.7071, 22e-9, 1e-9, gain)
    terms = multiple_feedback_terms(parts)
    assert (terms.natural, terms.q) == pytest.approx((12e3, 0.7071), rel=1e-12)
    assert parts.r2 / parts.r1 == pytest.approx(gain, rel=1e-12)
    assert isinstance(parts, MultipleFeedback)


def test_arguments_that_make_no_sense_are_refused() -> None:
    with pytest.raises(StageError, match=r"^resistance is 0; accepted is a positive number$"):
        rc_corner(0, 1e-9)
    with pytest.raises(StageError, match=r"^c1 is 1e-09 F; accepted for this Q is 4e-09 F or more with this c2$"):
        sallen_key_for_capacitors(1e3, 1.0, 1e-9, 1e-9)
    with pytest.raises(StageError, match=r"^c1 is 1e-09 F; accepted for this Q and gain is 8e-09 F or more with this"):
        multiple_feedback(1e3, 1.0, 1e-9, 1e-9)
    with pytest.raises(StageError, match=r"^a filter of order 0 does not exist; accepted is 1 or more$"):
        butterworth_sections(0)
    with pytest.raises(StageError, match=r"^a Bessel low-pass of order 26 is not computed; accepted is 1 to 25$"):
        bessel_sections(26)
    with pytest.raises(StageError, match=r"^duty is 1.5; accepted is 0 to 1$"):
        rc_ripple(1, 1.5, 1, 1)
    with pytest.raises(StageError, match=r"^the ripple is 2 of the swing; accepted is above 0 and below 1$"):
        time_constant_for_ripple(2, 1)
    with pytest.raises(StageError, match=r"^a Q of 0 does not exist; accepted is a positive number$"):
        overshoot(0)
