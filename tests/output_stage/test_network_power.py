from __future__ import annotations

import numpy as np
import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.networks import (
    Drive,
    burdens,
    frequency_response,
    parse_network,
    part_burden,
    pin_burden,
    run_from,
    run_periodic,
    state_space,
    two_level_drive,
)
from psgmodel.output_stage.networks.records import PartKind
from psgmodel.steps import Steps, steps_from_changes
from tests.output_stage.network_examples import HEADPHONE, TEXTS, c, example, r

CLOCK = 1_000_000
PASSIVE = [n for n in TEXTS if "Key" not in n and "feedback" not in n]


def square(half: int, count: int = 1) -> Steps:
    return steps_from_changes(np.arange(2 * count) * half, [1, 0] * count, 2 * count * half)


# Conservation of energy: what the pin voltage gives is burnt in resistors or stands in capacitors and coils.
@pytest.mark.parametrize("name", PASSIVE)
def test_the_energy_from_the_pin_is_the_heat_of_the_resistors_and_what_is_stored(name: str) -> None:
    network = example(name)
    space = state_space(network)
    rng = np.random.default_rng(7)
    cycle = np.cumsum(rng.integers(1, 50, 60))
    drive = Drive(steps_from_changes(cycle, rng.integers(-2, 3, 60), int(cycle[-1]) + 9), CLOCK, 1.0)
    run = run_from(space, drive)
    given = float((run.areas(space.pin_current()) * drive.volts()).sum())
    seconds = float(drive.seconds().sum())
    heat = sum(b.power for b in burdens(run) if b.power is not None) * seconds
    stored = 0.0
    state = np.append(run.end_state(), [float(drive.volts()[-1]), 1.0])
    for e in network.elements:
        if e.kind is PartKind.CAPACITOR:
            stored += e.value / 2 * float((space.voltages[e.first] - space.voltages[e.second]) @ state) ** 2
        elif e.kind is PartKind.INDUCTOR:
            stored += e.value / 2 * float(space.currents[e.name] @ state) ** 2
    assert heat + stored == pytest.approx(given, rel=1e-8)
    assert heat > 0


# Parseval: the mean square is the sum over the harmonics, each through the nodal frequency response.
@pytest.mark.parametrize(
    "name", ["two equal RC", "LC Butterworth into 8 ohm", "LC with losses, coupled, into a headphone"]
)
def test_the_heat_of_a_part_in_steady_state_is_that_of_the_harmonics(name: str) -> None:
    network = example(name)
    space = state_space(network)
    run = run_periodic(space, two_level_drive(square(50), CLOCK, 3.3))
    k = np.arange(1, 40_001, 2)
    response = frequency_response(network, np.concatenate([[0.0], k * CLOCK / 100]))
    for burden in burdens(run)[1:]:
        current = response.current(burden.name)
        power = abs(current[0] * 1.65) ** 2 + float((np.abs(current[1:] * 2 * 3.3 / (np.pi * k)) ** 2).sum() / 2)
        assert burden.rms == pytest.approx(np.sqrt(power), rel=1e-4, abs=1e-12)
        assert burden.mean == pytest.approx(1.65 * current[0].real, abs=1e-12)


# checks.md section 10: 3.3 V square through 390 ohm into 32 ohm: 7.8 mA, 125 mV rms behind the coupling capacitor.
def test_a_pin_square_through_390_ohm_into_a_headphone_has_the_known_level() -> None:
    space = state_space(parse_network(r("390") + c("220u", "series") + HEADPHONE))
    run = run_periodic(space, two_level_drive(square(500), CLOCK, 3.3))
    assert run.rms(space.output()) == pytest.approx(0.125, rel=0.03)
    started = run_from(space, two_level_drive(square(500), CLOCK, 3.3))
    assert pin_burden(started).peak == pytest.approx(3.3 / 422, rel=1e-9)
    assert pin_burden(started).peak == pytest.approx(7.8e-3, rel=0.01)


# checks.md section 10: 3.3 V / 32 ohm = 103 mA straight from the pin; 1.65 V DC in 32 ohm = 85 mW.
def test_a_headphone_straight_on_the_pin_is_told_with_its_current_and_heat() -> None:
    space = state_space(parse_network(r(1e-3) + HEADPHONE))
    run = run_from(space, two_level_drive(square(100), CLOCK, 3.3))
    assert pin_burden(run).peak == pytest.approx(0.103, rel=2e-3)
    half = run_from(space, Drive(steps_from_changes([0], [1], 100), CLOCK, 1.65))
    assert part_burden(half, "R_load").power == pytest.approx(0.085, rel=2e-3)


# Closed form: a capacitor charged and discharged through R: peaks V / R at each edge, decaying in between.
def test_the_peaks_of_the_pin_current_stand_at_the_edges() -> None:
    space = state_space(parse_network(r("1k") + c("10n")))
    burden = pin_burden(run_from(space, two_level_drive(square(500, 3), CLOCK, 2.0)))
    assert (burden.highest, burden.lowest) == pytest.approx((2e-3, -2e-3), rel=1e-9)
    # Mean square over half a period: I^2 tau / 2 / T.
    assert burden.rms == pytest.approx(2e-3 * np.sqrt(1e-5 / 2 / 500e-6), rel=1e-9)


def test_every_part_and_the_pin_are_listed_in_the_order_of_the_network() -> None:
    network = example("Sallen-Key")
    run = run_from(state_space(network), two_level_drive(square(20, 4), CLOCK, 3.3))
    listed = burdens(run)
    assert [b.name for b in listed] == ["pin", *(e.name for e in network.elements)]
    assert [b.name for b in listed if b.power is None] == ["pin", "U1_c1", "U1_c2"]
    assert part_burden(run, "U1").peak > 0


def test_a_part_that_is_not_there_is_refused() -> None:
    run = run_from(state_space(example("one RC")), two_level_drive(square(20), CLOCK, 3.3))
    with pytest.raises(StageError, match=r'^the network has no part "R_lod"; it has C1, R1$'):
        part_burden(run, "R_lod")
