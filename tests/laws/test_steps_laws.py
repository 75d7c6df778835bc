"""Laws of Steps: each operation against the same thing done on dense arrays, one number a cycle."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from psgmodel.errors import StepsError
from psgmodel.steps import Steps, constant_steps, empty_steps, steps_from_changes, sum_steps

LAWS = settings(deadline=None, database=None, derandomize=True, max_examples=200)
INT32 = st.integers(-(2**31), 2**31 - 1)
LEVELS = st.one_of(st.integers(-2, 2), INT32)


class Dense:
    """The plain picture of a signal: start, levels, unknown."""

    def __init__(self, start: int, level: list[int], unknown: list[bool]) -> None:
        self.start, self.end = start, start + len(level)
        self.level = np.array(level, dtype=np.int64)
        self.unknown = np.array(unknown, dtype=np.bool_)

    def steps(self) -> Steps:
        """One entry a cycle, left to `steps_from_changes` to make canonical."""
        cycles = range(self.start, self.end)
        return steps_from_changes(list(cycles), self.level, self.end, unknown=self.unknown)


@st.composite
def dense(draw: Any, levels: st.SearchStrategy[int] = LEVELS, unknown: bool = True, start: int | None = None) -> Dense:
    """Stretches of a few cycles, at most 60 cycles in all."""
    parts = draw(
        st.lists(st.tuples(st.integers(1, 9), levels, st.booleans() if unknown else st.just(False)), max_size=7)
    )
    level = [value for length, value, _ in parts for _ in range(length)]
    mask = [covered for length, _, covered in parts for _ in range(length)]
    return Dense(draw(st.integers(-5, 2**40)) if start is None else start, level, mask)


def seen(steps: Steps) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """A signal written out, one number a cycle, by `durations` alone."""
    times = np.diff(np.append(steps.cycle, steps.end))
    return np.repeat(steps.level.astype(np.int64), times), np.repeat(steps.unknown_mask(), times)


def assert_is(steps: Steps, level: NDArray[np.int64], unknown: NDArray[np.bool_], start: int) -> None:
    """The signal covers the right cycles, has the right levels, and is canonical."""
    got, mask = seen(steps)
    assert (steps.start, steps.end) == (start, start + level.size)
    assert np.array_equal(mask, unknown)
    assert np.array_equal(got, np.where(unknown, 0, level))
    assert steps.cycle.dtype == np.int64
    assert steps.level.dtype == np.int32
    assert np.all(np.diff(steps.cycle) > 0)
    now = list(zip(steps.level.tolist(), steps.unknown_mask().tolist(), strict=True))
    assert all(one != other for one, other in pairwise(now))
    assert (steps.unknown is None) == (not unknown.any())


@LAWS
@given(dense())
def test_changes_make_the_canonical_signal(d: Dense) -> None:
    assert_is(d.steps(), d.level, d.unknown, d.start)


@LAWS
@given(dense(), st.data())
def test_of_several_changes_at_one_cycle_the_last_one_counts(d: Dense, data: st.DataObject) -> None:
    cycles, levels, unknown = [], [], []
    for offset in range(d.level.size):
        for _ in range(data.draw(st.integers(0, 2))):
            cycles.append(d.start + offset)
            levels.append(data.draw(LEVELS))
            unknown.append(data.draw(st.booleans()))
        cycles.append(d.start + offset)
        levels.append(int(d.level[offset]))
        unknown.append(bool(d.unknown[offset]))
    assert steps_from_changes(cycles, levels, d.end, unknown=unknown) == d.steps()


@LAWS
@given(dense(st.integers(0, 1), start=0), dense(st.integers(0, 1), start=0))
def test_signals_are_equal_exactly_when_every_cycle_is(one: Dense, other: Dense) -> None:
    same = (
        one.end == other.end
        and np.array_equal(one.unknown, other.unknown)
        and np.array_equal(np.where(one.unknown, 0, one.level), np.where(other.unknown, 0, other.level))
    )
    assert (one.steps() == other.steps()) == same
    assert one.steps() == one.steps()


def test_a_signal_is_no_other_thing_and_no_key() -> None:
    steps = constant_steps(3, 0, 5)
    assert steps != (3, 0, 5)
    assert steps != shifted_by_one(steps)
    with pytest.raises(TypeError):
        hash(steps)


def shifted_by_one(steps: Steps) -> Steps:
    return Steps(steps.cycle + 1, steps.level, steps.end + 1)


@LAWS
@given(dense(unknown=False), st.data())
def test_at_is_the_level_of_that_cycle(d: Dense, data: st.DataObject) -> None:
    offsets = data.draw(st.lists(st.integers(0, max(0, d.level.size - 1)), max_size=20 if d.level.size else 0))
    asked = np.array(offsets, dtype=np.int64)
    assert np.array_equal(d.steps().at(asked + d.start), d.level[asked])
    assert d.steps().at((asked + d.start).reshape(1, -1)).shape == (1, asked.size)


@pytest.mark.parametrize("asked", [9, 20, [10, 20], [9, 12]])
def test_a_cycle_outside_is_refused_with_what_is_covered(asked: int | list[int]) -> None:
    steps = constant_steps(1, 10, 20)
    first, last = np.min(asked), np.max(asked)
    with pytest.raises(StepsError) as caught:
        steps.at(asked)
    assert str(caught.value) == f"cycle {first} to {last} asked of a signal that covers 10 to 19"


@LAWS
@given(dense(), st.integers(-10, 70), st.integers(-10, 70))
def test_a_cut_is_a_slice(d: Dense, first: int, last: int) -> None:
    part = d.steps().cut(d.start + first, d.start + last)
    low, high = max(first, 0), min(last, d.level.size)
    if low >= high:
        assert len(part) == 0
        assert part.start == part.end == d.start + min(low, d.level.size)
    else:
        assert_is(part, d.level[low:high], d.unknown[low:high], d.start + low)


@LAWS
@given(dense(), st.integers(0, 60))
def test_a_signal_is_its_two_halves_one_after_the_other(d: Dense, where: int) -> None:
    whole = d.steps()
    at = d.start + min(where, d.level.size)
    first, rest = whole.cut(whole.start, at), whole.cut(at, whole.end)
    assert first.then(rest) == whole
    assert_is(first.then(rest), d.level, d.unknown, d.start)


@LAWS
@given(dense(), dense())
def test_then_puts_arrays_one_after_the_other(one: Dense, other: Dense) -> None:
    moved = other.steps().shifted(one.end - other.start)
    joined = one.steps().then(moved)
    level, unknown = np.concatenate([one.level, other.level]), np.concatenate([one.unknown, other.unknown])
    assert_is(joined, level, unknown, one.start)


def test_a_signal_is_not_followed_by_one_from_elsewhere() -> None:
    with pytest.raises(StepsError, match=r"^a signal that ends at cycle 5 cannot be followed by one from cycle 6$"):
        constant_steps(1, 0, 5).then(constant_steps(2, 6, 9))


@LAWS
@given(dense(), st.integers(-(2**40), 2**40))
def test_shifting_moves_all_and_back(d: Dense, by: int) -> None:
    moved = d.steps().shifted(by)
    assert_is(moved, d.level, d.unknown, d.start + by)
    assert moved.shifted(-by) == d.steps()


@LAWS
@given(dense())
def test_durations_add_up_to_the_length(d: Dense) -> None:
    steps = d.steps()
    assert int(steps.durations().sum()) == d.level.size
    assert np.array_equal(np.repeat(steps.level, steps.durations()), seen(steps)[0])


@LAWS
@given(st.data(), st.integers(1, 5), st.integers(0, 40))
def test_a_sum_is_the_sum_of_every_cycle(data: st.DataObject, count: int, length: int) -> None:
    parts = []
    for _ in range(count):
        d = data.draw(dense(st.integers(-(2**28), 2**28), start=7))
        level, unknown = np.resize(np.append(d.level, 0), length), np.resize(np.append(d.unknown, False), length)
        parts.append(Dense(7, level.tolist(), unknown.tolist()))
    total = sum_steps([p.steps() for p in parts])
    hidden = np.any([p.unknown for p in parts], axis=0)
    assert_is(total, np.sum([p.level for p in parts], axis=0), hidden, 7)


@LAWS
@given(dense(unknown=False))
def test_a_sum_of_one_is_itself_and_with_its_opposite_nothing(d: Dense) -> None:
    steps = d.steps()
    assert sum_steps([steps]) == steps
    if d.level.size and d.level.min() > -(2**31):
        opposite = steps_from_changes(steps.cycle, -steps.level.astype(np.int64), steps.end)
        assert sum_steps([steps, opposite]) == constant_steps(0, steps.start, steps.end)


def test_a_sum_needs_parts_that_cover_the_same_cycles() -> None:
    with pytest.raises(StepsError, match=r"^a sum of no signals has no length$"):
        sum_steps([])
    for other in (constant_steps(1, 0, 9), constant_steps(1, 1, 10), empty_steps(10)):
        with pytest.raises(StepsError, match=r"^signals of a sum must cover the same cycles$"):
            sum_steps([constant_steps(1, 0, 10), other])


def test_a_sum_past_32_bits_is_refused() -> None:
    with pytest.raises(StepsError, match=r"^level 2147483648 to 2147483648 does not fit 32 bits$"):
        sum_steps([constant_steps(2**31 - 1, 0, 5), constant_steps(1, 0, 5)])


@pytest.mark.parametrize(
    ("cycle", "level", "end", "unknown", "message"),
    [
        ([0, 1], [5], 9, None, "cycles of shape (2,) do not go with levels of shape (1,)"),
        ([[0]], [[5]], 9, None, "cycles of shape (1, 1) do not go with levels of shape (1, 1)"),
        ([0, 1], [5, 6], 9, [True], "cycles of shape (2,) do not go with a mask of shape (1,)"),
        ([3, 2], [5, 6], 9, None, "cycles of a signal must not decrease"),
        ([3, 9], [5, 6], 9, None, "a signal that ends at cycle 9 has a change at cycle 9"),
        ([3], [2**31], 9, None, "level 2147483648 to 2147483648 does not fit 32 bits"),
        ([3, 4], [0, -(2**31) - 1], 9, None, "level -2147483649 to 0 does not fit 32 bits"),
        ([3], [1.5], 9, None, "cycles and levels of a signal are whole numbers, found int64 and float64"),
        ([0.5], [1], 9, None, "cycles and levels of a signal are whole numbers, found float64 and int64"),
        ([3], ["x"], 9, None, "cycles and levels of a signal are whole numbers, found int64 and <U1"),
    ],
)
def test_what_is_no_signal_is_refused(
    cycle: list[Any], level: list[Any], end: int, unknown: list[bool] | None, message: str
) -> None:
    with pytest.raises(StepsError) as caught:
        steps_from_changes(cycle, level, end, unknown=unknown)
    assert str(caught.value) == message


@LAWS
@given(INT32, st.integers(-50, 50), st.integers(-50, 50))
def test_a_constant_covers_what_it_was_given(level: int, start: int, end: int) -> None:
    steps = constant_steps(level, start, end)
    assert_is(steps, np.full(max(0, end - start), level), np.zeros(max(0, end - start), bool), min(start, end))


def test_an_empty_signal_is_placed_and_neutral() -> None:
    empty = empty_steps(5)
    assert (empty.start, empty.end, len(empty)) == (5, 5, 0)
    after = constant_steps(3, 5, 8)
    assert empty.then(after) == after
    assert after.then(empty_steps(8)) == after
    assert empty != empty_steps(6)
    assert empty.at([]).size == 0
