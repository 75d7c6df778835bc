from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.linalg import expm

from psgmodel.errors import StageError
from psgmodel.output_stage.loads import Load, LoadKind
from psgmodel.output_stage.networks import (
    Drive,
    Ladder,
    Network,
    PartKind,
    StateSpace,
    compile_ladder,
    dc_transfer,
    frequency_response,
    overshoot,
    parse_network,
    rc_ripple,
    run_from,
    run_periodic,
    series,
    shunt,
    state_space,
    two_level_drive,
)
from psgmodel.output_stage.networks.flow import Flow, MatrixFlow, ModalFlow
from psgmodel.output_stage.networks.flow_split import SplitFlow, flow_of
from psgmodel.output_stage.networks.kernels import march_plain, march_scalar
from psgmodel.steps import Steps, empty_steps, steps_from_changes
from tests.output_stage.network_examples import LINE, QUICK, TEXTS, c, coil, example, own, pin, r, sallen_key

R, C, L = PartKind.RESISTOR, PartKind.CAPACITOR, PartKind.INDUCTOR
CLOCK = 1_000_000


def ladder(*sections: object, load: float | None = None) -> Network:
    hangs = Load(LoadKind.OPEN, None) if load is None else Load(LoadKind.OWN, load)
    return compile_ladder(Ladder("under test", sections, hangs))


def step_of(cycles: int) -> Steps:
    return steps_from_changes([0], [1], cycles)


def random_steps(seed: int, count: int = 40, longest: int = 60) -> Steps:
    rng = np.random.default_rng(seed)
    cycle = np.cumsum(rng.integers(1, longest, count))
    return steps_from_changes(cycle, rng.integers(-3, 4, count), int(cycle[-1]) + longest)


# Textbook: 1 - exp(-t / RC); 63.2121 % at RC (ngspice 63.2120 %), 10-90 % rise 2.1972 RC (checks.md section 5).
def test_an_rc_answers_a_step_with_the_textbook_exponential() -> None:
    space = state_space(ladder(series(R, 4.7e3), shunt(C, 100e-9)))
    run = run_from(space, two_level_drive(step_of(5000), CLOCK, 3.3))
    tau = 4.7e3 * 100e-9
    time = np.linspace(0, 5e-3, 301)
    np.testing.assert_allclose(run.at(space.output(), time), 3.3 * -np.expm1(-time / tau), rtol=1e-12)
    assert run.at(space.output(), [tau])[0] / 3.3 == pytest.approx(0.632121, abs=5e-7)
    times = np.interp([0.1, 0.9], run.at(space.output(), time) / 3.3, time)
    assert times[1] - times[0] == pytest.approx(2.1972 * tau, rel=2e-3)
    np.testing.assert_allclose(run.at(space.pin_current(), time), 3.3 / 4.7e3 * np.exp(-time / tau), rtol=1e-11)


# Partial fractions of the textbook transfer of two RC sections, one step after another added up.
@pytest.mark.parametrize("scale", [1.0, 10.0])
def test_two_rc_sections_answer_as_the_sum_of_the_textbook_step_responses(scale: float) -> None:
    r1, c1, r2, c2 = 1e3, 10e-9, 1e3 * scale, 10e-9 / scale
    poles = np.roots([r1 * c1 * r2 * c2, r1 * (c1 + c2) + r2 * c2, 1.0]).real
    steps = random_steps(3)
    space = state_space(ladder(series(R, r1), shunt(C, c1), series(R, r2), shunt(C, c2)))
    run = run_from(space, Drive(steps, CLOCK, 0.5))
    time = np.linspace(steps.start, steps.end, 997) / CLOCK
    wanted = np.zeros_like(time)
    jumps = np.diff(steps.level, prepend=0) * 0.5
    p, q = poles
    for at, jump in zip(steps.cycle / CLOCK, jumps, strict=True):
        since = np.maximum(time - at, 0.0)
        answer = 1 + (q * np.exp(p * since) - p * np.exp(q * since)) / (p - q)
        wanted += np.where(time >= at, jump * answer, 0.0)
    np.testing.assert_allclose(run.at(space.output(), time), wanted, atol=1e-12)


# exp(-pi z / sqrt(1 - z^2)) (checks.md section 5): a series coil into capacitor and resistor has Q = R sqrt(C / L).
@pytest.mark.parametrize("q", [3**-0.5, 2**-0.5, 1.0, 2.0])
def test_the_highest_point_of_an_lc_step_response_is_the_textbook_overshoot(q: float) -> None:
    space = state_space(ladder(series(L, 1e-3), shunt(C, 100e-9), load=q * (1e-3 / 100e-9) ** 0.5))
    ends = run_from(space, two_level_drive(step_of(2000), CLOCK, 1.0)).extremes(space.output())
    assert ends.high - 1 == pytest.approx(overshoot(q), rel=1e-9, abs=1e-12)
    z = 1 / (2 * q)
    assert ends.high_at == pytest.approx(np.pi / np.sqrt(1 - z * z) * (1e-3 * 100e-9) ** 0.5, rel=1e-6)
    assert ends.low == pytest.approx(0.0, abs=1e-15)


# Closed form of critical damping: current (V / L) t exp(-t R / 2L); the eigenvectors of A coincide.
def test_a_critically_damped_circuit_is_exact_too() -> None:
    network = ladder(series(R, 200.0), series(L, 1e-3), shunt(C, 100e-9))
    space = state_space(network)
    assert isinstance(flow_of(space), SplitFlow)
    run = run_from(space, two_level_drive(step_of(200), CLOCK, 3.3))
    time, a = np.linspace(0, 200e-6, 101), 200.0 / (2 * 1e-3)
    np.testing.assert_allclose(run.at(space.pin_current(), time), 3.3 / 1e-3 * time * np.exp(-a * time), atol=1e-12)
    np.testing.assert_allclose(run.at(space.output(), time), 3.3 * (1 - (1 + a * time) * np.exp(-a * time)), atol=1e-12)
    peak = run.extremes(space.pin_current())
    assert (peak.high, peak.high_at) == pytest.approx((3.3 / 1e-3 / a / np.e, 1 / a), rel=1e-6)
    assert peak.high == pytest.approx(3.3 / 1e-3 / a / np.e, rel=1e-11)
    # Heat of a capacitor charged through a resistor: half C V^2 whatever the resistor (textbook).
    heat = 200.0 * run.rms(space.pin_current()) ** 2 * 200e-6
    ends = run.end_state()
    left = run.areas(space.pin_current()).sum() * 3.3 - 0.5 * 100e-9 * ends[0] ** 2 - 0.5 * 1e-3 * ends[1] ** 2
    assert heat == pytest.approx(left, rel=1e-9)


TWINS = {
    "two alike Sallen-Key sections": sallen_key("10k", "10k", "2n2", "1n") * 2 + QUICK + LINE,
    "two alike Sallen-Key sections, coupled, into a cable": (
        r("220") + c("1n") + sallen_key("10k", "10k", "2n2", "1n") * 2 + c("10u", "series") + QUICK + own("10k", "150p")
    ),
    "three followers behind alike RC": sallen_key("1k", "1k", "1n", "1n") * 3 + QUICK + LINE,
    "critical damping behind a coupling capacitor": (
        pin(1.0) + r("199") + coil("1m") + c("100n") + c("10u", "series") + own("1M")
    ),
}


# Eigenvalues that coincide: the general matrix exponential of scipy and dense samples are the witnesses.
@pytest.mark.parametrize("name", TWINS)
def test_alike_sections_behind_each_other_are_exact_too(name: str) -> None:
    space = state_space(parse_network(TWINS[name]))
    flow = flow_of(space, modal_limit=100.0)
    assert isinstance(flow, SplitFlow)
    steps = random_steps(8, count=8)
    assert_like_matrix_exponential(space, steps, flow)
    drive = Drive(steps, CLOCK, 0.7, 0.1)
    run, plain = run_from(space, drive, flow=flow), run_from(space, drive, flow=MatrixFlow(space.a))
    time = np.linspace(drive.edge_seconds()[0], drive.edge_seconds()[-1], 301)
    time = np.sort(np.concatenate([time, *(drive.edge_seconds()[:-1] + t for t in np.geomspace(1e-10, 4e-7, 25))]))
    for probe in (space.output(), space.pin_current()):
        seen, ends = run.at(probe, time), run.extremes(probe)
        scale = np.abs(seen).max()
        np.testing.assert_allclose(plain.at(probe, time), seen, atol=1e-8 * scale)
        assert run.mean(probe) == pytest.approx(plain.mean(probe), abs=1e-8 * scale)
        assert run.rms(probe) == pytest.approx(plain.rms(probe), rel=1e-6)
        assert ends.low <= seen.min() + 1e-12 * scale
        assert ends.high >= seen.max() - 1e-12 * scale
        assert ends.high == pytest.approx(seen.max(), abs=5e-3 * scale)
        assert ends.low == pytest.approx(seen.min(), abs=5e-3 * scale)


def test_a_periodic_run_of_alike_sections_ends_where_it_began() -> None:
    space = state_space(parse_network(TWINS["two alike Sallen-Key sections, coupled, into a cable"]))
    run = run_periodic(space, Drive(random_steps(2, 10), CLOCK, 1.0))
    start = space.settled(float(run.drive.volts()[0])) + run.flow.leave(run.coordinates[:, 0])
    np.testing.assert_allclose(run.end_state(), start, atol=1e-9 * np.abs(start).max())
    assert run.mean(space.output()) == pytest.approx(0.0, abs=1e-9)


def assert_like_matrix_exponential(space: StateSpace, steps: Steps, flow: Flow | None = None) -> None:
    """scipy.linalg.expm of A and B side by side (Van Loan 1978), edge by edge, as the reference."""
    drive = Drive(steps, CLOCK, 0.7, 0.1)
    run = run_from(space, drive, flow=flow)
    n = len(space.states)
    x = np.zeros(n)
    readings = []
    probe = space.output()
    for volts, seconds in zip(drive.volts(), drive.seconds(), strict=True):
        readings.append(probe.row @ x + probe.direct * volts + probe.constant)
        wide = np.zeros((n + 1, n + 1))
        wide[:n, :n], wide[:n, n] = space.a, space.b * volts + space.k
        x = (expm(wide * seconds) @ np.append(x, 1.0))[:n]
    np.testing.assert_allclose(run.at_edges(probe)[:-1], readings, atol=2e-9)
    np.testing.assert_allclose(run.end_state(), x, rtol=1e-7, atol=1e-9 * np.abs(x).max())


@pytest.mark.parametrize("name", TEXTS)
def test_every_network_steps_from_edge_to_edge_as_the_matrix_exponential_does(name: str) -> None:
    assert_like_matrix_exponential(state_space(example(name)), random_steps(5))


# The frequency response comes from nodal analysis (checked against ngspice), the state equations from a normal tree.
@pytest.mark.parametrize("name", TEXTS)
def test_the_state_equations_have_the_frequency_response_of_the_nodal_equations(name: str) -> None:
    network = example(name)
    space = state_space(network)
    f = np.logspace(0, 6, 31)
    nodal = frequency_response(network, f)
    states = np.array([np.linalg.solve(2j * np.pi * w * np.eye(len(space.states)) - space.a, space.b) for w in f])
    for node in network.nodes():
        probe = space.voltage(node)
        np.testing.assert_allclose(states @ probe.row + probe.direct, nodal.voltage(node), rtol=1e-8, atol=1e-13)
    for element in network.elements:
        probe, wanted = space.current(element.name), nodal.current(element.name)
        found = states @ probe.row + probe.direct
        np.testing.assert_allclose(found, wanted, rtol=1e-6, atol=1e-9 * np.abs(wanted).max())
    assert space.settled(1.0) @ space.output().row - space.settled(0.0) @ space.output().row == pytest.approx(
        dc_transfer(network) - space.output().direct, abs=1e-9
    )


@pytest.mark.parametrize("name", TEXTS)
def test_eigenvectors_and_matrix_exponential_give_the_same_run(name: str) -> None:
    space = state_space(example(name))
    drive = Drive(random_steps(9, count=12), CLOCK, 1.1)
    modal, matrix = run_from(space, drive, flow=flow_of(space)), run_from(space, drive, flow=MatrixFlow(space.a))
    assert isinstance(modal.flow, ModalFlow)
    probe, current = space.output(), space.pin_current()
    time = np.linspace(drive.edge_seconds()[0], drive.edge_seconds()[-1], 301)
    for p in (probe, current):
        scale = np.abs(matrix.at_edges(p)).max()
        np.testing.assert_allclose(modal.at_edges(p), matrix.at_edges(p), atol=1e-9 * scale)
        np.testing.assert_allclose(modal.at(p, time), matrix.at(p, time), atol=1e-9 * scale)
        assert modal.mean(p) == pytest.approx(matrix.mean(p), abs=1e-9 * scale)
        assert modal.rms(p) == pytest.approx(matrix.rms(p), rel=1e-7)


@pytest.mark.parametrize("name", TEXTS)
def test_a_run_cut_anywhere_and_resumed_is_the_whole_run(name: str) -> None:
    space = state_space(example(name))
    steps = random_steps(11, count=12)
    whole = run_from(space, Drive(steps, CLOCK, 1.0)).end_state()
    for cut in range(steps.start + 1, steps.end, 13):
        head = run_from(space, Drive(steps.cut(steps.start, cut), CLOCK, 1.0))
        tail = run_from(space, Drive(steps.cut(cut, steps.end), CLOCK, 1.0), head.end_state())
        np.testing.assert_allclose(tail.end_state(), whole, rtol=1e-9, atol=1e-9 * np.abs(whole).max())


# checks.md section 5: exact ripple, derived and verified with ngspice; any duty, any ratio of period and RC.
@given(st.integers(1, 999), st.floats(0.01, 300.0))
@settings(max_examples=60, deadline=None)
def test_the_periodic_ripple_of_an_rc_is_the_closed_form(high: int, ratio: float) -> None:
    space = state_space(ladder(series(R, 1e3), shunt(C, ratio * 1e-3 / 1e3)))
    drive = two_level_drive(steps_from_changes([0, high], [1, 0], 1000), CLOCK, 3.3)
    run = run_periodic(space, drive)
    wanted = rc_ripple(3.3, high / 1000, 1e-3, ratio * 1e-3)
    assert run.extremes(space.output()).peak_to_peak == pytest.approx(wanted, rel=1e-9, abs=1e-14)
    assert run.mean(space.output()) == pytest.approx(3.3 * high / 1000, rel=1e-12)


# Fourier series: pulse coefficients from the textbook, each harmonic through the nodal frequency response.
# What the harmonics above 20 000 hold is left out: the more where a series resistance lets edges through as kinks.
@pytest.mark.parametrize(
    ("name", "left_out"),
    [
        ("two equal RC", 3e-8),
        ("LC Butterworth into 8 ohm", 3e-8),
        ("Sallen-Key", 3e-8),
        ("LC with losses, coupled, into a headphone", 1e-6),
    ],
)
def test_the_periodic_steady_state_is_the_fourier_series_through_the_frequency_response(
    name: str, left_out: float
) -> None:
    network = example(name)
    space = state_space(network)
    drive = two_level_drive(steps_from_changes([0, 30], [1, 0], 100), CLOCK, 3.3)
    run = run_periodic(space, drive)
    k = np.arange(1, 20_001)
    gains = frequency_response(network, k * CLOCK / 100).output()
    line = 3.3 * (1 - np.exp(-2j * np.pi * k * 0.3)) / (2j * np.pi * k) * gains
    time = np.linspace(0, 100e-6, 41)
    wanted = 3.3 * 0.3 * dc_transfer(network) + 2 * (np.exp(2j * np.pi * np.outer(time, k) * CLOCK / 100) @ line).real
    np.testing.assert_allclose(run.at(space.output(), time), wanted, atol=left_out)
    power = (3.3 * 0.3 * dc_transfer(network)) ** 2 + 2 * float((np.abs(line) ** 2).sum())
    assert run.rms(space.output()) == pytest.approx(np.sqrt(power), rel=1e-9)


@pytest.mark.parametrize("name", TEXTS)
def test_a_periodic_run_ends_where_it_began(name: str) -> None:
    space = state_space(example(name))
    run = run_periodic(space, Drive(random_steps(2, 10), CLOCK, 1.0))
    start = space.settled(float(run.drive.volts()[0])) + run.flow.leave(run.coordinates[:, 0])
    np.testing.assert_allclose(run.end_state(), start, rtol=1e-9, atol=1e-9 * np.abs(start).max())
    again = run_from(space, run.drive, start)
    np.testing.assert_allclose(again.at_edges(space.output()), run.at_edges(space.output()), atol=1e-9)


@pytest.mark.parametrize("name", TEXTS)
def test_no_sample_between_the_edges_lies_beyond_the_extremes_and_both_are_reached(name: str) -> None:
    space = state_space(example(name))
    drive = Drive(random_steps(21, 25), CLOCK, 1.0)
    run = run_from(space, drive)
    time = np.linspace(drive.edge_seconds()[0], drive.edge_seconds()[-1], 20_001)
    for probe in (space.output(), space.pin_current()):
        ends, seen = run.extremes(probe), run.at(probe, time)
        scale = max(abs(ends.low), abs(ends.high))
        assert ends.low <= seen.min() + 1e-12 * scale
        assert ends.high >= seen.max() - 1e-12 * scale
        near = run.at(probe, np.clip([ends.low_at - 1e-12, ends.high_at - 1e-12], time[0], time[-1]))
        if probe.direct == 0:
            assert near == pytest.approx([ends.low, ends.high], abs=1e-5 * scale)


def test_a_jump_of_the_pin_current_is_seen_on_both_sides() -> None:
    space = state_space(ladder(series(R, 100.0), shunt(C, 1e-6)))
    ends = run_from(space, two_level_drive(steps_from_changes([0, 10_000], [1, 0], 20_000), CLOCK, 3.0)).extremes(
        space.pin_current()
    )
    assert (ends.high, ends.high_at) == pytest.approx((0.03, 0.0))
    assert (ends.low, ends.low_at) == pytest.approx((-0.03, 0.01))
    assert ends.peak == pytest.approx(0.03)


@given(st.integers(0, 700), st.integers(0, 2**32 - 1), st.booleans())
@settings(max_examples=60, deadline=None)
def test_the_quick_march_equals_the_plain_loop(count: int, seed: int, rotating: bool) -> None:
    rng = np.random.default_rng(seed)
    decay: NDArray[np.complex128] = np.exp(-rng.exponential(3.0, count) + 1j * rotating * rng.uniform(0, 6, count))
    kick = rng.normal(size=count) + 1j * rng.normal(size=count)
    start = np.complex128(rng.normal())
    np.testing.assert_allclose(
        march_scalar(decay, kick, start), march_plain(decay, kick, start), rtol=1e-12, atol=1e-13
    )


def test_settled_means_that_nothing_moves() -> None:
    space = state_space(example("RC, multiple feedback about mid supply, coupled"))
    run = run_from(space, Drive(step_of(1000), CLOCK, 1.0), space.settled(1.0))
    values = run.at_edges(space.voltage("n2"))
    assert values[1] == pytest.approx(values[0], rel=1e-9)
    # Inverting about the reference: out = 2 ref - in (times R2 / (R1 + source) = 10 / 11).
    assert values[0] == pytest.approx(1.65 + (1.65 - 1.0) * 10 / 11, rel=1e-4)


def test_time_counts_from_cycle_zero_and_stays_inside_the_run() -> None:
    space = state_space(ladder(series(R, 1e3), shunt(C, 1e-9)))
    run = run_from(space, two_level_drive(steps_from_changes([50], [1], 60), Fraction(CLOCK), 1.0))
    assert run.at(space.output(), [50e-6])[0] == pytest.approx(0.0, abs=1e-12)
    assert run.at(space.output(), [60e-6])[0] == pytest.approx(1 - np.exp(-10), rel=1e-9)
    with pytest.raises(StageError, match=r"^time 0 to 0 s asked of a run from 5e-05 to 6e-05 s$"):
        run.at(space.output(), [0.0])


def test_a_network_of_resistors_alone_just_divides() -> None:
    space = state_space(ladder(series(R, 3e3), load=1e3))
    run = run_from(space, Drive(random_steps(4), CLOCK, 1.0))
    np.testing.assert_allclose(run.at_edges(space.output())[:-1], run.drive.volts() / 4, rtol=1e-12)
    assert run.extremes(space.output())[:2] == pytest.approx((run.drive.volts().min() / 4, run.drive.volts().max() / 4))


def test_a_drive_that_drives_nothing_is_refused() -> None:
    with pytest.raises(
        StageError, match=r"^an empty signal drives nothing; accepted is a signal of at least one cycle$"
    ):
        Drive(empty_steps(3), CLOCK, 1.0)
    with pytest.raises(StageError, match=r"^a clock rate of 0 Hz drives nothing; accepted is a positive rate$"):
        Drive(step_of(3), 0, 1.0)
    partly = steps_from_changes([0, 4], [0, 1], 9, unknown=[False, True])
    with pytest.raises(StageError, match=r"^the level of the pin is unknown from cycle 4 on; .* \(cut the signal to"):
        Drive(partly, CLOCK, 1.0)
    with pytest.raises(StageError, match=r"^the pin has level 2 at cycle 5; accepted are 0 and 1$"):
        two_level_drive(steps_from_changes([0, 5], [1, 2], 9), CLOCK, 3.3)


def test_a_start_of_another_network_is_refused() -> None:
    space = state_space(ladder(series(R, 1e3), shunt(C, 1e-9)))
    with pytest.raises(StageError, match=r"^a start of shape \(2,\) does not fit the 1 states of the network$"):
        run_from(space, two_level_drive(step_of(3), CLOCK, 1.0), np.zeros(2))
