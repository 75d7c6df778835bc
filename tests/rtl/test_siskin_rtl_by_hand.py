"""Siskin's channels in RTL: start, stop and what steps through the waveforms.

Every expected number below was worked out by hand from the prose of patches/siskin.md (the section is named beside the
tests), with no program of this project. A list such as ``[(0, 0), (11, 7)]`` reads: 0 from cycle 0 on, 7 from cycle 11
on. `quarter` ticks at edges 3, 7, 11 and so on.
"""

from __future__ import annotations

import pytest

from tests.rtl.siskin_runs import (
    BOTH,
    P_KEY,
    P_LEVEL,
    P_TUNE,
    Q_KEY,
    Q_LEVEL,
    Q_TUNE,
    START,
    STOP,
    U_KEY,
    U_LEVEL,
    U_MEMORY,
    U_TUNE,
    V_KEY,
    V_MEMORY,
    V_TUNE,
    X_KEY,
    X_LEVEL,
    Y_KEY,
    Y_TUNE,
    Siskin,
    siskin_in,
)


@pytest.fixture(scope="module")
def siskin(tmp_path_factory: pytest.TempPathFactory) -> Siskin:
    return siskin_in(tmp_path_factory.getbasetemp())


# --- Section 6, squares -----------------------------------------------------------------------------------------------

# Period 1023: a step is 3 * (1024 - 1023) = 3 ticks of quarter, 12 cycles.
SHORTEST = 1023
FAST_P = [(P_TUNE, SHORTEST), (P_LEVEL, 63)]


@pytest.mark.parametrize(("start", "falls", "rises"), [(10, 79, 151), (11, 83, 155), (12, 83, 155), (15, 87, 159)])
def test_square_counts_quarters_after_its_start_in_steps_of_three(
    siskin: Siskin, start: int, falls: int, rises: int
) -> None:
    # Started at 10: ticks at 11, 15, 19, so position 1 at 19, 6 at 79 and 12, that is 0, at 151. The tick at 11 does
    # not count for a start at 11.
    run = siskin(FAST_P, [(start, P_KEY, START)], cycles=rises + 2)
    assert run["level_p"] == [(0, 0), (start, 255), (falls, 0), (rises, 255)]


@pytest.mark.parametrize(
    ("pattern", "changes"),
    [(0, [79]), (1, [43]), (2, [31]), (3, [31, 55, 79, 103, 115])],
)
def test_every_pattern_is_up_where_its_row_says(siskin: Siskin, pattern: int, changes: list[int]) -> None:
    # Position n begins at 7 + 12 n. Pattern 3 is up at 0, 1, 4, 5 and 8. Volume 40 is loudness 35.
    run = siskin([(Q_TUNE, SHORTEST + (pattern << 10)), (Q_LEVEL, 40)], [(10, Q_KEY, START)], cycles=152)
    values = [0, 35] * 3
    assert run["level_q"] == [(0, 0), (10, 35), *zip(changes, values, strict=False), (151, 35)]


@pytest.mark.parametrize(("written_at", "falls"), [(102, 115), (103, 119)])
def test_shorter_period_ends_at_once_a_step_that_is_longer_already(siskin: Siskin, written_at: int, falls: int) -> None:
    # Period 1000 is 72 ticks a step. 24 ticks from 11 to 103: the tick at 103 ends the step where the new period was
    # written before it; written at 103, the tick at 107 does. Pattern 2 falls at position 2, 12 cycles later.
    setup = [(P_TUNE, 1000 + (2 << 10)), (P_LEVEL, 63)]
    run = siskin(setup, [(10, P_KEY, START), (written_at, P_TUNE, SHORTEST + (2 << 10))], cycles=falls + 3)
    assert run["level_p"] == [(0, 0), (10, 255), (falls, 0)]


def test_longer_period_keeps_the_ticks_that_have_elapsed(siskin: Siskin) -> None:
    # Ticks 11 and 15 have elapsed when the period becomes 1019, 15 ticks: tick 15 is at 11 + 14 * 4 = 67, position 2 at
    # 67 + 60 = 127.
    setup = [(P_TUNE, SHORTEST + (2 << 10)), (P_LEVEL, 63)]
    run = siskin(setup, [(10, P_KEY, START), (16, P_TUNE, 1019 + (2 << 10))], cycles=130)
    assert run["level_p"] == [(0, 0), (10, 255), (127, 0)]


def test_slowest_square_lasts_3072_quarters_a_step(siskin: Siskin) -> None:
    # Period 0, pattern 2 (two steps up): the first tick is at 11, tick 6144 at 11 + 6143 * 4 = 24583.
    run = siskin([(P_TUNE, 2 << 10), (P_LEVEL, 63)], [(10, P_KEY, START)], cycles=24600)
    assert run["level_p"] == [(0, 0), (10, 255), (24583, 0)]


def test_pattern_is_looked_up_all_the_time(siskin: Siskin) -> None:
    # Position 4 begins at 55; pattern 1 is down there.
    run = siskin(FAST_P, [(10, P_KEY, START), (60, P_TUNE, SHORTEST + (1 << 10))], cycles=80)
    assert run["level_p"] == [(0, 0), (10, 255), (60, 0)]


def test_square_start_goes_back_to_position_0(siskin: Siskin) -> None:
    # Position 4 from 55; restarted at 60, ticks at 63, 67, 71: position 6 at 71 + 60.
    run = siskin(FAST_P, [(10, P_KEY, START), (60, P_KEY, START)], cycles=135)
    assert run["level_p"] == [(0, 0), (10, 255), (131, 0)]


def test_stopped_square_is_silent_and_stands_still(siskin: Siskin) -> None:
    run = siskin(FAST_P, [(10, P_KEY, START), (60, P_KEY, STOP)], cycles=160)
    assert run["level_p"] == [(0, 0), (10, 255), (60, 0)]


# --- Section 6, wave tables -------------------------------------------------------------------------------------------

# U: sample 16 = 255, 17 = 128, 18 = 10, the others 0. Volume 63 is loudness 255: (255 * 255) >> 8 = 254,
# (128 * 255) >> 8 = 127 (127.5), (10 * 255) >> 8 = 9 (9.96). Period 1: 4 cycles a step.
U_WAVE = [(U_MEMORY + 8, 0x80FF), (U_MEMORY + 9, 10), (U_TUNE, 1), (U_LEVEL, 63)]


def test_table_u_starts_at_position_16_with_its_sample(siskin: Siskin) -> None:
    run = siskin(U_WAVE, [(50, U_KEY, START)], cycles=180)
    assert run["level_u"] == [(0, 0), (50, 254), (54, 127), (58, 9), (62, 0), (178, 254)]


def test_table_u_multiplies_by_the_loudness_not_the_volume(siskin: Siskin) -> None:
    # Volume 32 is loudness 18: 255 * 18 >> 8 = 17 (17.93), 128 * 18 >> 8 = 9, 10 * 18 >> 8 = 0.
    run = siskin([*U_WAVE, (U_LEVEL, 32)], [(50, U_KEY, START)], cycles=100)
    assert run["level_u"] == [(0, 0), (50, 17), (54, 9), (58, 0)]


def test_new_period_of_table_u_is_taken_with_the_next_step(siskin: Siskin) -> None:
    # Written at 52: position 17 at 54 lasts 2 * (0 + 1) = 2.
    run = siskin(U_WAVE, [(50, U_KEY, START), (52, U_TUNE, 0)], cycles=70)
    assert run["level_u"] == [(0, 0), (50, 254), (54, 127), (56, 9), (58, 0)]


@pytest.mark.parametrize(("written_at", "second"), [(53, 63), (54, 127)])
def test_table_u_takes_a_sample_as_the_memory_stood_before_the_edge(
    siskin: Siskin, written_at: int, second: int
) -> None:
    # Sample 17 becomes 64: 64 * 255 >> 8 = 63. Sample 16 stays 255.
    run = siskin(U_WAVE, [(50, U_KEY, START), (written_at, U_MEMORY + 8, 0x40FF)], cycles=70)
    assert run["level_u"] == [(0, 0), (50, 254), (54, second), (58, 9), (62, 0)]


def test_restarted_table_u_takes_sample_16_anew_for_a_whole_step(siskin: Siskin) -> None:
    # Sample 16 becomes 3 at 58 (position 17 before that edge, the same pair): 3 * 255 >> 8 = 2 (2.99).
    run = siskin(U_WAVE, [(50, U_KEY, START), (58, U_MEMORY, 0x8003), (61, U_KEY, START)], cycles=69)
    assert run["level_u"] == [(0, 0), (50, 254), (54, 127), (58, 9), (61, 2), (65, 127)]


# V: sample 0 = 200, 1 = 50, 2 = 228, 3 = 128. At volume 7 their levels are 72, -78 (178 as a byte), 100, 0. Period 3: 8
# cycles a step. The start is in the TUNE register with everything else.
V_WAVE = [(V_MEMORY, 0xC832), (V_MEMORY + 1, 0xE480)]
GO_V = 1 << 15


def go_v(volume: int, period: int) -> int:
    return GO_V + (volume << 12) + period


def test_one_write_starts_table_v_with_its_new_period_and_volume(siskin: Siskin) -> None:
    run = siskin(V_WAVE, [(100, V_TUNE, go_v(7, 3))], cycles=132)
    assert run["level_v"] == [(0, 0), (100, 72), (108, 178), (116, 100), (124, 0)]


@pytest.mark.parametrize(
    ("volume", "levels"),
    [(0, [0, 255, 0]), (3, [0, 4, 251, 6]), (5, [0, 18, 236, 25]), (6, [0, 36, 217, 50])],
)
def test_volume_of_table_v_shifts_and_rounds_down(siskin: Siskin, volume: int, levels: list[int]) -> None:
    # 72, -78, 100 shifted right by 7: 0, -1, 0; by 4: 4, -5 (-4.9), 6; by 2: 18, -20 (-19.5), 25; by 1: 36, -39, 50.
    run = siskin(V_WAVE, [(100, V_TUNE, go_v(volume, 3))], cycles=124)
    assert [level for _, level in run["level_v"]] == levels


def test_volume_of_table_v_is_looked_up_all_the_time_and_its_period_with_the_next_step(siskin: Siskin) -> None:
    # Volume 3 at 104: 72 >> 4 = 4. Period 0 from the step at 108 on: 2 cycles. -5 is 251, 100 >> 4 = 6.
    run = siskin(V_WAVE, [(100, V_TUNE, go_v(7, 3)), (104, V_TUNE, 3 << 12)], cycles=114)
    assert run["level_v"] == [(0, 0), (100, 72), (104, 4), (108, 251), (110, 6), (112, 0)]


def test_table_v_keeps_its_position_at_a_start_and_begins_a_whole_step(siskin: Siskin) -> None:
    # Position 1 from 108; restarted at 110, position 2 at 118.
    run = siskin(V_WAVE, [(100, V_TUNE, go_v(7, 3)), (110, V_TUNE, go_v(7, 3))], cycles=120)
    assert run["level_v"] == [(0, 0), (100, 72), (108, 178), (118, 100)]


def test_step_due_at_the_edge_of_a_start_is_not_made(siskin: Siskin) -> None:
    run = siskin(V_WAVE, [(100, V_TUNE, go_v(7, 3)), (108, V_TUNE, go_v(7, 3))], cycles=120)
    assert run["level_v"] == [(0, 0), (100, 72), (116, 178)]


def test_step_due_at_the_edge_of_a_stop_is_made_and_then_the_position_stands_still(siskin: Siskin) -> None:
    # Stopped at 116, where position 2 begins; started again at 150.
    run = siskin(V_WAVE, [(100, V_TUNE, go_v(7, 3)), (116, V_KEY, STOP), (150, V_TUNE, go_v(7, 3))], cycles=160)
    assert run["level_v"] == [(0, 0), (100, 72), (108, 178), (116, 0), (150, 100), (158, 0)]


def test_table_v_goes_from_position_31_to_0(siskin: Siskin) -> None:
    # All samples 128 (level 0) but 0 (228) and 31 (129). Two cycles a step: position 31 at 100 + 62.
    memory = [(V_MEMORY, 0xE480), *((V_MEMORY + n, 0x8080) for n in range(1, 15)), (V_MEMORY + 15, 0x8081)]
    run = siskin(memory, [(100, V_TUNE, go_v(7, 0))], cycles=170)
    assert run["level_v"] == [(0, 0), (100, 100), (102, 0), (162, 1), (164, 100), (166, 0)]


def test_longest_steps_of_both_tables_are_8192_cycles(siskin: Siskin) -> None:
    then = [(20, U_TUNE, 4095), (50, U_KEY, START), (100, V_TUNE, go_v(7, 4095))]
    run = siskin([*U_WAVE, *V_WAVE], then, cycles=8300)
    assert run["level_u"] == [(0, 0), (50, 254), (50 + 8192, 127)]
    assert run["level_v"] == [(0, 0), (100, 72), (100 + 8192, 178)]


# --- Section 5 --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "level", "setup"),
    [
        (P_KEY, "level_p", [(P_LEVEL, 63)]),
        (Q_KEY, "level_q", [(Q_LEVEL, 63)]),
        (U_KEY, "level_u", [(U_MEMORY + 8, 0xFFFF), (U_TUNE, 99), (U_LEVEL, 63)]),
        (X_KEY, "level_x", [(X_LEVEL, 63)]),
    ],
)
def test_where_start_and_stop_meet_the_stop_is_ignored(
    siskin: Siskin, key: int, level: str, setup: list[tuple[int, int]]
) -> None:
    full = 254 if level == "level_u" else 255
    run = siskin(setup, [(20, key, BOTH), (30, key, STOP), (40, key, BOTH), (50, key, BOTH), (60, key, 0)], cycles=70)
    assert run[level] == [(0, 0), (20, full), (30, 0), (40, full)]


def test_other_bits_of_the_key_registers_are_no_strobes(siskin: Siskin) -> None:
    # V_KEY has only a stop in bit 1, Y_KEY only one in bit 0.
    then = [(100, V_TUNE, go_v(7, 99)), (110, V_KEY, 0xFFFD), (120, Y_TUNE, (63 << 8) + 7), (130, Y_KEY, 0xFFFE)]
    then += [(140, P_KEY, 0xFFFC), (150, Q_KEY, 0xFFFC), (160, U_KEY, 0xFFFC), (170, X_KEY, 0xFFFC)]
    run = siskin([*V_WAVE, *U_WAVE, (P_LEVEL, 63), (Q_LEVEL, 63), (X_LEVEL, 63)], then, cycles=180)
    assert run["level_v"] == [(0, 0), (100, 72)]
    assert run["level_y"] == [(0, 0), (120, 255)]
    for silent in ("level_p", "level_q", "level_u", "level_x"):
        assert run[silent] == [(0, 0)]
