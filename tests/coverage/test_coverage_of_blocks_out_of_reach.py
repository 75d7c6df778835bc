"""Why something is out of reach for steps, blocks, strobes and the bus: each description has its reason; nearly the
same one has none, and closing logs show there what the other one rules out.

Ticks come at 10, 20, 30 and so on where nothing else is said; GO acts at the edge of its write.
"""

from __future__ import annotations

import pytest

from psgmodel.coverage import cover
from psgmodel.stimulus import closing_logs
from tests.coverage.tiny_hand import Rows, assert_kept, reason_of, shown
from tests.engine.tiny_units import FADE, GO, VOLUME, tiny

STEPS = '[channel.x]\nstep = { bits = 1, scale = %s, new_value = "at-once" }\n'
HALTED = """
    [channel.x]
    kind = "noise"
    register = { bits = 7, taps = [7, 6], output = 7 }
    step = { divisors = [4], shift_bits = 1, stopped = [%s] }
"""
CLOCKED = 'ticks = { t = { every = %s } }\n[channel.x]\nstep = { bits = 2, clocked_by = "t" }\n'
AGAIN = '{ name = "AGAIN", address = 0x30, fields = [{ bits = "0", strobes = "t.restart" }] }'
CLOCKED_AGAIN = f"""
    ticks = {{ t = {{ every = 1 }} }}
    register = [{AGAIN}]
    [channel.x]
    start_delay = %s
    step = {{ bits = 2, clocked_by = "t" }}
"""
EVERY_EDGE = "t ticks at every edge"
UNMOVED = """
    constants = { "x.sweep.falling" = 0 }
    [channel.x]
    step = { bits = %s }
    sweep = { overflow = "wrap" }
"""
NO_MOVE = "no sweep step that fits changes the period"
BY_NOTHING = 'constants = { "x.sweep.shift" = %s }\n[channel.x]\nsweep = { moves_by = "constant" }\n'
HIGH = """
    register = [
        { name = "LOW", address = 2, fields = [{ bits = "1:0", drives = "x.period[1:0]" }] },
        { name = "HIGH", address = 3, on_write = [%s], fields = [{ bits = "1:0", drives = "x.period[3:2]" }] },
        { name = "STRIKE", address = 0x30, fields = [{ bits = "0", strobes = "x.start" }] },
    ]
    [channel.x]
    sweep = {}
"""
TUNED = """
    register = [
        { name = "TUNE", address = 2, on_write = ["x.start"], fields = [{ bits = "3:0", drives = "x.period" }] },
    ]
    [channel.x]
    start_delay = %s
    sweep = {}
"""
LENGTH_OF = 'constants = { "x.timer.length" = %s }\n[channel.x]\ntimer = { bits = 2, on_start = "when-zero" }\n'
NEVER_MORE = "the note timer never counts from more than 1"
BYPASSED = 'constants = { "x.envelope.bypass" = %s }\n[channel.x]\nenvelope = { bypass = true }\n'
SEVEN = 'constants = { "x.volume" = 7 }\n[channel.x]\nenvelope = { step = 7, at_zero = "%s" }\n'
NO_BOTTOM = "from no level that it comes to does a step by 7 lead past the bottom"
FOLLOWING = """
    constants = { "x.envelope.period" = 0 }
    [channel.x]
    envelope = { bypass = true, volume_write = "%s" }
"""
ALWAYS = "the level is always that of the volume: x.envelope.period is the constant 0"
INDEX = 'bus = { access = "index-data", index_bits = 8, index_address = 0, data_address = 1, index_step = %s }\n'
NO_NEXT = "no two registers lie 64 apart, as the index steps"
STOP_WAITS = """
    register = [
        { name = "STOP", address = 0x30, held_until = "LET", fields = [{ bits = "0", strobes = "x.stop" }] },
        { name = "LET", address = 0x31, on_write = [%s] },
        { name = "STRIKE", address = 0x32, fields = [{ bits = "0", strobes = "x.start" }] },
    ]
"""
GATED = """
    register = [{ name = "STRIKE", address = 0x30, fields = [{ bits = "0", strobes = "x.start" }] }]
    [channel.x]
    gate = true
    at_reset = "active"
"""
BOTH_WAIT = """
    register = [
        { name = "PULL", address = 0x30, held_until = "LET", fields = [{ bits = "0", strobes = "x.start" }] },
        { name = "LET", address = 0x31 },
        { name = "TUNE", address = 2, %s fields = [{ bits = "3:0", drives = "x.period" }] },
    ]
    [channel.x]
    start_delay = 4
"""
APART = "a start acts 4 cycles after its write, and the next write comes 8 cycles after it or later"
START = '"x.start"'


@pytest.mark.parametrize(
    ("out", "within", "name", "reason"),
    [
        (STEPS % 1, STEPS % 2, "x.step.cut-short", "no step of x is two counts longer than another"),
        (STEPS % 1, STEPS % 2, "x.step.within-at-start", "no step of x lasts three counts"),
        (HALTED % 2, HALTED % 1, "x.noise.clock-stopped", "no value of x.shift stops the clock"),
        (CLOCKED % 1, CLOCKED % 2, "x.step.clock-between-start", EVERY_EDGE),
        (CLOCKED_AGAIN % 3, CLOCKED_AGAIN % 4, "x.step.clock-between-start", EVERY_EDGE),
        (UNMOVED % 1, UNMOVED % 2, "x.sweep.step-at-start", NO_MOVE),
        (UNMOVED % 1, UNMOVED % 2, "x.sweep.step-at-stop", NO_MOVE),
        (BY_NOTHING % 0, BY_NOTHING % 1, "x.sweep.R2-at-step", "a step by 0 changes nothing"),
        (HIGH % START, HIGH % "", "x.sweep.HIGH-at-step", "any write to HIGH starts x"),
        (TUNED % 1, TUNED % 2, "x.sweep.after-write", "any write to TUNE starts x"),
        (TUNED % 0, TUNED % 1, "x.sweep.TUNE-at-step", "any write to TUNE starts x"),
        (LENGTH_OF % 1, LENGTH_OF % 2, "x.timer.started-running", NEVER_MORE),
        (LENGTH_OF % 1, LENGTH_OF % 2, "x.timer.on-at-tick", NEVER_MORE),
        (LENGTH_OF % 1, LENGTH_OF % 2, "x.timer.off-at-tick", NEVER_MORE),
        (BYPASSED % 1, BYPASSED % 0, "x.envelope.up", "x.envelope.bypass is the constant 1"),
        (BYPASSED % 1, BYPASSED % 0, "x.envelope.bottom", "x.envelope.bypass is the constant 1"),
        (SEVEN % "stop", SEVEN % "sound", "x.envelope.bottom", NO_BOTTOM),
        (FOLLOWING % "at-once", FOLLOWING % "next-start", "x.envelope.bypass-set", ALWAYS),
        (FOLLOWING % "at-once", FOLLOWING % "next-start", "x.envelope.bypass-cleared", ALWAYS),
        (INDEX % 64, INDEX % 1, "bus.data-again", NO_NEXT),
        (INDEX % 64, INDEX % 0, "bus.data-again", NO_NEXT),
        (STOP_WAITS % START, STOP_WAITS % "", "x.stop.sounding", "any write that stops x starts it as well"),
        (GATED, GATED + "timer = {}", "x.stop.idle", "x ends only where its gate is shut"),
        (BOTH_WAIT % 'held_until = "LET",', BOTH_WAIT % "", "x.step.period-at-start", APART),
    ],
)  # fmt: skip
def test_what_a_description_rules_out_has_its_reason_and_a_closing_log_shows_it_elsewhere(
    out: str, within: str, name: str, reason: str
) -> None:
    assert reason_of(out, name) == reason
    assert reason_of(within, name) == ""
    chip = tiny(within)
    coverage = cover(chip, closing_logs(chip, 1))
    assert name in {b.name for b in coverage.bins if coverage.count(b)}
    assert coverage.against_reason == ()
    assert_kept(out)


FADED = f"""
    ticks = {{ t = {{ every = 1%s }} }}
    register = [
        {AGAIN},
        {{ name = "LOAD", address = 5, on_write = [%s], fields = [{{ bits = "1:0", drives = "x.envelope.period" }}] }},
    ]
    [channel.x]
    envelope = {{}}
"""
RESTARTS = '"t.restart"'
LET_GO: Rows = [(0, VOLUME, 7), (4, GO, 1), (12, FADE, 2)]


@pytest.mark.parametrize(
    ("out", "within", "reason"),
    [
        (FADED % ("", ""), FADED % ("", RESTARTS), EVERY_EDGE),
        (FADED % (', at_restart = "tick"', RESTARTS), FADED % ("", RESTARTS),
         "any write to LOAD restarts t, at a tick t"),
        ("ticks = { t = { every = 1 } }\nchannel = { x = { envelope = {} } }",
         "ticks = { t = { every = 1, first = 13 } }\nchannel = { x = { envelope = {} } }", EVERY_EDGE),
    ],
)  # fmt: skip
def test_where_ticks_come_at_every_edge_a_write_is_between_them_before_the_first_or_where_it_restarts_them(
    out: str, within: str, reason: str
) -> None:
    assert reason_of(out, "x.envelope.period-in-note") == reason
    assert reason_of(within, "x.envelope.period-in-note") == ""
    assert "x.envelope.period-in-note" in shown(within, LET_GO, 20)
    assert_kept(out)


def test_the_edge_after_a_restart_is_between_ticks_for_a_bus_that_is_fast_enough() -> None:
    """The restart at 12 puts off the tick to 14, and the period is written at 13."""
    rows: Rows = [(0, VOLUME, 7), (4, GO, 1), (12, 0x30, 1), (13, FADE, 2)]
    for text, between in ((", after_restart = 2", True), ("", False)):
        found = shown(FADED % (text, ""), rows, 20, spacing=1)
        assert ("x.envelope.period-in-note" in found) == between


@pytest.mark.parametrize(("clock", "reason"), [("", "no step of x lasts three counts"), (', clocked_by = "t"', "")])
def test_two_counts_of_a_tick_have_edges_between_their_ends(clock: str, reason: str) -> None:
    """Period 1: a step from 12 on counts the ticks 20 and 30; at 24 it is one count old, and its end is not due."""
    text = f"[channel.x]\nstep = {{ bits = 1{clock} }}\n"
    assert reason_of(text, "x.step.within-at-start") == reason
    found = shown(text, [(0, VOLUME, 7), (4, 2, 1), (12, GO, 1), (24, GO, 1)], 40)
    assert ("x.step.within-at-start" in found) == (not reason)


def test_a_stop_that_waits_for_a_write_that_starts_never_ends_a_note() -> None:
    """STOP is at 0x30, LET at 0x31, STRIKE at 0x32."""
    rows: Rows = [(0, VOLUME, 7), (4, 0x32, 1), (8, 0x30, 1), (12, 0x31, 0)]
    assert "x.stop.sounding" in shown(STOP_WAITS % "", rows, 20)
    found = shown(STOP_WAITS % START, rows, 20)
    assert "x.start.with-stop" in found
    assert "x.stop.sounding" not in found
