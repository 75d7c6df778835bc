"""Why something is out of reach where notes are over soon: each description has its reason; nearly the same one has
none, and a log shows there what the other one rules out.

Ticks come at 10, 20, 30 and so on where nothing else is said; GO acts at the edge of its write.
"""

from __future__ import annotations

import pytest

from psgmodel.coverage import cover
from psgmodel.stimulus import closing_logs
from tests.coverage.tiny_hand import Rows, assert_kept, reason_of, shown
from tests.engine.tiny_units import BOTH, ENABLE, FADE, FALLING, GO, LENGTH, PERIOD, RISING, SHIFT, VOLUME, tiny

ONCE = """
    constants = { "x.period" = %s }
    [channel.x]
    kind = "wave"
    table = { samples = 2, bits = 2, after_last = "stop" }
"""
OVER = "a note of x is over after 2 cycles, and the next write comes 4 cycles after its start"
LATER = "a note of x is over after 4 cycles, and the next write comes 8 cycles after its start"
ONCE_FAR = """
    bus = { access = "index-data", index_bits = 8, index_address = 0, data_address = 1, index_step = %s }
    constants = { "x.period" = 1 }
    [channel.x]
    kind = "wave"
    table = { samples = 2, bits = 2, after_last = "stop" }
"""
SHORT = "ticks = { t = { every = %s } }\n[channel.x]\ntimer = { bits = 1 }\n"
TIMED_OVER = "a note of x whose timer is on is over after 2 cycles, and the next write comes 4 cycles after its start"
ONE_TICK = 'ticks = { t = { every = 3 } }\nconstants = { "x.timer.length" = %s }\n[channel.x]\ntimer = { bits = 2 }\n'
TIMED_OVER_3 = TIMED_OVER.replace("2 cycles", "3 cycles")
FADES = """
    constants = { "x.timer.enable" = 1, "x.envelope.period" = 0 }
    [channel.x]
    timer = { bits = 2 }
    envelope = { period_zero = "longest", period_bits = %s }
"""
GLIDES = """
    constants = { "x.timer.enable" = 1, "x.sweep.period" = 0 }
    [channel.x]
    timer = { bits = 2 }
    sweep = { period_zero = "longest", period_bits = %s, shift_bits = 2 }
"""
NEVER_8 = "no note of x lasts for 8 ticks of t"
LOADED = """
    constants = { "x.timer.enable" = 1 }
    register = [
        { name = "LOAD", address = 0x20, on_write = [%s], fields = [{ bits = "2:0", drives = "x.BLOCK.period" }] },
        { name = "STRIKE", address = 0x30, fields = [{ bits = "0", strobes = "x.start" }] },
    ]
    [channel.x]
    timer = { bits = 2 }
"""
FADE_LOADED = LOADED.replace("BLOCK", "envelope") + 'envelope = { period_zero = "longest", period_bits = 3 }\n'
GLIDE_LOADED = (
    LOADED.replace("BLOCK", "sweep") + 'sweep = { period_zero = "longest", period_bits = 3, shift_bits = 2 }\n'
)
TURNED = """
    ticks = { t = { every = %s } }
    constants = { "x.sweep.period" = 1 }
    [channel.x]
    sweep = { overflow = "hold" }
"""
TURNED_LATE = "a sweep makes a step within 1 cycle, and is turned 4 cycles later at the soonest"
SINKS = """
    constants = { "x.timer.enable" = 1, "x.volume" = 7, "x.envelope.rising" = 0 }
    [channel.x]
    timer = { bits = %s }
    envelope = {}
"""
CLIMBS = """
    constants = { "x.timer.enable" = 1, "x.volume" = 0, "x.envelope.rising" = 1 }
    [channel.x]
    timer = { bits = %s }
    envelope = {}
"""
ENDS = """
    constants = { "x.timer.enable" = 1, "x.envelope.period" = 0 }
    [channel.x]
    timer = { bits = 2 }
    envelope = { at_zero = "stop", period_zero = "longest", period_bits = %s }
"""

LOUD: Rows = [(0, VOLUME, 7)]
TWICE: Rows = [(0, 0, VOLUME), (4, 1, 7), (8, 0, GO), (12, 1, 1), (16, 1, 1)]
"""An index port is at 0, its data at 1: GO is written twice."""
SOFT: Rows = [(0, VOLUME, 3), (4, RISING, 1)]
"""A note with volume 3 that rises begins after this."""
BELOW: Rows = [(0, VOLUME, 3), (4, PERIOD, 3), (8, SHIFT, 1)]
"""A note with period 3 that is swept up by half of it begins after this."""


@pytest.mark.parametrize(
    ("out", "within", "name", "reason", "rows", "end"),
    [
        (ONCE % 0, ONCE % 1, "x.start.again", OVER, [*LOUD, (4, GO, 1), (8, GO, 1)], 20),
        (ONCE % 0, ONCE % 1, "x.wave.end-at-start", OVER, [*LOUD, (4, GO, 1), (8, GO, 1)], 20),
        (ONCE % 0, ONCE % 1, "x.stop.sounding", OVER, [*LOUD, (4, GO, 1), (8, GO, 2)], 20),
        (ONCE % 0, ONCE % 1, "x.step.end-at-stop", OVER, [*LOUD, (4, GO, 1), (8, GO, 2)], 20),
        (ONCE % 0, ONCE % 1, "x.wave.end-at-stop", OVER, [*LOUD, (4, GO, 1), (8, GO, 2)], 20),
        (ONCE % 0, ONCE % 1, "x.step.volume-at-end", OVER, [*LOUD, (4, GO, 1), (8, VOLUME, 5)], 20),
        # behind an index port that steps on by 1 another index has to be written before GO
        (ONCE_FAR % 1, ONCE_FAR % 0, "x.start.again", LATER, TWICE, 30),
        # ticks at 1, 3, 5: a start at the tick 11 with length 0, which is 2 ticks, ends at 15
        (SHORT % 1, SHORT % 2, "x.timer.end-at-stop", TIMED_OVER, [*LOUD, (11, GO, 1), (15, GO, 2)], 20),
        (SHORT % 1, SHORT % 2, "x.timer.end-at-start", TIMED_OVER, [*LOUD, (11, GO, 1), (15, GO, 1)], 20),
        (SHORT % 1, SHORT % 2, "x.timer.tick-at-start-sounding", TIMED_OVER, [*LOUD, (11, GO, 1), (15, GO, 1)], 20),
        (SHORT % 1, SHORT % 2, "x.timer.off-at-end", TIMED_OVER, [*LOUD, (11, GO, 1), (15, ENABLE, 0)], 20),
        (SHORT % 1, SHORT % 2, "x.timer.length-in-note", TIMED_OVER, [*LOUD, (11, GO, 1), (15, LENGTH, 1)], 20),
        (ONE_TICK % 1, ONE_TICK % 2, "x.timer.off-between", TIMED_OVER_3, [*LOUD, (11, GO, 1), (15, ENABLE, 0)], 20),
        # length 0 is 4 ticks, and so is the period 0 of 2 bits: from 12 on to 50
        (FADES % 3, FADES % 2, "x.envelope.up", NEVER_8, [*SOFT, (12, GO, 1)], 60),
        (FADES % 3, FADES % 2, "x.envelope.still", NEVER_8, [*SOFT, (12, GO, 1)], 60),
        (FADES % 3, FADES % 2, "x.timer.end-at-envelope-step", NEVER_8, [*SOFT, (12, GO, 1)], 60),
        (FADES % 3, FADES % 2, "x.envelope.step-at-start", NEVER_8, [*SOFT, (12, GO, 1), (50, GO, 1)], 60),
        (FADES % 3, FADES % 2, "x.envelope.step-at-stop", NEVER_8, [*SOFT, (12, GO, 1), (50, GO, 2)], 60),
        (FADES % 3, FADES % 2, "x.envelope.volume-at-step", NEVER_8, [*SOFT, (12, GO, 1), (50, VOLUME, 7)], 60),
        (ENDS % 3, ENDS % 2, "x.envelope.ends", NEVER_8, [(0, VOLUME, 1), (12, GO, 1)], 60),
        (GLIDES % 3, GLIDES % 2, "x.sweep.up", NEVER_8, [*BELOW, (12, GO, 1)], 60),
        (GLIDES % 3, GLIDES % 2, "x.sweep.still", NEVER_8, [*BELOW, (12, GO, 1)], 60),
        (GLIDES % 3, GLIDES % 2, "x.sweep.rising-shift=1", NEVER_8, [*BELOW, (12, GO, 1)], 60),
        (GLIDES % 3, GLIDES % 2, "x.timer.end-at-sweep-step", NEVER_8, [*BELOW, (12, GO, 1)], 60),
        # the period of a note that 1 has loaded is 0 before the tick at 20
        (FADE_LOADED % '"x.start"', FADE_LOADED % "", "x.envelope.still", NEVER_8,
         [(0, VOLUME, 3), (4, 0x20, 1), (12, 0x30, 1), (16, 0x20, 0)], 60),
        (GLIDE_LOADED % '"x.start"', GLIDE_LOADED % "", "x.sweep.still", NEVER_8,
         [(0, VOLUME, 3), (4, 0x20, 1), (12, 0x30, 1), (16, 0x20, 0)], 60),
        # ticks at 9, 14, 19: the sweep is turned between a start at the tick and the next one
        (TURNED % 1, TURNED % 5, "x.sweep.turned-fresh", TURNED_LATE,
         [(0, VOLUME, 3), (4, PERIOD, 3), (8, FALLING, 1), (14, GO, 1), (18, FALLING, 0)], 30),
        # 7 down to 2 takes 5 ticks: 20 to 60
        (SINKS % 1, SINKS % 3, "x.level=2", "the envelope never comes to 2", [(0, FADE, 1), (12, GO, 1)], 80),
        # 8 ticks, 20 to 90: the eighth finds 7
        (CLIMBS % 1, CLIMBS % 3, "x.envelope.top", "from no level that it comes to does a step by 1 lead past the top",
         [(0, FADE, 1), (12, GO, 1)], 100),
    ],
)  # fmt: skip
def test_what_a_brief_note_leaves_no_time_for_has_its_reason(
    out: str, within: str, name: str, reason: str, rows: Rows, end: int
) -> None:
    assert reason_of(out, name) == reason
    assert reason_of(within, name) == ""
    assert name in shown(within, rows, end)
    assert_kept(out)


def test_a_fast_bus_reaches_what_comes_too_soon_for_a_slow_one() -> None:
    assert reason_of(ONCE % 0, "x.stop.sounding", spacing=2) == ""
    assert reason_of(ONCE % 0, "x.stop.sounding", spacing=3) == OVER.replace("comes 4", "comes 3")


@pytest.mark.parametrize(
    ("delay", "reason"), [(0, OVER), (1, OVER.replace("comes 4", "comes 3")), (2, ""), (3, ""), (4, ""), (7, "")]
)
def test_a_field_is_written_in_a_brief_note_that_begins_long_enough_after_the_write_that_starts_it(
    delay: int, reason: str
) -> None:
    """A note of 2 cycles that is asked for at 4; the volume is written where it ends, 4 cycles later or more."""
    text, end = ONCE % 0 + f"start_delay = {delay}\n", 4 + delay + 2
    assert reason_of(text, "x.step.volume-at-end") == reason
    if not reason:
        assert "x.step.volume-at-end" in shown(text, [*LOUD, (4, GO, 1), (end, VOLUME, 5)], 20)
    assert_kept(text)


@pytest.mark.parametrize("delay", [0, 1, 2])
def test_a_strobe_that_acts_later_comes_no_sooner_after_another(delay: int) -> None:
    text = ONCE % 0 + f"start_delay = {delay}\n"
    assert {reason_of(text, name) for name in ("x.start.again", "x.stop.sounding")} == {OVER}


def test_a_note_that_plays_from_reset_on_is_not_said_to_be_over_before_a_write() -> None:
    text = ONCE % 0 + 'at_reset = "active"\n'
    assert reason_of(text, "x.stop.sounding") == ""
    assert reason_of(text.replace('"active"', '"inactive"'), "x.stop.sounding") == OVER


def test_a_tick_that_software_restarts_keeps_a_note_going() -> None:
    again = '{ name = "AGAIN", address = 0x30, fields = [{ bits = "0", strobes = "%s.restart" }] }'
    for tick, reason in (("u", TIMED_OVER), ("t", "")):
        text = f"register = [{again % tick}]\nticks = {{ t = {{ every = 1 }}, u = {{ every = 9 }} }}\n"
        assert reason_of(f"{text}[channel.x]\ntimer = {{ bits = 1 }}\n", "x.timer.end-at-stop") == reason


@pytest.mark.parametrize("seed", [1, 2])
def test_closing_logs_show_all_that_notes_of_a_few_cycles_leave_within_reach(seed: int) -> None:
    chip = tiny(SHORT % 1)
    coverage = cover(chip, closing_logs(chip, seed))
    assert coverage.missing == coverage.against_reason == ()
    assert sum(b.unreachable.startswith("a note of x") for b in coverage.bins) > 5


def test_start_and_stop_at_once_start_a_brief_note_too() -> None:
    assert "x.start.with-stop" in shown(ONCE % 0, [(0, VOLUME, 7), (4, GO, BOTH)], 20)
