from __future__ import annotations

import bisect
from fractions import Fraction

import numpy as np
import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.networks import (
    Drive,
    SampleKind,
    parse_network,
    run_from,
    sampled,
    state_space,
    two_level_drive,
)
from psgmodel.output_stage.networks import sampling as sampling_module
from psgmodel.steps import Steps, steps_from_changes
from tests.output_stage.network_examples import c, example, r

RATES = [Fraction(48_000), Fraction(384_000), Fraction(44_100), Fraction(6_144_000), Fraction(1_000_000, 3)]
CLOCK = 6_144_000


def pulses(seed: int, count: int = 200, start: int = 0) -> Steps:
    rng = np.random.default_rng(seed)
    cycle = start + np.cumsum(rng.integers(1, 400, count)) - 1
    return steps_from_changes(cycle, np.arange(count) % 2, int(cycle[-1]) + 300)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("start", [0, 12_345])
def test_samples_stand_at_whole_multiples_of_the_sample_period(rate: Fraction, start: int) -> None:
    space = state_space(example("LC with losses, coupled, into a headphone"))
    drive = two_level_drive(pulses(1, start=start), CLOCK, 3.3)
    found = sampled(space, drive, space.output(), rate)
    run = run_from(space, drive)
    time = [Fraction(j) / rate for j in range(found.first, found.first + found.values.size)]
    begin, end = Fraction(drive.steps.start, CLOCK), Fraction(drive.steps.end, CLOCK)
    assert begin <= time[0] < begin + 1 / rate
    assert end - 1 / rate <= time[-1] < end
    cycles = [t * CLOCK for t in time]
    stretch = np.array([bisect.bisect_right(drive.steps.cycle, t) - 1 for t in cycles])
    since = np.array([float(t - int(drive.steps.cycle[k])) / CLOCK for t, k in zip(cycles, stretch, strict=True)])
    np.testing.assert_allclose(found.values, run.within(space.output(), stretch, since), rtol=1e-12, atol=1e-13)


def test_a_sample_on_an_edge_is_taken_after_it() -> None:
    space = state_space(parse_network(r("1k") + c("10n")))
    drive = two_level_drive(steps_from_changes([0, 100, 200], [1, 0, 1], 300), 1_000_000, 1.0)
    found = sampled(space, drive, space.pin_current(), 10_000)
    assert found.first == 0
    after = run_from(space, drive).at_edges(space.pin_current())[:3]
    np.testing.assert_allclose(found.values, after, rtol=1e-12)


@pytest.mark.parametrize("kind", SampleKind)
@pytest.mark.parametrize("rate", RATES)
def test_a_signal_cut_anywhere_gives_the_samples_of_the_whole(kind: SampleKind, rate: Fraction) -> None:
    space = state_space(example("two RC, coupled, into a cable and line input"))
    steps = pulses(2, count=40)
    whole = sampled(space, two_level_drive(steps, CLOCK, 3.3), space.output(), rate, kind=kind)
    for cut in range(steps.start + 1, steps.end, 611):
        head_drive = two_level_drive(steps.cut(steps.start, cut), CLOCK, 3.3)
        tail_drive = two_level_drive(steps.cut(cut, steps.end), CLOCK, 3.3)
        head = sampled(space, head_drive, space.output(), rate, kind=kind)
        tail = sampled(space, tail_drive, space.output(), rate, kind=kind, start=head.end_state)
        np.testing.assert_allclose(head.values, whole.values[: head.values.size], atol=1e-10)
        np.testing.assert_allclose(tail.values, whole.values[tail.first - whole.first :], atol=1e-10)
        # A slot that the cut goes through belongs to neither part; a point is never lost.
        lost = whole.values.size - head.values.size - tail.values.size
        assert lost == 0 if kind is SampleKind.POINT else lost in (0, 1)


@pytest.mark.parametrize("kind", SampleKind)
@pytest.mark.parametrize("piece", [1, 7, 64])
def test_the_size_of_the_pieces_does_not_matter(kind: SampleKind, piece: int, monkeypatch: pytest.MonkeyPatch) -> None:
    space = state_space(example("two Sallen-Key sections"))
    drive = two_level_drive(pulses(3, count=150), CLOCK, 3.3)
    whole = sampled(space, drive, space.output(), 384_000, kind=kind)
    monkeypatch.setattr(sampling_module, "_PIECE", piece)
    parts = sampled(space, drive, space.output(), 384_000, kind=kind)
    np.testing.assert_allclose(parts.values, whole.values, atol=1e-10)
    np.testing.assert_allclose(parts.end_state, whole.end_state, atol=1e-10)


# Closed form: mean of 1 - exp(-t / RC) over a slot of length T is 1 - RC / T (exp(-a / RC) - exp(-b / RC)).
def test_the_mean_over_a_slot_is_the_closed_form_of_an_rc_step() -> None:
    space = state_space(parse_network(r("1k") + c("10n")))
    drive = two_level_drive(steps_from_changes([0], [1], 1000), 1_000_000, 1.0)
    found = sampled(space, drive, space.output(), 50_000, kind=SampleKind.SLOT_MEAN)
    edges = np.arange(51) * 20e-6
    wanted = 1 + 1e-5 * np.diff(np.exp(-edges / 1e-5)) / 20e-6
    assert found.values.size == 50
    np.testing.assert_allclose(found.values, wanted, rtol=1e-11)


@pytest.mark.parametrize("rate", RATES)
def test_slot_means_add_up_to_the_area_between_their_ends(rate: Fraction) -> None:
    space = state_space(example("bridge of parts between nodes"))
    drive = two_level_drive(pulses(4, start=1000), CLOCK, 3.3)
    found = sampled(space, drive, space.output(), rate, kind=SampleKind.SLOT_MEAN)
    first, last = found.first / rate * CLOCK, (found.first + found.values.size) / rate * CLOCK
    assert drive.steps.start <= first < drive.steps.start + CLOCK / rate
    assert drive.steps.end - CLOCK / rate < last <= drive.steps.end
    fine = np.linspace(float(first) / CLOCK, float(last) / CLOCK, 400_001)
    values = run_from(space, drive).at(space.output(), fine)
    trapezoid = float(np.sum((values[1:] + values[:-1]) / 2) * (fine[1] - fine[0]))
    assert found.values.sum() / float(rate) == pytest.approx(trapezoid, rel=1e-4)


def test_a_rate_that_cannot_be_sampled_at_is_refused() -> None:
    space = state_space(parse_network(r("1k") + c("10n")))
    drive = Drive(pulses(1), Fraction(100_000_000_007, 3_000_001), 1.0)
    with pytest.raises(StageError, match=r"^a sample rate of 0 Hz gives no samples; accepted is a positive rate$"):
        sampled(space, drive, space.output(), 0)
    with pytest.raises(StageError, match=r"have no common measure that fits \(state both as integers or short"):
        sampled(space, drive, space.output(), Fraction(1_000_003, 7919))


def test_the_same_input_gives_the_same_bytes() -> None:
    space = state_space(example("three RC into an amplifier"))
    drive = two_level_drive(pulses(9), CLOCK, 3.3)
    first, second = (sampled(space, drive, space.output(), 384_000).values.tobytes() for _ in range(2))
    assert first == second
