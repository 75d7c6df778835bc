"""What each option of note timer, envelope and sweep means, edge by edge.

Every expected number was worked out by hand from the option's sentence in `psgmodel.chip.records` and the numbered list
in `psgmodel.engine`. Both engines must give it. The tick is at edges 10, 20, 30 and so on.
"""

from __future__ import annotations

import pytest

from tests.engine.linnet_plays import Table, Write
from tests.engine.one_channel import (
    ENABLE,
    FADE,
    FALLING,
    GLIDE,
    GO,
    LENGTH,
    PERIOD,
    PERIOD_HIGH,
    RISING,
    SHIFT,
    START,
    VOLUME,
    run_all,
    sounds,
    unit,
)

STEADY = '["1"]'
FIRST = (4, GO, START)


def note(starts: int, ends: int | None) -> Table:
    return [(0, 0), (starts, 5)] + ([] if ends is None else [(ends, 0)])


# --- note timer, 3 bits ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("timer", "length", "writes", "expected"),
    [
        ("", 2, [FIRST], note(4, 20)),
        ("", 0, [FIRST], note(4, 80)),  # 0 counts as 8
        ('loads = "top-minus-field"', 6, [FIRST], note(4, 20)),  # 8 - 6
        ('loads = "top-minus-field"', 0, [FIRST], note(4, 80)),
        ('at_zero = "go-on"', 2, [FIRST], note(4, None)),
        # Length 3 from 4: 2 at 10. Restarted at 12.
        ('on_start = "always"', 3, [FIRST, (12, GO, START)], note(4, 40)),
        ('on_start = "when-zero"', 3, [FIRST, (12, GO, START)], note(4, 30)),
        # Run out at 10, restarted at 12: loaded, as the counter is 0.
        ('on_start = "when-zero"', 1, [FIRST, (12, GO, START)], [*note(4, 10), (12, 5), (20, 0)]),
        # The enable bit at the edge of the tick.
        ('write_and_tick = "old"', 1, [FIRST, (10, ENABLE, 0)], note(4, 10)),
        ('write_and_tick = "new"', 1, [FIRST, (10, ENABLE, 0)], note(4, None)),
        ('write_and_tick = "old"', 1, [(1, ENABLE, 0), FIRST, (10, ENABLE, 1)], note(4, 20)),
        ('write_and_tick = "new"', 1, [(1, ENABLE, 0), FIRST, (10, ENABLE, 1)], note(4, 10)),
    ],
)
def test_note_timer(timer: str, length: int, writes: list[Write], expected: Table) -> None:
    chip = unit(patterns=STEADY, timer=f"bits = 3{', ' + timer if timer else ''}")
    assert sounds(chip, [(VOLUME, 5), (LENGTH, length)], writes, 95) == expected


@pytest.mark.parametrize(
    ("rule", "idle_ends", "running_ends"),
    [
        # Idle, length 2 loaded at 10: 2 after it, or 1 where the tick counts the loaded value. A tick alone never
        # counts in an idle channel.
        # Running: length 3 from 4, 2 at 10. Restarted at 20 with length 5: 5, or 4, or 1 without the load.
        ("start", 30, 70),
        ("both", 20, 60),
        ("tick", 30, 30),
    ],
)
def test_note_timer_where_start_and_tick_meet(rule: str, idle_ends: int, running_ends: int) -> None:
    chip = unit(patterns=STEADY, timer=f'bits = 3, start_and_tick = "{rule}"')
    assert sounds(chip, [(VOLUME, 5), (LENGTH, 2)], [(10, GO, START)], 95) == note(10, idle_ends)
    writes = [FIRST, (15, LENGTH, 5), (20, GO, START)]
    assert sounds(chip, [(VOLUME, 5), (LENGTH, 3)], writes, 95) == note(4, running_ends)


@pytest.mark.parametrize(
    ("timer", "expected"),
    [
        # Loaded as 1 and counted to 0 at the edge of the start: it never sounds, or sounds for 8 more ticks.
        ('start_and_tick = "both", expiry_and_start = "expiry"', [(0, 0)]),
        ('start_and_tick = "both", expiry_and_start = "start"', note(10, 90)),
    ],
)
def test_note_timer_that_runs_out_at_the_edge_of_a_start(timer: str, expected: Table) -> None:
    chip = unit(patterns=STEADY, timer=f"bits = 3, {timer}")
    assert sounds(chip, [(VOLUME, 5), (LENGTH, 1)], [(10, GO, START)], 95) == expected


@pytest.mark.parametrize(
    ("timer", "expected"),
    [
        # The running note's own tick wins over the load and runs out at 10.
        ('start_and_tick = "tick", expiry_and_start = "expiry"', note(4, 10)),
        ('start_and_tick = "tick", expiry_and_start = "start"', note(4, 90)),
        # The load wins: length 1 to the tick after.
        ('start_and_tick = "start"', note(4, 20)),
    ],
)
def test_note_timer_of_a_running_note_at_the_edge_of_a_restart(timer: str, expected: Table) -> None:
    chip = unit(patterns=STEADY, timer=f"bits = 3, {timer}")
    assert sounds(chip, [(VOLUME, 5), (LENGTH, 1)], [FIRST, (10, GO, START)], 95) == expected


# --- envelope, levels 0 to 7 ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("envelope", "setup", "writes", "expected"),
    [
        ("", [(FADE, 2)], [], [(20, 4), (40, 3)]),
        ("", [(FADE, 2), (RISING, 1)], [], [(20, 6), (40, 7)]),
        ("", [(FADE, 1), (RISING, 1)], [], [(10, 6), (20, 7)]),
        ("", [(FADE, 0)], [], []),
        ('period_zero = "longest"', [(FADE, 0)], [], [(40, 4)]),  # 2 bits: 4 ticks
        ("step = 3", [(FADE, 1)], [], [(10, 2), (20, 0)]),
        ('step = 3, at_end = "wrap"', [(FADE, 1)], [], [(10, 2), (20, 7), (30, 4), (40, 1)]),
        ('step = 3, at_end = "wrap"', [(FADE, 1), (RISING, 1)], [], [(10, 0), (20, 3), (30, 6), (40, 1)]),
        # Volume 6 written at 25.
        ("", [(FADE, 2)], [(25, VOLUME, 6)], [(20, 4), (40, 3)]),
        ('volume_write = "at-once"', [(FADE, 2)], [(25, VOLUME, 6)], [(20, 4), (25, 6), (40, 5)]),
        # Level 0 reached at 20: silent, but a written volume sounds; or stopped.
        (
            'step = 3, volume_write = "at-once"',
            [(FADE, 1)],
            [(25, VOLUME, 6)],
            [(10, 2), (20, 0), (25, 6), (30, 3), (40, 0)],
        ),
        ('step = 3, volume_write = "at-once", at_zero = "stop"', [(FADE, 1)], [(25, VOLUME, 6)], [(10, 2), (20, 0)]),
        # Written at the edge of a tick.
        (
            'volume_write = "at-once", volume_and_tick = "write"',
            [(FADE, 1)],
            [(10, VOLUME, 7)],
            [(10, 7), (20, 6), (30, 5), (40, 4)],
        ),
        (
            'volume_write = "at-once", volume_and_tick = "tick"',
            [(FADE, 1)],
            [(10, VOLUME, 7)],
            [(10, 4), (20, 3), (30, 2), (40, 1)],
        ),
        (
            'volume_write = "at-once", volume_and_tick = "both"',
            [(FADE, 1)],
            [(10, VOLUME, 7)],
            [(10, 6), (20, 5), (30, 4), (40, 3)],
        ),
        # Direction and period written at the edge of a tick.
        ('write_and_tick = "old"', [(FADE, 1)], [(20, RISING, 1)], [(10, 4), (20, 3), (30, 4), (40, 5)]),
        ('write_and_tick = "new"', [(FADE, 1)], [(20, RISING, 1)], [(10, 4), (20, 5), (30, 6), (40, 7)]),
        ('write_and_tick = "old"', [(FADE, 1)], [(20, FADE, 2)], [(10, 4), (20, 3), (30, 2)]),
        ('write_and_tick = "new"', [(FADE, 1)], [(20, FADE, 2)], [(10, 4), (20, 3), (40, 2)]),
        # A period of 0 at a tick stands still, and the counter with it.
        ("", [(FADE, 2)], [(15, FADE, 0), (25, FADE, 2)], [(30, 4)]),
    ],
)
def test_envelope(envelope: str, setup: list[tuple[int, int]], writes: list[Write], expected: Table) -> None:
    chip = unit(patterns=STEADY, envelope=f"period_bits = 2{', ' + envelope if envelope else ''}")
    assert sounds(chip, [(VOLUME, 5), *setup], [FIRST, *writes], 45) == [(0, 0), (4, 5), *expected]


@pytest.mark.parametrize(
    ("rule", "idle", "running"),
    [
        # Running: 5 from 4, volume 2 written at 6, restarted at 10.
        ("start", [(0, 0), (10, 5), (20, 4)], [(10, 2), (20, 1)]),
        ("tick", [(0, 0), (10, 5), (20, 4)], [(10, 4), (20, 3)]),
        ("both", [(0, 0), (10, 4), (20, 3)], [(10, 1), (20, 0)]),
    ],
)
def test_envelope_where_start_and_tick_meet(rule: str, idle: Table, running: Table) -> None:
    chip = unit(patterns=STEADY, envelope=f'period_bits = 2, start_and_tick = "{rule}"')
    setup = [(VOLUME, 5), (FADE, 1)]
    assert sounds(chip, setup, [(10, GO, START)], 25) == idle
    assert sounds(chip, setup, [FIRST, (6, VOLUME, 2), (10, GO, START)], 25) == [(0, 0), (4, 5), *running]


def test_without_an_envelope_the_volume_is_looked_up_all_the_time() -> None:
    assert sounds(unit(patterns=STEADY), [(VOLUME, 5)], [FIRST, (7, VOLUME, 2)], 10) == [(0, 0), (4, 5), (7, 2)]


# --- sweep, 4-bit period --------------------------------------------------------------------------------------------


def swept(sweep: str, setup: list[tuple[int, int]], writes: list[Write], end: int) -> tuple[int, int]:
    """The period and `active` just before edge `end`."""
    chip = unit(sweep=f"period_bits = 2, shift_bits = 2{', ' + sweep if sweep else ''}")
    state = run_all(chip, [(VOLUME, 5), (GLIDE, 1), *setup], writes, end).state
    return state.registers[PERIOD], state.channels["x"].active


@pytest.mark.parametrize(
    ("sweep", "setup", "writes", "end", "expected"),
    [
        ("", [(PERIOD, 8), (SHIFT, 2)], [FIRST], 10, (8, 1)),
        ("", [(PERIOD, 8), (SHIFT, 2)], [FIRST], 11, (10, 1)),  # 8 + 2
        ("", [(PERIOD, 8), (SHIFT, 2)], [FIRST], 21, (12, 1)),  # 10 + 2
        ("", [(PERIOD, 8), (SHIFT, 2), (FALLING, 1)], [FIRST], 11, (6, 1)),
        ("", [(PERIOD, 5), (SHIFT, 1), (FALLING, 1)], [FIRST], 11, (3, 1)),
        ("", [(PERIOD, 10), (SHIFT, 1)], [FIRST], 11, (15, 1)),  # 10 + 5 just fits
        ('overflow = "stop"', [(PERIOD, 12), (SHIFT, 1)], [FIRST], 11, (12, 0)),  # 18 does not
        ('overflow = "hold"', [(PERIOD, 12), (SHIFT, 1)], [FIRST], 11, (12, 1)),
        ('overflow = "wrap"', [(PERIOD, 12), (SHIFT, 1)], [FIRST], 11, (2, 1)),
        ("", [(PERIOD, 8), (SHIFT, 2), (GLIDE, 2)], [FIRST], 20, (8, 1)),
        ("", [(PERIOD, 8), (SHIFT, 2), (GLIDE, 2)], [FIRST], 21, (10, 1)),
        ('period_zero = "stop"', [(PERIOD, 8), (SHIFT, 2), (GLIDE, 0)], [FIRST], 95, (8, 1)),
        ('period_zero = "longest"', [(PERIOD, 8), (SHIFT, 2), (GLIDE, 0)], [FIRST], 40, (8, 1)),
        ('period_zero = "longest"', [(PERIOD, 8), (SHIFT, 2), (GLIDE, 0)], [FIRST], 41, (10, 1)),  # 4 ticks
        ('write_and_tick = "old"', [(PERIOD, 8), (SHIFT, 2)], [FIRST, (10, FALLING, 1)], 11, (10, 1)),
        ('write_and_tick = "new"', [(PERIOD, 8), (SHIFT, 2)], [FIRST, (10, FALLING, 1)], 11, (6, 1)),
        ('write_and_tick = "old"', [(PERIOD, 8), (SHIFT, 2)], [FIRST, (10, SHIFT, 3)], 11, (10, 1)),
        ('write_and_tick = "new"', [(PERIOD, 8), (SHIFT, 2)], [FIRST, (10, SHIFT, 3)], 11, (9, 1)),
        # The step works on the period from before its edge; the written one stands or is lost.
        ('write_and_step = "write"', [(PERIOD, 8), (SHIFT, 2)], [FIRST, (10, PERIOD, 3)], 11, (3, 1)),
        ('write_and_step = "step"', [(PERIOD, 8), (SHIFT, 2)], [FIRST, (10, PERIOD, 3)], 11, (10, 1)),
        # Idle at the tick, start at its edge: only "both" makes a step there.
        ('start_and_tick = "start"', [(PERIOD, 8), (SHIFT, 2)], [(10, GO, START)], 20, (8, 1)),
        ('start_and_tick = "tick"', [(PERIOD, 8), (SHIFT, 2)], [(10, GO, START)], 20, (8, 1)),
        ('start_and_tick = "both"', [(PERIOD, 8), (SHIFT, 2)], [(10, GO, START)], 20, (10, 1)),
    ],
)
def test_sweep(
    sweep: str, setup: list[tuple[int, int]], writes: list[Write], end: int, expected: tuple[int, int]
) -> None:
    assert swept(sweep, setup, writes, end) == expected


@pytest.mark.parametrize(("rule", "steps_at"), [("start", 50), ("tick", 30), ("both", 40)])
def test_sweep_where_a_restart_and_a_tick_meet(rule: str, steps_at: int) -> None:
    # Sweep period 3 from 4: 2 after 10. At 20 it is reloaded (3), counted (1), or reloaded and counted (2).
    setup = [(PERIOD, 8), (SHIFT, 2), (GLIDE, 3)]
    writes = [FIRST, (20, GO, START)]
    assert swept(f'start_and_tick = "{rule}"', setup, writes, steps_at) == (8, 1)
    assert swept(f'start_and_tick = "{rule}"', setup, writes, steps_at + 1) == (10, 1)


@pytest.mark.parametrize(
    ("rule", "low", "high"),
    [
        # 6 = 01|10, 6 + 3 = 9 = 10|01, and 11 is written to the low half at the edge of the step.
        ("write", 3, 1),
        ("step", 1, 2),
        ("merge", 3, 2),
    ],
)
def test_sweep_step_and_a_write_to_half_of_the_period(rule: str, low: int, high: int) -> None:
    chip = unit(
        sweep=f'period_bits = 2, shift_bits = 2, write_and_step = "{rule}"',
        wires=(("x.period[1:0]", PERIOD, "1:0"), ("x.period[3:2]", PERIOD_HIGH, "1:0")),
    )
    setup = [(VOLUME, 5), (GLIDE, 1), (PERIOD, 2), (PERIOD_HIGH, 1), (SHIFT, 1)]
    registers = run_all(chip, setup, [FIRST, (10, PERIOD, 3)], 11).state.registers
    assert (registers[PERIOD], registers[PERIOD_HIGH]) == (low, high)
