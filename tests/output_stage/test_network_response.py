from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import optimize, signal

from psgmodel.errors import StageError
from psgmodel.output_stage.loads import OPEN, Load, LoadKind
from psgmodel.output_stage.networks import (
    ActiveForm,
    ActiveSection,
    Ladder,
    Network,
    OpAmp,
    OpAmpModel,
    PartKind,
    Section,
    bessel_sections,
    butterworth_doubly_terminated,
    butterworth_sections,
    butterworth_singly_terminated,
    compile_ladder,
    dc_transfer,
    frequency_response,
    ladder_sections,
    lc_butterworth,
    multiple_feedback,
    rc_rc_for_corner,
    sallen_key_equal_resistors,
    series,
    shunt,
    transfer,
)
from tests.output_stage.network_examples import TEXTS, example

R, C, L = PartKind.RESISTOR, PartKind.CAPACITOR, PartKind.INDUCTOR
IDEAL = OpAmpModel(1e14, 1e9)
"""So quick that what it leaves of the ideal op amp's response is below 1e-6 up to 1 MHz."""


def network(*sections: Section | ActiveSection, load: Load = OPEN, pin: float = 0.0) -> Network:
    return compile_ladder(Ladder("under test", sections, load, pin))


def own(resistance: float, capacitance: float = 0.0) -> Load:
    return Load(LoadKind.OWN, resistance, capacitance)


def decibels(net: Network, frequency: float) -> float:
    return float(20 * np.log10(abs(transfer(net, [frequency])[0])))


def half_power(net: Network, low: float, high: float) -> float:
    """The -3 dB (half power) frequency relative to direct current, by root search on the response."""
    reference = abs(dc_transfer(net))
    return float(
        optimize.brentq(lambda f: abs(transfer(net, [f])[0]) - reference / np.sqrt(2), low, high, xtol=1e-9, rtol=1e-14)
    )


# Microchip online document "RC Filter Example"; AN538 for 20 kHz (checks.md section 5).
@pytest.mark.parametrize(
    ("ohms", "farads", "frequency", "level"),
    [
        (4e3, 0.01e-6, 10e3, -8.64),
        (4e3, 0.01e-6, 20e3, -14.19),
        (4e3, 0.01e-6, 100e3, -28.01),
        (1.8e3, 0.022e-6, 10e3, -8.57),
        (1.8e3, 0.022e-6, 100e3, -27.92),
    ],
)
def test_an_rc_attenuates_as_application_notes_print_it(
    ohms: float, farads: float, frequency: float, level: float
) -> None:
    assert decibels(network(series(R, ohms), shunt(C, farads)), frequency) == pytest.approx(level, abs=0.005)


# Textbook: H = 1 / (1 + s(R1C1 + R1C2 + R2C2) + s^2 R1C1R2C2).
def test_two_rc_in_cascade_follow_the_textbook_transfer() -> None:
    net = network(series(R, 1e3), shunt(C, 10e-9), series(R, 3.3e3), shunt(C, 2.2e-9))
    f = np.logspace(0, 7, 201)
    s = 2j * np.pi * f
    a = 1e3 * 10e-9 + 1e3 * 2.2e-9 + 3.3e3 * 2.2e-9
    wanted = 1 / (1 + s * a + s * s * 1e3 * 10e-9 * 3.3e3 * 2.2e-9)
    np.testing.assert_allclose(transfer(net, f), wanted, rtol=1e-12)


# checks.md section 5: 0.374239 / (2 pi RC) = sqrt((sqrt 53 - 7) / 2); 1 kohm and 10 nF: 5956.20 Hz (ngspice 5956.201);
# impedance-scaled second section k = 3, 10, 100; isolated sections 0.643594 as k grows.
@pytest.mark.parametrize(
    ("scale", "constant"), [(1, 0.374239), (3, 0.518914), (10, 0.600745), (100, 0.639071), (1e9, 0.643594)]
)
def test_two_rc_sections_have_the_known_corner(scale: float, constant: float) -> None:
    net = network(series(R, 1e3), shunt(C, 10e-9), series(R, 1e3 * scale), shunt(C, 10e-9 / scale))
    found = half_power(net, 1e3, 2e4)
    assert found * 2 * np.pi * 1e-5 == pytest.approx(constant, rel=1e-5 if scale == 1 else 2e-6, abs=5e-7)
    if scale == 1:
        assert found == pytest.approx(5956.20, abs=0.005)
    designed = rc_rc_for_corner(found, 1e3, scale)
    assert designed.c1 == pytest.approx(10e-9, rel=1e-9)


# TI TPA005D02 manual p. 3-9, SLAA701 (checks.md section 5): 8 ohm, 30 kHz; ngspice 29999.99 Hz.
def test_an_lc_into_8_ohm_is_3_db_down_where_it_was_designed_to_be() -> None:
    parts = lc_butterworth(30e3, 8)
    assert parts.inductance == pytest.approx(60.0211e-6, rel=1e-5)
    assert parts.capacitance == pytest.approx(0.468915e-6, rel=1e-5)
    net = network(series(L, parts.inductance), shunt(C, parts.capacitance), load=own(8))
    assert half_power(net, 1e4, 1e5) == pytest.approx(30e3, rel=1e-9)


# checks.md section 5: at Butterworth alignment the corner is stationary in C: +-0.005 % of C moves it by ~1e-9.
@pytest.mark.parametrize("part", [1 + 5e-5, 1 - 5e-5])
def test_the_corner_of_a_butterworth_lc_stands_still_when_the_capacitor_moves_a_little(part: float) -> None:
    parts = lc_butterworth(30e3, 8)
    moved = network(series(L, parts.inductance), shunt(C, parts.capacitance * part), load=own(8))
    assert abs(half_power(moved, 1e4, 1e5) / 30e3 - 1) < 3e-9


# Butterworth 1930: |H|^2 = 1 / (1 + w^2n); S. Butterworth's response by scipy.signal as a second witness.
@pytest.mark.parametrize("order", range(1, 8))
@pytest.mark.parametrize("doubly", [False, True])
def test_a_terminated_butterworth_ladder_has_the_butterworth_response(order: int, doubly: bool) -> None:
    prototype = butterworth_doubly_terminated(order) if doubly else butterworth_singly_terminated(order)
    sections = ladder_sections(prototype, 20e3, 600.0)
    if doubly:
        sections = (series(R, 600.0), *sections)
    net = network(*sections, load=own(600.0))
    f = np.logspace(3, 5.5, 60)
    _, wanted = signal.freqs(*signal.butter(order, 2 * np.pi * 20e3, analog=True), worN=2 * np.pi * f)
    # 1e-15 of the pin voltage is what double precision leaves 160 dB down.
    np.testing.assert_allclose(transfer(net, f), wanted * (0.5 if doubly else 1.0), rtol=1e-10, atol=1e-15)


@pytest.mark.parametrize("order", [2, 3, 4, 5])
def test_a_doubly_terminated_ladder_may_begin_with_the_capacitor(order: int) -> None:
    sections = ladder_sections(butterworth_doubly_terminated(order), 20e3, 600.0, series_first=False)
    net = network(series(R, 600.0), *sections, load=own(600.0))
    assert half_power(net, 1e4, 4e4) == pytest.approx(20e3, rel=1e-9)


# scipy.signal analog filters as the witness; op amps quick enough to be ideal.
@pytest.mark.parametrize("order", [2, 3, 4, 5, 6])
@pytest.mark.parametrize("shape", ["butterworth", "bessel"])
@pytest.mark.parametrize("form", list(ActiveForm))
def test_active_sections_make_a_butterworth_or_bessel_low_pass(order: int, shape: str, form: ActiveForm) -> None:
    factors = butterworth_sections(order) if shape == "butterworth" else bessel_sections(order)
    sections: list[Section | ActiveSection] = []
    inverting = 0
    for factor in factors:
        pole = 15e3 * factor.frequency
        if factor.q is None:
            sections += [series(R, 1e3), shunt(C, 1 / (2 * np.pi * pole * 1e3))]
        elif form is ActiveForm.SALLEN_KEY:
            parts = sallen_key_equal_resistors(pole, factor.q, 10e3)
            sections.append(ActiveSection(form, parts.r1, parts.r2, parts.c1, parts.c2, IDEAL))
        else:
            more = multiple_feedback(pole, factor.q, 100e-9, 100e-9 / (9 * factor.q**2))
            sections.append(ActiveSection(form, more.r1, more.r2, more.c1, more.c2, IDEAL, r3=more.r3))
            inverting += 1
    f = np.logspace(2, 5, 40)
    make = (
        signal.butter if shape == "butterworth" else lambda n, w, analog: signal.bessel(n, w, analog=analog, norm="mag")
    )
    _, wanted = signal.freqs(*make(order, 2 * np.pi * 15e3, analog=True), worN=2 * np.pi * f)
    np.testing.assert_allclose(transfer(network(*sections), f), (-1) ** inverting * wanted, rtol=2e-6)


# TI headphone amplifier data, formula 1 / (2 pi R C) (checks.md section 5; ngspice 22.6076 Hz).
@pytest.mark.parametrize(
    ("farads", "ohms", "corner", "digits"),
    [
        (100e-6, 16, 99.5, 0.05),
        (100e-6, 32, 49.7, 0.05),
        (220e-6, 16, 45.21, 0.006),
        (220e-6, 32, 22.61, 0.006),
        (220e-6, 300, 2.41, 0.006),
        (470e-6, 16, 21.16, 0.006),
        (470e-6, 32, 10.58, 0.006),
        (10e-6, 10e3, 1.59, 0.006),
    ],
)
def test_a_coupling_capacitor_has_the_printed_corner(farads: float, ohms: float, corner: float, digits: float) -> None:
    net = network(series(C, farads), load=own(ohms))
    found = optimize.brentq(lambda f: abs(transfer(net, [f])[0]) - np.sqrt(0.5), 0.1, 1e3, xtol=1e-12)
    assert found == pytest.approx(corner, abs=digits)


# Sedra and Smith: a follower of an op amp with gain A(s) has A / (1 + A); half power at GBW (1 + 1/A0).
def test_a_follower_of_a_one_pole_op_amp_is_half_down_at_its_gain_bandwidth() -> None:
    amp = OpAmp("U1", "pin", "out", "out", 1e6, 1e5)
    net = Network("follower", (), (amp,), source="pin")
    f = np.array([0.0, 1e3, 1e6 * (1 + 1e-5)])
    gain = 2 * np.pi * 1e6 / (2j * np.pi * f + 2 * np.pi * 1e6 / 1e5)
    np.testing.assert_allclose(transfer(net, f), gain / (1 + gain), rtol=1e-12)
    assert abs(transfer(net, f)[2]) == pytest.approx(np.sqrt(0.5) / (1 + 1e-5), rel=1e-9)


def test_the_pin_sees_the_impedance_of_a_chain_of_parts() -> None:
    net = network(series(R, 1e3), shunt(C, 10e-9), series(L, 1e-3), load=own(10e3, 1e-9), pin=25.0)
    f = np.array([0.0, 10.0, 1e4, 1e6])
    s = 2j * np.pi * f
    load = 1 / (1 / 10e3 + s * 1e-9)
    behind = s * 1e-3 + load
    wanted = 1e3 + 1 / (s * 10e-9 + 1 / behind)
    found = frequency_response(net, f)
    np.testing.assert_allclose(found.input_impedance(), wanted, rtol=1e-12)
    np.testing.assert_allclose(found.pin_current(), 1 / (25 + wanted), rtol=1e-12)
    np.testing.assert_allclose(found.voltage("pin"), wanted / (25 + wanted), rtol=1e-12)


def test_an_open_output_asks_no_direct_current_so_the_impedance_is_infinite() -> None:
    assert np.isinf(frequency_response(network(series(R, 1e3), shunt(C, 1e-9)), [0.0]).input_impedance()[0])


# Kirchhoff's current law at every node, with every current told by the response.
@pytest.mark.parametrize("name", TEXTS)
def test_the_currents_into_every_node_sum_to_zero(name: str) -> None:
    net = example(name)
    found = frequency_response(net, np.array([0.0, 1.0, 1e3, 1e6]))
    total: dict[str, NDArray[np.complex128]] = {n: np.zeros(4, complex) for n in (*net.nodes(), "ground")}
    largest: dict[str, float] = dict.fromkeys(total, 1e-12)
    flows = [(e.first, e.second, found.current(e.name)) for e in net.elements]
    flows += [("ground", a.out, found.current(a.name)) for a in net.op_amps]
    flows.append(("ground", net.source, found.pin_current()))
    for first, second, current in flows:
        total[first] = total[first] - current
        total[second] = total[second] + current
        for node in (first, second):
            largest[node] = max(largest[node], float(np.abs(current).max()))
    for node in net.nodes():
        assert np.abs(total[node]).max() < 1e-9 * largest[node], node


def test_the_transfer_at_direct_current_is_that_of_the_resistors() -> None:
    net = network(series(R, 1e3), shunt(C, 1e-9), series(L, 1e-3, loss=7.0), load=own(32), pin=10.0)
    assert dc_transfer(net) == pytest.approx(32 / (10 + 1000 + 7 + 32), rel=1e-12)
    assert dc_transfer(example("multiple feedback")) == pytest.approx(-10e3 / 10.025e3, rel=1e-4)
    assert dc_transfer(example("LC with losses, coupled, into a headphone")) == pytest.approx(0.0, abs=1e-15)


def test_wrong_questions_are_refused() -> None:
    net = network(series(R, 1e3), shunt(C, 1e-9))
    with pytest.raises(StageError, match=r"^frequencies must be a list of finite numbers in hertz, zero or above$"):
        transfer(net, [-1.0])
    with pytest.raises(StageError, match=r'^the network has no node "ou"; it has pin, out \(did you mean "out"\?\)$'):
        frequency_response(net, [1.0]).voltage("ou")
    with pytest.raises(StageError, match=r'^the network has no element "R2"; it has R1, C1$'):
        frequency_response(net, [1.0]).current("R2")


def test_ground_is_at_zero_and_a_reference_counts_as_ground() -> None:
    net = example("RC, multiple feedback about mid supply, coupled")
    found = frequency_response(net, [0.0, 100.0])
    assert np.all(found.voltage("ground") == 0)
    assert np.all(found.voltage("U1_plus") == 0)


def test_every_pair_of_series_parts_commutes() -> None:
    f = np.logspace(1, 6, 9)
    parts = [series(R, 100.0), series(L, 1e-3), series(C, 1e-6)]
    answers = [
        transfer(network(*(Section(s.kind, s.position, s.value) for s in order), load=own(1e3)), f)
        for order in itertools.permutations(parts)
    ]
    for answer in answers[1:]:
        np.testing.assert_allclose(answer, answers[0], rtol=1e-11)
