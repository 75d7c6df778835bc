"""Two signals beside each other; the judge is a comparison of every cycle on expanded arrays."""

from __future__ import annotations

import numpy as np
import pytest

from psgmodel.comparison import streams
from psgmodel.comparison.streams import count_differences, first_difference, held, overlap
from psgmodel.errors import CompareError
from psgmodel.steps import Steps, steps_from_changes


def random_steps(rng: np.random.Generator, end: int, changes: int, *, unknown: bool = False) -> Steps:
    cycles = np.sort(rng.choice(np.arange(1, end), size=min(changes, end - 1), replace=False))
    cycles = np.concatenate([[0], cycles])
    mask = rng.random(cycles.size) < 0.2 if unknown else None
    return steps_from_changes(cycles, rng.integers(0, 3, cycles.size), end, unknown=mask)


def expanded(steps: Steps) -> tuple[np.ndarray, np.ndarray]:
    lengths = np.diff(np.append(steps.cycle, steps.end))
    return np.repeat(steps.level, lengths), np.repeat(steps.unknown_mask(), lengths)


def naive(model: Steps, dump: Steps) -> tuple[int | None, int, list[tuple[int, int]], int]:
    """First difference, differing cycles, stretches (begin, length), unknown cycles: cycle by cycle."""
    levels, _ = expanded(model)
    found, unknown = expanded(dump)
    first, count, stretches, before = None, 0, [], False
    for i in range(levels.size):
        differs = bool(unknown[i]) or levels[i] != found[i]
        if differs:
            count += 1
            first = model.start + i if first is None else first
            if before:
                stretches[-1] = (stretches[-1][0], stretches[-1][1] + 1)
            else:
                stretches.append((model.start + i, 1))
        before = differs
    return first, count, stretches, int(unknown.sum())


@pytest.mark.parametrize("chunk", [1, 2, 3, 7, 65536])
def test_first_difference_and_counts_equal_those_of_a_comparison_of_every_cycle(
    chunk: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(streams, "CHUNK", chunk)
    rng = np.random.default_rng(chunk)
    for _ in range(120):
        end = int(rng.integers(1, 60))
        model = random_steps(rng, end, int(rng.integers(0, 20)))
        dump = (
            model
            if rng.random() < 0.1
            else random_steps(rng, end, int(rng.integers(0, 20)), unknown=rng.random() < 0.5)
        )
        first, cycles, stretches, unknown = naive(model, dump)
        assert first_difference(model, dump) == first
        found = count_differences(model, dump)
        assert (found.cycles, found.stretches, found.unknown_cycles) == (cycles, len(stretches), unknown)
        if stretches:
            longest = max(length for _, length in stretches)
            at = next(begin for begin, length in stretches if length == longest)
            assert (found.longest, found.longest_at) == (longest, at)


def test_a_difference_in_the_last_entry_of_a_long_signal_is_found() -> None:
    cycle = np.arange(0, 400_000, 2)
    level = np.arange(cycle.size) % 5
    other = level.copy()
    other[-1] = 9
    model, dump = (steps_from_changes(cycle, values, 400_000) for values in (level, other))
    assert first_difference(model, dump) == 399_998
    assert count_differences(model, dump).cycles == 2


def test_a_signal_that_stops_changing_differs_where_the_other_goes_on() -> None:
    model = steps_from_changes([0, 5, 9], [1, 2, 1], 20)
    dump = steps_from_changes([0, 5], [1, 2], 20)
    assert first_difference(model, dump) == 9
    assert first_difference(dump, model) == 9


def test_an_unknown_level_equals_nothing_not_even_the_zero_it_is_stored_as() -> None:
    model = steps_from_changes([0], [0], 10)
    dump = steps_from_changes([0, 4, 6], [0, 0, 0], 10, unknown=[False, True, False])
    assert first_difference(model, dump) == 4
    assert count_differences(model, dump) == (2, 1, 2, 4, 2)


def test_signals_over_different_cycles_are_refused_with_both_ranges() -> None:
    with pytest.raises(CompareError, match="over cycles 0 to 10 cannot be compared with one over 0 to 11"):
        first_difference(steps_from_changes([0], [0], 10), steps_from_changes([0], [0], 11))


def test_the_overlap_of_a_late_dump_is_in_cycles_of_the_model() -> None:
    model = steps_from_changes([0, 5], [0, 1], 10)
    dump = steps_from_changes([0, 8], [0, 1], 12)
    ours, theirs = overlap(model, dump, 3)
    assert ours == theirs
    assert (ours.start, ours.end) == (0, 9)
    ours, theirs = overlap(model, dump, 40)
    assert len(ours) == len(theirs) == 0


def test_a_strobed_register_shows_the_level_of_the_strobed_cycles_until_the_next() -> None:
    model = steps_from_changes([0, 3, 4, 7], [0, 1, 2, 3], 12)
    strobes = np.array([1, 5, 9])
    shown = held(model, strobes, 12)
    levels, _ = expanded(shown)
    assert shown.start == 1
    assert levels.tolist() == [0, 0, 0, 0, 2, 2, 2, 2, 3, 3, 3]
    later = held(model, strobes, 12, latency=2)  # strobe 1 has no level at cycle -1; 5 shows cycle 3; 9 shows cycle 7
    assert later.cycle.tolist() == [5, 9]
    assert later.level.tolist() == [1, 3]
