"""Values in notes that are over before what they govern has happened: they count where they stand until the channel
itself goes on, and not where software ends the note, or changes them, before that.

Ticks come at 10, 20, 30 and so on; the timer is always on, and its length of 3 ends a note that starts at 12 at 40.
"""

from __future__ import annotations

import pytest

from tests.coverage.tiny_hand import Rows, shown
from tests.engine.tiny_units import (
    DIVISOR,
    FADE,
    GLIDE,
    GO,
    LENGTH,
    MEMORY,
    PATTERN,
    PERIOD,
    SHORT,
    START,
    STOP,
    VOLUME,
)

SQUARE = """
    constants = { "x.timer.enable" = 1 }
    [channel.x]
    patterns = ["10", "01"]
    step = { bits = 1, scale = 40 }
    timer = { bits = 2 }
"""
"""Steps of 40 or 80 cycles: a note of 28 is over within the first one."""
NOISE = """
    constants = { "x.timer.enable" = 1 }
    [channel.x]
    kind = "noise"
    register = { bits = 7, taps = [7, 6], output = 7, short = { taps = [7, 5], output = 7 } }
    step = { divisors = [%s, 9] }
    timer = { bits = 2 }
"""
FADING = SQUARE + "envelope = { period_bits = 3 }\n"
GLIDING = SQUARE + "sweep = { period_bits = 3, shift_bits = 1 }\n"
ONCE = """
    constants = { "x.period" = 3 }
    [channel.x]
    kind = "wave"
    table = { samples = 4, bits = 4, after_last = "stop" }
    timer = { bits = 3 }
"""
BEGUN: Rows = [(0, VOLUME, 5), (4, LENGTH, 3), (12, GO, START)]


@pytest.mark.parametrize(
    ("text", "address", "value", "name"),
    [
        (SQUARE, VOLUME, 5, "x.level=5"),
        (SQUARE, VOLUME, 0, "x.level=0"),
        (SQUARE, PERIOD, 1, "x.period=1"),
        (SQUARE, PATTERN, 1, "x.pattern=1"),
        (NOISE % 40, DIVISOR, 0, "x.divisor=0"),
    ],
)
def test_a_value_counts_where_it_stands_from_the_start_to_the_end_of_a_brief_note(
    text: str, address: int, value: int, name: str
) -> None:
    set_first = [*BEGUN[:2], (8, address, value), BEGUN[2]]
    assert name in shown(text, set_first, 41)
    assert name not in shown(text, set_first, 40)
    assert name not in shown(text, [*set_first, (24, GO, STOP)], 60)
    assert name in shown(text, [*set_first, (24, GO, START)], 60)
    other = 3 if address == VOLUME else 1 - value
    assert name not in shown(text, [*set_first, (24, address, other)], 60)
    assert name not in shown(text, [*set_first, (24, address, other), (28, address, value)], 60)
    late = [*BEGUN[:2], (8, address, other), BEGUN[2], (24, address, value)]
    assert name not in shown(text, late, 60)
    assert name in shown(text, [*late, (28, GO, START)], 60)


@pytest.mark.parametrize(
    ("rows", "end", "counts"),
    [
        ([(8, 0x30, 1)], 60, True),
        ([(8, 0x30, 1), (24, 0x30, 0)], 60, False),
        ([(8, 0x30, 1), (24, 0x30, 0), (28, 0x30, 1)], 60, False),
        ([(8, 0x30, 0)], 60, False),
        ([(8, 0x30, 1), (39, 0x30, 0)], 60, False),
        ([(8, 0x30, 1), (40, 0x30, 0)], 60, True),
    ],
)
def test_a_value_counts_only_where_the_mixer_lets_the_whole_brief_note_through(
    rows: Rows, end: int, counts: bool
) -> None:
    """The note ends at 40; whether that is heard is told by the route before that edge."""
    route = 'register = [{ name = "MIX", address = 0x30, fields = [{ bits = "0", drives = "mixer.out.x" }] }]\n'
    found = shown(SQUARE.replace("[channel", route + "[channel"), sorted([*BEGUN, (10, PATTERN, 1), *rows]), end)
    assert {"x.level=5", "x.pattern=1"} & found == ({"x.level=5", "x.pattern=1"} if counts else set())


def test_where_notes_are_long_enough_a_value_has_to_be_heard_in_full() -> None:
    """Without a constant that keeps the timer on, software can let notes last."""
    text = SQUARE.replace('"x.timer.enable" = 1', "")
    assert not {"x.level=5", "x.period=0", "x.pattern=0"} & shown(text, BEGUN, 60)
    assert {"x.level=5", "x.period=0", "x.pattern=0"} <= shown(SQUARE, BEGUN, 60)
    short = SQUARE.replace("scale = 40", "scale = 2")
    assert "x.pattern=0" in shown(short, [*BEGUN, (24, GO, STOP)], 60)
    assert "x.pattern=0" not in shown(short, [*BEGUN, (14, GO, STOP)], 60)


def test_a_level_counts_from_one_step_of_the_envelope_to_the_next_or_to_the_end() -> None:
    """Period 1, falling: 5 from 12, 4 from 20, 3 from 30 to the end at 40, where the step goes to 2 unheard."""
    text = SQUARE.replace('"x.timer', '"x.envelope.period" = 1, "x.timer') + "envelope = {}\n"
    found = shown(text, BEGUN, 60)
    assert {f"x.level={n}" for n in range(1, 8)} & found == {"x.level=5", "x.level=4", "x.level=3"}
    stopped = shown(text, [*BEGUN, (25, GO, STOP)], 60)
    assert {f"x.level={n}" for n in range(1, 8)} & stopped == {"x.level=5"}


@pytest.mark.parametrize(("text", "address", "block"), [(FADING, FADE, "envelope"), (GLIDING, GLIDE, "sweep")])
def test_a_period_that_no_brief_note_lasts_for_counts_where_a_note_ends_with_it(
    text: str, address: int, block: str
) -> None:
    """Notes of 3 ticks and of 1: whether a step by period 2 comes is up to software; 3 and 5 are surely cut off."""
    for period, brief in ((2, False), (3, True), (5, True)):
        rows: Rows = [*BEGUN[:2], (6, PERIOD, 1), (8, address, period), BEGUN[2]]
        name = f"x.{block}.period={period}"
        assert name in shown(text, rows, 60)
        short = [*rows[:1], (4, LENGTH, 1), *rows[2:]]
        assert (name in shown(text, short, 60)) == brief
        assert name not in shown(text, [*rows, (18, GO, STOP)], 60)
        assert name not in shown(text, [*short, (18, GO, STOP)], 60)
        assert name not in shown(text, [(0, VOLUME, 0), *short[1:]], 60)


def test_a_period_that_a_step_has_loaded_counts_too_where_the_note_ends_with_it() -> None:
    """1 makes a step at 20, which loads 6; the note ends at 40, two ticks later."""
    rows: Rows = [*BEGUN[:2], (8, FADE, 1), BEGUN[2], (16, FADE, 6)]
    assert {"x.envelope.period=1", "x.envelope.period=6"} <= shown(FADING, rows, 60)
    assert "x.envelope.period=6" not in shown(FADING, [*rows, (36, GO, STOP)], 60)


@pytest.mark.parametrize("length", [1, 2, 4, 0])
def test_a_length_that_no_brief_note_lasts_for_counts_where_the_wave_ends_it(length: int) -> None:
    """A wave of 4 samples lasts 16 cycles, from 12 to 28: without a whole tick or with one, at 20."""
    rows: Rows = [(0, VOLUME, 5), (4, LENGTH, length), (8, MEMORY, 9), (12, GO, START)]
    name = f"x.timer.length={length}"
    assert name in shown(ONCE, rows, 40)
    assert name not in shown(ONCE, [*rows, (16, GO, STOP)], 40)
    assert (name in shown(ONCE, [*rows, (24, GO, STOP)], 40)) == (length == 1)
    assert name not in shown(ONCE, [(0, VOLUME, 0), *rows[1:]], 40)


def test_shifts_in_a_row_count_in_either_mode_where_they_last_as_long_as_a_brief_note() -> None:
    """14 shifts of 5 cycles are 70; a note of 28 has 5."""
    text = NOISE % 5
    modes = {f"x.noise.{mode}-{times}" for mode in ("long", "short") for times in (2, 16)}
    for mode, word in ((0, "long"), (1, "short")):
        rows: Rows = [*BEGUN[:2], (8, SHORT, mode), BEGUN[2]]
        assert shown(text, rows, 41) & modes == {f"x.noise.{word}-2", f"x.noise.{word}-16"}
        assert not shown(text, rows, 40) & modes
        assert not shown(text, [*rows, (24, GO, STOP)], 60) & modes
        assert not shown(text, [*rows, (24, SHORT, 1 - mode)], 60) & modes


def test_shifts_in_a_row_are_counted_where_notes_last_for_them() -> None:
    """14 shifts of 1 cycle fit into a note of 28, and 112 do not."""
    rows: Rows = [*BEGUN, (28, GO, STOP)]
    assert "x.noise.long-2" in shown(NOISE % 1, rows, 60)
    assert "x.noise.long-2" not in shown(NOISE % 1, [*BEGUN, (24, GO, STOP)], 60)
    assert "x.noise.long-16" not in shown(NOISE % 1, rows, 60)
    assert "x.noise.long-16" in shown(NOISE % 1, BEGUN, 60)


def test_a_wave_that_is_played_once_from_its_last_sample_on_shows_a_period_by_one_step() -> None:
    """Period 7 from 12 to 20; a sample alone never makes two steps in a row."""
    text = '[channel.x]\nkind = "wave"\ntable = { samples = 2, bits = 4, start_position = %d, after_last = "stop" }\n'
    rows: Rows = [(0, VOLUME, 5), (4, PERIOD, 7), (8, MEMORY + 1, 9), (12, GO, START)]
    assert "x.period=15" not in shown(text % 1, rows, 40)
    rows[1] = (4, PERIOD, 15)
    assert "x.period=15" in shown(text % 1, rows, 40)
    assert "x.period=15" not in shown(text % 1, [*rows, (20, GO, STOP)], 40)
    assert "x.period=15" not in shown(text % 0, rows, 40)
    assert "x.period=15" in shown(text % 0, rows, 60)


JOINED = """
    register = [
        { name = "LOW", address = 2, fields = [{ bits = "1:0", drives = "x.period[1:0]" }] },
        { name = "HIGH", address = 3, fields = [{ bits = "1:0", drives = "x.period[3:2]" }] },
    ]
    [channel.x]
    kind = "wave"
    table = { samples = 2, bits = 4, start_position = 1, after_last = "stop" }
"""


def test_a_register_of_a_period_counts_alone_where_a_note_of_one_step_begins_with_it() -> None:
    """The period is 12; LOW alone makes it 13 at 14. The step from 20 on lasts 14 cycles, whatever is written in it."""
    begun: Rows = [(0, VOLUME, 5), (4, MEMORY + 1, 9), (8, 3, 3)]
    rows: Rows = [*begun, (14, 2, 1), (20, GO, START)]
    assert "x.period.LOW-alone" in shown(JOINED, rows, 60)
    assert "x.period.LOW-alone" not in shown(JOINED, [*rows, (28, GO, STOP)], 60)
    assert "x.period.LOW-alone" not in shown(JOINED, [*rows, (28, 3, 1)], 60)
    assert "x.period.LOW-alone" not in shown(JOINED, [*begun, (20, GO, START), (24, 2, 1)], 60)
