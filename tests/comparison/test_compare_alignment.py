"""Latency and changed offsets: copies of random signals moved by a known number of cycles."""

from __future__ import annotations

import numpy as np
import pytest

from psgmodel.comparison.alignment import estimate_latency, find_offset_change
from psgmodel.comparison.streams import first_difference, overlap
from psgmodel.steps import Steps, constant_steps, steps_from_changes

END = 300_000


def tone(start: int, period: int, level: int = 9, end: int = END) -> Steps:
    edges = np.arange(start, end, period)
    levels = np.where(np.arange(edges.size) % 2 == 0, level, 0)
    return steps_from_changes(np.concatenate([[0], edges]), np.concatenate([[0], levels]), end)


def noise(seed: int, step: int, end: int = END) -> Steps:
    rng = np.random.default_rng(seed)
    cycles = np.arange(0, end, step)
    return steps_from_changes(cycles, rng.integers(0, 2, cycles.size) * 7, end)


def late(steps: Steps, by: int) -> Steps:
    """The same signal `by` cycles later, over the same cycles; its first level stands before it."""
    if by >= 0:
        moved = steps.shifted(by)
        cycle = moved.cycle.copy()
        cycle[0] = 0
        return Steps(cycle, moved.level, moved.end).cut(0, steps.end)
    return steps.shifted(by).cut(0, steps.end)


@pytest.mark.parametrize("by", [-64, -3, -1, 0, 1, 3, 47, 128, 1000, 4096])
def test_a_moved_set_of_signals_has_the_latency_it_was_moved_by(by: int) -> None:
    signals = [tone(5000, 310), tone(777, 1024), noise(1, 22), constant_steps(0, 0, END)]
    found = estimate_latency([(s, late(s, by)) for s in signals])
    assert found is not None
    assert found.latency == by
    assert found.everywhere


def test_a_steady_tone_alone_gives_the_smallest_of_the_latencies_that_fit() -> None:
    model = tone(0, 100).cut(1000, 200_000)
    found = estimate_latency([(model, model)])
    assert found is not None
    assert found.latency == 0


def test_latencies_that_fit_a_long_steady_beginning_are_told_apart_by_what_follows() -> None:
    steady = tone(0, 10, end=900_000).cut(4000, 900_000)
    model = (
        Steps(steady.cycle, steady.level, 800_000).cut(4000, 800_000).then(noise(4, 22, 900_000).cut(800_000, 900_000))
    )
    dump = model.shifted(40)
    found = estimate_latency([(model, dump)])
    assert found is not None
    assert (found.latency, found.everywhere) == (40, True)


def test_one_wrong_signal_among_good_ones_does_not_move_the_estimate() -> None:
    good = [tone(5000, 310), noise(1, 22)]
    pairs = [(s, late(s, 3)) for s in good]
    pairs.append((tone(400, 512), tone(400, 517)))
    found = estimate_latency(pairs)
    assert found is not None
    assert found.latency == 3
    assert not found.everywhere


def test_unknown_stretches_do_not_hide_the_latency() -> None:
    model = noise(3, 40)
    moved = late(model, 17)
    mask = np.zeros(len(moved), dtype=bool)
    mask[100:140] = True
    dump = steps_from_changes(moved.cycle, moved.level, moved.end, unknown=mask)
    found = estimate_latency([(model, dump)])
    assert found is not None
    assert found.latency == 17
    assert not found.everywhere


def test_signals_that_never_change_have_no_latency() -> None:
    flat = constant_steps(4, 0, 1000)
    assert estimate_latency([(flat, flat)]) is None


def test_a_latency_out_of_range_is_not_found() -> None:
    model = noise(5, 50)
    found = estimate_latency([(model, late(model, 5000))])
    assert found is None or not found.everywhere


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("by", [-128, -1, 1, 64, 128])
def test_a_dropped_or_doubled_stretch_is_a_changed_offset_from_there_on(by: int, seed: int) -> None:
    model = noise(seed, 22)
    cut = 150_000 + 1000 * seed
    whole = np.repeat(model.level, model.durations())
    if by < 0:  # a stretch dropped: what follows is early
        levels = np.concatenate([whole[:cut], whole[cut - by :]])
    else:  # a stretch doubled: what follows is late
        levels = np.concatenate([whole[:cut], whole[cut - by :]])
    levels = levels[:END]
    dump = steps_from_changes(np.arange(levels.size), levels, levels.size)
    ours, theirs = overlap(model, dump, 0)
    first = first_difference(ours, theirs)
    assert first is not None
    assert cut - abs(by) <= first < cut + 500
    change = find_offset_change(model, dump, 0, first)
    assert change is not None
    assert (change.before, change.after, change.to_the_end) == (0, by, True)
    assert f"{abs(by)} cycle" in str(change)
    assert ("later" if by > 0 else "earlier") in str(change)
    assert "to the end" in str(change)


def test_a_changed_offset_on_top_of_a_constant_one_tells_both() -> None:
    model = noise(9, 22)
    whole = np.repeat(late(model, 5).level, late(model, 5).durations())
    levels = np.concatenate([whole[:100_000], whole[100_001:]])
    dump = steps_from_changes(np.arange(levels.size), levels, levels.size)
    ours, theirs = overlap(model, dump, 5)
    first = first_difference(ours, theirs)
    assert first is not None
    change = find_offset_change(model, dump, 5, first)
    assert change is not None
    assert (change.before, change.after) == (5, 4)


def test_a_second_change_of_offset_ends_the_agreement_of_the_first() -> None:
    model = noise(11, 22)
    whole = np.repeat(model.level, model.durations())
    levels = np.concatenate([whole[:100_000], whole[100_001:200_000], whole[200_001:]])
    dump = steps_from_changes(np.arange(levels.size), levels, levels.size)
    first = first_difference(*overlap(model, dump, 0))
    assert first is not None
    change = find_offset_change(model, dump, 0, first)
    assert change is not None
    assert not change.to_the_end
    assert 200_000 <= change.agrees_until < 200_500


def test_another_waveform_is_no_changed_offset() -> None:
    model = noise(1, 22)
    dump = model.cut(0, 100_000).then(noise(2, 22).cut(100_000, END))
    first = first_difference(model, dump)
    assert first is not None
    assert find_offset_change(model, dump, 0, first) is None


def test_a_single_wrong_level_is_no_changed_offset_even_in_a_steady_tone() -> None:
    model = tone(500, 100)
    levels = np.repeat(model.level, model.durations())
    levels[100_020] += 1
    dump = steps_from_changes(np.arange(levels.size), levels, levels.size)
    assert first_difference(model, dump) == 100_020
    assert find_offset_change(model, dump, 0, 100_020) is None


def test_a_few_last_changes_that_happen_to_fit_are_no_changed_offset() -> None:
    model = steps_from_changes([0, 1000, 1100, 1200, 1300], [0, 1, 0, 1, 0], 1500)
    dump = steps_from_changes([0, 1000, 1100, 1250, 1350], [0, 1, 0, 1, 0], 1500)
    assert find_offset_change(model, dump, 0, 1200) is None


def test_a_signal_late_from_start_to_end_is_told_with_the_whole_of_it() -> None:
    model = steps_from_changes([0, 1000, 1100], [0, 1, 0], 1500)
    dump = steps_from_changes([0, 1002, 1102], [0, 1, 0], 1500)
    change = find_offset_change(model, dump, 0, 1000)
    assert change is not None
    assert (change.after, change.agrees_until, change.to_the_end) == (2, 1498, True)
