"""What late first ticks, ticks that alone count at a start, ports that step, and signs leave within reach."""

from __future__ import annotations

import pytest

from tests.coverage.tiny_hand import Rows, assert_kept, reason_of, shown
from tests.engine.tiny_units import BYPASS, CLOCK_SHIFT, ENABLE, GO, LENGTH, PERIOD, VOLUME

FIRST = """
    ticks = { t = { every = 1, first = %s }, u = { every = 1 } }
    constants = { "x.timer.enable" = 1, "x.timer.length" = 1, "x.volume" = 7, "x.%s.period" = 1, "x.%s.rising" = 0 }
    [channel.x]
    timer = { bits = 1 }
    envelope = { ticks = "u" }
"""
ON_AND_ON = """
    constants = { "x.timer.enable" = 1, "x.timer.length" = 1, "x.volume" = 7, "x.%s.period" = %s }
    [channel.x]
    timer = { bits = 1 }
    %s = { start_and_tick = "%s", period_bits = 3 }
"""
STARTS: Rows = [(4, GO, 1), *((10 * i, GO, 1) for i in range(1, 9))]
WRAPPED = """
    ticks = { t = { every = 1 } }
    constants = { "x.timer.enable" = 1, "x.volume" = 7 }
    [channel.x]
    timer = { bits = 2, start_and_tick = "both", expiry_and_start = "start" }
"""
STEPPED = """
    bus = { access = "index-data", index_address = 0, data_address = 1, index_step = 1 }
    ticks = { t = { every = 1, first = 8 } }
    constants = { "x.volume" = 7, "x.sweep.period" = 1 }
    register = [{ name = "SH", address = 1, fields = [{ bits = "1:0", drives = "x.sweep.shift" }] }]
    [channel.x]
    sweep = {}
"""
CLOCKED = """
    bus = { access = "index-data", index_address = 0, data_address = 1, index_step = 0 }
    ticks = { t = { every = 1, first = 3 } }
    constants = { "x.volume" = 7 }
    [channel.x]
    step = { clocked_by = "t" }
"""
MEET = """
    ticks = { t = { every = 100000, first = %s }, u = { every = 100001, first = 10 } }
    constants = { "x.timer.enable" = 1, "x.timer.length" = 1, "x.envelope.period" = 1 }
    [channel.x]
    timer = { bits = 1 }
    envelope = { ticks = "u" }
"""
STOPPED = """
    constants = { "x.volume" = 7 }
    [channel.x]
    kind = "noise"
    step = { divisors = [1], shift_bits = 2, stopped = [0, 2, 3] }
    register = { bits = 3, taps = [3, 2], output = 3 }
"""
BYPASSED = """
    constants = { "x.envelope.period" = 0 }
    register = [{ name = "VB", address = 0x30, fields = [{ bits = "2:0", drives = "x.volume" }, { bits = "3", %s }] }]
    [channel.x]
    envelope = { bypass = true, volume_write = "at-once", start_and_tick = "%s" }
"""
STILL_BYPASS = """
    constants = { "x.envelope.period" = 0 }
    [channel.x]
    envelope = { bypass = true, volume_write = "at-once" }
"""
MIXED = """
    mixer = { bits = 3, offset = %s, trims = [1, 2] }
    constants = { "x.volume" = 3 }
    register = [{ name = "MIX", address = 0x30, fields = [{ bits = "0", drives = "mixer.out.trim" }] }]
    [channel.x]
    %s
"""
CONSTANT = 'mixer = { bits = 3, trim_shift = 1 }\nconstants = { "x.volume" = 1 }\n[channel.x]\nidle_level = 1\n'
LENGTHS = ["x.timer.end-at-start", "x.timer.tick-at-start-sounding", "x.timer.tick-at-start-sounding-one"]


@pytest.mark.parametrize(
    ("text", "rows", "end", "names"),
    [
        (FIRST % (40, "envelope", "envelope"), [(4, GO, 1)], 60, ["x.level=0", "x.level=3", "x.envelope.bottom"]),
        (ON_AND_ON % ("envelope", 1, "envelope", "tick"), STARTS, 120, ["x.level=3"]),
        (ON_AND_ON % ("envelope", 7, "envelope", "tick"), STARTS, 120, ["x.envelope.step-at-start", "x.level=6"]),
        (ON_AND_ON % ("sweep", 7, "sweep", "tick"), [(0, PERIOD, 4), (2, 9, 1), *STARTS], 120,
         ["x.sweep.step-at-start"]),
        (WRAPPED, [(0, LENGTH, 1), (4, GO, 1), (8, LENGTH, 2)], 40, ["x.timer.length-in-note"]),
        (WRAPPED, [(0, LENGTH, 1), (4, GO, 1), (8, GO, 1)], 40, LENGTHS),
        (STEPPED, [(0, 1, 1), (4, 1, 1)], 20, ["x.sweep.shift-in-note"]),
        (CLOCKED, [(0, 1, 1)], 20, ["x.step.clock-between-start"]),
        (MEET % 10, [(0, VOLUME, 7), (4, GO, 1)], 60, ["x.timer.end-at-envelope-step"]),
        (STOPPED, [(0, CLOCK_SHIFT, 3), (4, GO, 1), (8, CLOCK_SHIFT, 1), (12, GO, 1)], 60, ["x.step.within-at-start"]),
        (BYPASSED % ('strobes = "x.start"', "tick"), [(0, 0x30, 13), (10, 0x30, 15), (14, BYPASS, 1), (18, BYPASS, 0)],
         60, ["x.envelope.bypass-set", "x.envelope.bypass-cleared"]),
        (BYPASSED % ('drives = "x.envelope.bypass"', "start"),
         [(0, 0x30, 5), (4, GO, 1), (8, 0x30, 15), (16, 0x30, 3)], 60,
         ["x.envelope.bypass-set", "x.envelope.bypass-cleared"]),
        (MIXED % (-3, "idle_level = 2"), [(4, GO, 1), (20, GO, 2)], 60, ["mixer.out.under"]),
        (MIXED % (10, 'patterns = ["0"]\nlevels = "bipolar"\nidle_level = -2'), [(4, GO, 1), (20, GO, 2)], 60,
         ["mixer.out.over"]),
        (CONSTANT, [(4, GO, 1), (20, GO, 2)], 60, ["mixer.out.fraction"]),
    ],
)  # fmt: skip
def test_what_a_log_shows_has_no_reason_either(text: str, rows: Rows, end: int, names: list[str]) -> None:
    assert set(names) <= shown(text, rows, end)
    assert {name: reason_of(text, name) for name in names} == dict.fromkeys(names, "")
    assert_kept(text)


@pytest.mark.parametrize(
    ("text", "name", "reason"),
    [
        (FIRST % (4, "envelope", "envelope"), "x.level=0", "the envelope never comes to 0"),
        (ON_AND_ON % ("envelope", 7, "envelope", "start"), "x.envelope.step-at-start",
         "no note of x lasts for 7 ticks of t"),
        (MEET % 9, "x.timer.end-at-envelope-step", "t and u tick at one edge only every 10000 s"),
        (STILL_BYPASS, "x.envelope.bypass-set",
         "the level is always that of the volume: x.envelope.period is the constant 0"),
    ],
)  # fmt: skip
def test_what_does_not_help_leaves_the_reason(text: str, name: str, reason: str) -> None:
    assert reason_of(text, name) == reason
    assert_kept(text)


def test_a_clock_that_is_stopped_asks_for_no_shorter_step() -> None:
    text = STOPPED.replace("stopped = [0, 2, 3]", "stopped = [0]")
    rows: Rows = [(0, CLOCK_SHIFT, 3), (4, GO, 1), (8, CLOCK_SHIFT, 0)]
    assert "x.step.old-length-first" not in shown(text, rows, 40)
    assert "x.step.old-length-first" in shown(text, [*rows[:2], (8, CLOCK_SHIFT, 1)], 40)


FADED = """
    constants = { "x.volume" = 7, "x.envelope.period" = 1, "x.envelope.rising" = 0 }
    [channel.x]
    timer = { bits = 5 }
    envelope = { at_zero = "stop" }
"""


def test_a_length_counts_only_in_a_note_whose_timer_is_on() -> None:
    rows: Rows = [(0, LENGTH, 16), (4, ENABLE, 0), (8, GO, 1)]
    assert "x.timer.length=16" not in shown(FADED, rows, 120)
    assert "x.timer.length=16" in shown(FADED, [rows[0], (4, ENABLE, 1), rows[2]], 120)


KEYED = """
    ticks = { t = { every = 10, at_restart = "%s" } }
    [channel.x]
    timer = {}
    [[register]]
    name = "KEY"
    address = 0x30
    on_write = ["t.restart"]
    fields = [{ bits = "0", drives = "x.timer.enable" }]
"""
LET_GO = """
    [channel.x]
    [[register]]
    name = "HOLD"
    address = 0x30
    held_until = "LET"
    fields = [{ bits = "2:0", drives = "x.volume" }]
    [[register]]
    name = "LET"
    address = 0x31
    on_write = [%s]
    fields = [{ bits = "0", strobes = "x.start" }]
"""
PLUCKED = """
    ticks = { t = { every = 4, at_restart = "%s", after_restart = %s } }
    [channel.x]
    start_delay = %s
    envelope = {}
    [[register]]
    name = "SHAPE"
    address = 0x30
    held_until = "PLUCK"
    fields = [{ bits = "1:0", drives = "x.envelope.period" }]
    [[register]]
    name = "PLUCK"
    address = 0x31
    on_write = ["x.start", "t.restart"]
    [[register]]
    name = "DAMP"
    address = 0x32
    fields = [{ bits = "0", strobes = "x.stop" }]
"""
"""A start restarts what makes the ticks of the envelope, so many cycles before it acts."""
SHUT = """
    only_gated = ["x"]
    constants = { "x.volume" = 7 }
    [channel.x]
    at_reset = "active"
    gate = true
    [[register]]
    name = "KEY"
    address = 0x30
    reset = %s
    fields = [{ bits = "0", drives = "x.gate" }]
"""
"""A channel that plays from reset on, its gate open (1) or shut (0)."""


@pytest.mark.parametrize(
    ("text", "name", "reason"),
    [
        (PLUCKED % ("silent", 9, 1), "x.envelope.tick-at-start-idle",
         "any start of x restarts t 1 cycle before, and t does not come then"),
        (PLUCKED % ("silent", 9, 2), "x.envelope.step-at-start",
         "any start of x restarts t 2 cycles before, and t does not come then"),
        (PLUCKED % ("silent", 9, 9), "x.envelope.tick-at-start-idle", ""),
        (PLUCKED % ("tick", 9, 3), "x.envelope.tick-at-start-idle",
         "any start of x restarts t 3 cycles before, and t does not come then"),
        (PLUCKED % ("tick", 9, 4), "x.envelope.tick-at-start-idle", ""),
        (PLUCKED % ("silent", 1, 3), "x.envelope.tick-at-start-idle",
         "any start of x restarts t 3 cycles before, and t does not come then"),
        (PLUCKED % ("silent", 1, 5), "x.envelope.tick-at-start-idle", ""),
        (PLUCKED % ("silent", 9, 1), "x.envelope.period-at-step", "any write to SHAPE restarts t, without a tick t"),
        (PLUCKED % ("tick", 9, 1), "x.envelope.period-at-step", ""),
        (PLUCKED % ("silent", 9, 0), "x.envelope.tick-at-start-idle", "any start of x restarts t, without a tick t"),
        (PLUCKED % ("tick", 9, 0), "x.envelope.tick-at-start-idle", ""),
        (SHUT % 1, "x.start.again", "the gate of x has to be shut before it opens"),
        (SHUT % 0, "x.start.again", ""),
        (SHUT % 1, "x.stop.idle", "x ends only where its gate is shut"),
    ],
)  # fmt: skip
def test_what_starts_and_gates_do_besides_speaks_against_what_they_would_do(text: str, name: str, reason: str) -> None:
    assert reason_of(text, name) == reason
    assert_kept(text)


@pytest.mark.parametrize(
    ("text", "rows", "name"),
    [
        (PLUCKED % ("silent", 9, 9), [(0, VOLUME, 7), (4, 0x30, 1), (8, 0x31, 0)], "x.envelope.tick-at-start-idle"),
        (PLUCKED % ("silent", 1, 5), [(0, VOLUME, 7), (4, 0x30, 1), (8, 0x31, 0)], "x.envelope.tick-at-start-idle"),
        (PLUCKED % ("tick", 9, 4), [(0, VOLUME, 7), (4, 0x30, 1), (8, 0x31, 0), (12, 0x31, 0)],
         "x.envelope.tick-at-start-idle"),
        (SHUT % 0, [(4, 0x30, 1)], "x.start.again"),
    ],
)  # fmt: skip
def test_what_has_no_reason_there_is_shown(text: str, rows: Rows, name: str) -> None:
    assert name in shown(text, rows, 60)


@pytest.mark.parametrize(
    ("text", "name", "reason"),
    [
        (KEYED % "tick", "x.timer.off-between", "any write to KEY restarts t, at a tick t"),
        (KEYED % "tick", "x.timer.off-at-tick", ""),
        (KEYED % "silent", "x.timer.off-at-tick", "any write to KEY restarts t, without a tick t"),
        (KEYED % "silent", "x.timer.off-between", ""),
        (LET_GO % '"x.start"', "x.step.volume-within", "any write to HOLD starts x"),
        (LET_GO % "", "x.step.volume-within", ""),
    ],
)
def test_what_a_write_does_besides_speaks_against_what_it_would_do(text: str, name: str, reason: str) -> None:
    assert reason_of(text, name) == reason
    assert_kept(text)
