"""The changes that are tried: all that the option tables allow, each once, the simplest first, legal ones only."""

from __future__ import annotations

from dataclasses import dataclass, replace
from random import Random
from typing import Literal

import pytest

from psgmodel.chip import Chip, load_chip
from psgmodel.chip.options import choices_of, option, options_of
from psgmodel.diagnose.changes import SILENT_OPTIONS, Change, changes_of, write_changes
from psgmodel.diagnose.edits import Edit, edited, touched_channels, touches_mixer, value_at
from psgmodel.diagnose.moves import Move, moves_of
from psgmodel.engine.alone import run_channel
from psgmodel.reglog import make_log
from tests.laws.generated_logs import draw_log
from tests.laws.generators import draw_chip

LINNET = load_chip("patches/linnet.toml")


def values(kind: object, value: object, **meta: int) -> list[object]:
    return [moved.value for moved in moves_of(kind, value, meta)]


def told(chip: Chip) -> dict[str, Change]:
    return {str(change): change for change in changes_of(chip)}


def test_a_closed_choice_goes_to_each_other_word() -> None:
    assert values(Literal["left", "right", "both"], "right") == ["left", "both"]
    assert values(bool, False) == [True]


def test_a_number_goes_one_two_three_off_then_double_and_half_within_its_bounds() -> None:
    assert values(int, 8, at_least=1, at_most=2**20) == [9, 7, 10, 6, 11, 5, 16, 4, 32, 2]
    assert values(int, 0, at_least=0, at_most=4) == [1, 2, 3, 4]


def test_a_tap_moves_to_every_other_position_but_not_onto_another_tap() -> None:
    found = values(tuple[int, ...], (5, 3), at_least=1, at_most=5)
    assert [4, 3] not in found
    assert {(5, 4), (5, 2), (5, 1), (4, 3), (2, 3), (1, 3), (3,), (5,), (5, 3, 1), (3, 5), (5, 2)} <= set(found)
    assert (3, 3) not in found
    assert (5, 5) not in found


def test_a_pattern_has_each_bit_inverted_and_is_turned_round_shifted_and_inverted() -> None:
    found = values(tuple[str, ...], ("1000", "1100"))
    assert {("0000", "1100"), ("1010", "1100"), ("1000", "1101")} <= set(found)
    assert {("0001", "1100"), ("0001", "0011"), ("1100", "1000"), ("0111", "0011"), ("0001", "1001")} <= set(found)
    assert len(found) == len(set(found))


def test_a_change_is_worded_as_the_description_writes_it() -> None:
    found = told(load_chip("patches/siskin.toml"))
    assert 'sequencers.beat.at_restart = "silent"' in found
    assert 'channel.v.table.order = "low-first"' in found


def test_simpler_moves_come_first() -> None:
    moves = [moved.move for moved in moves_of(tuple[int, ...], (8, 4), {"at_least": 1, "at_most": 2**20})]
    assert moves == sorted(moves, key=list(Move).index)
    change = told(LINNET)
    simple, wiring = change['channel.a.sweep.overflow = "hold"'], change["bit 3 and bit 5 of ROUTE were exchanged"]
    assert simple.simplicity < change["channel.a.step.offset = 2"].simplicity < wiring.simplicity


def test_every_closed_choice_of_every_block_of_linnet_is_tried() -> None:
    known = told(LINNET)
    for name, channel in LINNET.channels.items():
        for block in ("step", "timer", "envelope", "sweep", "table", "register"):
            record = getattr(channel, block)
            for item, kind in options_of(type(record)) if record is not None else ():
                old = getattr(record, item.name)
                others = [word for word in choices_of(kind) if word != old and item.name not in SILENT_OPTIONS]
                for word in others:
                    edit = Edit(("channels", name, block, item.name), f"channel.{name}.{block}.{item.name}", old, word)
                    assert edited(LINNET, [edit]) is None or str(edit) in known


def test_an_option_that_is_added_is_tried_without_a_word_of_code() -> None:
    from psgmodel.diagnose.changes import _record_edits

    @dataclass(frozen=True)
    class Vibrato:
        depth: int = option("How deep.", default=2, at_least=0, at_most=4)
        shape: Literal["round", "square"] = option("What shape.", default="round")

    found = [str(edit) for edit, _ in _record_edits(LINNET, Vibrato, Vibrato(), ("channels", "a", "vibrato"))]
    depths = [f"channel.a.vibrato.depth = {n}" for n in (3, 1, 4, 0)]
    assert sorted(found) == sorted([*depths, 'channel.a.vibrato.shape = "square"'])


def test_a_rule_that_needs_a_number_gets_the_smallest_legal_one() -> None:
    (change,) = (c for c in changes_of(LINNET) if str(c).startswith('channel.b.step.rule = "down-from"'))
    assert str(change) == 'channel.b.step.rule = "down-from" and channel.b.step.top = 4096'


@pytest.mark.parametrize(
    "text",
    [
        "channel.a.step.offset = 0",  # a step of no length
        "channel.a.step.bits = 13",  # a bit that no register drives
        "channel.noise.register.seed = 0",  # never moves
        "channel.noise.register.bits = 16",  # position 17 is gone
        "channel.wave.table.samples = 128",  # what lies behind belongs to nobody
        "mixer.trims = [8, 6, 4]",  # a field value without an entry
    ],
)
def test_what_no_description_may_say_is_not_tried(text: str) -> None:
    assert text not in told(LINNET)


def test_a_narrower_field_loses_its_upper_bits() -> None:
    changed = told(LINNET)["channel.b.step.bits = 11"].apply(LINNET, make_log([], [], []))
    assert changed is not None
    field = changed[0].fields["b.period"]
    assert (field.bits, [(s.width, s.field_low) for s in field.segments]) == (11, [(8, 0), (3, 8)])


@pytest.mark.parametrize(
    ("text", "channels", "mixer"),
    [
        ("channel.b.timer.bits = 8", {"b"}, False),
        ("ticks.timing.every = 20481", {"a", "b", "wave", "noise"}, False),
        ("ticks.bending.first = 30001", {"a"}, False),
        ("mixer.gains.b = 3", set(), True),
        ("bus.write_latency = 1", {"a", "b", "wave", "noise"}, True),
        ("bit 3 and bit 5 of ROUTE were exchanged", set(), True),
        ("any write to B_NOTE caused b.start", {"b"}, False),
        ("N_CLOCK and N_TONE had each other's address", {"noise"}, False),
        ("register.ROUTE.reset = 0xFE instead of 0xFF", set(), True),
    ],
)
def test_a_change_touches_what_it_can_change_and_nothing_else(text: str, channels: set[str], mixer: bool) -> None:
    made = told(LINNET)[text].apply(LINNET, make_log([], [], []))
    assert made is not None
    assert touched_channels(made[0], LINNET) == channels
    assert touches_mixer(made[0], LINNET) == mixer


def test_only_what_is_changed_differs() -> None:
    made = told(LINNET)["channel.noise.register.taps = [17, 11]"].apply(LINNET, make_log([], [], []))
    assert made is not None
    assert value_at(made[0], ("channels", "noise", "register", "taps")) == (17, 11)
    register = LINNET.channels["noise"].register
    assert register is not None
    noise = replace(LINNET.channels["noise"], register=replace(register, taps=(17, 11)))
    assert made[0] == replace(LINNET, channels={**LINNET.channels, "noise": noise})


@pytest.mark.parametrize("seed", range(8))
def test_every_change_of_a_generated_chip_can_be_run(seed: int) -> None:
    rng = Random(seed)
    chip = draw_chip(rng)
    log = draw_log(rng, chip, 1500, 30)
    changes = list(changes_of(chip))
    for change in rng.sample(changes, min(200, len(changes))):
        made = change.apply(chip, log)
        assert made is not None
        for name in touched_channels(made[0], chip):
            assert run_channel(made[0], log, name).level.end == log.end


def test_writes_are_lost_doubled_or_late_and_a_register_goes_deaf() -> None:
    log = make_log([5, 9, 20], [0x10, 0x16, 0x08], [7, 1, 3], end=100)
    found = {str(c): c for c in write_changes(LINNET, log, "b", 50)}
    assert list(found)[:2] == ["no write reached B_PITCH", "no write reached B_GO"]
    lost = found["the write at cycle 9 (B_GO 0x16: b.start) had been lost"].apply(LINNET, log)
    late = found["the write at cycle 9 (B_GO 0x16: b.start) had come 3 cycles later"].apply(LINNET, log)
    twice = found["the write at cycle 5 (B_PITCH 0x10: b.period[7:0] = 7) had been made again one cycle later"]
    doubled = twice.apply(LINNET, log)
    assert lost is not None
    assert late is not None
    assert doubled is not None
    assert lost[1] == make_log([5, 20], [0x10, 0x08], [7, 3], end=100)
    assert late[1] == make_log([5, 12, 20], [0x10, 0x16, 0x08], [7, 1, 3], end=100)
    assert doubled[1] == make_log([5, 6, 9, 20], [0x10, 0x10, 0x16, 0x08], [7, 7, 1, 3], end=100)
