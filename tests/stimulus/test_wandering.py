"""What play with foresight leaves open is looked for in random stretches that begin where the log ends."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from psgmodel.coverage import cover
from psgmodel.coverage.covering import behaviours_of, hits
from psgmodel.engine import run
from psgmodel.engine.state import reset_state
from psgmodel.reglog import RegisterLog, make_log
from psgmodel.stimulus import random_log
from psgmodel.stimulus.chance import ChanceState
from psgmodel.stimulus.random_log import random_rows
from psgmodel.stimulus.wandering import wander
from tests.engine.tiny_units import VOLUME, Y, tiny
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
    short = make_log([5, 99], [0, 1], [1, 1], end=100)
    for seed in range(3, 20):
        (found,) = wander(chip, short, ChanceState(seed), spacing)
        assert found.cut(0, short.end) == short
        assert int(np.diff(found.cycle).min()) >= spacing
    before, after = (cover(chip, [log], spacing=spacing) for log in (short, found))
    assert len(after.missing) < len(before.missing) / 4
    assert not after.against_reason
    assert [found] == wander(chip, short, ChanceState(seed), spacing)


POWERED = """
bus = { access = "index-data", index_bits = 8, index_address = 0, data_address = 1, index_step = 0 }
constants = { "x.period" = 0 }
power = {}
register = [{ name = "SWITCH", address = 14, fields = [{ bits = "0", drives = "power" }] }]
"""


def test_a_stretch_knows_the_index_and_the_power_bit_that_it_begins_with() -> None:
    chip = tiny(POWERED)
    begun = make_log([0, 4, 8], [0, 1, 0], [14, 1, VOLUME], end=40)
    state = run(chip, begun).state.copy()
    state.cycle = 0
    found = hits(chip, make_log([4], [1], [7], end=20), behaviours_of(chip), state)
    assert "register.R1.written" in found
    assert "power.lost-write" not in found


RESTARTED = """
ticks = { t = { every = 12 } }
register = [{ name = "AGAIN", address = 0x30, fields = [{ bits = "0", strobes = "t.restart" }] }]
"""


@pytest.mark.parametrize(("edge", "due"), [(8, True), (9, False)])
def test_a_stretch_knows_when_a_divider_steps_next(edge: int, due: bool) -> None:
    """The divider steps every 12 cycles; at the beginning it has 8 to go, not as many as after reset."""
    chip = tiny(RESTARTED)
    state = run(chip, make_log([], [], [], end=4), end=4).state.copy()
    state.cycle = 0
    wait = chip.dividers["t"].first - 4
    state.dividers["t"] = [8, 0]
    assert wait != 8
    found = hits(chip, make_log([edge], [0x30], [1], end=40), behaviours_of(chip), state)
    assert ("divider.restart-t" in found) == due


def test_stretches_are_about_the_channel_that_they_should_be_about() -> None:
    chip = tiny("[channel.x]\n[channel.y]\n")
    rows = random_rows(chip, ChanceState(1), reset_state(chip), length=9000, writes=900, spacing=4, about=["y"])
    assert sum(address >= Y for _, address, _ in rows) > 0.75 * len(rows)


def test_writes_are_drawn_to_ticks_as_the_dividers_stand() -> None:
    chip = tiny(
        "sequencers = { s = { every = 100, first = 7, steps = 4 } }\n"
        'ticks = { t = { sequencer = "s", at = [0] } }\n[channel.x]\ntimer = {}\n'
    )
    state = reset_state(chip)
    state.dividers["s"] = [30, 2]  # steps 2 and 3 at 30 and 130, step 0 at 230
    drawn = random_rows(chip, ChanceState(1), state, length=4000, writes=60, spacing=1)
    assert sum(cycle % 400 == 230 for cycle, _, _ in drawn) >= 3
    assert sum(cycle % 400 == 30 for cycle, _, _ in drawn) <= 1


def test_a_log_that_shows_all_is_left_as_it_is() -> None:
    chip = tiny(FADING)
    (whole,) = wander(chip, make_log([5], [0], [1], end=100), ChanceState(3), 4)
    assert not cover(chip, [whole]).missing
    assert wander(chip, whole, ChanceState(9), 4) == [whole]
