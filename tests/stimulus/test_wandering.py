"""What play with foresight leaves open is looked for in random stretches that begin where the log ends."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import numpy as np
import pytest

from psgmodel.coverage import cover
from psgmodel.coverage.covering import behaviours_of, hits
from psgmodel.engine import run
from psgmodel.engine.state import reset_state
from psgmodel.reglog import RegisterLog, make_log
from psgmodel.stimulus import closing_logs, random_log
from psgmodel.stimulus.chance import ChanceState
from psgmodel.stimulus.random_log import LARGEST_CROWD, random_rows
from psgmodel.stimulus.wandering import _cut_short, wander
from tests.engine.tiny_units import GO, START, STOP, VOLUME, Y, tiny
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
        found = wander(chip, short, ChanceState(seed), spacing)
        assert found[0].cut(0, short.end) == short
        assert min(int(np.diff(log.cycle).min()) for log in found if len(log) > 1) >= spacing
    before, after = (cover(chip, logs, spacing=spacing) for logs in ([short], found))
    assert len(after.missing) < len(before.missing) / 4
    assert not after.against_reason
    assert found == wander(chip, short, ChanceState(seed), spacing)


def test_a_stretch_is_cut_short_as_far_as_it_shows_what_it_shows() -> None:
    chip = tiny("[channel.x]\n")
    wanted = [b for b in behaviours_of(chip) if b.bin.name in ("x.start.idle", "x.stop.sounding")]
    rows = [(4, VOLUME, 7), (8, GO, START), (300, GO, STOP), *((c, VOLUME, 7) for c in range(2000, 60_000, 500))]
    part = make_log(*zip(*rows, strict=True), end=64_000)
    short = _cut_short(chip, reset_state(chip), part, wanted, 4)
    assert short.cut(0, 301) == part.cut(0, 301)
    assert len(short) == 3
    assert 300 < short.end < 600
    assert set(hits(chip, short, wanted)) == {"x.start.idle", "x.stop.sounding"}


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


ONCE_ONLY = """
    constants = { "x.timer.length" = 2, "x.timer.enable" = 1, "x.volume" = 7, "x.period" = 3 }
    register = [{ name = "STRIKE", address = 0x30, fields = [{ bits = "0", strobes = "x.start" }] }]
    [channel.x]
    timer = { at_zero = "go-on" }
"""
"""Nothing stops x: it is started while idle once after reset. Ticks come at 10, 20, 30 and so on."""
AT_TICK = "x.timer.tick-at-start-idle"


@pytest.mark.parametrize("seed", range(4))
def test_what_happens_only_once_after_reset_is_found_in_a_second_log_from_reset(seed: int) -> None:
    chip = tiny(ONCE_ONLY)
    begun = make_log([15], [0x30], [START], end=40, source="begun")
    found = wander(chip, begun, ChanceState(seed), 4, 60)
    assert [log.source for log in found] == ["begun", "begun, part 2"]
    assert found[0].cut(0, 40) == begun
    alone = [cover(chip, [log]) for log in found]
    assert [b.name for b in alone[0].missing] == [AT_TICK]
    assert AT_TICK in alone[1].logs[0].hits
    starts = found[1].cycle[found[1].value & 1 == 1]
    assert starts[0] % 10 == 0
    assert int(np.diff(found[1].cycle, append=found[1].end).min()) >= 4
    both = cover(chip, found)
    assert both.missing == both.against_reason == ()


APART = """
    ticks = { t = { every = 10, first = 10 }, u = { every = 10, first = 15 } }
    constants = { "x.timer.length" = 2, "x.timer.enable" = 1, "x.volume" = 7, "x.period" = 3, "x.envelope.period" = 2 }
    register = [{ name = "STRIKE", address = 0x30, fields = [{ bits = "0", strobes = "x.start" }] }]
    [channel.x]
    timer = { at_zero = "go-on" }
    envelope = { ticks = "u" }
"""
"""The only idle start meets a tick of the timer or one of the envelope."""


def test_there_are_as_many_logs_from_reset_as_it_takes_to_show_what_excludes_one_another() -> None:
    chip = tiny(APART)
    found = wander(chip, make_log([13], [0x30], [START], end=40, source="begun"), ChanceState(2), 4, 60)
    assert [log.source for log in found] == ["begun", "begun, part 2", "begun, part 3"]
    wanted = {AT_TICK, "x.envelope.tick-at-start-idle"}
    shown = [wanted & set(cover(chip, [log]).logs[0].hits) for log in found]
    assert shown[0] == set()
    assert [len(names) for names in shown[1:]] == [1, 1]
    assert set().union(*shown) == wanted
    assert cover(chip, found).missing == ()


@pytest.mark.parametrize("seed", [1, 2])
def test_a_chip_with_nothing_left_has_one_closing_log(seed: int) -> None:
    chip = tiny("[channel.x]\n")
    (log,) = closing_logs(chip, seed)
    assert log.source == f"closing log, seed {seed}"
    assert cover(chip, [log]).missing == ()


def groups_of(cycles: list[int], spacing: int) -> list[list[int]]:
    """Return cycles in groups of those that are about as close as the bus allows."""
    found = [cycles[:1]]
    for before, cycle in pairwise(cycles):
        found += [] if cycle - before <= 2 * spacing + 2 else [[]]
        found[-1].append(cycle)
    return found


@pytest.mark.parametrize("spacing", [1, 5])
def test_a_crowd_is_about_as_dense_as_the_bus_allows_and_is_where_one_of_its_writes_was(spacing: int) -> None:
    chip = tiny("[channel.x]\n")

    def drawn(crowded: bool) -> list[tuple[int, int, int]]:
        chance, state = ChanceState(7), reset_state(chip)
        return random_rows(chip, chance, state, length=10**7, writes=400, spacing=spacing, crowded=crowded)

    loose, crowded = drawn(False), drawn(True)
    assert [row[1:] for row in crowded] == [row[1:] for row in loose]
    groups = groups_of([cycle for cycle, _, _ in crowded], spacing)
    assert {len(group) for group in groups} == set(range(1, LARGEST_CROWD + 1))
    assert len(groups_of([cycle for cycle, _, _ in loose], spacing)) > 395
    gaps = np.concatenate([np.diff(group) for group in groups])
    assert gaps.min() == spacing
    assert 0.4 < np.mean(gaps == spacing) < 0.9
    first = np.cumsum([0, *map(len, groups[:-1])]).tolist()
    off = [min(abs(loose[i][0] - cycle) for cycle in group) for i, group in zip(first, groups, strict=True)]
    assert max(off) <= 2 * spacing * LARGEST_CROWD
    assert len({int(np.searchsorted(g, loose[i][0])) for i, g in zip(first, groups, strict=True)}) >= LARGEST_CROWD - 1


def test_a_crowd_behind_an_index_port_takes_an_index_for_each_of_its_writes() -> None:
    chip = tiny(POWERED.replace("power = {}", "").replace('drives = "power"', 'strobes = "x.start"'))
    state, spacing = reset_state(chip), 4
    rows = random_rows(chip, ChanceState(3), state, length=10**7, writes=600, spacing=spacing, crowded=True)
    sizes = [len(group) for group in groups_of([cycle for cycle, _, _ in rows], spacing)]
    assert max(sizes) >= 2 * LARGEST_CROWD
    assert sum(size % 2 for size in sizes) < 0.2 * len(sizes)
    assert min(np.diff([cycle for cycle, _, _ in rows])) == spacing


@pytest.mark.parametrize("seed", range(4))
def test_it_is_told_how_much_was_in_vain(seed: int) -> None:
    """Five tries from where the log ends, then ten from reset; both begin anew where something was found."""
    chip = tiny(ONCE_ONLY)
    told: list[tuple[int, int]] = []
    begun = make_log([15], [0x30], [START], end=40, source="begun")
    logs = wander(chip, begun, ChanceState(seed), 4, 5, lambda vain, of: told.append((vain, of)))
    assert {of for _, of in told} == {15}
    vain = [number for number, _ in told]
    assert vain[0] == 0
    assert vain[vain.index(4) + 1] == 5
    assert all(b in (a + 1, 0, 5) for a, b in pairwise(vain))
    assert (vain[-1] == 14) == bool(cover(chip, logs).missing)
    told.clear()
    wander(chip, begun, ChanceState(seed), 4, 0, lambda vain, of: told.append((vain, of)))
    assert told == []
