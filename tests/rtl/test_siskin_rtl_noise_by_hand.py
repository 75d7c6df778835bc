"""Siskin's noises and its loudness table in RTL.

Every expected number below was worked out by hand from the prose of patches/siskin.md (the section is named beside the
tests), with no program of this project. `quarter` ticks at edges 3, 7, 11 and so on.
"""

from __future__ import annotations

import pytest

from tests.rtl.linnet_runs import Run
from tests.rtl.siskin_runs import START, X_KEY, X_LEVEL, X_TUNE, Y_KEY, Y_TUNE, Siskin, siskin_in


@pytest.fixture(scope="module")
def siskin(tmp_path_factory: pytest.TempPathFactory) -> Siskin:
    return siskin_in(tmp_path_factory.getbasetemp())


# --- Section 6, noise X -----------------------------------------------------------------------------------------------


def changes_of_noise(run: Run, name: str) -> list[int]:
    first, *rest = run[name]
    assert first == (0, 0)
    assert [value for _, value in rest] == [255, 0] * (len(rest) // 2) + [255] * (len(rest) % 2)
    return [cycle for cycle, _ in rest]


def test_first_42_bits_of_noise_x(siskin: Siskin) -> None:
    # The bit that enters at shift n is b(n) = not (b(n - 1) xor b(n - 6)), zeros before n = 1: b(1), b(2), ... =
    # 1 0 1 0 1 0 0 1 1 0 0 1 0 0 0 1 0 0 1 0. The output after shift n is b(n - 22), sounding where it is 0: up to
    # shift 22, then off at 23, 25, 27, 30, 31, 34, 38, 41. Divisor select 0: shift n at 20 + 6 n.
    run = siskin([(X_LEVEL, 63)], [(20, X_KEY, START)], cycles=20 + 6 * 43)
    turns = [0, 23, 24, 25, 26, 27, 28, 30, 32, 34, 35, 38, 39, 41, 42]
    assert changes_of_noise(run, "level_x") == [20 + 6 * n for n in turns]


@pytest.mark.parametrize(
    ("fields", "length"),
    [(0, 6), (1, 10), (2, 14), (3, 22), (0x10, 12), (0x20, 24), (0x31, 80), (0x52, 448), (0x63, 1408), (0x42, 224)],
)
def test_step_of_noise_x_is_its_divisor_shifted(siskin: Siskin, fields: int, length: int) -> None:
    # The output turns with shift 23.
    run = siskin([(X_TUNE, fields), (X_LEVEL, 63)], [(20, X_KEY, START)], cycles=22 + 23 * length)
    assert changes_of_noise(run, "level_x") == [20, 20 + 23 * length]


def test_noise_x_started_with_shift_7_waits_with_a_full_counter(siskin: Siskin) -> None:
    # Loaded with (6 << 7) - 1 = 767. Shift 0 is written at 30, so the counter runs from edge 31 on: 0 after edge 797,
    # shift 1 at 798, then steps of 6: shift 23 at 798 + 22 * 6 = 930.
    run = siskin([(X_TUNE, 0x70), (X_LEVEL, 63)], [(20, X_KEY, START), (30, X_TUNE, 0)], cycles=932)
    assert changes_of_noise(run, "level_x") == [20, 930]


def test_shift_7_stops_the_clock_of_noise_x_and_keeps_its_counter(siskin: Siskin) -> None:
    # 5 after edge 20, 3 after 22; stopped from 23 to 40; 0 after 43, shift 1 at 44, shift 23 at 44 + 132.
    run = siskin([(X_LEVEL, 63)], [(20, X_KEY, START), (22, X_TUNE, 0x70), (40, X_TUNE, 0)], cycles=180)
    assert changes_of_noise(run, "level_x") == [20, 176]


def test_noise_x_takes_a_new_divisor_with_the_next_step(siskin: Siskin) -> None:
    # Shift 1 at 26 as before; then 22 a step: shift 23 at 26 + 22 * 22.
    run = siskin([(X_LEVEL, 63)], [(20, X_KEY, START), (24, X_TUNE, 3)], cycles=515)
    assert changes_of_noise(run, "level_x") == [20, 510]


def test_start_of_noise_x_empties_its_shift_register(siskin: Siskin) -> None:
    # Off from shift 23 at 158 to the start at 160; then a whole 23 shifts again.
    run = siskin([(X_LEVEL, 63)], [(20, X_KEY, START), (160, X_KEY, START)], cycles=300)
    assert changes_of_noise(run, "level_x") == [20, 158, 160, 160 + 138]


# --- Section 6, noise Y -----------------------------------------------------------------------------------------------

LOUD_Y = 63 << 8
STOP_Y = 1


def test_first_44_bits_of_noise_y(siskin: Siskin) -> None:
    # The bit that enters at shift n is c(n) = c(n - 11) xor c(n - 9), ones before n = 1: zeros for 1-9, ones 10-11,
    # zeros 12-18, ones 19-22, zeros 23-27, ones 28-29, zeros 30-31, ones 32-33, zero 34. The output after shift n is
    # c(n - 10). Two ticks a step: started at 7, tick 2 is at 15, so shift n is at 7 + 8 n.
    run = siskin([], [(7, Y_TUNE, LOUD_Y)], cycles=7 + 8 * 45)
    turns = [0, 11, 20, 22, 29, 33, 38, 40, 42, 44]
    assert changes_of_noise(run, "level_y") == [7 + 8 * n for n in turns]


@pytest.mark.parametrize(("select", "length"), list(enumerate([2, 3, 5, 7, 11, 13, 17, 19])))
def test_every_divisor_of_noise_y_counts_quarters(siskin: Siskin, select: int, length: int) -> None:
    # The output turns with shift 11. The first tick after a start at 8 is at 11.
    run = siskin([], [(8, Y_TUNE, LOUD_Y + select)], cycles=10 + 44 * length)
    assert changes_of_noise(run, "level_y") == [8, 7 + 44 * length]


@pytest.mark.parametrize(("again", "rises"), [(109, 171), (103, 175)])
def test_start_of_noise_y_keeps_its_shift_register_and_begins_a_whole_step(
    siskin: Siskin, again: int, rises: int
) -> None:
    # Shift 11 at 95, 12 at 103. Restarted at 109, ticks 111 and 115: shift 13 at 115, 20 at 171. Restarted at 103,
    # where a shift is due, that one is not made: shift 12 at 111, 20 at 175.
    run = siskin([], [(7, Y_TUNE, LOUD_Y), (again, Y_TUNE, LOUD_Y)], cycles=177)
    assert changes_of_noise(run, "level_y") == [7, 95, rises]


def test_any_write_to_its_tune_register_starts_noise_y_with_the_written_volume(siskin: Siskin) -> None:
    run = siskin([], [(7, Y_TUNE, 20 << 8), (20, Y_TUNE, 40 << 8), (30, Y_KEY, STOP_Y), (40, Y_TUNE, 0)], cycles=50)
    assert run["level_y"] == [(0, 0), (7, 6), (20, 35), (30, 0)]


# --- Section 7 --------------------------------------------------------------------------------------------------------

LOUDNESS = [
    *[0, 1, 1, 1, 2, 2, 2, 2, 2, 2, 3, 3, 3, 3, 4, 4, 4, 5, 5, 6, 6, 7, 7, 8, 9, 10, 10, 11, 12, 14, 15, 16],
    *[18, 19, 21, 23, 25, 27, 29, 32, 35, 38, 42, 45, 49, 54, 59, 64, 70, 76, 83, 90, 99, 108, 117, 128],
    *[139, 152, 166, 181, 197, 215, 234, 255],
]


def test_live_volume_walks_through_the_loudness_table(siskin: Siskin) -> None:
    # Noise X with its clock stopped, so that it sounds steadily; volume n at edge 40 + 4 n.
    then = [(20, X_KEY, START), *((40 + 4 * n, X_LEVEL, n) for n in range(64))]
    run = siskin([(X_TUNE, 0x70), (X_LEVEL, 63)], then, cycles=300)
    expected = [(0, 0), (20, 255)]
    for n, loud in enumerate(LOUDNESS):
        if loud != expected[-1][1]:
            expected.append((40 + 4 * n, loud))
    assert run["level_x"] == expected
