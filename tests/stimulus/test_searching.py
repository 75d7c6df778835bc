"""What directed play misses is looked for by chance, on copies: nothing but what shows something is written."""

from __future__ import annotations

import numpy as np

from psgmodel.chip import Chip
from psgmodel.coverage import Bin
from psgmodel.coverage.bins import Behaviour
from psgmodel.coverage.covering import channel_behaviours
from psgmodel.coverage.moments import Moments
from psgmodel.steps import constant_steps
from psgmodel.stimulus.chance import ChanceState
from psgmodel.stimulus.notes import Notes
from psgmodel.stimulus.player import Player
from psgmodel.stimulus.schedule import Schedule
from psgmodel.stimulus.searching import Trial, search
from psgmodel.stimulus.shadow import ShadowState
from tests.engine.tiny_units import PERIOD, VOLUME, tiny

QUICK = '[ticks]\nt = { every = 3 }\n[channel.x]\npatterns = ["10"]\ntimer = {}\nenvelope = {}\n'


def player_of(chip: Chip) -> Player:
    return Player(chip, ["x"], Schedule(chip, 4), ChanceState(1), ShadowState(chip), 4)


def standing(player: Player) -> tuple[object, ...]:
    """All that later writes depend on."""
    x = player.followers["x"]
    own = (x.now, x.fields, x.watched.state(), len(x.watched.rows), x.next_own)
    return (*own, player.now, player.schedule.rows(), dict(player.shadow.stored), dict(player.held), player.restarts)


def shown(player: Player, names: set[str]) -> set[str]:
    rows = player.followers["x"].watched.rows
    m = Moments(player.chip, "x", player.followers["x"].shown(), constant_steps(1, 0, rows[-1][0] + 1))
    return {b.bin.name for b in channel_behaviours(player.chip, "x") if b.bin.name in names and np.any(b.seen(m))}


def test_a_trial_leaves_the_player_as_it_was() -> None:
    player = player_of(tiny(QUICK))
    Notes(player, "x").hear(timer_enable=1, timer_length=5)
    before = standing(player)
    trial = Trial(player)
    Notes(trial, "x").hear(timer_enable=1, timer_length=3)
    trial.wait(trial.now + 200)
    assert trial.done
    assert standing(player) == before


def test_a_trial_that_is_written_down_goes_as_it_went() -> None:
    player = player_of(tiny(QUICK))
    trial = Trial(player)
    Notes(trial, "x").hear(timer_enable=1, timer_length=7, envelope_period=1, volume=6)
    trial.wait(trial.now + 100)
    for edge, write in trial.done:
        assert player.write(write, edge)
    player.wait(trial.now + 1)
    assert player.followers["x"].watched.state() == trial.followers["x"].watched.state()
    assert player.followers["x"].watched.rows[-5:] == trial.followers["x"].watched.rows[-5:]
    assert player.schedule.rows() == trial.schedule.rows()


def test_what_lasts_a_few_cycles_is_found_and_struck_out() -> None:
    """Notes of at most 8 ticks, 3 cycles apart, on a bus with 4 cycles from write to write."""
    player = player_of(tiny(QUICK))
    wanted = {f"x.{what}" for what in ("timer.end-at-start", "timer.end-at-stop", "envelope.step-at-stop")}
    left = {b.bin.name.partition(".")[2]: b for b in channel_behaviours(player.chip, "x") if b.bin.name in wanted}
    assert len(left) == 3

    def look() -> None:
        for name in shown(player, wanted):
            left.pop(name.partition(".")[2], None)

    search(player, "x", left, look)
    assert not left
    assert shown(player, wanted) == wanted
    cycles = [cycle for cycle, _, _ in player.schedule.rows()]
    assert min(np.diff(cycles)) >= 4


def test_what_is_not_found_is_not_written() -> None:
    player = player_of(tiny(QUICK))
    before = standing(player)
    nothing = Behaviour(Bin("x.never", "never seen"), lambda m: np.zeros(m.edge.shape, np.bool_))
    search(player, "x", {"never": nothing}, lambda: None)
    assert standing(player) == before


def test_a_trial_names_the_first_step_that_the_bus_can_meet() -> None:
    """Ticks come at edges 2, 5, 8 and so on, and each of them is a step."""
    player = player_of(tiny(QUICK))
    Notes(player, "x").hear(envelope_period=1, volume=4)
    trial = Trial(player)
    edge = trial.due("x", "envelope")
    assert trial.ready("x") <= edge < trial.ready("x") + 3
    assert edge % 3 == 2


def test_a_trial_keeps_off_cycles_that_another_player_has_taken() -> None:
    player = player_of(tiny(QUICK))
    player.schedule.put_row(50, 1, 1)
    trial = Trial(player)
    assert [trial.schedule.is_free(cycle) for cycle in (46, 47, 50, 53, 54)] == [True, False, False, False, True]


INDEXED = (
    'bus = { access = "index-data", index_bits = 8, index_address = 0, data_address = 1, index_step = 0 }\n' + QUICK
)


def test_a_register_is_written_again_by_its_data_alone_where_the_index_stands_and_the_spacing_is_kept() -> None:
    player = player_of(tiny(INDEXED))
    assert player.write((VOLUME, 3))
    written = player.now
    assert not player.again((VOLUME, 5), written + 3)
    assert not player.again((PERIOD, 5), written + 9)
    player.wait(written + 9)
    assert not player.again((VOLUME, 5), written + 8)
    assert player.again((VOLUME, 5), written + 9)
    assert not player.again((VOLUME, 6), written + 9)
    assert player.again((VOLUME, 6))
    assert [row for row in player.schedule.rows() if row[0] > written] == [(written + 9, 1, 5), (written + 13, 1, 6)]
    assert player.followers["x"].fields["volume"] == 6
    player.schedule.put_row(player.now + 4, 0, PERIOD)  # another player moves the index
    assert not player.again((VOLUME, 7), player.now + 20)
