"""Suspects of a dump of which only what stands around a late first difference is in memory are those of the whole."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import numpy as np
import pytest

from psgmodel.chip import Chip
from psgmodel.comparison.streams import first_difference
from psgmodel.diagnose import trials
from psgmodel.diagnose.changes import changes_of
from psgmodel.diagnose.suspects import find_suspects
from psgmodel.diagnose.suspicion import Suspicion
from psgmodel.dump.observe import Observation
from psgmodel.engine import Trace, run
from psgmodel.engine.run import _run_checked
from psgmodel.reglog import RegisterLog
from tests.comparison.short_run import CHIP, TRACE, WRITES, log_of
from tests.diagnose.model_dumps import observed_trace
from tests.laws.generated_logs import draw_log
from tests.laws.generators import draw_chip


def played(chip: Chip, log: RegisterLog) -> Trace:
    """A change can leave addresses to nobody; the writes there then do nothing."""
    return _run_checked(chip, log, log.end, None, "fast")


def from_cycle(seen: Observation, start: int) -> Observation:
    return replace(seen, signals=tuple(replace(s, steps=s.steps.cut(start, s.steps.end)) for s in seen.signals))


def told(found: Suspicion) -> list[tuple[str, int, int, int | None]]:
    return [(str(s), s.explained, s.left, s.first_left) for s in found.ranked]


@pytest.mark.parametrize("seed", [2, 3, 4, 7, 8, 10])
def test_the_suspects_of_a_late_difference_are_those_of_the_whole(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("psgmodel.diagnose.late.STRETCH", 97)
    rng = Random(seed)
    chip = draw_chip(rng)
    log = draw_log(rng, chip, 4000, 50)
    right = run(chip, log)
    hidden = tuple(chip.channels) if seed % 3 == 0 else ()
    names = [n for n in (*right.channels, *right.outputs) if n not in hidden]
    changes = list(changes_of(chip))
    for change in rng.sample(changes, min(60, len(changes))):
        changed = change.apply(chip, log)
        assert changed is not None
        wrong = played(changed[0], log)
        firsts = [at for n in names if (at := first_difference(wrong[n], right[n])) is not None]
        if firsts and min(firsts) > 200:
            break
    else:
        pytest.fail("no change of this chip shows late")
    whole = observed_trace(wrong, log, hidden=hidden)
    expected = find_suspects(chip, whole, log, pairs=False)
    assert expected.ranked
    start = min(firsts) - rng.choice([0, 1, 150])
    found = find_suspects(chip, from_cycle(whole, start), log, pairs=False)
    assert told(found) == told(expected)
    assert (found.cycles, found.singles, found.standings) == (expected.cycles, expected.singles, expected.standings)


def test_a_search_that_has_run_far_enough_says_that_it_was_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    levels = TRACE["a"]
    at = int(levels.cycle[-4])
    wrong = replace(levels, level=np.where(levels.cycle >= at, levels.level // 2, levels.level))
    whole = observed_trace(replace(TRACE, channels={**TRACE.channels, "a": wrong}), log_of(WRITES))
    monkeypatch.setattr(trials, "MOST_WALKED", 0)
    assert find_suspects(CHIP, from_cycle(whole, at - 10), log_of(WRITES), pairs=False).stopped
    assert not find_suspects(CHIP, whole, log_of(WRITES), pairs=False).stopped
