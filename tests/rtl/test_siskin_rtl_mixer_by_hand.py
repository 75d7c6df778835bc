"""Siskin's mixer in RTL.

Every expected number below was worked out by hand from section 11 of patches/siskin.md, with no program of this
project. Steady levels: noise X with its clock stopped, and slow steps of everything else.
"""

from __future__ import annotations

import pytest

from tests.rtl.linnet_runs import value_at
from tests.rtl.siskin_runs import (
    CONTROL,
    ON,
    P_KEY,
    P_LEVEL,
    Q_KEY,
    Q_LEVEL,
    ROUTE,
    START,
    U_KEY,
    U_LEVEL,
    U_MEMORY,
    U_TUNE,
    V_MEMORY,
    V_TUNE,
    X_KEY,
    X_LEVEL,
    X_TUNE,
    Y_TUNE,
    Siskin,
    Write,
    siskin_in,
)

STEADY_X = [(X_TUNE, 0x70), (X_LEVEL, 63)]


@pytest.fixture(scope="module")
def siskin(tmp_path_factory: pytest.TempPathFactory) -> Siskin:
    return siskin_in(tmp_path_factory.getbasetemp())


def test_output_is_0_until_the_three_registers_have_filled(siskin: Siskin) -> None:
    assert siskin([], cycles=10)["out_main"] == [(0, 0), (2, 512)]


def test_output_follows_levels_route_and_trim_three_edges_later(siskin: Siskin) -> None:
    # 255 * 2 = 510; trim 1: 510 * 3 >> 2 = 382.
    then: list[Write] = [(20, X_KEY, START), (30, ROUTE, 0), (40, ROUTE, 0x10), (50, CONTROL, ON + 0x10)]
    run = siskin(STEADY_X, then, cycles=70)
    assert run["out_main"] == [(0, 0), (2, 512), (23, 1022), (33, 512), (43, 1022), (53, 894)]


@pytest.mark.parametrize(("trim", "code"), [(0, 1022), (1, 894), (2, 767), (3, 639)])
def test_trim_takes_quarters_of_the_sum(siskin: Siskin, trim: int, code: int) -> None:
    # 510 * 4, 3, 2, 1 >> 2 = 510, 382 (382.5), 255, 127 (127.5).
    run = siskin([*STEADY_X, (CONTROL, ON + (trim << 4))], [(20, X_KEY, START)], cycles=40)
    assert value_at(run["out_main"], 30) == code


@pytest.mark.parametrize(
    ("sample", "codes"), [(0, [128, 224, 320, 416]), (127, [509, 509, 510, 511]), (255, [893, 797, 702, 607])]
)
def test_negative_sums_are_rounded_down(siskin: Siskin, sample: int, codes: list[int]) -> None:
    # V at volume 7: -128 * 3 = -384: -384, -288, -192, -96. -1 * 3 = -3: -3, -9 / 4 = -2.25, -6 / 4 = -1.5, -3 / 4: -3,
    # -3, -2, -1. 127 * 3 = 381: 381, 285.75, 190.5, 95.25.
    for trim, code in enumerate(codes):
        setup = [(V_MEMORY, sample << 8), (CONTROL, ON + (trim << 4))]
        run = siskin(setup, [(20, V_TUNE, 0xF0FF)], cycles=40)
        assert value_at(run["out_main"], 30) == code


# P volume 62 is 234, Q 61 is 215, X 59 is 181, Y 58 is 166; U: 255 * 197 >> 8 = 196 (196.2); V 127. All stay up for 800
# cycles.
EVERYTHING = [
    *((U_MEMORY + n, 0xFFFF) for n in range(16)),
    *[(V_MEMORY, 0xFFFF), (P_LEVEL, 62), (Q_LEVEL, 61), (U_LEVEL, 60), (U_TUNE, 4095), (X_TUNE, 0x70), (X_LEVEL, 59)],
    *[(P_KEY, START), (Q_KEY, START), (U_KEY, START), (V_TUNE, 0xFFFF), (X_KEY, START), (Y_TUNE, 0x3A07)],
]


@pytest.mark.parametrize(
    ("route", "trim", "code"),
    [
        (0x01, 0, 512 + 468),
        (0x02, 0, 512 + 430),
        (0x04, 0, 512 + 392),
        (0x08, 0, 512 + 381),
        (0x10, 0, 512 + 362),
        (0x20, 0, 512 + 166),
        (0x00, 0, 512),
        (0x3F, 0, 2047),
        (0x3F, 1, 2047),
        (0x3F, 2, 512 + 1099),
        (0x2E, 0, 1881),
        (0x17, 0, 2047),
    ],
)
def test_every_channel_has_its_route_bit_and_gain_and_the_code_is_held_at_2047(
    siskin: Siskin, route: int, trim: int, code: int
) -> None:
    # Sum of all: 468 + 430 + 392 + 381 + 362 + 166 = 2199; * 3 >> 2 = 1649, too much with 512; * 2 >> 2 = 1099.
    # 0x2E: Q, U, V and Y: 430 + 392 + 381 + 166 = 1369. 0x17: P, Q, U, X: 1652.
    run = siskin([*EVERYTHING, (ROUTE, route), (CONTROL, ON + (trim << 4))], cycles=200)
    assert value_at(run["out_main"], 150) == code


@pytest.mark.parametrize(("volume", "code"), [(16, 2046), (17, 2047), (19, 2047)])
def test_2047_is_the_highest_code(siskin: Siskin, volume: int, code: int) -> None:
    # P, Q and X at 255 make 1530; Y adds 4, 5 or 6: 2046, 2047 and 2048 with 512.
    loud = [(P_LEVEL, 63), (Q_LEVEL, 63), (X_LEVEL, 63), (Y_TUNE, (volume << 8) + 7)]
    run = siskin([*EVERYTHING, (ROUTE, 0x33), *loud], cycles=200)
    assert value_at(run["out_main"], 150) == code
