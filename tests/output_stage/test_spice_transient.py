from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.networks import (
    Drive,
    netlist_transient,
    run_from,
    run_periodic,
    state_space,
    two_level_drive,
)
from psgmodel.steps import Steps, steps_from_changes
from tests.output_stage.network_examples import TEXTS, example
from tests.output_stage.spice_runner import run_ngspice

CLOCK = 6_144_000


def pulse_width(codes: list[int], period: int = 512) -> Steps:
    """One pulse at the head of each period, `code` cycles long."""
    cycle = [c for i, code in enumerate(codes) for c in (i * period, i * period + code)]
    return steps_from_changes(cycle, [1, 0] * len(codes), len(codes) * period)


# Source of truth: ngspice on the exported netlist. How near it can come: its largest step h costs about h**2 of the
# fastest motion (trapezoidal rule), its ramps of width e are a step but for (e / T)**2 / 24 behind a time constant T.
# With h = duration / 20 000 and e = 1 ns (0.1 ns where a path of 6 ns exists) both stay well below 1e-4.
@pytest.mark.parametrize("name", TEXTS)
def test_ngspice_finds_the_same_voltage_and_pin_current_for_a_pulse_width_signal(name: str, tmp_path: Path) -> None:
    network = example(name)
    space = state_space(network)
    drive = two_level_drive(pulse_width([256, 300, 100, 411, 37]), CLOCK, 3.3)
    edge, tolerance = (1e-10, 1e-7) if name.startswith("bridge") else (1e-9, 1e-5)
    seconds = float(drive.seconds().sum())
    netlist = netlist_transient(network, drive, edge=edge, step=seconds / 20_000, tolerance=tolerance)
    table = run_ngspice(netlist, tmp_path, "transient.dat")
    run = run_from(space, drive, space.settled(0.0))
    time = np.minimum(table[:, 0] - edge, seconds)
    away = np.abs(time[:, None] - drive.edge_seconds()[None, :]).min(axis=1) > edge
    away &= time >= 0
    assert away.sum() > 15_000
    ours = run.at(space.output(), time[away])
    assert np.abs(ours - table[away, 1]).max() < 1e-4 * np.abs(table[:, 1]).max()
    current = run.at(space.pin_current(), time[away])
    assert np.abs(current - table[away, 2]).max() < 2e-4 * np.abs(table[:, 2]).max()


def test_ngspice_finds_the_same_voltage_for_a_signal_of_many_levels(tmp_path: Path) -> None:
    network = example("two RC, coupled, into a cable and line input")
    space = state_space(network)
    steps = steps_from_changes([7, 300, 450, 700, 1100, 1700], [200, -40, 511, 0, 3, 400], 2500)
    drive = Drive(steps, Fraction(CLOCK), 3.3 / 512, 0.2)
    netlist = netlist_transient(network, drive, step=2e-8, settled_at=1.65)
    table = run_ngspice(netlist, tmp_path, "transient.dat")
    run = run_from(space, drive, space.settled(1.65))
    time = table[:, 0] - 1e-9 + 7 / CLOCK
    inside = (time > 7 / CLOCK + 1e-9) & (time < 2500 / CLOCK)
    away = inside & (np.abs(time[:, None] - drive.edge_seconds()[None, :]).min(axis=1) > 1e-9)
    error = run.at(space.output(), time[away]) - table[away, 1]
    assert np.abs(error).max() < 1e-4 * np.abs(table[:, 1]).max()


# checks.md section 5 (computed there, and by ngspice 0.17536 V): 3.3 V, 10 kHz, half duty, 4.7 kohm, 100 nF.
def test_ngspice_settles_to_the_exact_periodic_ripple(tmp_path: Path) -> None:
    network = example("one RC")
    space = state_space(network)
    drive = two_level_drive(steps_from_changes([0, 500], [1, 0], 1000), 10_000_000, 3.3)
    netlist = netlist_transient(network, drive, form="pulse", step=1e-7, stop=20e-3)
    table = run_ngspice(netlist, tmp_path, "transient.dat")
    last = table[table[:, 0] > 19e-3, 1]
    ripple = run_periodic(space, drive).extremes(space.output())
    assert last.max() - last.min() == pytest.approx(ripple.peak_to_peak, rel=1e-4)
    assert last.max() == pytest.approx(ripple.high, rel=1e-5)
    assert ripple.peak_to_peak == pytest.approx(0.175367, abs=5e-7)


# checks.md section 11: 100 kHz, 3.3 V, half duty, by ngspice and by an independent Fourier sum.
@pytest.mark.parametrize(
    ("name", "peak_to_peak"), [("LC Butterworth into 8 ohm", 0.371573), ("two equal RC", 0.0967959)]
)
def test_the_ripple_of_a_100_kHz_square_is_that_of_an_independent_fourier_sum(name: str, peak_to_peak: float) -> None:
    space = state_space(example(name))
    drive = two_level_drive(steps_from_changes([0, 50], [1, 0], 100), 10_000_000, 3.3)
    assert run_periodic(space, drive).extremes(space.output()).peak_to_peak == pytest.approx(peak_to_peak, rel=1e-5)


def test_an_edge_longer_than_a_pulse_is_refused() -> None:
    drive = two_level_drive(pulse_width([1, 300]), CLOCK, 3.3)
    with pytest.raises(
        StageError, match=r"^an edge of 1e-06 s does not fit: accepted is above 0 and below 1.63e-07 s$"
    ):
        netlist_transient(example("one RC"), drive, edge=1e-6)


def test_a_signal_that_does_not_repeat_is_no_periodic_source() -> None:
    drive = two_level_drive(pulse_width([256, 300]), CLOCK, 3.3)
    with pytest.raises(StageError, match=r'does not repeat its first two stretches \(use form "pwl"\)'):
        netlist_transient(example("one RC"), drive, form="pulse")


def test_a_periodic_source_cannot_begin_between_its_levels() -> None:
    drive = two_level_drive(pulse_width([256]), CLOCK, 3.3)
    with pytest.raises(StageError, match=r"begins at one of its two levels, 3.3 or 0 V, not at 1 V"):
        netlist_transient(example("one RC"), drive, form="pulse", settled_at=1.0)


def test_a_list_of_points_has_ramps_centred_on_the_edges() -> None:
    drive = two_level_drive(steps_from_changes([0, 10], [1, 0], 20), 1_000_000, 3.3)
    netlist = netlist_transient(example("one RC"), drive, edge=2e-6, settled_at=0.0)
    points = netlist[netlist.index("PWL(") : netlist.index("+ )")].splitlines()[1:]
    rows = [tuple(float(x) for x in p[1:].split()) for p in points]
    np.testing.assert_allclose(rows, [(0, 0), (1e-6, 0), (3e-6, 3.3), (11e-6, 3.3), (13e-6, 0)], rtol=1e-12)


def test_the_periodic_source_gives_the_same_voltage_as_the_list_of_points(tmp_path: Path) -> None:
    network = example("two equal RC")
    drive = two_level_drive(pulse_width([100, 100, 100]), CLOCK, 3.3)
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    listed = run_ngspice(netlist_transient(network, drive, step=5e-8), tmp_path / "a", "transient.dat")
    pulsed = run_ngspice(netlist_transient(network, drive, form="pulse", step=5e-8), tmp_path / "b", "transient.dat")
    at = np.linspace(1e-6, 240e-6, 200)
    first, second = (np.interp(at, t[:, 0], t[:, 1]) for t in (listed, pulsed))
    np.testing.assert_allclose(first, second, atol=3e-4)
