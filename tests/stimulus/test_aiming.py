"""A stretch is cut off where a channel does something by itself, and something is done to it at that very edge."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

import numpy as np
import pytest

from psgmodel.coverage import cover
from psgmodel.coverage.covering import behaviours_of, hits
from psgmodel.engine import run
from psgmodel.engine.state import reset_state
from psgmodel.reglog import RegisterLog, make_log
from psgmodel.reglog.bus import register_writes
from psgmodel.stimulus.aiming import aim
from psgmodel.stimulus.chance import ChanceState
from psgmodel.stimulus.closing import closing_logs
from psgmodel.stimulus.shadow import ShadowState
from psgmodel.stimulus.wandering import _changes, _hushed, _over_ticks, _started, _stretch, _to_the_end, _without
from tests.engine.tiny_units import ENABLE, FADE, GATE, GO, LENGTH, PATTERN, PERIOD, START, STOP, VOLUME, Y, tiny
from tests.laws.generators import draw_chip

ENDING = "ticks = { t = { every = 977, first = 977 } }\n[channel.x]\ntimer = { bits = 2 }\n%s"
PLAYED = make_log(
    [0, 10, 20, 40, 1944, 1952, 5000],
    [VOLUME, LENGTH, ENABLE, GO, VOLUME, VOLUME, VOLUME],
    [7, 2, 1, START, 7, 7, 7],
    end=9000,
)
"""A note of two ticks: it ends at edge 1954, right after a write that does nothing."""

SLOW = ENDING % "step = { bits = 4, scale = 10000 }\n"
"""Its steps are longer than its notes."""
INDEXED = (
    'bus = { access = "index-data", index_bits = 8, index_address = 0, data_address = 1, index_step = 0 }\n'
    + ENDING % ""
)


def shots_of(text: str, log: RegisterLog, tries: int, spacing: int = 4, by: tuple[str, ...] = ()) -> list[RegisterLog]:
    chip = tiny(text)
    return aim(chip, ChanceState(3), reset_state(chip), log, "x", spacing, tries=tries, by=by)


def indexed(log: RegisterLog) -> RegisterLog:
    """The same register writes through an index port, 4 cycles between index and data."""
    rows = [
        row for c, a, v in zip(log.cycle, log.address, log.value, strict=True) for row in ((c, 0, a), (c + 4, 1, v))
    ]
    return make_log(*zip(*rows, strict=True), end=log.end)


def test_a_note_is_started_or_stopped_at_the_very_edge_at_which_it_runs_out() -> None:
    """By chance alone, that edge is met once in some thousand writes."""
    chip = tiny(ENDING % "")
    names = {"x.timer.end-at-start", "x.timer.end-at-stop"}
    wanted = [b for b in behaviours_of(chip) if b.bin.name in names]
    assert len(wanted) == 2
    seen = [set(hits(chip, shot, wanted)) for shot in shots_of(ENDING % "", PLAYED, 200)]
    assert set().union(*seen) == names
    assert sum(map(bool, seen)) > 20


@pytest.mark.parametrize(("text", "how"), [(ENDING % "", lambda log: log), (INDEXED, indexed)])
@pytest.mark.parametrize("spacing", [1, 4, 9])
def test_what_comes_before_the_shot_stays_and_its_writes_keep_their_distance(
    text: str, how: Callable[[RegisterLog], RegisterLog], spacing: int
) -> None:
    log = how(PLAYED)
    shots = shots_of(text, log, 60, spacing)
    assert len(shots) > 40
    for shot in shots:
        rows, before = (list(zip(x.cycle, x.address, x.value, strict=True)) for x in (shot, log))
        same = next(i for i, row in enumerate([*rows, None]) if i == len(before) or row != before[i])
        assert int(np.diff(shot.cycle)[same - 1 :].min()) >= spacing
        assert 0 < same >= len(shot) - 2
        assert shot.end > int(shot.cycle[-1])


def test_shots_go_to_ticks_too_and_to_edges_beside_them() -> None:
    edges = {int(shot.cycle[-1]) for shot in shots_of(SLOW, PLAYED, 200)}
    assert {977, 1954} <= edges
    due = {*range(977, 9000, 977), *range(40, 9000, 10_000)}
    assert edges <= {edge + beside for edge in due for beside in (-1, 0, 1)}


def test_where_nothing_is_ever_due_there_is_no_shot() -> None:
    assert shots_of("[channel.x]\n", make_log([0], [VOLUME], [7], end=900), 9) == []


def test_a_write_meets_the_end_of_a_step_too() -> None:
    """A step of 80 cycles of a channel without blocks ends at 120, 200, 280, ..."""
    text = "[channel.x]\nstep = { bits = 4, scale = 10 }\n"
    played = make_log([0, 10, 40, 300], [VOLUME, PERIOD, GO, VOLUME], [7, 7, START, 7], end=900)
    cycles = [int(shot.cycle[-1]) for shot in shots_of(text, played, 60)]
    assert sum((cycle - 40) % 80 == 0 for cycle in cycles) > 10


def test_a_gate_is_turned_where_something_is_due() -> None:
    text = ENDING % 'gate = true\n[[register]]\nname = "SPARE"\naddress = 0x70\n'
    played = make_log([0, 10, 20, 40], [VOLUME, LENGTH, ENABLE, GATE], [7, 2, 1, 1], end=9000)
    shots = shots_of(text, played, 200)
    turned = [s for s in shots if int(s.address[-1]) == GATE and int(s.value[-1]) == 0]
    assert sum(int(s.cycle[-1]) == 1954 for s in turned) > 3


FADING = ENDING % 'envelope = { ticks = "u", period_bits = 2 }\n'
TWO_TICKS = FADING.replace("first = 977 }", "first = 977 }, u = { every = 600, first = 500%s }")
NOTED = make_log(
    [0, 10, 20, 30, 40, 5000], [VOLUME, LENGTH, ENABLE, FADE, GO, VOLUME], [7, 2, 1, 1, START, 7], end=9000
)
"""A note that ends at edge 1954, and whose envelope makes a step at 500, 1100 and 1700."""


@pytest.mark.parametrize(
    ("by", "address", "values", "due"),
    [
        (("stop", "timer"), GO, {STOP}, {1954}),
        (("start", "envelope"), GO, {START}, {500, 1100, 1700}),
        (("timer.length", "timer"), LENGTH, set(range(8)), {1954}),
    ],
)
def test_most_shots_are_at_what_is_left_with_what_it_takes(
    by: tuple[str, ...], address: int, values: set[int], due: set[int]
) -> None:
    """Each of the three: what is written, and where; a shot goes to a tick at which nothing is due, too."""

    def met(by: tuple[str, ...]) -> int:
        shots = shots_of(TWO_TICKS % "", NOTED, 400, by=by)
        last = [(int(s.address[-1]), int(s.value[-1]), int(s.cycle[-1])) for s in shots]
        return sum(a == address and value in values and cycle in due for a, value, cycle in last)

    assert met(by) > 120 > 4 * met(())


def test_what_makes_a_tick_is_restarted_so_that_it_comes_where_something_is_due() -> None:
    """As they stand, the ticks meet at none of the first edges: 977 and 1954 are no 500 + 600 n."""
    again = '[[register]]\nname = "AGAIN"\naddress = 0x30\non_write = ["u.restart"]\n'
    text = TWO_TICKS % ', at_restart = "%s", after_restart = 450' + again
    for at, ahead in (("silent", {450}), ("tick", {0, 450})):
        chip = tiny(text % at)
        wanted = [b for b in behaviours_of(chip) if b.bin.name == "x.timer.end-at-envelope-step"]
        shots = [shot for shot in shots_of(text % at, NOTED, 300) if int(shot.address[-1]) == 0x30]
        cycles = {int(shot.cycle[-1]) for shot in shots}
        assert {1954 - a for a in ahead} <= cycles
        assert {1954 - 450 + 1, 1954 - 450 - 1} & cycles
        assert sum(bool(hits(chip, shot, wanted)) for shot in shots) > 3


@pytest.mark.parametrize("step", [0, 1])
def test_a_register_is_left_out_behind_an_index_port_too(step: int) -> None:
    chip = tiny(INDEXED.replace("index_step = 0", f"index_step = {step}"))
    port = [(0, 0, VOLUME), (4, 1, 5), (8, 1, 6), (12, 0, LENGTH), (16, 1, 1), (20, 0, VOLUME), (24, 1, 7), (28, 0, GO)]
    for address in (VOLUME, LENGTH, PERIOD):
        log = make_log(*zip(*_without(chip, port, address), strict=True), end=40)
        left, _ = register_writes(chip, log, 0)
        assert address not in left.address
        assert {VOLUME, LENGTH} - {address} <= set(left.address.tolist())


def test_a_register_is_left_out_at_its_mirrors_too() -> None:
    chip = tiny("mirror = [{ address = 0x80, size = 0x40, of = 0 }]\n[channel.x]\ntimer = {}\n")
    rows = [(0, VOLUME, 1), (4, LENGTH, 2), (8, 0x80 + VOLUME, 3), (12, 0x80 + LENGTH, 4)]
    assert _without(chip, rows, VOLUME) == [rows[1], rows[3]]


POWERED = 'power = {}\nconstants = { "x.period" = 0 }\n[channel.x]\ntimer = {}\n'


def test_where_clearing_is_left_open_stretches_leave_one_register_alone_after_the_power_was_off() -> None:
    chip = tiny(POWERED)
    left = {b.bin.name: b for b in behaviours_of(chip) if b.bin.name.startswith("power.") and "cleared" in b.bin.name}
    chance, kept = ChanceState(5), 0
    for _ in range(60):
        part = _stretch(chip, chance, reset_state(chip), left, "x", 4, 1000)
        switch = chip.fields["power"].segments[0]
        off = (part.address == switch.address) & (part.value >> switch.low & 1 == 0)
        first = [int(part.cycle[0]), bool(off[0])] if len(part) else [1, False]
        kept += first == [0, True]
    assert 15 < kept < 45


def test_others_are_hushed_though_an_idle_one_is_not_at_0() -> None:
    chip = tiny("[channel.x]\n[channel.y]\nidle_level = 3\nvolume_table = [9, 8, 0, 7, 6, 5, 4, 3]\n")
    writes = _hushed(chip, ChanceState(1), ShadowState(chip), "x")
    addresses, values = zip(*writes, strict=True)
    assert min(addresses) >= Y
    log = make_log(range(0, 10 * len(writes), 10), addresses, values, end=400)
    levels = run(chip, log)
    assert levels["y"].at([0, 399]).tolist() == [3, 0]
    assert levels["x"].at([399]).tolist() == [0]


def test_without_patience_nothing_is_looked_for_by_chance() -> None:
    chip = draw_chip(Random(4))
    (log,) = closing_logs(chip, patience=0)
    assert cover(chip, [log]).missing
    logs = closing_logs(chip)
    assert not cover(chip, logs).missing
    assert logs[0].cut(0, log.end) == log


HELD = """
    register = [
        { name = "HOLD", address = 0x30, held_until = "LET", fields = [{ bits = "2:0", drives = "x.volume" }] },
        { name = "LET", address = 0x31 },
    ]
    [channel.x]
"""


def test_what_a_set_up_writes_is_let_go_where_it_waits() -> None:
    chip = tiny(HELD)
    addresses = [address for address, _ in _changes(ShadowState(chip), {"x.volume": 5})]
    assert addresses == [0x30, 0x31]


def test_a_gate_is_shut_before_it_opens() -> None:
    chip = tiny('only_gated = ["x"]\n[channel.x]\ngate = true\n')
    assert _started(chip, ChanceState(1), ShadowState(chip), "x") == [(GATE, 1)]
    shadow = ShadowState(chip)
    shadow.set({"x.gate": 1})
    assert _started(chip, ChanceState(1), shadow, "x") == [(GATE, 0), (GATE, 1)]
    bare = tiny('only_gated = ["x"]\n[channel.x]\n')
    assert _started(bare, ChanceState(1), ShadowState(bare), "x") == []


ENDS = """
    mixer = { bits = 16, offset = 900 }
    [channel.x]
    levels = "bipolar"
    patterns = ["1100", "0001", "0111", "1010"]
    [channel.y]
    kind = "wave"
    levels = "bipolar"
    table = { samples = 4, bits = 4, per_address = 2 }
"""


@pytest.mark.parametrize(("top", "pattern"), [(True, 2), (False, 1)])
def test_all_channels_are_played_to_one_end(top: bool, pattern: int) -> None:
    """x goes to 7 or -7, y to 7 x 7 or -8 x 7: at once in three of four steps."""
    chip = tiny(ENDS)
    writes = _to_the_end(chip, ChanceState(1), ShadowState(chip), top=top)
    assert (PATTERN, pattern) in writes
    addresses, values = zip(*writes, strict=True)
    levels = run(chip, make_log(range(0, 4 * len(writes), 4), addresses, values, end=900))
    sums = levels["x"].at(range(500, 900)) + levels["y"].at(range(500, 900))
    end = 7 + 49 if top else -7 - 56
    assert np.mean(sums == end) == pytest.approx(0.75, abs=0.05)


def test_a_stretch_can_last_over_some_of_the_rarest_ticks() -> None:
    text = "sequencers = { s = { every = 50000, first = 0, steps = 4 } }\n"
    text += 'ticks = { t = { every = 10 }, u = { sequencer = "s", at = [0, 1] } }\n[channel.x]\n'
    assert _over_ticks(tiny(text)) == 3 * 100_000
    assert _over_ticks(tiny("[channel.x]\n")) == 100_000
