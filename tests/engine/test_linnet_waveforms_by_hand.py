"""Linnet's waveforms, edge by edge, in both engines.

Every expected number was worked out by hand from patches/linnet.md, whose section is named; the way is in the comment.
"""

from __future__ import annotations

import pytest

from tests.engine.linnet_plays import (
    A_GO,
    A_NOTE,
    A_PITCH,
    A_TONE,
    B_GO,
    B_NOTE,
    B_PITCH,
    B_TONE,
    BOTH,
    N_CLOCK,
    N_GO,
    N_NOTE,
    N_TONE,
    START,
    STOP,
    W_GO,
    W_MEMORY,
    W_NOTE,
    W_PITCH,
    Table,
    play,
    table_of,
)

# --- Section 6, squares ---------------------------------------------------------------------------------------------


def test_a_square_sounds_one_edge_after_its_start_is_written() -> None:
    # L = 2 * (3 + 1) = 8. Written at 10, acts at 11; pattern 0 is up at position 0 only: 11..18, and 16 * 8 later.
    trace = play([(A_PITCH, 3), (A_NOTE, 9)], [(10, A_GO, START)], end=200)
    assert table_of(trace["a"]) == [(0, 0), (11, 9), (19, 0), (139, 9), (147, 0)]


def test_pattern_3_is_up_at_positions_0_to_2_and_6_to_8() -> None:
    # L = 4: up 11..22, down 23..34, up 35..46, down for seven positions 47..74.
    trace = play([(A_PITCH, 1), (A_TONE, 0x30), (A_NOTE, 1)], [(10, A_GO, START)], end=80)
    assert table_of(trace["a"]) == [(0, 0), (11, 1), (23, 0), (35, 1), (47, 0), (75, 1)]


@pytest.mark.parametrize(
    ("written_at", "expected"),
    [
        # Position 1 begins at 19 and lasts 2, as all after it: position 0 comes 15 * 2 later, at 49.
        (14, [(0, 0), (11, 9), (19, 0), (49, 9), (51, 0)]),
        # The step that begins at 19 does not see what 19 writes: 8 more, then 14 * 2: position 0 at 19 + 8 + 28.
        (19, [(0, 0), (11, 9), (19, 0), (55, 9), (57, 0)]),
    ],
    ids=["within a step", "at the edge where a step begins"],
)
def test_a_new_period_is_taken_when_the_next_step_begins(written_at: int, expected: Table) -> None:
    trace = play([(A_PITCH, 3), (A_NOTE, 9)], [(10, A_GO, START), (written_at, A_PITCH, 0)], end=60)
    assert table_of(trace["a"]) == expected


def test_a_longer_period_does_not_stretch_the_running_step() -> None:
    # L = 8 until 19; the period 0x103 makes 520: pattern 1 falls after three such steps, 19 + 3 * 520.
    trace = play([(A_PITCH, 3), (A_TONE, 0x10), (A_NOTE, 9)], [(10, A_GO, START), (14, A_TONE, 0x11)], end=1700)
    assert table_of(trace["a"]) == [(0, 0), (11, 9), (1579, 0)]


def test_a_new_pattern_shows_right_after_its_write() -> None:
    # L = 8, position 1 from 19: pattern 0 down there, pattern 1 up. Written at 22 and back at 25.
    writes = [(10, B_GO, START), (22, B_TONE, 0x10), (25, B_TONE, 0x00)]
    trace = play([(B_PITCH, 3), (B_NOTE, 4)], writes, end=40)
    assert table_of(trace["b"]) == [(0, 0), (11, 4), (19, 0), (22, 4), (25, 0)]


def test_a_restart_keeps_the_position_and_begins_its_step_anew() -> None:
    # L = 10 from 6; position 2 from 26. Restarted at 31 it lasts to 40, position 3 to 50, then twelve steps down.
    writes = [(5, B_GO, START), (30, B_GO, START)]
    trace = play([(B_PITCH, 4), (B_TONE, 0x10), (B_NOTE, 2)], writes, end=175)
    assert table_of(trace["b"]) == [(0, 0), (6, 2), (51, 0), (171, 2)]


# --- Section 5 ------------------------------------------------------------------------------------------------------

STEADY = [(N_CLOCK, 14)]  # the noise clock stopped, the output bit 1 since reset: the level is the envelope's


def test_a_start_sees_what_was_written_up_to_its_own_edge() -> None:
    # Volume 5 at 10 counts for the start at 10; volume 8 at 11, where it acts, not before the next one.
    writes = [(10, N_GO, START), (10, N_NOTE, 5), (11, N_NOTE, 8), (20, N_GO, START)]
    assert table_of(play(STEADY, writes, end=30)["noise"]) == [(0, 0), (11, 5), (21, 8)]


def test_where_start_and_stop_meet_the_stop_is_ignored() -> None:
    writes = [(10, N_GO, BOTH), (15, N_GO, BOTH), (20, N_GO, START), (20, N_GO, STOP)]
    assert table_of(play([*STEADY, (N_NOTE, 3)], writes, end=30)["noise"]) == [(0, 0), (11, 3)]


def test_strobes_on_neighbouring_edges_go_their_own_way() -> None:
    # The wave channel's delay is 3. All samples 32 and volume 31 make 31; the first sample is the stale 0.
    setup = [(W_MEMORY + n, 32) for n in range(64)] + [(W_NOTE, 31)]
    writes = [(10, W_GO, START), (11, W_GO, STOP), (12, W_GO, START), (13, W_GO, STOP)]
    # 13 active (sample 0), 14 stops but its edge fetches position 1, 15 starts with that sample, 16 stops.
    assert table_of(play(setup, writes, end=30)["wave"]) == [(0, 0), (15, 31), (16, 0)]


def test_a_stopped_channel_stands_still_and_goes_on_from_there() -> None:
    # L = 4 from 11, pattern 1: positions 0, 1 and at 19 position 2. Edge 23 stops and still advances to position 3.
    # Started again at 100, position 3 lasts a whole step.
    writes = [(10, A_GO, START), (22, A_GO, STOP), (99, A_GO, START)]
    trace = play([(A_PITCH, 1), (A_TONE, 0x10), (A_NOTE, 6)], writes, end=150)
    assert table_of(trace["a"]) == [(0, 0), (11, 6), (23, 0), (100, 6), (104, 0)]


# --- Section 6, wave ------------------------------------------------------------------------------------------------

WAVE = [(W_MEMORY, 63), (W_MEMORY + 1, 32), (W_MEMORY + 2, 10), (W_NOTE, 31), (W_PITCH, 1)]


def test_the_first_step_of_a_note_sounds_the_stale_sample() -> None:
    # L = 2, acts at 23 with sample 0. 32 * 31 >> 5 = 31 at 25; 10 * 31 >> 5 = 9 at 27; zeros from 29; position 0 at
    # 23 + 128 = 151: 63 * 31 >> 5 = 61. The restart that acts at 157 keeps the 9 fetched at 155 for a whole step.
    trace = play(WAVE, [(20, W_GO, START), (154, W_GO, START)], end=164)
    assert table_of(trace["wave"]) == [
        *[(0, 0), (25, 31), (27, 9), (29, 0), (151, 61), (153, 31), (155, 9)],
        *[(159, 31), (161, 9), (163, 0)],
    ]


@pytest.mark.parametrize(("written_at", "sounds"), [(26, 61), (27, 9)])
def test_a_sample_written_at_the_edge_of_its_fetch_comes_a_round_later(written_at: int, sounds: int) -> None:
    # Position 2 is fetched at 27 and at 27 + 128 = 155; 63 makes 61.
    trace = play(WAVE, [(20, W_GO, START), (written_at, W_MEMORY + 2, 63)], end=156)
    assert table_of(trace["wave"]) == [
        *[(0, 0), (25, 31), (27, sounds), (29, 0), (151, 61), (153, 31), (155, 61)],
    ]


def test_wave_levels_round_down_and_samples_have_six_bits() -> None:
    # 0xFF is the sample 63: 63 * 16 >> 5 = 31 (31.5); 0x41 is 1: 1 * 16 >> 5 = 0; 3 * 16 >> 5 = 1 (1.5).
    setup = [(W_MEMORY + 1, 0xFF), (W_MEMORY + 2, 0x41), (W_MEMORY + 3, 3), (W_NOTE, 16)]
    assert table_of(play(setup, [(20, W_GO, START)], end=40)["wave"]) == [(0, 0), (24, 31), (25, 0), (26, 1), (27, 0)]


# --- Section 6, noise -----------------------------------------------------------------------------------------------
#
# Long mode: the bit that enters at shift n is b(n) = b(n - 17) xor b(n - 14), ones before n = 1, and the output after
# shift n is b(n - 16). So b(1..14) = 0, b(15..17) = 1, b(18..28) = 0: the output falls at shift 17, rises at 31, falls
# at 34.


def test_noise_with_the_shortest_step() -> None:
    # L = 4 from 11: shift n at 11 + 4 n.
    trace = play([(N_NOTE, 12)], [(10, N_GO, START)], end=180)
    assert table_of(trace["noise"]) == [(0, 0), (11, 12), (79, 0), (135, 12), (147, 0)]


def test_a_shorter_noise_clock_is_taken_at_once() -> None:
    # L = 80: 19 elapsed after edge 30, which still sees it. Edge 31: 20 >= 4, the first shift; the 17th 64 later.
    trace = play([(N_CLOCK, 0x70), (N_NOTE, 2)], [(10, N_GO, START), (30, N_CLOCK, 0)], end=170)
    assert table_of(trace["noise"]) == [(0, 0), (11, 2), (95, 0), (151, 2), (163, 0)]


def test_a_longer_noise_clock_stretches_the_running_step() -> None:
    # First shift at 15. At 17 the step becomes 80: second shift at 15 + 80 = 95. At 96 it becomes 4 again: third at
    # 99, the 17th 14 * 4 later.
    writes = [(10, N_GO, START), (17, N_CLOCK, 0x70), (96, N_CLOCK, 0)]
    assert table_of(play([(N_NOTE, 2)], writes, end=160)["noise"]) == [(0, 0), (11, 2), (155, 0)]


@pytest.mark.parametrize("stopped", [0x0E, 0x0F])
def test_a_stopped_noise_clock_keeps_what_has_elapsed(stopped: int) -> None:
    # Shift 16 at 75, 2 elapsed after 77, which stops it; 88 is the first edge that sees it run: 3; 89: shift 17.
    writes = [(10, N_GO, START), (77, N_CLOCK, stopped), (87, N_CLOCK, 0)]
    assert table_of(play([(N_NOTE, 2)], writes, end=95)["noise"]) == [(0, 0), (11, 2), (89, 0)]


def test_a_restart_keeps_the_noise_register_and_clears_what_has_elapsed() -> None:
    # Shift 16 at 75; restarted at 78 (3 elapsed), shift 17 is at 82.
    trace = play([(N_NOTE, 2)], [(10, N_GO, START), (77, N_GO, START)], end=90)
    assert table_of(trace["noise"]) == [(0, 0), (11, 2), (82, 0)]


def test_short_mode_shows_another_output_bit_right_after_its_write() -> None:
    # Nine shifts by 47 have filled s[1..9] with zeros while s[17] is 1: short from 48, long again from 50.
    writes = [(10, N_GO, START), (48, N_TONE, 1), (50, N_TONE, 0)]
    assert table_of(play([(N_NOTE, 2)], writes, end=82)["noise"]) == [(0, 0), (11, 2), (48, 0), (50, 2), (79, 0)]


@pytest.mark.parametrize(
    ("written_at", "rises_at"),
    [
        # Shift 6 at 35 in short mode takes 1 xor 0 = 1. s[9..1] is 111000001 then, 110000011, 100000111, and with
        # shift 9 (47) 000001111: the output falls, and rises when s[4] has come to s[9], at shift 14.
        (34, 67),
        # Shift 6 in long mode takes 1 xor 1 = 0: 111000000, 110000001, 100000011, 000000111: rises at shift 15.
        (35, 71),
    ],
)
def test_a_shift_goes_by_the_mode_before_its_edge(written_at: int, rises_at: int) -> None:
    trace = play([(N_NOTE, 2)], [(10, N_GO, START), (written_at, N_TONE, 1)], end=72)
    assert table_of(trace["noise"]) == [(0, 0), (11, 2), (47, 0), (rises_at, 2)]


@pytest.mark.parametrize(
    ("clock", "length"),
    [(0x00, 4), (0x10, 6), (0x20, 10), (0x30, 14), (0x40, 22), (0x50, 34), (0x60, 52), (0x70, 80), (0x13, 48)],
)
def test_every_divisor_of_the_noise_clock(clock: int, length: int) -> None:
    # The output falls at shift 17.
    trace = play([(N_CLOCK, clock), (N_NOTE, 2)], [(10, N_GO, START)], end=11 + 17 * length + 3)
    assert table_of(trace["noise"]) == [(0, 0), (11, 2), (11 + 17 * length, 0)]
