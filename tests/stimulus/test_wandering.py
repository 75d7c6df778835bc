"""What play with foresight leaves open is looked for in random stretches that begin where the log ends."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from psgmodel.coverage import cover
from psgmodel.coverage.covering import behaviours_of, hits
from psgmodel.engine import run
from psgmodel.reglog import RegisterLog, make_log
from psgmodel.stimulus import random_log
from psgmodel.stimulus.chance import ChanceState
from psgmodel.stimulus.wandering import wander
from tests.engine.tiny_units import tiny
from tests.laws.generators import draw_chip

FADING = '[ticks]\nt = { every = 30 }\n[channel.x]\npatterns = ["10"]\ntimer = {}\nenvelope = {}\n'


@pytest.mark.parametrize("seed", range(24))
def test_what_a_stretch_shows_from_a_state_on_the_whole_log_shows_too(seed: int) -> None:
    chip = draw_chip(Random(f"stretch {seed}"))
    log, middle, latency = random_log(chip, seed, length=12_000, writes=500), 6000, chip.bus.write_latency
    log = without(log, (log.cycle >= middle - latency) & (log.cycle < middle))  # nothing is on its way there
    later = log.cycle >= middle
    if chip.bus.access == "index-data" and log.address[later][0] != chip.bus.index_address:
        later[np.flatnonzero(later)[0]] = False
        log = without(log, (log.cycle >= middle) & ~later)
        later = log.cycle >= middle
    state = run(chip, log, end=middle).state.copy()
    state.cycle = 0
    part = make_log(log.cycle[later] - middle, log.address[later], log.value[later], end=log.end - middle)
    found = set(hits(chip, part, behaviours_of(chip), state))
    assert len(found) > 10
    assert found <= set(hits(chip, log, behaviours_of(chip)))


def without(log: RegisterLog, gone: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> RegisterLog:
    return make_log(log.cycle[~gone], log.address[~gone], log.value[~gone], end=log.end)


@pytest.mark.parametrize("spacing", [1, 4, 7])
def test_a_log_that_is_gone_on_with_keeps_what_it_was_and_shows_more_and_keeps_its_spacing(spacing: int) -> None:
    chip = tiny(FADING)
    short = make_log([5, 50], [0, 1], [1, 1], end=100)
    found = wander(chip, short, ChanceState(3), spacing)
    assert found.cut(0, short.end) == short
    assert int(np.diff(found.cycle).min()) >= spacing
    before, after = (cover(chip, [log], spacing=spacing) for log in (short, found))
    assert len(after.missing) < len(before.missing) / 4
    assert not after.against_reason
    assert found == wander(chip, short, ChanceState(3), spacing)


def test_a_log_that_shows_all_is_left_as_it_is() -> None:
    chip = tiny(FADING)
    whole = wander(chip, make_log([5], [0], [1], end=100), ChanceState(3), 4)
    assert not cover(chip, [whole]).missing
    assert wander(chip, whole, ChanceState(9), 4) is whole
