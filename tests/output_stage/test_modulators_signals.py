"""Codes are held on another clock in exact integers, or refused."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.modulators import (
    FirstOrder,
    IdealDac,
    Pwm,
    Rounding,
    first_order,
    modulate,
    pwm,
    samples_of_steps,
    second_order,
    second_order_of_width,
    steps_of_samples,
    steps_to_clock,
)
from psgmodel.steps import Steps, constant_steps, steps_from_changes


def random_steps(seed: int, changes: int = 200) -> Steps:
    source = np.random.default_rng(seed)
    cycle = np.cumsum(source.integers(1, 9, changes)) + 5
    return steps_from_changes(cycle, source.integers(0, 16, changes), int(cycle[-1]) + 4)


def test_a_clock_eight_times_as_fast_moves_every_change_by_exactly_eight() -> None:
    code = random_steps(1)
    held = steps_to_clock(code, 6_144_000, 49_152_000)
    assert held == Steps(code.cycle * 8, code.level, code.end * 8)


def test_a_fractional_clock_is_exact_where_all_changes_fall_on_its_edges() -> None:
    code = steps_from_changes([0, 3, 9], [1, 2, 1], 12)
    held = steps_to_clock(code, Fraction(3), Fraction(4))
    assert held == steps_from_changes([0, 4, 12], [1, 2, 1], 16)


def test_an_inexact_change_is_refused_and_the_rounding_rules_are_named() -> None:
    code = steps_from_changes([0, 4], [1, 2], 6)
    with pytest.raises(
        StageError, match=r"a change at cycle 4 of 3 Hz is cycle 20/3 of 5 Hz, no whole cycle"
    ) as caught:
        steps_to_clock(code, 3, 5)
    assert "name a rounding rule: up (what a register does), down or nearest" in str(caught.value)


def test_an_inexact_end_is_refused_too() -> None:
    with pytest.raises(StageError, match="the end at cycle 4 of 3 Hz is cycle 20/3 of 5 Hz"):
        steps_to_clock(constant_steps(1, 0, 4), 3, 5)


@pytest.mark.parametrize("ratio", [Fraction(5, 3), Fraction(3, 7), Fraction(441, 480), Fraction(1, 5)])
def test_rounding_up_shows_what_a_register_on_the_new_clock_samples(ratio: Fraction) -> None:
    """A register at target edge m sees the source level standing at time m / ratio, counted in Fractions here."""
    code = random_steps(2)
    held = steps_to_clock(code, 1, ratio, Rounding.UP)
    for m in range(held.start, held.end):
        assert held.at(m) == code.at(int(m / ratio))


def test_down_and_nearest_move_a_change_as_their_names_say() -> None:
    code = steps_from_changes([0, 1, 3, 5], [0, 1, 2, 3], 10)
    down = steps_to_clock(code, 2, 1, Rounding.DOWN)
    nearest = steps_to_clock(code, 2, 1, Rounding.NEAREST)
    assert (list(down.cycle), list(down.level)) == ([0, 1, 2], [1, 2, 3])
    assert (list(nearest.cycle), list(nearest.level)) == ([0, 1, 2, 3], [0, 1, 2, 3])
    third = steps_to_clock(steps_from_changes([0, 4], [0, 1], 9), 3, 1, Rounding.NEAREST)
    assert list(third.cycle) == [0, 1]


def test_samples_become_steps_and_come_back() -> None:
    samples = np.random.default_rng(3).integers(0, 4, 100)
    held = steps_of_samples(samples, 7, start=20)
    assert (held.start, held.end) == (20, 720)
    np.testing.assert_array_equal(samples_of_steps(held, 7), samples)
    np.testing.assert_array_equal(samples_of_steps(held), np.repeat(samples, 7))


def test_samples_that_are_no_integers_are_refused() -> None:
    with pytest.raises(StageError, match=r"samples of type float64.*accepted: integers"):
        steps_of_samples([0.5, 1.0])
    with pytest.raises(StageError, match=r"samples of shape \(0,\)"):
        steps_of_samples([])


@pytest.mark.parametrize(
    ("clock", "said"),
    [
        (0, "source clock is 0 Hz"),
        (-1, "source clock is -1 Hz"),
        (44100.5, "source clock is 44100.5 .accepted: hertz as an int or a fractions.Fraction"),
    ],
)
def test_a_clock_that_is_not_exact_hertz_above_0_is_refused(clock: object, said: str) -> None:
    with pytest.raises(StageError, match=said):
        steps_to_clock(constant_steps(0, 0, 4), clock, 1)


def test_a_result_past_the_last_cycle_is_refused() -> None:
    with pytest.raises(StageError, match="is past cycle"):
        steps_to_clock(constant_steps(0, 0, 2**60), 1, 8)


@pytest.mark.parametrize(
    ("form", "top"),
    [(IdealDac(9, 8), 511), (Pwm(100), 100), (FirstOrder(8), 255), (second_order_of_width(9), 511)],
)
def test_every_modulator_refuses_codes_outside_its_range_with_the_cycle(form: object, top: int) -> None:
    assert form.top == top
    too_high = steps_from_changes([0, 17], [0, top + 1], 40)
    with pytest.raises(StageError, match=rf"code {top + 1} at cycle 17 \(accepted: 0 to {top}; scale"):
        modulate(too_high, form)
    with pytest.raises(StageError, match="code -1 at cycle 0"):
        modulate(constant_steps(-1, 0, 4), form)
    with pytest.raises(StageError, match="the code signal is empty"):
        modulate(constant_steps(0, 4, 4), form)
    unknown = steps_from_changes([0, 9], [1, 0], 12, unknown=[False, True])
    with pytest.raises(StageError, match=r"the code is unknown \(X or Z\) from cycle 9"):
        modulate(unknown, form)


def test_modulate_runs_the_modulator_its_description_names() -> None:
    code = random_steps(4)
    assert modulate(code, Pwm(16)).steps == pwm(code, Pwm(16)).steps
    assert modulate(code, FirstOrder(4)).steps == first_order(code, FirstOrder(4)).steps
    form = second_order_of_width(4)
    assert modulate(code, form).steps == second_order(code, form).steps
    assert modulate(code, IdealDac(4, 4)).steps == code
