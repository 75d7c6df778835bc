"""Behaviours of Linnet, each on a log whose edges were worked out by hand from patches/linnet.md.

Each test says what must be seen, and what must not be seen on the same log moved by one edge.
"""

from __future__ import annotations

import pytest

from psgmodel.coverage import cover
from tests.coverage.linnet_hand import (
    BEND,
    GO,
    LENGTH,
    LINNET,
    LOUD,
    NOTE,
    PITCH,
    SHAPE,
    TIMER_ON,
    TONE,
    Row,
    hit,
    log_of,
    note,
)


def test_a_start_a_second_start_and_a_stop_are_told_apart() -> None:
    rows = note(1000)
    assert {"start.idle"} == {b for b in hit(*rows, end=3000) if b.startswith(("start", "stop"))}
    rows += [(2000, GO, 1), (2500, GO, 2), (2600, GO, 2)]
    assert {b for b in hit(*rows, end=3000) if b.startswith(("start", "stop"))} == {
        "start.idle",
        "start.again",
        "stop.sounding",
        "stop.idle",
    }


def test_start_and_stop_in_one_write_meet() -> None:
    assert "start.with-stop" in hit(*note(1000), (2000, GO, 3), end=3000)
    assert "start.with-stop" not in hit(*note(1000), (2000, GO, 1), (2004, GO, 2), end=3000)


def test_nothing_counts_that_cannot_be_heard() -> None:
    """At volume 0, or routed to no output, a note shows nothing of what is to be heard."""
    silent = hit(*note(1000, note=0), end=3000)
    assert not silent & {"start.idle", "start.again"}
    unrouted = hit((0, 0x00, 0xFC), *note(1000), end=3000)
    assert not {b for b in unrouted if not b.startswith(("level=0", "step."))} & {"start.idle", "level=31"}
    assert "start.idle" in hit((0, 0x00, 0xFD), *note(1000), end=3000)


def test_the_note_timer_ends_a_note_at_the_second_tick() -> None:
    """A start at 1000 with length 2 meets the ticks 20479 and 40959; the second one ends the note."""
    rows = note(1000, note=TIMER_ON | LOUD, length=2)
    assert "timer.runs-out" in hit(*rows, end=40960)
    assert "timer.runs-out" not in hit(*rows, end=40959)
    assert "timer.length=2" in hit(*rows, end=40960)


@pytest.mark.parametrize(("edge", "meets"), [(20478, False), (20479, True), (20480, False)])
def test_a_start_meets_a_tick_of_the_timer_at_that_edge_only(edge: int, meets: bool) -> None:
    rows = note(edge, note=TIMER_ON | LOUD, length=3)
    assert ("timer.tick-at-start-idle" in hit(*rows, end=30000)) == meets
    assert "timer.tick-at-start-sounding" not in hit(*rows, end=30000)


@pytest.mark.parametrize(("edge", "meets"), [(40958, False), (40959, True), (40960, False)])
def test_a_second_start_meets_the_end_of_the_running_note(edge: int, meets: bool) -> None:
    rows = [*note(1000, note=TIMER_ON | LOUD, length=2), (edge - 1, GO, 1)]
    found = hit(*rows, end=50000)
    assert ("timer.end-at-start" in found) == meets
    assert ("start.again" in found) == (edge <= 40959)


@pytest.mark.parametrize(("edge", "place"), [(20478, "between"), (20479, "at-tick"), (20480, "between")])
def test_the_timer_is_switched_off_at_a_tick_or_between(edge: int, place: str) -> None:
    rows = [*note(1000, note=TIMER_ON | LOUD, length=3), (edge, NOTE, LOUD)]
    assert f"timer.off-{place}" in hit(*rows, end=30000)
    assert not {"timer.off-between", "timer.off-at-tick"} - {f"timer.off-{place}"} & hit(*rows, end=30000)


def test_an_envelope_goes_down_to_its_end_and_is_held_there() -> None:
    """Volume 2, period 1, softer: shaping ticks at 9999, 42767, 75535 make 1, 0, and 0 again."""
    rows = note(1000, note=2, shape=1)
    assert "envelope.down" in hit(*rows, end=10000)
    assert "envelope.bottom" not in hit(*rows, end=75535)
    assert "envelope.bottom" in hit(*rows, end=75536)
    assert {"level=2", "level=1"} <= hit(*rows, end=75536)


@pytest.mark.parametrize(("edge", "meets"), [(9998, False), (9999, True), (10000, False)])
def test_period_and_direction_of_the_envelope_are_written_at_a_step(edge: int, meets: bool) -> None:
    rows = [*note(1000, note=16, shape=1), (edge, SHAPE, 0x82)]
    found = hit(*rows, end=20000)
    assert {"envelope.period-at-step", "envelope.direction-at-step"} <= found or not meets
    assert ({"envelope.period-at-step"} <= found) == meets
    assert ("envelope.direction-in-note" in found) != meets


@pytest.mark.parametrize(("edge", "meets"), [(29999, False), (30000, True), (30001, False)])
def test_a_register_of_the_period_is_written_where_the_sweep_makes_a_step(edge: int, meets: bool) -> None:
    """Period 256, shift 2: at 30000 the period becomes 320; A_TONE is written with another pattern only."""
    rows = [*note(1000, period=256, bend=0x12), (edge, TONE, 0x31)]
    found = hit(*rows, end=40000)
    assert ("sweep.A_TONE-at-step" in found) == meets
    assert "sweep.up" in found
    assert "sweep.A_PITCH-at-step" not in found


def test_a_sweep_overflows_at_its_tick_and_not_before() -> None:
    """Period 4000, shift 0: 8000 does not fit at 30000."""
    rows = note(1000, period=4000, bend=0x10)
    assert "sweep.overflow" in hit(*rows, end=30001)
    assert "sweep.overflow" not in hit(*rows, end=30000)
    assert "sweep.overflow" not in hit(*note(1000, period=4000, bend=0x18), end=30001)


@pytest.mark.parametrize(("edge", "place"), [(1399, "before-end"), (1400, "at-end"), (1401, "after-end")])
def test_the_period_is_written_before_at_and_after_the_end_of_a_step(edge: int, place: str) -> None:
    """A start at 1000 with period 99: steps of 200 cycles end at 1200, 1400 and so on (section 6)."""
    rows = [*note(1000), (edge, PITCH, 50)]
    found = {b for b in hit(*rows, end=3000) if b.startswith("step.period")}
    assert found == {f"step.period-{place}"}


def test_a_pattern_is_heard_whole_after_sixteen_steps() -> None:
    """Steps of 200 cycles from 1000 on: the sixteenth ends at 4200."""
    rows = note(1000)
    assert "pattern=2" in hit(*rows, end=4202)
    assert "pattern=2" not in hit(*rows, end=4200)


def test_a_period_is_heard_after_a_whole_step_of_it() -> None:
    assert "period=1" in hit(*note(1000, period=1), end=1010)
    assert "period=1" not in hit(*note(1000, period=1), end=1008)


@pytest.mark.parametrize(
    ("period", "rows", "end", "alone"),
    [
        (355, [(1400, PITCH, 50)], 2328, True),
        (355, [(1400, PITCH, 50)], 2326, False),
        (355, [(1400, PITCH, 99)], 2328, False),
        (355, [(1400, PITCH, 50), (1404, TONE, 0x20)], 2328, False),
        (99, [(1400, PITCH, 50)], 2328, False),
    ],
)
def test_a_register_of_a_period_counts_alone_only_where_the_other_one_has_bits_to_lose(
    period: int, rows: list[Row], end: int, alone: bool
) -> None:
    """Period 355, then 306: steps of 712 cycles from 1000 on, of 614 from 1712 on; 99 leaves the period as it is."""
    assert ("period.A_PITCH-alone" in hit(*note(1000, period=period), *rows, end=end)) == alone


@pytest.mark.parametrize(
    ("rows", "alone"),
    [
        ([(600, NOTE, TIMER_ON | LOUD)], True),
        ([(600, NOTE, TIMER_ON | LOUD), (604, LENGTH, 2)], False),
        ([(600, LENGTH, 0), (604, NOTE, TIMER_ON | LOUD), (608, LENGTH, 1)], False),
    ],
)
def test_a_register_of_a_length_counts_alone_where_a_note_of_that_length_ends(rows: list[Row], alone: bool) -> None:
    """The length is 257 before A_NOTE takes its upper bit; the timing ticks are at 20479 and 40959."""
    setting = [(400, NOTE, TIMER_ON | 0x40 | LOUD), (404, LENGTH, 1), (408, TONE, 0x20)]
    assert ("timer.length.A_NOTE-alone" in hit(*setting, *rows, (1000, GO, 1), end=50_000)) == alone


def test_a_short_mode_of_the_noise_is_told_from_the_long_one() -> None:
    """Divisor 4: a shift every 4 cycles, 17 bits: 34 shifts in 136 cycles."""
    rows = [(0, 0x20, 0), (4, 0x22, LOUD), (8, 0x26, 1)]
    assert "noise.long-2" in hit(*rows, end=200, part="noise")
    assert "noise.long-2" not in hit(*rows, end=140, part="noise")
    assert "noise.short-2" in hit((12, 0x21, 1), *rows, end=200, part="noise")


def test_what_is_out_of_reach_of_a_slow_bus_is_in_reach_of_a_fast_one() -> None:
    slow, fast = cover(LINNET, []), cover(LINNET, [], spacing=1)
    out = {b.name: b.unreachable for b in slow.unreachable}
    told = "a start acts 1 cycle after its write, and the next write comes 4 cycles after it or later"
    assert out["a.timer.length-at-start"] == told
    assert out["a.timer.end-at-sweep-step"].startswith("timing and bending never tick at one edge")
    assert "a.timer.length-at-start" not in {b.name for b in fast.unreachable}
    assert "a.timer.end-at-sweep-step" in {b.name for b in fast.unreachable}


def test_a_length_written_one_edge_after_the_start_meets_the_start() -> None:
    rows = note(1000, note=TIMER_ON | LOUD, length=5)
    met = cover(LINNET, [log_of(*rows, (1000, LENGTH, 6), end=2000)], spacing=1)
    assert "a.timer.length-at-start" in {b.name for b in met.bins if met.count(b)}
    beside = cover(LINNET, [log_of(*rows, (1001, LENGTH, 6), end=2000)], spacing=1)
    assert "a.timer.length-at-start" not in {b.name for b in beside.bins if beside.count(b)}


def test_a_write_closer_than_the_spacing_shows_what_is_out_of_reach_and_is_told() -> None:
    coverage = cover(LINNET, [log_of(*note(1000), (1000, PITCH, 7), end=2000)])
    assert [b.name for b in coverage.against_reason] == ["a.step.period-at-start"]


def test_the_mixer_passes_its_top_when_three_channels_add_up() -> None:
    """A, B and noise make 31 x 4 each, 372, which fits; the wave's 63 x 31 >> 5 is 61, and 372 + 61 x 3 is 555."""
    rows = note(1000, period=4095)
    rows += [
        (40 + i, 0x10 + k, v) for i, (k, v) in zip((0, 4, 8, 12), ((0, 255), (1, 0x2F), (2, LOUD), (6, 1)), strict=True)
    ]
    rows += [(80, 0x20, 0x0D), (84, 0x22, LOUD), (88, 0x26, 1)]
    without = hit(*rows, end=9000, part="mixer")
    assert not {"left.over", "right.over"} & without
    assert {"left.together-2", "left.a=1"} <= without
    rows += [(100 + 4 * i, 0x40 + i, 63) for i in range(64)]
    rows += [(400, 0x18, 0xFF), (404, 0x19, 0x00), (408, 0x1A, LOUD), (412, 0x1E, 1)]
    assert {"left.over", "right.over"} <= hit(*rows, end=9000, part="mixer")


def test_a_falling_sweep_is_turned_before_it_has_fallen() -> None:
    found = hit(*note(1000, period=256, bend=0x1A), (1500, BEND, 0x13), end=40000)
    assert "sweep.turned-fresh" in found
    assert "sweep.down" not in found
