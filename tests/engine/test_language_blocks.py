"""What the newer options of note timer, envelope and sweep mean, edge by edge.

Every expected number was worked out by hand from the option's sentence and the numbered list in `psgmodel.engine`. The
tick is at edges 10, 20, 30 and so on. The older options stand in `test_block_options_by_hand`.
"""

from __future__ import annotations

import pytest

from tests.engine.linnet_plays import Table, Write
from tests.engine.tiny_units import (
    ENABLE,
    FADE,
    FALLING,
    GLIDE,
    GO,
    LENGTH,
    PERIOD,
    RISING,
    SHIFT,
    START,
    STOP,
    VOLUME,
    play,
    sounds,
    tiny,
)

NOTE = [(0, VOLUME, 5), (4, GO, START)]


def note(ends: int | None) -> Table:
    return [(0, 0), (4, 5)] + ([] if ends is None else [(ends, 0)])


# --- note timer -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("bits", "ends"), [(1, 20), (2, 40), (3, 80)])
def test_a_timer_is_as_wide_as_is_said(bits: int, ends: int) -> None:
    # Loaded with 0, which counts as 2, 4, 8.
    assert sounds(tiny(f"channel.x.timer.bits = {bits}"), NOTE, 90) == note(ends)


def test_each_block_counts_the_tick_that_it_names() -> None:
    blocks = 'timer.ticks = "slow"\nenvelope.ticks = "fast"\nsweep.ticks = "fast"'
    chip = tiny(f"[ticks]\nslow = {{ every = 16 }}\nfast = {{ every = 6 }}\n[channel.x]\n{blocks}")
    writes = [*NOTE, (0, LENGTH, 2), (0, FADE, 2), (0, GLIDE, 1), (0, PERIOD, 8), (0, SHIFT, 3)]
    # "fast" at 5, 11, 17, 23, 29; "slow" at 15, 31. The envelope steps at 11 and 23, the period at each but where it
    # falls on a bit less than an eighth: 9, 10, 11, 12 after 23, 13.
    assert sounds(chip, writes, 40) == [(0, 0), (4, 5), (11, 4), (23, 3), (31, 0)]
    assert play(chip, writes, 24).state.registers[PERIOD] == 12


@pytest.mark.parametrize(
    ("timer", "writes", "ends"),
    [
        # Length 2; off at the start, on again at 7. Counted at 10 and 20; or at 7 and 10.
        ("", [(0, ENABLE, 0), (7, ENABLE, 1)], 20),
        ('on_enable = "nothing"', [(0, ENABLE, 0), (7, ENABLE, 1)], 20),
        ('on_enable = "tick"', [(0, ENABLE, 0), (7, ENABLE, 1)], 10),
        # On at the edge of a tick, which sees the old 0: counted at 20 and 30; or at 10 for it and at 20.
        ('on_enable = "nothing"', [(0, ENABLE, 0), (10, ENABLE, 1)], 30),
        ('on_enable = "tick"', [(0, ENABLE, 0), (10, ENABLE, 1)], 20),
        # A tick that sees the new 1 counts, and once only.
        ('on_enable = "nothing", write_and_tick = "new"', [(0, ENABLE, 0), (10, ENABLE, 1)], 20),
        ('on_enable = "tick", write_and_tick = "new"', [(0, ENABLE, 0), (10, ENABLE, 1)], 20),
        # Twice off and on between two ticks counts twice.
        ('on_enable = "tick"', [(5, ENABLE, 0), (6, ENABLE, 1), (7, ENABLE, 0), (8, ENABLE, 1)], 8),
        # Off and on within one edge leaves it on.
        ('on_enable = "tick"', [(5, ENABLE, 0), (5, ENABLE, 1)], 20),
        # Not in a channel that is inactive, nor at the edge of a start (4).
        ('on_enable = "tick"', [(0, ENABLE, 0), (3, ENABLE, 1)], 20),
        ('on_enable = "tick"', [(0, ENABLE, 0), (4, ENABLE, 1)], 20),
        ('on_enable = "tick", start_and_tick = "both"', [(0, ENABLE, 0), (4, ENABLE, 1)], 20),
    ],
)
def test_turning_a_timer_on_may_count_as_a_tick(timer: str, writes: list[Write], ends: int) -> None:
    chip = tiny(f"channel.x.timer = {{ {timer} }}")
    assert sounds(chip, [*NOTE, (0, LENGTH, 2), *writes], 40) == note(ends)


def test_without_a_timer_notes_last_until_stopped() -> None:
    assert sounds(tiny(""), [*NOTE, (900, GO, STOP)], 1000) == note(900)


# --- envelope ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("bits", "edge"), [(1, 10), (2, 30), (3, 70)])
def test_an_envelope_period_is_as_wide_as_is_said(bits: int, edge: int) -> None:
    # Of a 7 the lowest bits: 1, 3, 7 ticks.
    chip = tiny(f"channel.x.envelope.period_bits = {bits}")
    assert sounds(chip, [*NOTE, (0, FADE, 7)], edge + 1) == [(0, 0), (4, 5), (edge, 4)]


def test_the_counter_of_an_envelope_takes_a_written_period_at_its_next_load() -> None:
    # Period 1, at 15 it becomes 3: the step at 20 still comes, and loads 3: 50. At 55 it becomes 1: 80, then 90.
    writes = [*NOTE, (0, FADE, 1), (15, FADE, 3), (55, FADE, 1)]
    expected = [(0, 0), (4, 5), (10, 4), (20, 3), (50, 2), (80, 1), (90, 0)]
    assert sounds(tiny("channel.x.envelope = {}"), writes, 95) == expected


LIVE = 'volume_write = "at-once"'


@pytest.mark.parametrize(
    ("at_zero", "volume", "writes", "expected"),
    [
        # At 25 the volume 6 is written: whoever is still active shows it, and a step at 30.
        ("sound", 1, [], [(4, 1), (10, 0), (25, 6), (30, 5)]),
        ("stop", 1, [], [(4, 1), (10, 0)]),
        # A step that stays at 0 is one after which the level is 0.
        ("sound", 0, [], [(25, 6), (30, 5)]),
        ("stop", 0, [], []),
        # Not at a start, though its tick makes a step to 0.
        (
            "stop",
            1,
            [(5, GO, STOP), (10, GO, START), (12, VOLUME, 6)],
            [(4, 1), (5, 0), (12, 6), (20, 5), (25, 6), (30, 5)],
        ),
        # A 0 written between ticks stops nothing; the step at 10 after it, which stays there, does.
        ("stop", 5, [(6, VOLUME, 0), (8, VOLUME, 4)], [(4, 5), (6, 0), (8, 4), (10, 3), (20, 2), (25, 6), (30, 5)]),
        # A 0 written at the edge of a step, and standing after it.
        ("stop", 5, [(10, VOLUME, 0)], [(4, 5), (10, 0)]),
        ("sound", 5, [(10, VOLUME, 0)], [(4, 5), (10, 0), (25, 6), (30, 5)]),
    ],
)
def test_what_happens_at_level_0(at_zero: str, volume: int, writes: list[Write], expected: Table) -> None:
    both = ', start_and_tick = "both"' if (10, GO, START) in writes else ""
    chip = tiny(f'channel.x.envelope = {{ {LIVE}, at_zero = "{at_zero}"{both} }}')
    start = [(0, VOLUME, volume), (0, FADE, 1), (4, GO, START)]
    assert sounds(chip, [*start, *writes, (25, VOLUME, 6)], 35) == [(0, 0), *expected]


def test_an_envelope_sounds_on_at_level_0_where_nothing_is_said() -> None:
    chip = tiny(f"channel.x.envelope = {{ {LIVE} }}")
    writes = [(0, VOLUME, 1), (0, FADE, 1), (4, GO, START), (25, VOLUME, 6)]
    assert sounds(chip, writes, 28) == [(0, 0), (4, 1), (10, 0), (25, 6)]


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        # Period 2 from 4: the tick at 10 makes no step, the one at 20 does. Volume 7 is written at 10.
        ("write", [(10, 7), (20, 6)]),
        ("tick", [(20, 4)]),  # lost, though nothing moved
        ("both", [(10, 7), (20, 6)]),
    ],
)
def test_a_volume_written_at_a_tick_that_makes_no_step(rule: str, expected: Table) -> None:
    chip = tiny(f'channel.x.envelope = {{ {LIVE}, volume_and_tick = "{rule}" }}')
    assert sounds(chip, [*NOTE, (0, FADE, 2), (10, VOLUME, 7)], 25) == [(0, 0), (4, 5), *expected]


# --- sweep ------------------------------------------------------------------------------------------------------------


def swept(sweep: str, writes: list[Write], end: int) -> tuple[int, int]:
    """The period and `active` just before edge `end`; 4-bit periods, a sweep step at each tick after a start at 4."""
    chip = tiny(f"channel.x.sweep = {{ {sweep} }}")
    state = play(chip, [*NOTE, (0, GLIDE, 1), *writes], end).state
    return state.registers[PERIOD], state.channels["x"].active


@pytest.mark.parametrize(
    ("sweep", "writes", "end", "expected"),
    [
        # 8 + 2 at 10. Written as 4 at 15: 4 + 1 at 20, or the copy's 10 + 2.
        ("", [(15, PERIOD, 4)], 21, (5, 1)),
        ('works_on = "period"', [(15, PERIOD, 4)], 21, (5, 1)),
        ('works_on = "shadow"', [(15, PERIOD, 4)], 21, (12, 1)),
        # Written before the first step.
        ('works_on = "shadow"', [(6, PERIOD, 4)], 11, (10, 1)),
        # Started again at 16, after the write at 15: the copy is 4.
        ('works_on = "shadow"', [(15, PERIOD, 4), (16, GO, START)], 21, (5, 1)),
        # Written at the edge of the step at 10: the period is lost or not, the copy takes the result 10 and then 12.
        ('works_on = "shadow", write_and_step = "write"', [(10, PERIOD, 4)], 11, (4, 1)),
        ('works_on = "shadow", write_and_step = "write"', [(10, PERIOD, 4)], 21, (12, 1)),
        # Start and tick at 10, where the written 4 is seen by the start: "both" steps the copy of it, or the period as
        # it was before the edge, 8 + 2, against which the write wins.
        (
            'works_on = "shadow", start_and_tick = "both", write_and_step = "step"',
            [(10, PERIOD, 4), (10, GO, START)],
            11,
            (5, 1),
        ),
        (
            'works_on = "period", start_and_tick = "both", write_and_step = "step"',
            [(10, PERIOD, 4), (10, GO, START)],
            11,
            (10, 1),
        ),
    ],
)
def test_a_step_works_on_the_period_or_on_a_copy(
    sweep: str, writes: list[Write], end: int, expected: tuple[int, int]
) -> None:
    assert swept(sweep, [(0, PERIOD, 8), (0, SHIFT, 2), *writes], end) == expected


@pytest.mark.parametrize(
    ("check", "setup", "end", "expected"),
    [
        # 12 + 6 does not fit 4 bits: at the step at 10, or at once.
        ("", [(0, PERIOD, 12), (0, SHIFT, 1)], 10, (12, 1)),
        ("", [(0, PERIOD, 12), (0, SHIFT, 1)], 11, (12, 0)),
        ("at-step", [(0, PERIOD, 12), (0, SHIFT, 1)], 10, (12, 1)),
        ("at-step", [(0, PERIOD, 12), (0, SHIFT, 1)], 11, (12, 0)),
        ("at-start-too", [(0, PERIOD, 12), (0, SHIFT, 1)], 5, (12, 0)),
        ("after-step-too", [(0, PERIOD, 12), (0, SHIFT, 1)], 5, (12, 0)),
        # A shift of 0 is not looked at by the start: 12 + 12 at 10.
        ("at-start-too", [(0, PERIOD, 12), (0, SHIFT, 0)], 10, (12, 1)),
        ("at-start-too", [(0, PERIOD, 12), (0, SHIFT, 0)], 11, (12, 0)),
        ("after-step-too", [(0, PERIOD, 12), (0, SHIFT, 0)], 10, (12, 1)),
        # 8 + 4 is 12 at 10, and 12 + 6 does not fit: at 20, or looked ahead to at 10.
        ("at-step", [(0, PERIOD, 8), (0, SHIFT, 1)], 20, (12, 1)),
        ("at-start-too", [(0, PERIOD, 8), (0, SHIFT, 1)], 20, (12, 1)),
        ("at-start-too", [(0, PERIOD, 8), (0, SHIFT, 1)], 21, (12, 0)),
        ("after-step-too", [(0, PERIOD, 8), (0, SHIFT, 1)], 10, (8, 1)),
        ("after-step-too", [(0, PERIOD, 8), (0, SHIFT, 1)], 11, (12, 0)),
        # With a shift of 0 too: 4 + 4, and 8 + 8 does not fit.
        ("after-step-too", [(0, PERIOD, 4), (0, SHIFT, 0)], 11, (8, 0)),
        # Falling runs over nothing.
        ("after-step-too", [(0, PERIOD, 12), (0, SHIFT, 1), (0, FALLING, 1)], 11, (6, 1)),
    ],
)
def test_when_an_overflow_is_looked_for(check: str, setup: list[Write], end: int, expected: tuple[int, int]) -> None:
    assert swept(f'check = "{check}"' if check else "", setup, end) == expected


@pytest.mark.parametrize("overflow", ["hold", "wrap"])
def test_an_overflow_that_does_not_stop_is_not_looked_for_ahead(overflow: str) -> None:
    sweep = f'overflow = "{overflow}", check = "after-step-too"'
    assert swept(sweep, [(0, PERIOD, 12), (0, SHIFT, 1)], 10) == (12, 1)
    assert swept(sweep, [(0, PERIOD, 8), (0, SHIFT, 1)], 11) == (12, 1)


@pytest.mark.parametrize(
    ("check", "active"),
    [
        # 5 from 4, then 12, which runs over at 10, where a start of the running note is, too. The tick counts, not the
        # load.
        ("at-step", 1),
        ("at-start-too", 0),
        ("after-step-too", 0),
    ],
)
def test_a_start_at_the_edge_of_an_overflow(check: str, active: int) -> None:
    sweep = f'check = "{check}", start_and_tick = "tick"'
    writes = [(0, PERIOD, 5), (0, SHIFT, 1), (6, PERIOD, 12), (10, GO, START)]
    assert swept(sweep, writes, 11) == (12, active)


@pytest.mark.parametrize(
    ("subtract", "period", "shift", "expected"),
    [
        ("", 8, 2, 6),
        ("twos-complement", 8, 2, 6),
        ("ones-complement", 8, 2, 5),
        ("twos-complement", 9, 0, 0),
        ("ones-complement", 9, 0, 15),  # -1 modulo 16
        ("twos-complement", 1, 1, 1),
        ("ones-complement", 1, 1, 0),
        ("ones-complement", 0, 1, 15),
    ],
)
def test_what_falling_subtracts(subtract: str, period: int, shift: int, expected: int) -> None:
    setup = [(0, PERIOD, period), (0, SHIFT, shift), (0, FALLING, 1)]
    assert swept(f'subtract = "{subtract}"' if subtract else "", setup, 11) == (expected, 1)


@pytest.mark.parametrize(
    ("rule", "writes", "active"),
    [
        # A falling step at 10, the direction turned at 15.
        ("", [(15, FALLING, 0)], 1),
        ("go-on", [(15, FALLING, 0)], 1),
        ("stop", [(15, FALLING, 0)], 0),
        # Before any falling step; at the very edge of the first.
        ("stop", [(7, FALLING, 0)], 1),
        ("stop", [(10, FALLING, 0)], 1),
        # At the edge of the second.
        ("stop", [(20, FALLING, 0)], 0),
        # Turned twice; the first time it mattered.
        ("stop", [(6, FALLING, 0), (7, FALLING, 1), (15, FALLING, 0)], 0),
        # A start forgets the step; at its own edge nothing stops.
        ("stop", [(12, GO, START), (15, FALLING, 0)], 1),
        ("stop", [(15, FALLING, 0), (15, GO, START)], 1),
        # Writing a 1 over a 1, and a 0 over a 0.
        ("stop", [(15, FALLING, 1)], 1),
        # The mark outlives a change of direction before the next step.
        ("go-on", [(15, FALLING, 0), (16, FALLING, 1), (17, FALLING, 0)], 1),
    ],
)
def test_turning_a_sweep_upward_after_it_fell(rule: str, writes: list[Write], active: int) -> None:
    sweep = f'rising_after_falling = "{rule}"' if rule else ""
    assert swept(sweep, [(0, PERIOD, 9), (0, SHIFT, 3), (0, FALLING, 1), *writes], 25)[1] == active


@pytest.mark.parametrize(("bits", "edge"), [(1, 10), (2, 30), (3, 70)])
def test_a_sweep_period_is_as_wide_as_is_said(bits: int, edge: int) -> None:
    # Of a 7 the lowest bits: 1, 3, 7 ticks.
    writes = [(0, GLIDE, 7), (0, PERIOD, 8), (0, SHIFT, 3)]
    assert swept(f"period_bits = {bits}", writes, edge) == (8, 1)
    assert swept(f"period_bits = {bits}", writes, edge + 1) == (9, 1)


@pytest.mark.parametrize(("bits", "period"), [(1, 12), (2, 9), (3, 8)])
def test_a_sweep_shift_is_as_wide_as_is_said(bits: int, period: int) -> None:
    # Of a 7 the lowest bits: 8 + 4, 8 + 1, 8 + 0.
    assert swept(f"shift_bits = {bits}", [(0, PERIOD, 8), (0, SHIFT, 7)], 11) == (period, 1)


def test_without_a_sweep_the_period_stays_and_without_an_envelope_the_volume() -> None:
    chip = tiny("")
    state = play(chip, [*NOTE, (0, PERIOD, 8)], 95).state
    assert state.registers[PERIOD] == 8
    assert sounds(chip, [*NOTE, (50, VOLUME, 2)], 95) == [(0, 0), (4, 5), (50, 2)]
    assert RISING not in chip.registers
