"""What a reason could wrongly rule out, each shown by a log; and what counts only where it is heard as it is."""

from __future__ import annotations

import pytest

from tests.coverage.tiny_hand import Rows, assert_kept, reason_of, shown
from tests.engine.tiny_units import ENABLE, FALLING, GO, LENGTH, MEMORY, PERIOD, SHIFT, START, VOLUME, Y, tiny

WRAPS = """
    constants = { "x.timer.length" = 1 }
    [channel.x]
    timer = { bits = 2, start_and_tick = "%s", expiry_and_start = "start", on_start = "%s" }
"""
"""A start at which the timer runs out leaves the note active, and the timer at 0, from which it counts on."""
TURNED: Rows = [
    (0, VOLUME, 7), (4, ENABLE, 1), (10, GO, 1), (20, GO, 1), (31, ENABLE, 0), (40, ENABLE, 1), (50, GO, 1),
    (60, ENABLE, 0), (66, ENABLE, 1), (70, ENABLE, 0),
]  # fmt: skip
TWICE = """
    ticks = { t = { every = 2 } }
    constants = { "x.timer.length" = 1, "x.timer.enable" = 1 }
    [channel.x]
    timer = { bits = 2, start_and_tick = "both", expiry_and_start = "start" }
"""
ON_ENDS = """
    ticks = { t = { every = 2 } }
    constants = { "x.timer.length" = 1 }
    [channel.x]
    timer = { bits = 1, on_enable = "tick" }
"""
HELD_SWEEP = """
    ticks = { t = { every = 1 } }
    constants = { "x.sweep.period" = 1 }
    [channel.x]
    sweep = { overflow = "hold", moves_by = "constant" }
"""
FROM_RESET = """
    ticks = { t = { every = 1, first = 4 } }
    constants = { "x.volume" = 7 }
    [channel.x]
    at_reset = "active"
    sweep = {}
"""
STILL = """
    constants = { "x.envelope.period" = 0, "x.volume" = 1 }
    [channel.x]
    at_reset = "active"
    idle_level = 1
    envelope = {}
    [channel.y]
"""
BACKWARDS = """
    bus = { access = "index-data", index_bits = 8, index_address = 0, data_address = 1, index_step = 255 }
    [channel.x]
    kind = "wave"
    table = { samples = 2, bits = 4 }
"""
AFTER_RESTART = """
    ticks = { t = { every = 1, after_restart = %s } }
    register = [{ name = "AGAIN", address = 0x30, fields = [{ bits = "0", strobes = "t.restart" }] }]
    [channel.x]
    sweep = {}
"""
LATE_TICKS = "ticks = { t = { every = 1, first = 40 } }\n[channel.x]\ntimer = { bits = 1 }\n"
WITH_START = """
    ticks = { t = { every = 1 } }
    constants = { "x.timer.length" = 3 }
    [channel.x]
    start_delay = 2
    timer = { bits = 2 }
    [[register]]
    name = "BOTH"
    address = 0x31
    fields = [{ bits = "0", drives = "x.timer.enable" }, { bits = "1", strobes = "x.start" }]
"""
TWO_STEPS = """
    [channel.x]
    kind = "wave"
    table = { samples = 2, bits = 4, after_last = "stop" }
    position_on_start = "reset"
"""
POWER_GATE = """
    power = {}
    [channel.x]
    gate = true
    [[register]]
    name = "BOTH"
    address = 0x31
    fields = [{ bits = "0", drives = "power" }, { bits = "1", drives = "x.gate" }]
    [[register]]
    name = "STRIKE"
    address = 0x32
    fields = [{ bits = "0", strobes = "x.start" }]
"""


def at(*writes: tuple[int, int]) -> Rows:
    """Writes behind an index port, 4 cycles apart."""
    return [(4 * i, port, data) for i, (port, data) in enumerate(writes)]


@pytest.mark.parametrize(
    ("text", "rows", "end", "names"),
    [
        (WRAPS % ("both", "when-zero"),
         [(0, VOLUME, 7), (10, GO, 1), (16, ENABLE, 0), (20, ENABLE, 1), (30, ENABLE, 0)], 60,
         ["x.timer.on-at-tick", "x.timer.off-at-tick"]),
        (WRAPS % ("both", "when-zero"), TURNED, 100, ["x.timer.started-running"]),
        (WRAPS % ("tick", "when-zero"), TURNED, 100, ["x.timer.started-running"]),
        (TWICE, [(0, VOLUME, 7), (9, GO, 1), (13, GO, 1)], 40,
         ["x.timer.tick-at-start-sounding", "x.timer.tick-at-start-sounding-one"]),
        (ON_ENDS, [(0, VOLUME, 7), (4, ENABLE, 0), (8, GO, 1), (20, ENABLE, 1)], 60, ["x.timer.on-ends"]),
        (HELD_SWEEP, [(0, VOLUME, 7), (4, SHIFT, 1), (8, FALLING, 1), (12, GO, 1), (24, FALLING, 0)], 40,
         ["x.sweep.turned-fresh"]),
        (FROM_RESET, [(2, SHIFT, 1)], 20, ["x.sweep.shift-in-note"]),
        (STILL, [(4, Y + VOLUME, 1), (8, Y + GO, 1)], 60, ["x.level=0", "mixer.out.y-alone"]),
        (BACKWARDS, at((0, MEMORY + 1), (1, 5), (1, 9), (0, VOLUME), (1, 7), (0, GO), (1, 1)), 60,
         ["bus.index-steps-M_x"]),
        (AFTER_RESTART % 6, [(0, VOLUME, 7), (4, GO, 1), (20, 0x30, 1), (24, SHIFT, 1)], 60, ["x.sweep.shift-in-note"]),
        (LATE_TICKS, [(0, VOLUME, 7), (4, LENGTH, 1), (8, GO, START), (40, ENABLE, 0)], 60, ["x.timer.off-at-end"]),
        (WITH_START, [(0, VOLUME, 7), (4, 0x31, 2), (20, 0x31, 3)], 60, ["x.timer.tick-at-start-sounding"]),
        (TWO_STEPS, [(0, VOLUME, 7), (4, PERIOD, 5), (8, MEMORY, 9), (12, MEMORY + 1, 9), (16, GO, START),
                     (23, PERIOD, 6)], 60, ["x.step.period-after-end"]),
        (POWER_GATE, [(8, 0x31, 2), (16, 0x31, 1)], 40, ["x.stop.idle"]),
    ],
)  # fmt: skip
def test_what_a_log_shows_has_no_reason(text: str, rows: Rows, end: int, names: list[str]) -> None:
    assert set(names) <= shown(text, rows, end)
    assert {name: reason_of(text, name) for name in names} == dict.fromkeys(names, "")
    assert_kept(text)


@pytest.mark.parametrize("after", [2, 3, 4, 5])
def test_a_restart_makes_no_room_for_a_write_that_comes_later_than_the_next_tick(after: int) -> None:
    reason = reason_of(AFTER_RESTART % after, "x.sweep.shift-in-note")
    assert reason == ("t ticks at every edge" if after < 5 else "")
    assert_kept(AFTER_RESTART % after)


ONCE = '[channel.x]\nkind = "wave"\ntable = { samples = 2, bits = 4, start_position = 1, after_last = "stop" }\n'


def test_a_period_written_in_a_note_of_one_step_is_not_heard_in_it() -> None:
    begun: Rows = [(0, VOLUME, 5), (4, PERIOD, 7), (8, MEMORY + 1, 9)]
    assert "x.period=15" not in shown(ONCE, [*begun, (12, GO, START), (16, PERIOD, 15)], 40)
    assert "x.period=15" in shown(ONCE, [*begun, (12, PERIOD, 15), (16, GO, START)], 60)


BRIEF = """
    constants = { "x.timer.enable" = 1 }
    register = [{ name = "MIX", address = 0x30, fields = [{ bits = "0", drives = "mixer.out.x" }] }]
    [channel.x]
    patterns = ["1100", "1000"]
    step = { bits = 4, scale = 64 }
    timer = { bits = 2 }
"""


def test_a_note_that_is_let_through_late_is_not_heard_from_its_start_on() -> None:
    begun: Rows = [(0, VOLUME, 5), (4, LENGTH, 3)]
    names = {"x.level=5", "x.pattern=0", "x.period=0"}
    assert names <= shown(BRIEF, [*begun, (8, 0x30, 1), (12, GO, START)], 60)
    assert not names & shown(BRIEF, [*begun, (8, 0x30, 0), (12, GO, START), (24, 0x30, 1)], 60)


NOISE = """
    constants = { "x.timer.enable" = 1 }
    [channel.x]
    kind = "noise"
    register = { bits = 7, taps = [7, 6], output = 7 }
    timer = { bits = 2 }
"""


def test_shifts_that_are_not_heard_do_not_count() -> None:
    begun: Rows = [(4, LENGTH, 3), (12, GO, START)]
    assert {"x.noise.long-2", "x.noise.long-16"} <= shown(NOISE, [(0, VOLUME, 5), *begun], 60)
    assert not {"x.noise.long-2", "x.noise.long-16"} & shown(NOISE, [(0, VOLUME, 0), *begun], 60)


@pytest.mark.parametrize(("rule", "reason"), [("start", "x starts at no volume but 0"), ("both", "")])
def test_a_channel_that_starts_at_no_volume_is_heard_at_its_start_only_where_a_tick_moves_it(
    rule: str, reason: str
) -> None:
    text = f'constants = {{ "x.volume" = 0 }}\n[channel.x]\ntimer = {{}}\nenvelope = {{ start_and_tick = "{rule}" }}\n'
    assert tiny(text)
    for name in ("x.start.idle", "x.timer.tick-at-start-idle", "x.envelope.tick-at-start-idle"):
        assert reason_of(text, name) == reason
    assert reason_of(text, "x.start.again") == ""
    assert_kept(text)


HELD_START = """
    power = {}
    register = [
        { name = "STRIKE", address = 0x31, %sfields = [{ bits = "0", strobes = "x.start" }] },
        { name = "LET", address = 0x32, fields = [{ bits = "3:0", drives = "x.period" }] },
    ]
    [channel.x]
"""
OVER_AS_RESET = """
    power = {}
    constants = { "x.sweep.falling" = 0 }
    register = [{ name = "SWEEP", address = 0x31, reset = %s, fields = [{ bits = "1:0", drives = "x.sweep.shift" }] }]
    [channel.x]
    step = { bits = 1 }
    sweep = { check = "at-start-too", moves_by = "constant", shift_bits = 2 }
"""


@pytest.mark.parametrize(
    ("out", "within", "name", "reason"),
    [
        (HELD_START % 'held_until = "LET", ', HELD_START % "", "power.x.LET-cleared", "any start of x writes LET"),
        (OVER_AS_RESET % 2, OVER_AS_RESET % 1, "power.x.SWEEP-cleared",
         "any start of x runs over with the shift 2 that is reset"),
    ],
)  # fmt: skip
def test_what_is_written_or_silent_at_each_start_is_not_heard_to_be_cleared(
    out: str, within: str, name: str, reason: str
) -> None:
    assert reason_of(out, name) == reason
    assert reason_of(within, name) == ""
    assert_kept(out)


FIRST_TICK = """
    ticks = { t = { every = 2, first = %s } }
    constants = { "x.volume" = 7, "x.timer.length" = 1 }
    [channel.x]
    start_delay = 4
    timer = {}
"""


def test_a_tick_that_comes_late_after_reset_leaves_the_first_note_time_and_one_before_it_begins_does_not() -> None:
    names = ["x.timer.end-at-start", "x.timer.tick-at-start-sounding"]
    assert set(names) <= shown(FIRST_TICK % 9, [(0, GO, START), (5, GO, START)], 40)
    early = "a note of x whose timer is on is over after 2 cycles, and the next write comes 4 cycles after its start"
    assert [reason_of(FIRST_TICK % 5, name) for name in names] == [early] * 2
    assert_kept(FIRST_TICK % 5)


def test_a_timer_that_no_start_finds_running_out_is_not_left_at_0_by_one() -> None:
    """The tick alone counts where it meets a start, so that only a start in a note could leave the timer at 0."""
    reason = "a note of x whose timer is on is over after 2 cycles, and the next write comes 4 cycles after its start"
    text = TWICE.replace('"both"', '"tick"')
    assert reason_of(text, "x.timer.end-at-start") == reason
    assert_kept(text)
    assert reason_of(TWICE, "x.timer.end-at-start") == ""
