"""What takes longer than a minute is out of reach; and what comes too soon, or is over too soon, to be heard."""

from __future__ import annotations

import pytest

from tests.coverage.tiny_hand import Rows, assert_kept, reason_of, shown
from tests.engine.tiny_units import GLIDE, GO, SHIFT, VOLUME

SECONDS = "ticks = { t = { every = 2000000, first = 5 %s } }\n"
"""A tick every two seconds."""
AGAIN = '[[register]]\nname = "AGAIN"\naddress = 0x30\nfields = [{ bits = "0", strobes = "t.restart" }]\n'
TIMED = SECONDS + "[channel.x]\ntimer = { bits = 7 %s }\n"
ALWAYS_ON = 'constants = { "x.timer.enable" = 1 }\n'
FADING = SECONDS % "" + '[channel.x]\nenvelope = { period_bits = 6, period_zero = "%s" }\n'
GLIDING = SECONDS % "" + '[channel.x]\nsweep = { period_bits = 6, period_zero = "longest" }\n'
WIDE = "bus = { data_bits = 32 }\n[channel.x]\nstep = { bits = 24, scale = %s }\n"
SHIFTED = """
    [channel.x]
    kind = "noise"
    step = { divisors = [1, 8], shift_bits = 5 }
    register = { bits = 7, taps = [7, 6], output = 7 }
"""
CLOCKED = SECONDS + '[channel.x]\nstep = { bits = 6, clocked_by = "t" }\n'
EARLY = """
    ticks = { t = { every = 1, first = %s } }
    register = [{ name = "LOUD", address = 1, reset = %s, fields = [{ bits = "2:0", drives = "x.volume" }] }]
    [channel.x]
    sweep = {}
"""
AT_ONCE = """
    constants = { "x.timer.length" = 1, "x.timer.enable" = 1 }
    [channel.x]
    timer = { bits = 2, start_and_tick = "%s", expiry_and_start = "%s" }
"""
FALLS = """
    constants = { "x.volume" = %s, "x.envelope.rising" = 0 }
    [channel.x]
    envelope = { step = %s, at_zero = "stop", start_and_tick = "%s" }
"""
KEPT_OPEN = """
    only_gated = ["x"]
    %s
    [channel.x]
    gate = true
    sweep = { overflow = "stop" }
"""
TUNED = """
    register = [
        { name = "TUNE", address = 2, on_write = [%s], fields = [{ bits = "3:0", drives = "x.period" }] },
    ]
    ticks = { t = { every = 4, after_restart = %s } }
    [channel.x]
    start_delay = 3
    sweep = {}
"""


@pytest.mark.parametrize(
    ("text", "name", "reason"),
    [
        (TIMED % ("", ""), "x.timer.length=32", "a note of it takes 62 s"),
        (TIMED % ("", ""), "x.timer.length=16", ""),
        (TIMED % ("", ""), "x.timer.length=0", "a note of it takes 254 s"),
        (TIMED % ("", ', on_enable = "tick"'), "x.timer.length=32", ""),
        (ALWAYS_ON + TIMED % ("", ', on_enable = "tick"'), "x.timer.length=32", "a note of it takes 62 s"),
        (TIMED % (', at_restart = "tick"', "") + AGAIN, "x.timer.length=32", ""),
        (TIMED % ("", "") + AGAIN, "x.timer.length=32", "a note of it takes 62 s"),
        (TIMED % (", after_restart = 9", "") + AGAIN, "x.timer.length=32", ""),
        (FADING % "stop", "x.envelope.period=32", "it takes 62 s"),
        (FADING % "stop", "x.envelope.period=31", ""),
        (FADING % "longest", "x.envelope.still", "it takes 126 s"),
        (FADING % "stop", "x.envelope.still", ""),
        (GLIDING, "x.sweep.period=33", "it takes 64 s"),
        (GLIDING, "x.sweep.still", "it takes 126 s"),
        (WIDE % 8, "x.period=8388608", "a step of x with it takes 67 s"),
        (WIDE % 7, "x.period=8388608", ""),
        (SHIFTED, "x.shift=26", "a step of x with it takes 67 s"),
        (SHIFTED, "x.shift=25", ""),
        (SHIFTED, "x.divisor=1", ""),
        (CLOCKED % "", "x.period=32", "a step of x with it takes 66 s"),
        (CLOCKED % "", "x.period=16", ""),
        (EARLY % (5, 0), "x.sweep.shift-in-note", "t ticks at every edge"),
        (EARLY % (5, 7), "x.sweep.shift-in-note", ""),
        (EARLY % (9, 0), "x.sweep.shift-in-note", ""),
        (
            AT_ONCE % ("both", "expiry"),
            "x.timer.tick-at-start-idle",
            "a note of x that begins at a tick is over at once",
        ),
        (AT_ONCE % ("both", "start"), "x.timer.tick-at-start-idle", ""),
        (AT_ONCE.replace('"x.timer.length" = 1, ', "") % ("both", "expiry"), "x.timer.tick-at-start-idle", ""),
        (AT_ONCE % ("start", "expiry"), "x.timer.tick-at-start-idle", ""),
        (FALLS % (7, 1, "start"), "x.level=0", "x is stopped at level 0"),
        (FALLS % (7, 1, "both"), "x.level=0", "x is stopped at level 0"),
        (FALLS % (1, 1, "both"), "x.level=0", ""),
        (FALLS % (7, 1, "tick"), "x.level=0", ""),
        (KEPT_OPEN % 'constants = { "x.sweep.falling" = 1 }', "x.stop.idle", "x ends only where its gate is shut"),
        (KEPT_OPEN % "", "x.stop.idle", ""),
        (TUNED % ('"x.start", "t.restart"', 9), "x.sweep.after-write", "any write to TUNE starts x"),
        (TUNED % ('"x.start", "t.restart"', 2), "x.sweep.after-write", ""),
        (TUNED % ('"x.start"', 9), "x.sweep.after-write", ""),
    ],
)
def test_what_a_description_leaves_no_time_for_has_its_reason(text: str, name: str, reason: str) -> None:
    assert reason_of(text, name) == reason
    assert_kept(text)


@pytest.mark.parametrize(
    ("text", "rows", "name"),
    [
        (EARLY % (5, 7), [(0, GO, 1), (4, SHIFT, 1)], "x.sweep.shift-in-note"),
        (EARLY % (9, 0), [(0, VOLUME, 7), (4, GO, 1), (8, SHIFT, 1)], "x.sweep.shift-in-note"),
        (AT_ONCE % ("both", "start"), [(0, VOLUME, 7), (10, GO, 1)], "x.timer.tick-at-start-idle"),
        (FALLS % (1, 1, "both"), [(0, 5, 1), (10, GO, 1)], "x.level=0"),
        (FALLS % (7, 3, "tick"), [(0, 5, 1), (4, GO, 1), (30, GO, 1)], "x.level=0"),
        (TUNED % ('"x.start", "t.restart"', 2),
         [(0, VOLUME, 7), (4, GLIDE, 1), (8, SHIFT, 1), (16, 2, 4), (24, 2, 2), (32, 2, 5)], "x.sweep.after-write"),
    ],
)  # fmt: skip
def test_what_has_no_reason_there_is_shown(text: str, rows: Rows, name: str) -> None:
    assert name in shown(text, rows, 80)
