"""Linnet's RTL at its edges: reads and the mixer.

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
    B_PITCH,
    B_TONE,
    BUILDERS,
    N_CLOCK,
    N_GO,
    N_NOTE,
    ROUTE,
    START,
    STATE,
    TRIM,
    W_GO,
    W_MEMORY,
    W_NOTE,
    W_TONE,
    Linnet,
    linnet_in,
    value_at,
)


@pytest.fixture(scope="module", params=sorted(BUILDERS))
def linnet(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Linnet:
    return linnet_in(request.param, tmp_path_factory.getbasetemp())


# --- Section 4: reads -------------------------------------------------------------------------------------------------

MASKS = {
    **{0x00: 0xFF, 0x01: 0x33, 0x08: 0xFF, 0x09: 0x3F, 0x0A: 0xDF, 0x0B: 0xFF, 0x0C: 0x8F, 0x0D: 0xFF},
    **{0x10: 0xFF, 0x11: 0x3F, 0x12: 0xDF, 0x13: 0xFF, 0x14: 0x8F, 0x18: 0xFF, 0x19: 0x0F, 0x1A: 0xDF},
    **{0x1B: 0xFF, 0x1C: 0x8F, 0x20: 0x7F, 0x21: 0x01, 0x22: 0xDF, 0x23: 0xFF, 0x24: 0x8F},
    **{0x40 + n: 0x3F for n in range(64)},
}


@pytest.mark.parametrize("pattern", [0xFF, 0x5A, 0xA5])
def test_every_address_reads_back_the_bits_that_exist(linnet: Linnet, pattern: int) -> None:
    # Everything is written (a stop to the GO registers' addresses would be a strobe, so those are left out), then read.
    addresses = [a for a in range(128) if a not in (A_GO, B_GO, W_GO, N_GO)]
    reads = [(200 + a, a) for a in range(128)]
    run = linnet([(a, pattern) for a in addresses], reads=reads, cycles=330)
    found = {a: value_at(run["rdata"], cycle) for cycle, a in reads}
    assert found == {a: pattern & MASKS.get(a, 0) for a in range(128)}


def test_route_is_all_ones_after_reset_and_nothing_else_is(linnet: Linnet) -> None:
    run = linnet([], reads=[(a, a) for a in range(128)], cycles=130)
    assert run["rdata"] == [(0, 0xFF), (1, 0)]


def test_read_data_keep_their_value_and_see_the_registers_before_the_edge(linnet: Linnet) -> None:
    # STATE read at 11 is still 0 (the start acts at this edge); read at 12 it is 1.
    run = linnet([(ROUTE, 0x81)], [(10, A_GO, START)], reads=[(5, ROUTE), (11, STATE), (12, STATE)], cycles=30)
    assert run["rdata"] == [(0, 0), (5, 0x81), (11, 0), (12, 1)]


def test_state_shows_each_channel_in_its_bit(linnet: Linnet) -> None:
    # Noise acts at 12, the wave channel at 13, B at 16, A at 19; a read at the edge of the act does not see it yet.
    then = [(10, W_GO, START), (11, N_GO, START), (15, B_GO, START), (18, A_GO, START)]
    run = linnet([], then, reads=[(c, STATE) for c in (12, 13, 14, 16, 17, 19, 20)], cycles=25)
    assert run["rdata"] == [(0, 0), (13, 0b1000), (14, 0b1100), (17, 0b1110), (20, 0b1111)]


# --- Section 10: mixer ------------------------------------------------------------------------------------------------

# All four at their most: squares 31 for 8 positions of 8192 cycles, noise 31, wave 61 (63 * 31 >> 5), from cycle 105.
LOUD = [
    *[(W_MEMORY + n, 63) for n in range(64)],
    *[(A_PITCH, 255), (A_TONE, 0x2F), (A_NOTE, 31), (B_PITCH, 255), (B_TONE, 0x2F), (B_NOTE, 31)],
    *[(W_TONE, 0), (W_NOTE, 31), (N_CLOCK, 14), (N_NOTE, 31)],
]
ALL_GO = [(90, A_GO, START), (91, B_GO, START), (92, W_GO, START), (93, N_GO, START)]


@pytest.mark.parametrize(
    ("trim", "left", "right"),
    # 4 * (31 + 31 + 31) + 3 * 61 = 555. 555 * 6 / 8 = 416.25; * 4 / 8 = 277.5; * 3 / 8 = 208.125.
    [(0x00, 511, 511), (0x01, 416, 511), (0x20, 511, 277), (0x23, 208, 277), (0x31, 416, 208)],
)
def test_full_mix_is_trimmed_rounded_down_and_held_at_511(linnet: Linnet, trim: int, left: int, right: int) -> None:
    run = linnet(LOUD, [*ALL_GO, (100, TRIM, trim)], cycles=110)
    assert (run["out_left"][-1][1], run["out_right"][-1][1]) == (left, right)


def test_routes_reach_the_outputs_one_edge_after_the_write_shows(linnet: Linnet) -> None:
    # Written at 100: the register holds it after edge 100, the output after edge 101.
    routes = [0x01, 0x02, 0x04, 0x08, 0x10, 0x20, 0x40, 0x80, 0x1A]
    then = [*ALL_GO, *[(100 + 10 * n, ROUTE, route) for n, route in enumerate(routes)]]
    run = linnet(LOUD, then, cycles=190)
    left = [(101, 124), (111, 0), (121, 124), (131, 0), (141, 183), (151, 0), (161, 124), (171, 0), (181, 183)]
    right = [(101, 0), (111, 124), (121, 0), (131, 124), (141, 0), (151, 183), (161, 0), (171, 124), (181, 248)]
    assert [change for change in run["out_left"] if change[0] > 100] == left
    assert [change for change in run["out_right"] if change[0] > 100] == right


def test_outputs_follow_the_levels_one_cycle_later(linnet: Linnet) -> None:
    run = linnet([(A_PITCH, 3), (A_TONE, 0x20), (A_NOTE, 7)], [(10, A_GO, START)], cycles=90)
    assert run["level_a"] == [(0, 0), (11, 7), (75, 0)]
    assert run["out_left"] == run["out_right"] == [(0, 0), (12, 28), (76, 0)]
