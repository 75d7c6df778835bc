"""The sweeps of Siskin's squares in RTL.

Every expected number below was worked out by hand from section 10 of patches/siskin.md, with no program of this
project. `slide` ticks at 52499, 112499, 202499, 262499 (steps 3 and 7 of the sequencer). Lists are what P_TUNE or
Q_TUNE reads: ``(52499, 900)`` is 900 from cycle 52499 on.
"""

from __future__ import annotations

import pytest

from tests.rtl.linnet_runs import Changes, value_at
from tests.rtl.siskin_runs import (
    P_KEY,
    P_SLIDE,
    P_TUNE,
    Q_KEY,
    Q_SLIDE,
    Q_TUNE,
    START,
    STATUS,
    STOP,
    Siskin,
    Write,
    channel_bits,
    siskin_in,
)

SLIDE_1, SLIDE_2, SLIDE_3, SLIDE_4 = 52499, 112499, 202499, 262499
FALLS = 0x40

Setup = list[tuple[int, int]]


@pytest.fixture(scope="module")
def siskin(tmp_path_factory: pytest.TempPathFactory) -> Siskin:
    return siskin_in(tmp_path_factory.getbasetemp())


def sweep(shift: int, period: int, falls: int = 0) -> int:
    return shift + (period << 3) + falls


def tune_changes(siskin: Siskin, setup: Setup, then: list[Write], cycles: int, index: int = P_TUNE) -> Changes:
    """Return what a register reads from cycle 1000 on, with its changes; `then` must end before it."""
    changes = siskin(setup, then, cycles=cycles, watch=(1000, index))["dout"]
    return [(1000, value_at(changes, 1000)), *((cycle, value) for cycle, value in changes if cycle > 1000)]


def tune_at(siskin: Siskin, setup: Setup, then: list[Write], at: list[int]) -> list[int]:
    """Return what P_TUNE reads in some cycles, two cycles and more away from the writes."""
    changes = siskin(setup, then, cycles=at[-1] + 2, looks=[(cycle, P_TUNE) for cycle in at])["dout"]
    return [value_at(changes, cycle) for cycle in at]


def active_at(siskin: Siskin, setup: Setup, then: list[Write], cycle: int) -> str:
    """Return the active channels in a cycle, two cycles and more after the last write."""
    return channel_bits(siskin(setup, then, cycles=cycle + 2, watch=(cycle, STATUS)), cycle)


def test_sweep_adds_the_shifted_period_and_takes_the_pattern_along(siskin: Siskin) -> None:
    # 800 + 100 = 900, 900 + 112 = 1012; bits 11:10 (pattern 2) stay.
    setup = [(P_TUNE, (2 << 10) + 800), (P_SLIDE, sweep(3, 1))]
    changes = tune_changes(siskin, setup, [(20, P_KEY, START)], SLIDE_2 + 3)
    assert changes == [(1000, 2848), (SLIDE_1, 2948), (SLIDE_2, 3060)]


def test_second_look_at_the_sum_ends_the_note_and_keeps_the_new_period(siskin: Siskin) -> None:
    # After 1012: 1012 + 126 is more than 1023. After 900, 900 + 112 is not.
    setup = [(P_TUNE, 800), (P_SLIDE, sweep(3, 1))]
    changes = tune_changes(siskin, setup, [(20, P_KEY, START)], SLIDE_3 + 3, STATUS)
    assert changes == [(1000, 0x8001), (SLIDE_2, 0x8000)]
    assert tune_at(siskin, setup, [(20, P_KEY, START)], [SLIDE_3 + 2]) == [1012]


@pytest.mark.parametrize(("period", "left"), [(1009, "P"), (1010, "")])
def test_second_look_lets_1023_pass_and_nothing_more(siskin: Siskin, period: int, left: str) -> None:
    # Shift 7: 1009 + 7 = 1016, 1016 + 7 = 1023; 1010 + 7 = 1017, 1017 + 7 = 1024.
    setup = [(P_TUNE, period), (P_SLIDE, sweep(7, 1))]
    assert active_at(siskin, setup, [(20, P_KEY, START)], SLIDE_1 + 1) == left


def test_sum_over_1023_ends_the_note_and_changes_neither_copy_nor_period(siskin: Siskin) -> None:
    # Shift 0, which the start does not look at: 600 + 600 = 1200.
    setup = [(P_TUNE, 600), (P_SLIDE, sweep(0, 1))]
    assert active_at(siskin, setup, [(20, P_KEY, START)], SLIDE_1 - 2) == "P"
    assert active_at(siskin, setup, [(20, P_KEY, START)], SLIDE_1 + 1) == ""
    assert tune_at(siskin, setup, [(20, P_KEY, START)], [SLIDE_2 + 1]) == [600]


def test_shift_0_doubles_the_period(siskin: Siskin) -> None:
    # 255 + 255 = 510, 510 + 510 = 1020 fits; then 1020 + 1020 does not, in the second look.
    setup = [(P_TUNE, 255), (P_SLIDE, sweep(0, 1))]
    assert tune_at(siskin, setup, [(20, P_KEY, START)], [SLIDE_1 + 1, SLIDE_2 + 1]) == [510, 1020]
    assert active_at(siskin, setup, [(20, P_KEY, START)], SLIDE_1 + 1) == "P"
    assert active_at(siskin, setup, [(20, P_KEY, START)], SLIDE_2 + 1) == ""


def test_falling_sweep_subtracts_one_more(siskin: Siskin) -> None:
    # 800 - 200 - 1 = 599, 599 - 149 - 1 = 449. On channel Q, to which P's registers mean nothing.
    setup = [(Q_TUNE, 800), (Q_SLIDE, sweep(2, 1, FALLS))]
    changes = tune_changes(siskin, setup, [(20, Q_KEY, START)], SLIDE_2 + 3, Q_TUNE)
    assert changes == [(1000, 800), (SLIDE_1, 599), (SLIDE_2, 449)]


def test_falling_sweep_with_shift_0_wraps_to_1023_and_sounds_on(siskin: Siskin) -> None:
    # 700 - 700 - 1 = -1. The second look, 1023 + 1023, is for rising sweeps.
    setup = [(P_TUNE, 700), (P_SLIDE, sweep(0, 1, FALLS))]
    then: list[Write] = [(20, P_KEY, START)]
    assert tune_changes(siskin, setup, then, SLIDE_2 + 3) == [(1000, 700), (SLIDE_1, 1023)]
    assert active_at(siskin, setup, then, SLIDE_2 + 1) == "P"


@pytest.mark.parametrize(("period", "steps"), [(2, [SLIDE_2, SLIDE_4]), (3, [SLIDE_3])])
def test_sweep_period_is_the_number_of_slides_for_a_step(siskin: Siskin, period: int, steps: list[int]) -> None:
    # 800 -> 599 -> 449.
    setup = [(P_TUNE, 800), (P_SLIDE, sweep(2, period, FALLS))]
    changes = tune_changes(siskin, setup, [(20, P_KEY, START)], SLIDE_4 + 3)
    assert changes == [(1000, 800), *zip(steps, [599, 449], strict=False)]


def test_sweep_period_0_stands_still_with_its_counter(siskin: Siskin) -> None:
    # Counter 2 at the start; the slide at 52499 meets period 0. Period 2 again: 112499 makes it 1, 202499 is due.
    setup = [(P_TUNE, 800), (P_SLIDE, sweep(2, 2, FALLS))]
    then: list[Write] = [(20, P_KEY, START), (40, P_SLIDE, sweep(2, 0, FALLS)), (60000, P_SLIDE, sweep(2, 2, FALLS))]
    at = [SLIDE_1 + 1, SLIDE_2 + 1, SLIDE_3 - 2, SLIDE_3 + 1]
    assert tune_at(siskin, setup, then, at) == [800, 800, 800, 599]


def test_started_with_sweep_period_0_the_first_slide_after_a_new_period_is_due(siskin: Siskin) -> None:
    # Counter 0; then the period, 2, is loaded: due again at 202499.
    setup = [(P_TUNE, 800), (P_SLIDE, sweep(2, 0, FALLS))]
    then: list[Write] = [(20, P_KEY, START), (40, P_SLIDE, sweep(2, 2, FALLS))]
    changes = tune_changes(siskin, setup, then, SLIDE_3 + 3)
    assert changes == [(1000, 800), (SLIDE_1, 599), (SLIDE_3, 449)]


def test_slide_at_the_edge_of_a_start_is_lost(siskin: Siskin) -> None:
    setup = [(P_TUNE, 800), (P_SLIDE, sweep(2, 1, FALLS))]
    assert tune_at(siskin, setup, [(SLIDE_1, P_KEY, START)], [SLIDE_1 + 2, SLIDE_2 + 1]) == [800, 599]


def test_start_loads_copy_and_counter_again(siskin: Siskin) -> None:
    # Copy 599 after 52499; TUNE becomes 400 and a start at 60010 copies it: 400 - 100 - 1 = 299. Period 2 from then on:
    # 112499 makes it 1.
    setup = [(P_TUNE, 800), (P_SLIDE, sweep(2, 1, FALLS))]
    then = [(20, P_KEY, START), (60000, P_TUNE, 400), (60005, P_SLIDE, sweep(2, 2, FALLS)), (60010, P_KEY, START)]
    assert tune_at(siskin, setup, then, [SLIDE_1 + 1, SLIDE_2 + 1, SLIDE_3 + 1]) == [599, 400, 299]


def test_inactive_square_does_not_sweep(siskin: Siskin) -> None:
    setup = [(P_TUNE, 800), (P_SLIDE, sweep(2, 1, FALLS))]
    then: list[Write] = [(20, P_KEY, START), (40, P_KEY, STOP)]
    assert tune_changes(siskin, setup, then, SLIDE_2 + 3) == [(1000, 800)]


def test_sweep_step_is_made_at_the_edge_of_a_stop(siskin: Siskin) -> None:
    setup = [(P_TUNE, 800), (P_SLIDE, sweep(2, 1, FALLS))]
    then: list[Write] = [(20, P_KEY, START), (SLIDE_1, P_KEY, STOP)]
    assert tune_at(siskin, setup, then, [SLIDE_1 + 2, SLIDE_2 + 2]) == [599, 599]
    assert active_at(siskin, setup, then, SLIDE_1 + 2) == ""


def test_tune_written_at_the_edge_of_a_sweep_step_wins_while_the_copy_is_swept(siskin: Siskin) -> None:
    # 100 is written, the copy is 599: 449 next.
    setup = [(P_TUNE, 800), (P_SLIDE, sweep(2, 1, FALLS))]
    then: list[Write] = [(20, P_KEY, START), (SLIDE_1, P_TUNE, 100)]
    assert tune_at(siskin, setup, then, [SLIDE_1 + 2, SLIDE_2 - 2, SLIDE_2 + 1]) == [100, 100, 449]


@pytest.mark.parametrize(("period", "falls", "swept"), [(800, FALLS, 599), (400, 0, 500)])
def test_tune_written_between_the_steps_does_not_reach_the_copy(
    siskin: Siskin, period: int, falls: int, swept: int
) -> None:
    # 800 - 200 - 1 and 400 + 100.
    setup = [(P_TUNE, period), (P_SLIDE, sweep(2, 1, falls))]
    then: list[Write] = [(20, P_KEY, START), (40, P_TUNE, 100)]
    assert tune_at(siskin, setup, then, [50, SLIDE_1 + 1]) == [100, swept]


def test_sweep_step_uses_the_fields_that_stood_before_its_edge(siskin: Siskin) -> None:
    # Old: falling, shift 2, period 1: 599, due again at 112499. New: shift 3, period 3: 599 - 74 - 1 = 524, then 3
    # slides.
    setup = [(P_TUNE, 800), (P_SLIDE, sweep(2, 1, FALLS))]
    then: list[Write] = [(20, P_KEY, START), (SLIDE_1, P_SLIDE, sweep(3, 3, FALLS))]
    assert tune_at(siskin, setup, then, [SLIDE_1 + 2, SLIDE_2 + 1, SLIDE_4 + 1]) == [599, 524, 524]


@pytest.mark.parametrize(("before", "written", "tune"), [(1, 0, 599), (0, 1, 800)])
def test_whether_a_slide_counts_depends_on_the_sweep_period_before_its_edge(
    siskin: Siskin, before: int, written: int, tune: int
) -> None:
    setup = [(P_TUNE, 800), (P_SLIDE, sweep(2, before, FALLS))]
    then: list[Write] = [(20, P_KEY, START), (SLIDE_1, P_SLIDE, sweep(2, written, FALLS))]
    assert tune_at(siskin, setup, then, [SLIDE_1 + 2]) == [tune]


def test_second_look_uses_the_shift_that_stood_before_its_edge(siskin: Siskin) -> None:
    # 800 + 100 = 900; with the old shift 3 1012 passes, with the new shift 1 1350 would not.
    setup = [(P_TUNE, 800), (P_SLIDE, sweep(3, 1))]
    then: list[Write] = [(20, P_KEY, START), (SLIDE_1, P_SLIDE, sweep(1, 1))]
    assert active_at(siskin, setup, then, SLIDE_1 + 2) == "P"


# --- The look at a start ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("period", "slide", "left"),
    [
        (682, sweep(1, 1), "P"),
        (683, sweep(1, 1), ""),
        (683, sweep(1, 0), ""),
        (683, sweep(1, 1, FALLS), "P"),
        (1023, sweep(0, 1), "P"),
        (1016, sweep(7, 0), "P"),
        (1017, sweep(7, 0), ""),
    ],
    ids=["1023", "1024", "standing still", "falling", "shift 0", "1023 by shift 7", "1024 by shift 7"],
)
def test_start_looks_at_the_first_sum_of_a_rising_sweep(siskin: Siskin, period: int, slide: int, left: str) -> None:
    # 682 + 341 = 1023, 683 + 341 = 1024; 1016 + 7 = 1023.
    assert active_at(siskin, [(P_TUNE, period), (P_SLIDE, slide)], [(20, P_KEY, START)], 30) == left


def test_start_that_the_sweep_refuses_ends_a_note_that_sounds(siskin: Siskin) -> None:
    setup = [(P_TUNE, 800), (P_SLIDE, sweep(0, 0))]
    then: list[Write] = [(20, P_KEY, START), (40, P_SLIDE, sweep(1, 0))]
    assert active_at(siskin, setup, then, 50) == "P"
    assert active_at(siskin, setup, [*then, (60, P_KEY, START)], 70) == ""


# --- Has fallen -------------------------------------------------------------------------------------------------------

FALLING = [(P_TUNE, 800), (P_SLIDE, sweep(2, 1, FALLS))]


@pytest.mark.parametrize(
    ("then", "left"),
    [
        ([(SLIDE_1 - 5, P_SLIDE, 0)], "P"),
        ([(SLIDE_1, P_SLIDE, 0)], "P"),
        ([(SLIDE_1 + 1, P_SLIDE, 0)], ""),
        ([(SLIDE_1 + 9, P_SLIDE, sweep(2, 1, FALLS))], "P"),
        ([(SLIDE_1 + 9, P_KEY, START), (SLIDE_1 + 20, P_SLIDE, 0)], "P"),
    ],
    ids=["not yet", "falls at that edge only", "has fallen", "still falling", "cleared by a start"],
)
def test_turning_a_sweep_upwards_ends_the_note_where_it_has_fallen(
    siskin: Siskin, then: list[Write], left: str
) -> None:
    assert active_at(siskin, FALLING, [(20, P_KEY, START), *then], SLIDE_1 + 30) == left


def test_rising_step_does_not_make_the_mark(siskin: Siskin) -> None:
    # Rises at 52499 (300 + 75 = 375), falls from then on without a slide, rises again.
    setup = [(P_TUNE, 300), (P_SLIDE, sweep(2, 1))]
    then: list[Write] = [(20, P_KEY, START), (SLIDE_1 + 9, P_SLIDE, sweep(2, 1, FALLS)), (SLIDE_1 + 19, P_SLIDE, 0)]
    assert active_at(siskin, setup, then, SLIDE_1 + 30) == "P"


def test_each_square_has_a_mark_of_its_own(siskin: Siskin) -> None:
    # P has fallen, Q has not.
    setup = [*FALLING, (Q_TUNE, 800), (Q_SLIDE, sweep(2, 0, FALLS))]
    then: list[Write] = [(20, P_KEY, START), (30, Q_KEY, START), (SLIDE_1 + 9, Q_SLIDE, 0), (SLIDE_1 + 19, P_SLIDE, 0)]
    assert active_at(siskin, setup, then[:3], SLIDE_1 + 15) == "PQ"
    assert active_at(siskin, setup, then, SLIDE_1 + 30) == "Q"
