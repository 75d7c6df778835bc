"""A dump without its clock is read by a declared period and phase, and every change must lie on that grid."""

from __future__ import annotations

import pytest

from psgmodel.dump import GridRule, ResetRule
from psgmodel.errors import DumpError
from tests.dump.dump_text import header
from tests.dump.sampling_tables import RESET_VARIABLES, VARIABLES, entries, sampled, table

GRID_BODY = '#0\nb1 "\n#10\nb10 "\n#30\nb11 "\n#70\nb100 "\n'


@pytest.mark.parametrize("chunk_bytes", [1, 5, 2**18])
def test_a_dump_without_clock_is_read_by_period_and_phase(chunk_bytes: int) -> None:
    # edges at 10, 20 ... 70; the edge at 10 samples 1, at 20 and 30: 2, at 40 to 70: 3
    found = sampled(header(VARIABLES[1]) + GRID_BODY, ["q"], GridRule(10, 10), chunk_bytes)
    assert (found.edges, entries(found, "q")) == (7, [(0, 1), (1, 2), (3, 3)])
    assert table(found.steps("q")) == ([(0, 2), (2, 3)], 6)
    assert [found.time_of(k) for k in range(7)] == [10, 20, 30, 40, 50, 60, 70]


def test_changes_may_come_a_declared_delay_after_the_edge() -> None:
    body = '#0\nb1 "\n#13\nb10 "\n#33\nb11 "\n#73\nb100 "\n'
    found = sampled(header(VARIABLES[1]) + body, ["q"], GridRule(10, 10, delay=3))
    assert (found.edges, entries(found, "q")) == (7, [(0, 1), (1, 2), (3, 3)])


@pytest.mark.parametrize("chunk_bytes", [1, 5, 2**18])
def test_a_change_off_the_grid_is_an_error_with_its_place(chunk_bytes: int) -> None:
    text = header(VARIABLES[1]) + GRID_BODY.replace("#30", "#31")
    with pytest.raises(DumpError) as caught:
        sampled(text, ["q"], GridRule(10, 10), chunk_bytes)
    assert str(caught.value) == (
        f'<stream> (byte {text.index("b11 ")}): "t.q" changes at time 31, 1 after the place of a change on the grid '
        "10 + k * 10 + 0 (are period, phase and delay right, and is the signal of this clock?)"
    )


@pytest.mark.parametrize("chunk_bytes", [1, 5, 2**18])
def test_a_reset_places_cycle_0_on_the_grid_and_what_is_before_may_lie_anywhere(chunk_bytes: int) -> None:
    body = '#0\n1%\nb1 "\n#13\nb10 "\n#30\n0%\n#40\nb11 "\n#60\nb100 "\n'
    text = header(*RESET_VARIABLES[1:]) + body
    found = sampled(text, ["q"], GridRule(10, 10, reset=ResetRule("rst")), chunk_bytes)
    # the edge at 40 is the first to sample rst = 0
    assert (found.edges, found.skipped_edges, found.time_of(0)) == (3, 3, 40)
    assert entries(found, "q") == [(0, 2), (1, 3)]
    with pytest.raises(DumpError, match=r'"t\.q" changes at time 61'):
        sampled(text.replace("#60", "#61"), ["q"], GridRule(10, 10, reset=ResetRule("rst")), chunk_bytes)


@pytest.mark.parametrize("chunk_bytes", [1, 5, 2**18])
def test_a_reset_pulse_between_two_grid_edges_is_not_seen(chunk_bytes: int) -> None:
    body = "#0\n1%\n#12\n0%\n#17\n1%\n#20\n0%\n#50\n1%\n#60\n"
    rule = GridRule(10, 10, reset=ResetRule("rst"))
    found = sampled(header(*RESET_VARIABLES[1:]) + body, ["q"], rule, chunk_bytes)
    assert (found.time_of(0), found.edges, found.reset_again) == (30, 4, 3)


def test_a_dump_that_ends_before_the_first_grid_edge_is_an_error() -> None:
    with pytest.raises(DumpError, match="the dump ends at time 70; the first edge is at time 71"):
        sampled(header(VARIABLES[1]) + GRID_BODY, ["q"], GridRule(10, 71))
    with pytest.raises(DumpError, match="the dump has no time stamp; the first edge is at time 5"):
        sampled(header(VARIABLES[1]), ["q"], GridRule(10, 5))
    text = header(*RESET_VARIABLES[1:]) + "#0\n1%\n#50\n0%\n"
    with pytest.raises(DumpError, match=r"the reset rst is never sampled inactive \(is it active low\?\)"):
        sampled(text, ["q"], GridRule(10, 10, reset=ResetRule("rst")))


def test_period_phase_and_delay_must_make_sense() -> None:
    with pytest.raises(DumpError, match="a period of 0 dump time units; expected at least 1"):
        GridRule(0, 0)
    with pytest.raises(DumpError, match="a phase of -1 dump time units; expected at least 0"):
        GridRule(10, -1)
    with pytest.raises(DumpError, match="a delay of 10 dump time units; expected 0 to 9"):
        GridRule(10, 0, 10)
