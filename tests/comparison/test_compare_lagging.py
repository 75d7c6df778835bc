"""Whether two signals agree at a latency is the same whether they come whole or in pieces."""

from __future__ import annotations

import numpy as np
import pytest

from psgmodel.comparison.lagging import LaggingState
from psgmodel.comparison.streams import first_difference, overlap
from psgmodel.steps import Steps, steps_from_changes

END = 3000


def drawn(rng: np.random.Generator) -> Steps:
    cycles = np.unique(np.append(0, rng.integers(0, END, 400)))
    return steps_from_changes(cycles, rng.integers(0, 4, cycles.size), END)


def delayed(steps: Steps, by: int) -> Steps:
    """Return the same signal late (early where negative), over the same cycles."""
    levels = np.roll(np.repeat(steps.level, steps.durations()), by)
    return steps_from_changes(np.arange(END), levels, END)


def with_one_wrong_cycle(steps: Steps, at: int) -> Steps:
    levels = np.repeat(steps.level, steps.durations())
    levels[at] += 1
    return steps_from_changes(np.arange(END), levels, END)


@pytest.mark.parametrize("latency", [1, 3, -2, 60, 250, -250])
@pytest.mark.parametrize("piece", [1, 7, 100, 1000])
def test_pieces_of_any_length_agree_as_far_as_the_whole(latency: int, piece: int) -> None:
    rng = np.random.default_rng(abs(latency) + piece)
    model = drawn(rng)
    late = delayed(model, latency)
    borders = [piece * (END // 2 // piece) + by for by in (-1, 0, 1)]
    for dump in (late, *[with_one_wrong_cycle(late, at) for at in (*borders, borders[1] + latency, END - 1)]):
        trial = LaggingState(latency)
        for start in range(0, END, piece):
            trial.add(model.cut(start, start + piece), dump.cut(start, start + piece))
        ours, theirs = overlap(model, dump, latency)
        at = first_difference(ours, theirs)
        assert trial.agrees == (at is None)
        assert trial.agrees_until == (ours.end if at is None else at)
        if at is None:
            assert trial.changes == len(ours) - 1
