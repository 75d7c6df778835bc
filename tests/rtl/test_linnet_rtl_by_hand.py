"""Linnet's channels in RTL: start, stop and what steps through the waveforms.

Every expected number below was worked out by hand from the prose of patches/linnet.md (the section is named beside the
tests), with no program of this project. A list such as ``[(0, 0), (11, 7)]`` reads: 0 from cycle 0 on, 7 from cycle 11
on. Both simulators must give it.
"""

from __future__ import annotations

import pytest

from tests.rtl.linnet_runs import (
    A_GO,
    A_NOTE,
    A_PITCH,
    A_TONE,
    B_GO,
    B_NOTE,
    B_TONE,
    BOTH,
    BUILDERS,
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
    Linnet,
    linnet_in,
)


@pytest.fixture(scope="module", params=sorted(BUILDERS))
def linnet(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Linnet:
    return linnet_in(request.param, tmp_path_factory.getbasetemp())


# A steady level: the noise clock stopped (shift 14), the shift register still all ones; the level is the envelope.
STEADY_NOISE = [(N_CLOCK, 14)]


# --- Section 6, squares -----------------------------------------------------------------------------------------------


def test_square_started_at_cycle_10_sounds_from_11_in_steps_of_8_cycles(linnet: Linnet) -> None:
    # Period 3: a step is 2 * (3 + 1) = 8 cycles; pattern 2 is 8 positions up, 8 down: 64 cycles each.
    run = linnet([(A_PITCH, 3), (A_TONE, 0x20), (A_NOTE, 7)], [(10, A_GO, START)], cycles=210)
    assert run["level_a"] == [(0, 0), (11, 7), (75, 0), (139, 7), (203, 0)]


def test_pattern_3_is_up_at_positions_0_to_2_and_6_to_8(linnet: Linnet) -> None:
    # Period 0: a step is 2 cycles. Start acts at 6: up 6..11, down 12..17, up 18..23, down for 7 positions, up at 38.
    run = linnet([(B_TONE, 0x30), (B_NOTE, 31)], [(5, B_GO, START)], cycles=40)
    assert run["level_b"] == [(0, 0), (6, 31), (12, 0), (18, 31), (24, 0), (38, 31)]


@pytest.mark.parametrize(("written_at", "falls_at"), [(18, 25), (19, 31)])
def test_new_period_is_taken_when_the_next_step_begins(linnet: Linnet, written_at: int, falls_at: int) -> None:
    # Steps of 8 from 11; the step of position 1 begins at edge 19. Written before it: positions 1, 2, 3 take 2 cycles
    # each, so position 4 (down in pattern 1) begins at 25. Written at that very edge: position 1 lasts 8 (27, 29, 31).
    run = linnet(
        [(A_PITCH, 3), (A_TONE, 0x10), (A_NOTE, 9)], [(10, A_GO, START), (written_at, A_PITCH, 0)], cycles=falls_at + 3
    )
    assert run["level_a"] == [(0, 0), (11, 9), (falls_at, 0)]


def test_pattern_is_looked_up_all_the_time(linnet: Linnet) -> None:
    # Position 1 begins at 19 (down in pattern 0); pattern 2, written at 21, is up there and shows after that edge.
    run = linnet([(A_PITCH, 3), (A_NOTE, 4)], [(10, A_GO, START), (21, A_TONE, 0x20)], cycles=30)
    assert run["level_a"] == [(0, 0), (11, 4), (19, 0), (21, 4)]


def test_start_keeps_the_position_and_begins_a_whole_step(linnet: Linnet) -> None:
    # Steps of 8 from 11: position 3 begins at 35; restarted at 37 (written at 36) it lasts until 45, where 4 is down.
    run = linnet([(A_PITCH, 3), (A_TONE, 0x10), (A_NOTE, 9)], [(10, A_GO, START), (36, A_GO, START)], cycles=50)
    assert run["level_a"] == [(0, 0), (11, 9), (45, 0)]


# --- Section 5 --------------------------------------------------------------------------------------------------------


def test_start_sees_writes_up_to_its_own_edge_only(linnet: Linnet) -> None:
    # A volume written at 9 counts, one at 11 (where the start acts) not until the second start.
    run = linnet(
        STEADY_NOISE,
        [(9, N_NOTE, 5), (10, N_GO, START), (11, N_NOTE, 8), (20, N_GO, START)],
        cycles=30,
    )
    assert run["level_n"] == [(0, 0), (11, 5), (21, 8)]


@pytest.mark.parametrize(("volume_at", "level"), [(22, 31), (23, 16)])
def test_wave_start_acts_three_edges_after_its_write(linnet: Linnet, volume_at: int, level: int) -> None:
    # Written at 20, acts at 23; period 0 is one cycle a step: the first cycle sounds the old sample (0), then 32s.
    setup = [(W_MEMORY + n, 32) for n in range(16)]
    run = linnet([*setup, (W_NOTE, 16)], [(20, W_GO, START), (volume_at, W_NOTE, 31)], cycles=30)
    assert run["level_w"] == [(0, 0), (24, level)]


def test_stop_is_ignored_where_a_start_acts_at_the_same_edge(linnet: Linnet) -> None:
    run = linnet([*STEADY_NOISE, (N_NOTE, 3)], [(10, N_GO, BOTH), (20, N_GO, BOTH)], cycles=30)
    assert run["level_n"] == [(0, 0), (11, 3)]


def test_strobes_at_neighbouring_edges_all_arrive(linnet: Linnet) -> None:
    go = [(10, N_GO, START), (11, N_GO, STOP), (12, N_GO, START), (13, N_GO, STOP)]
    run = linnet([*STEADY_NOISE, (N_NOTE, 3)], go, cycles=20)
    assert run["level_n"] == [(0, 0), (11, 3), (12, 0), (13, 3), (14, 0)]


def test_wave_strobes_on_their_way_do_not_overtake_each_other(linnet: Linnet) -> None:
    # Start, stop, start written at 70, 71, 72 act at 73, 74, 75. All samples 32, volume 31: level 31. One cycle a step:
    # 73 sounds the old sample 0; edge 74 (stop) still fetches; from 75 on the sample is 32.
    setup = [(W_MEMORY + n, 32) for n in range(64)]
    run = linnet([*setup, (W_NOTE, 31)], [(70, W_GO, START), (71, W_GO, STOP), (72, W_GO, START)], cycles=80)
    assert run["level_w"] == [(0, 0), (75, 31)]


def test_position_still_advances_at_the_edge_at_which_a_stop_acts(linnet: Linnet) -> None:
    # Steps of 2 from 11. Edge 13 both stops and advances to position 1. Restarted at 21, positions 1, 2, 3 are left of
    # the four that are up: 21..26.
    go = [(10, A_GO, START), (12, A_GO, STOP), (20, A_GO, START)]
    run = linnet([(A_TONE, 0x10), (A_NOTE, 6)], go, cycles=30)
    assert run["level_a"] == [(0, 0), (11, 6), (13, 0), (21, 6), (27, 0)]


# --- Section 6, wave --------------------------------------------------------------------------------------------------

WAVE = [(W_MEMORY + 0, 63), (W_MEMORY + 1, 32), (W_MEMORY + 2, 10), (W_NOTE, 31), (W_PITCH, 1)]


def test_wave_sounds_the_old_sample_first_then_position_1(linnet: Linnet) -> None:
    # Acts at 23, steps of 2. 32 * 31 >> 5 = 31; 10 * 31 >> 5 = 9 (9.69); 63 * 31 >> 5 = 61 (61.03), one round later.
    run = linnet(WAVE, [(20, W_GO, START)], cycles=156)
    assert run["level_w"] == [(0, 0), (25, 31), (27, 9), (29, 0), (151, 61), (153, 31), (155, 9)]


def test_wave_restarted_in_the_middle_keeps_its_sample_for_a_whole_step(linnet: Linnet) -> None:
    # 61 sounds from 151; the restart written at 149 acts at 152 and begins a step of 2: 61 until 154, then position 1.
    run = linnet(WAVE, [(20, W_GO, START), (149, W_GO, START)], cycles=158)
    assert run["level_w"][4:] == [(151, 61), (154, 31), (156, 9)]


def test_wave_start_goes_back_to_position_0(linnet: Linnet) -> None:
    # Position 2 begins at 27; a start acts at 28: the same sample until 30, then positions 1 and 2.
    run = linnet(WAVE, [(20, W_GO, START), (25, W_GO, START)], cycles=34)
    assert run["level_w"] == [(0, 0), (25, 31), (27, 9), (30, 31), (32, 9)]


def test_wave_memory_written_at_the_edge_of_its_fetch_sounds_a_round_later(linnet: Linnet) -> None:
    # Position 2 is fetched at 27 and, 64 steps of 2 later, at 155.
    run = linnet(WAVE, [(20, W_GO, START), (27, W_MEMORY + 2, 63)], cycles=156)
    assert run["level_w"] == [(0, 0), (25, 31), (27, 9), (29, 0), (151, 61), (153, 31), (155, 61)]


# --- Section 6, noise -------------------------------------------------------------------------------------------------


def test_first_60_noise_bits_in_long_mode(linnet: Linnet) -> None:
    # The bit that enters at shift n is b(n) = b(n - 17) xor b(n - 14), ones before n = 1; the output after shift n is
    # b(n - 16). So b(1..14) = 0, b(15..17) = 1, b(18..28) = 0, b(29..34) = 1, b(35..42) = 0, b(43) = 1. Steps of 4 from
    # 11: output n begins at 11 + 4 n, and changes at n = 17, 31, 34, 45, 51, 59.
    run = linnet([(N_NOTE, 12)], [(10, N_GO, START)], cycles=11 + 4 * 60)
    assert run["level_n"] == [(0, 0), (11, 12), (79, 0), (135, 12), (147, 0), (191, 12), (215, 0), (247, 12)]


def test_first_28_noise_bits_in_short_mode(linnet: Linnet) -> None:
    # c(n) = c(n - 9) xor c(n - 5), output c(n - 8): ones for n = 0..8, zeros 9..13, ones 14..17, zero 18, ones 19..23,
    # zeros 24..26, one 27. Divisor 6, shift 1: steps of 12 from 11.
    run = linnet([(N_CLOCK, 0x11), (N_TONE, 1), (N_NOTE, 1)], [(10, N_GO, START)], cycles=11 + 12 * 28)
    where = [11 + 12 * n for n in (0, 9, 14, 18, 19, 24, 27)]
    assert run["level_n"] == [(0, 0), *zip(where, [1, 0, 1, 0, 1, 0, 1], strict=True)]


def test_new_noise_clock_is_taken_at_once(linnet: Linnet) -> None:
    # A step of 80 from 11; at 30 the step becomes 4. Edge 31 sees 19 elapsed, 20 >= 4: shift 1. Shift 17 is 64 later.
    run = linnet([(N_CLOCK, 0x70), (N_NOTE, 2)], [(10, N_GO, START), (30, N_CLOCK, 0)], cycles=100)
    assert run["level_n"] == [(0, 0), (11, 2), (31 + 64, 0)]


@pytest.mark.parametrize("stopping_shift", [14, 15])
def test_stopped_noise_clock_keeps_what_has_elapsed(linnet: Linnet, stopping_shift: int) -> None:
    # Steps of 4 from 11: shift 16 at 75, elapsed 2 after 77. Stopped for the edges 78..87, then 3 and shift 17 at 89.
    run = linnet([(N_NOTE, 2)], [(10, N_GO, START), (77, N_CLOCK, stopping_shift), (87, N_CLOCK, 0)], cycles=95)
    assert run["level_n"] == [(0, 0), (11, 2), (89, 0)]


@pytest.mark.parametrize(("select", "divisor"), list(enumerate([4, 6, 10, 14, 22, 34, 52, 80])))
def test_every_noise_divisor_gives_its_step(linnet: Linnet, select: int, divisor: int) -> None:
    # The output falls with shift 17.
    run = linnet([(N_CLOCK, select << 4), (N_NOTE, 2)], [(10, N_GO, START)], cycles=15 + 17 * divisor)
    assert run["level_n"] == [(0, 0), (11, 2), (11 + 17 * divisor, 0)]


def test_noise_start_keeps_the_shift_register_and_begins_a_whole_step(linnet: Linnet) -> None:
    # Shift 22 at 99; the start acts at 100, so shift 23 is at 104 and shift 31, which brings a one, at 104 + 8 * 4.
    run = linnet([(N_NOTE, 12)], [(10, N_GO, START), (99, N_GO, START)], cycles=140)
    assert run["level_n"] == [(0, 0), (11, 12), (79, 0), (136, 12)]
