"""Linnet's note timers, envelopes, sweep and mixer, edge by edge, in both engines.

Every expected number was worked out by hand from patches/linnet.md, whose section is named. Ticks (section 3): `timing`
at 20479, 40959, ...; `shaping` at 9999, 42767, 75535; `bending` at 30000, 81200.
"""

from __future__ import annotations

import pytest

from tests.engine.linnet_plays import (
    A_BEND,
    A_GO,
    A_NOTE,
    A_PITCH,
    A_TONE,
    B_GO,
    B_NOTE,
    B_PITCH,
    B_TONE,
    N_CLOCK,
    N_GO,
    N_LENGTH,
    N_NOTE,
    N_SHAPE,
    ROUTE,
    START,
    STOP,
    TRIM,
    W_GO,
    W_MEMORY,
    W_NOTE,
    Table,
    Write,
    play,
    table_of,
)

STEADY = [(N_CLOCK, 14)]  # the noise clock stopped, the output bit 1 since reset: the level is the envelope's

# --- Section 7: note timer ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "ends_at"),
    [(1, 20479), (2, 40959)],
)
def test_a_note_ends_at_the_tick_that_makes_its_timer_zero(length: int, ends_at: int) -> None:
    setup = [*STEADY, (N_NOTE, 0x83), (N_LENGTH, length)]
    trace = play(setup, [(20472, N_GO, START)], start=20470, end=ends_at + 3)
    assert table_of(trace["noise"]) == [(20470, 0), (20473, 3), (ends_at, 0)]


@pytest.mark.parametrize(
    ("note", "length", "ticks"),
    [(0x83, 0, 512), (0xC3, 1, 257), (0xC3, 255, 511), (0x83, 255, 255)],
    ids=["0 means 512", "bit 8 is in the note register", "511", "255"],
)
def test_long_notes(note: int, length: int, ticks: int) -> None:
    ends_at = 20479 + (ticks - 1) * 20480
    setup = [*STEADY, (N_NOTE, note), (N_LENGTH, length)]
    trace = play(setup, [(20472, N_GO, START)], start=20470, end=ends_at + 3, fast_only=True)
    assert table_of(trace["noise"]) == [(20470, 0), (20473, 3), (ends_at, 0)]


@pytest.mark.parametrize(
    ("written_at", "length", "expected"),
    [
        (20477, 1, [(20470, 0), (20478, 3), (20479, 0)]),  # loaded before the tick, counted by it
        (20478, 1, [(20470, 0)]),  # loaded at the tick, counted by it: it never sounds
        (20479, 1, [(20470, 0), (20480, 3), (40959, 0)]),  # loaded after the tick
        (20478, 2, [(20470, 0), (20479, 3), (40959, 0)]),  # loaded at the tick as 2, counted to 1
    ],
)
def test_a_timer_meets_a_start(written_at: int, length: int, expected: Table) -> None:
    setup = [*STEADY, (N_NOTE, 0x83), (N_LENGTH, length)]
    trace = play(setup, [(written_at, N_GO, START)], start=20470, end=40965)
    assert table_of(trace["noise"]) == expected


def test_a_restart_of_length_1_at_a_tick_ends_the_note_that_sounds() -> None:
    # The note before it had 512 ticks to go.
    setup = [*STEADY, (N_NOTE, 0x83), (N_LENGTH, 0)]
    writes = [(20472, N_GO, START), (20475, N_LENGTH, 1), (20478, N_GO, START)]
    assert table_of(play(setup, writes, start=20470, end=20485)["noise"]) == [(20470, 0), (20473, 3), (20479, 0)]


@pytest.mark.parametrize(
    ("written_at", "expected"),
    [(20478, [(20470, 0), (20473, 3)]), (20479, [(20470, 0), (20473, 3), (20479, 0)])],
)
def test_a_tick_sees_the_enable_bit_from_before_its_edge(written_at: int, expected: Table) -> None:
    setup = [*STEADY, (N_NOTE, 0x83), (N_LENGTH, 1)]
    writes = [(20472, N_GO, START), (written_at, N_NOTE, 0x03)]
    assert table_of(play(setup, writes, start=20470, end=20490)["noise"]) == expected


def test_ticks_pass_a_disabled_timer_and_an_inactive_channel_by() -> None:
    # Length 2. Disabled over the tick at 20479; stopped over the one at 40959; so 61439 is the first that counts.
    setup = [*STEADY, (N_NOTE, 0x03), (N_LENGTH, 2)]
    writes = [(20472, N_GO, START), (20500, N_NOTE, 0x83), (40900, N_GO, STOP), (41000, N_GO, START)]
    expected = [(20470, 0), (20473, 3), (40901, 0), (41001, 3), (81919, 0)]
    assert table_of(play(setup, writes, start=20470, end=81925)["noise"]) == expected


# --- Section 8: envelope --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("volume", "shape", "expected"),
    [
        (30, 0x81, [(9990, 0), (9992, 30), (9999, 31)]),  # held at 31
        (1, 0x01, [(9990, 0), (9992, 1), (9999, 0)]),  # held at 0
        (5, 0x81, [(9990, 0), (9992, 5), (9999, 6), (42767, 7)]),
        (5, 0x01, [(9990, 0), (9992, 5), (9999, 4), (42767, 3)]),
        (5, 0x02, [(9990, 0), (9992, 5), (42767, 4)]),  # 2 to 1, then a step
        (5, 0x03, [(9990, 0), (9992, 5), (75535, 4)]),
        (5, 0x80, [(9990, 0), (9992, 5)]),
    ],
    ids=["held at 31", "held at 0", "louder", "softer", "period 2", "period 3", "period 0"],
)
def test_an_envelope_moves_at_its_ticks(volume: int, shape: int, expected: Table) -> None:
    setup = [*STEADY, (N_NOTE, volume), (N_SHAPE, shape)]
    trace = play(setup, [(9991, N_GO, START)], start=9990, end=max(10_010, expected[-1][0] + 3))
    assert table_of(trace["noise"]) == expected


@pytest.mark.parametrize(
    ("written_at", "expected"),
    [(9998, [(9990, 0), (9992, 10), (9999, 9)]), (9999, [(9990, 0), (9992, 10), (9999, 11)])],
)
def test_an_envelope_tick_sees_the_direction_from_before_its_edge(written_at: int, expected: Table) -> None:
    setup = [*STEADY, (N_NOTE, 10), (N_SHAPE, 0x81)]
    trace = play(setup, [(9991, N_GO, START), (written_at, N_SHAPE, 0x01)], start=9990, end=10010)
    assert table_of(trace["noise"]) == expected


def test_an_envelope_period_is_looked_up_at_each_tick() -> None:
    # Period 2: 9999 makes the counter 1. Period 1 from then on: steps at 42767 and at 75535.
    setup = [*STEADY, (N_NOTE, 10), (N_SHAPE, 0x02)]
    trace = play(setup, [(9991, N_GO, START), (10000, N_SHAPE, 0x01)], start=9990, end=75540)
    assert table_of(trace["noise"]) == [(9990, 0), (9992, 10), (42767, 9), (75535, 8)]


def test_an_envelope_tick_that_meets_a_start_is_lost() -> None:
    # Restarted at 9999 itself with volume 5: no step there, the next one at 42767.
    setup = [*STEADY, (N_NOTE, 10), (N_SHAPE, 0x81)]
    writes = [(9991, N_GO, START), (9995, N_NOTE, 5), (9998, N_GO, START)]
    expected = [(9990, 0), (9992, 10), (9999, 5), (42767, 6)]
    assert table_of(play(setup, writes, start=9990, end=42770)["noise"]) == expected


def test_a_volume_written_while_a_note_sounds_waits_for_the_next_start() -> None:
    writes = [(9991, N_GO, START), (9993, N_NOTE, 20), (9999, N_NOTE, 21), (10004, N_GO, START)]
    trace = play([*STEADY, (N_NOTE, 10), (N_SHAPE, 0x81)], writes, start=9990, end=10010)
    assert table_of(trace["noise"]) == [(9990, 0), (9992, 10), (9999, 11), (10005, 21)]


# --- Section 9: sweep of A ------------------------------------------------------------------------------------------
#
# Pattern 0, L = 2 * (period + 1): position 0 sounds for L cycles, then 15 steps of silence. The start acts at 29992,
# period 7: L = 16, so position 1 begins at 30008 and takes the length that the sweep step at 30000 has left.


@pytest.mark.parametrize(
    ("bend", "write", "length"),
    [
        (0x10, (0, ROUTE, 0xFF), 30),  # 7 + 7 = 14
        (0x11, (0, ROUTE, 0xFF), 22),  # 7 + 3 = 10
        (0x19, (0, ROUTE, 0xFF), 10),  # 7 - 3 = 4
        (0x18, (0, ROUTE, 0xFF), 2),  # 7 - 7 = 0
        (0x13, (0, ROUTE, 0xFF), 16),  # 7 >> 3 = 0
        (0x00, (0, ROUTE, 0xFF), 16),  # sweep period 0
        (0x20, (0, ROUTE, 0xFF), 16),  # sweep period 2: the tick at 30000 only counts
        (0x10, (30000, A_PITCH, 2), 6),  # a write at the edge of the step: its result is lost
        (0x10, (30000, A_PITCH, 7), 16),
        (0x10, (30000, A_TONE, 0), 16),  # the other half: lost as a whole too
        (0x10, (30000, A_NOTE, 9), 30),  # not of the period
        (0x10, (30001, A_PITCH, 2), 6),
        (0x10, (29999, A_PITCH, 4), 18),  # 4 + 4 = 8
        (0x10, (30000, A_BEND, 0x18), 30),  # the step sees the direction from before its edge
        (0x10, (29999, A_BEND, 0x18), 2),
    ],
)
def test_the_sweep_step_at_30000(bend: int, write: Write, length: int) -> None:
    setup = [(A_PITCH, 7), (A_NOTE, 9), (A_BEND, bend)]
    then = [(29991, A_GO, START)] + ([write] if write[0] else [])
    back = 30008 + 15 * length
    trace = play(setup, then, start=29980, end=back + length + 1)
    assert table_of(trace["a"]) == [(29980, 0), (29992, 9), (30008, 0), (back, 9), (back + length, 0)]


def test_a_step_that_begins_at_the_edge_of_a_sweep_step_takes_the_old_period() -> None:
    # Started at 29984: position 1 begins at 30000 with L = 16; from 30016 on L = 30, 14 of them.
    trace = play([(A_PITCH, 7), (A_NOTE, 9), (A_BEND, 0x10)], [(29983, A_GO, START)], start=29980, end=30470)
    assert table_of(trace["a"]) == [(29980, 0), (29984, 9), (30000, 0), (30436, 9), (30466, 0)]


@pytest.mark.parametrize(
    ("period", "shift", "after", "active"),
    [
        (0xAAA, 1, 4095, 1),  # 2730 + 1365 = 4095 fits
        (0xAAB, 1, 0xAAB, 0),  # 2731 + 1365 = 4096 does not: the period is kept and the note ends
        (0x900, 0, 0x900, 0),
        (0x7FF, 0, 4094, 1),
    ],
)
def test_a_sum_past_4095_ends_the_note(period: int, shift: int, after: int, active: int) -> None:
    setup = [(A_PITCH, period & 0xFF), (A_TONE, period >> 8), (A_NOTE, 9), (A_BEND, 0x10 | shift)]
    trace = play(setup, [(29991, A_GO, START)], start=29980, end=30005)
    expected = [(29980, 0), (29992, 9)] + ([] if active else [(30000, 0)])
    assert table_of(trace["a"]) == expected
    registers = trace.state.registers
    assert registers[A_PITCH] | (registers[A_TONE] & 15) << 8 == after
    assert trace.state.channels["a"].active == active


def test_a_write_at_the_edge_of_a_sum_past_4095_stands_and_the_note_ends() -> None:
    setup = [(A_PITCH, 0x00), (A_TONE, 0x29), (A_NOTE, 9), (A_BEND, 0x10)]
    trace = play(setup, [(29991, A_GO, START), (30000, A_PITCH, 0x55)], start=29980, end=30005)
    assert table_of(trace["a"]) == [(29980, 0), (29992, 9), (30000, 0)]
    assert (trace.state.registers[A_PITCH], trace.state.registers[A_TONE]) == (0x55, 0x29)


def test_a_start_at_a_sweep_tick_makes_no_step_and_reloads() -> None:
    # Restarted at 30000: position 0 begins its step anew there, L stays 16.
    setup = [(A_PITCH, 7), (A_NOTE, 9), (A_BEND, 0x10)]
    trace = play(setup, [(29991, A_GO, START), (29999, A_GO, START)], start=29980, end=30260)
    assert table_of(trace["a"]) == [(29980, 0), (29992, 9), (30016, 0), (30256, 9)]


def test_a_stop_at_a_sweep_tick_lets_the_step_be_made() -> None:
    setup = [(A_PITCH, 7), (A_NOTE, 9), (A_BEND, 0x10)]
    trace = play(setup, [(29991, A_GO, START), (29999, A_GO, STOP)], start=29980, end=30010)
    assert table_of(trace["a"]) == [(29980, 0), (29992, 9), (30000, 0)]
    assert trace.state.registers[A_PITCH] == 14


# --- Section 10: mixer ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("trim", "left", "right"),
    [
        (0x00, 511, 511),  # 555 * 8 >> 3 = 555, saturated
        (0x01, 416, 511),  # 555 * 6 = 3330, >> 3: 416.25
        (0x12, 277, 416),  # 555 * 4 = 2220, >> 3: 277.5
        (0x23, 208, 277),  # 555 * 3 = 1665, >> 3: 208.1
        (0x30, 511, 208),
    ],
)
def test_the_loudest_sum_is_trimmed_and_saturated(trim: int, left: int, right: int) -> None:
    # A and B in pattern 2, position 0 for 8192 cycles, 31 each; noise 31; all samples 63: 63 * 31 >> 5 = 61.
    # 31 * 4 + 31 * 4 + 61 * 3 + 31 * 4 = 555.
    setup = [(A_PITCH, 0xFF), (A_TONE, 0x2F), (A_NOTE, 31), (B_PITCH, 0xFF), (B_TONE, 0x2F), (B_NOTE, 31)]
    setup += [*STEADY, (N_NOTE, 31), (W_NOTE, 31), (TRIM, trim), *((W_MEMORY + n, 63) for n in range(64))]
    trace = play(setup, [(10, go, START) for go in (A_GO, B_GO, N_GO, W_GO)], end=40)
    assert [trace[name].level[-1] for name in ("a", "b", "wave", "noise")] == [31, 31, 61, 31]
    assert (trace["left"].level[-1], trace["right"].level[-1]) == (left, right)


def test_output_registers_show_levels_route_and_trim_from_before_the_edge() -> None:
    # Level 5 from 11: 5 * 4 = 20 from 12. TRIM written at 20: left * 6 >> 3 = 15 from 21, right * 3 >> 3 = 7 (7.5).
    # ROUTE without noise to the left at 30: 0 from 31. Stopped at 41: right 0 from 42.
    writes = [(10, N_GO, START), (20, TRIM, 0x31), (30, ROUTE, 0xBF), (40, N_GO, STOP)]
    trace = play([*STEADY, (N_NOTE, 5)], writes, end=50)
    assert table_of(trace["noise"]) == [(0, 0), (11, 5), (41, 0)]
    assert table_of(trace["left"]) == [(0, 0), (12, 20), (21, 15), (31, 0)]
    assert table_of(trace["right"]) == [(0, 0), (12, 20), (21, 7), (42, 0)]


def test_each_channel_has_its_gain_and_its_two_route_bits() -> None:
    # One channel at a time on one side: level 8 times gain 4, 4, 3, 4. Wave: 63 * 16 >> 5 = 31, times 3 = 93.
    setup = [(A_PITCH, 0xFF), (A_TONE, 0x2F), (A_NOTE, 8), (B_PITCH, 0xFF), (B_TONE, 0x2F), (B_NOTE, 8)]
    setup += [*STEADY, (N_NOTE, 8), (W_NOTE, 16), *((W_MEMORY + n, 63) for n in range(64))]
    writes = [(10, go, START) for go in (A_GO, B_GO, N_GO, W_GO)]
    writes += [(20 + bit, ROUTE, 1 << bit) for bit in range(8)]
    trace = play(setup, writes, end=30)
    assert trace["left"].at(range(21, 29)).tolist() == [32, 0, 32, 0, 93, 0, 32, 0]
    assert trace["right"].at(range(21, 29)).tolist() == [0, 32, 0, 32, 0, 93, 0, 32]
