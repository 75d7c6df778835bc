"""Edges of the clock are counted and signals sampled by the value held just before the edge: tables worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from psgmodel.dump import ClockRule, GridRule, ResetRule
from psgmodel.errors import DumpError
from tests.dump.dump_text import Levels, header
from tests.dump.sampling_tables import RESET_VARIABLES, VARIABLES, entries, sampled, table

# edges at 10, 20, 31, 39, 50: a wandering clock
BODY = """#0
0!
b1 "
#10
1!
b10 "
#12
b11 "
#15
0!
b100 "
#20
1!
b101 "
#25
0!
#31
b110 "
1!
#35
0!
#39
1!
#45
0!
#50
b111 "
1!
#55
b1000 "
"""


@pytest.mark.parametrize("chunk_bytes", [1, 2, 3, 10, 2**18])
def test_an_edge_samples_the_value_held_just_before_it(chunk_bytes: int) -> None:
    # edge at 10 samples 1 (2 comes with it), 20: 4 (3 is gone), 31: 5, 39: 6, 50: 6
    found = sampled(header(*VARIABLES) + BODY, ["q"], chunk_bytes=chunk_bytes)
    assert found.edges == 5
    assert entries(found, "q") == [(0, 1), (1, 4), (2, 5), (3, 6)]


def test_the_level_of_a_cycle_stands_between_its_edge_and_the_next() -> None:
    # the edge at 50 is the last: cycle 4 is sampled by no edge, so the levels end at 4
    found = sampled(header(*VARIABLES) + BODY, ["q"])
    assert table(found.steps("q")) == ([(0, 4), (1, 5), (2, 6)], 4)


def test_falling_edges_may_be_counted_instead() -> None:
    # falls at 15, 25, 35, 45 sample 3 (4 comes with the edge), 5, 6, 6
    found = sampled(header(*VARIABLES) + BODY, ["q"], ClockRule("clk", edge="falling"))
    assert (found.edges, entries(found, "q")) == (4, [(0, 3), (1, 5), (2, 6)])


def test_the_end_of_the_dump_and_the_times_of_cycles_are_told() -> None:
    found = sampled(header(*VARIABLES) + BODY, ["q"])
    assert (found.first_time, found.end_time, found.skipped_edges) == (0, 55, 0)
    assert [found.time_of(0), found.time_of(4)] == [10, 50]
    with pytest.raises(DumpError, match="cycle 5 of a dump with cycles 0 to 4"):
        found.time_of(5)


def test_the_rule_is_stated_in_words() -> None:
    rule = ClockRule("tb.clk", enable="ce", reset=ResetRule("rst_n", active=0, seen_first=True))
    assert str(rule) == (
        "sampled just before every rising edge of tb.clk that samples ce = 1; cycle 0 is the first edge that samples "
        "rst_n = 1, once it was active"
    )
    assert str(GridRule(20, 5, 1)) == (
        "sampled just before every time 5 + k * 20, with changes 1 after an edge; cycle 0 is the first edge"
    )


def test_unknown_levels_are_a_mask_and_never_a_number() -> None:
    body = '#0\n0!\n#10\n1!\nb1x "\n#15\n0!\n#20\n1!\nbz "\n#25\n0!\nb11 "\n#30\n1!\n#35\n0!\n#40\n1!\n'
    steps = sampled(header(*VARIABLES) + body, ["q"]).steps("q")
    assert table(steps) == ([(0, None), (1, 3)], 3)
    assert steps.unknown is not None
    assert steps.level.tolist() == [0, 3]


def test_levels_may_be_read_as_twos_complement() -> None:
    body = "#0\n0!\n" + "".join(f'#{10 * k}\n1!\nb{k:b} "\n#{10 * k + 5}\n0!\n' for k in range(1, 17) if k < 16)
    found = sampled(header(*VARIABLES) + body, ["q"])
    assert found.steps("q").level.tolist() == list(range(1, 15))
    assert found.steps("q", signed=True).level.tolist() == [1, 2, 3, 4, 5, 6, 7, -8, -7, -6, -5, -4, -3, -2]


@pytest.mark.parametrize(
    ("width", "bits", "signed"), [(32, "1" * 32, -1), (64, "1" * 63 + "0", -2), (33, "1" * 32, None)]
)
def test_levels_that_do_not_fit_32_bits_are_refused(width: int, bits: str, signed: int | None) -> None:
    text = header("wire 1 ! clk", f'wire {width} " q') + f'#0\n0!\nb{bits} "\n#1\n1!\n#2\n0!\n#3\n1!\n'
    found = sampled(text, ["q"])
    with pytest.raises(DumpError, match=r'"t\.q" holds .*(does not fit 32 bits|2\*\*63 or more)'):
        found.steps("q")
    if signed is not None:
        assert found.steps("q", signed=True).level.tolist() == [signed]


RESET = """#0
0!
{reset}%
b1 "
#10
1!
#15
0!
#20
1!
b10 "
{release}%
#25
0!
#30
1!
b11 "
#35
0!
#40
1!
"""


@pytest.mark.parametrize(("reset", "release", "active"), [("1", "0", 1), ("0", "1", 0), ("x", "0", 1), ("x", "1", 0)])
def test_cycle_0_is_the_first_edge_that_samples_the_reset_inactive(reset: str, release: str, active: int) -> None:
    # released with the edge at 20, so the edge at 30 is the first to see it
    rule = ClockRule("clk", reset=ResetRule("rst", active=1 if active else 0))
    found = sampled(header(*RESET_VARIABLES) + RESET.format(reset=reset, release=release), ["q"], rule)
    assert (found.edges, found.skipped_edges, found.time_of(0)) == (2, 2, 30)
    assert entries(found, "q") == [(0, 2), (1, 3)]
    assert table(found.steps("q")) == ([(0, 3)], 1)


def test_a_reset_that_is_never_released_says_how_many_edges_it_skipped() -> None:
    rule = ClockRule("clk", reset=ResetRule("rst"))
    with pytest.raises(DumpError, match=r"rst is never sampled inactive: 4 edges skipped \(is it active low\?\)"):
        sampled(header(*RESET_VARIABLES) + RESET.format(reset="1", release="1"), ["q"], rule)


@pytest.mark.parametrize("chunk_bytes", [1, 7, 2**18])
def test_a_bench_may_start_with_the_reset_inactive(chunk_bytes: int) -> None:
    body = "#0\n0!\n0%\n#10\n1!\n#15\n0!\n1%\n#20\n1!\n#25\n0!\n#30\n1!\n0%\n#35\n0!\n#40\n1!\n#45\n0!\n#50\n1!\n"
    text = header(*RESET_VARIABLES) + body
    plain = sampled(text, ["q"], ClockRule("clk", reset=ResetRule("rst")), chunk_bytes)
    seen = sampled(text, ["q"], ClockRule("clk", reset=ResetRule("rst", seen_first=True)), chunk_bytes)
    assert (plain.time_of(0), plain.reset_again, plain.edges) == (10, 1, 5)
    assert "the reset rst is not inactive any more at cycle 1" in str(plain.notes[-1])
    assert (seen.time_of(0), seen.reset_again, seen.skipped_edges, seen.edges) == (40, None, 3, 2)


@pytest.mark.parametrize("chunk_bytes", [1, 7, 2**18])
def test_edges_count_only_where_the_clock_enable_is_sampled_as_1(chunk_bytes: int) -> None:
    # edges at 10 (enable x), 20 (0: the 1 comes with the edge), 30 (1), 40 (1: the 0 comes with it), 50 (0), 60 (1)
    body = '#0\n0!\nx%\n#10\n1!\n#12\n0%\n#15\n0!\n#20\n1!\n1%\n#25\n0!\n#30\n1!\nb1 "\n#35\n0!\n#40\n1!\n0%\n#45\n0!\n'
    body += '#50\n1!\nb10 "\n#52\n1%\n#55\n0!\n#60\n1!\n'
    text = header(*VARIABLES, "wire 1 % ce") + body
    found = sampled(text, ["q"], ClockRule("clk", enable="ce"), chunk_bytes)
    assert found.edges == 3
    assert entries(found, "q") == [(0, None), (1, 1), (2, 2)]
    assert "1 edges before cycle 0 had an unknown clock enable" in [n.message for n in found.notes]


@pytest.mark.parametrize("chunk_bytes", [1, 7, 2**18])
def test_an_unknown_clock_enable_after_cycle_0_is_an_error(chunk_bytes: int) -> None:
    body = "#0\n0!\n1%\n#10\n1!\n#15\n0!\nx%\n#20\n1!\n"
    text = header(*VARIABLES, "wire 1 % ce") + body
    with pytest.raises(DumpError) as caught:
        sampled(text, ["q"], ClockRule("clk", enable="ce"), chunk_bytes)
    assert str(caught.value) == (
        f"<stream> (byte {len(text) - 3}): the clock enable ce is unknown at the edge at time 20, "
        "which would be that of cycle 1"
    )


@pytest.mark.parametrize("chunk_bytes", [1, 7, 2**18])
def test_a_clock_that_comes_from_unknown_has_no_edge_there(chunk_bytes: int) -> None:
    body = '#0\nx!\nb1 "\n#10\n1!\n#15\n0!\n#20\n1!\n#25\n0!\n#30\n1!\n'
    found = sampled(header(*VARIABLES) + body, ["q"], chunk_bytes=chunk_bytes)
    assert (found.edges, found.time_of(0)) == (2, 20)
    [note] = found.notes
    assert str(note) == (
        "<stream>: 1 changes of the clock from unknown were not counted as edges (the first at time 10)"
    )


@pytest.mark.parametrize("chunk_bytes", [1, 7, 2**18])
def test_a_clock_that_is_lost_and_comes_back_is_an_error(chunk_bytes: int) -> None:
    start = "#0\n0!\n#10\n1!\n#15\n0!\n#20\n1!\n"
    gap = "#22\n$dumpoff\nx!\n$end\n#80\n$dumpon\n0!\n$end\n"
    found = sampled(header(*VARIABLES) + start + gap, ["q"], chunk_bytes=chunk_bytes)
    assert (found.edges, [n.message for n in found.notes]) == (2, ["the clock is unknown from time 22 to the end"])
    with pytest.raises(DumpError, match="the clock clk is unknown from time 22 on and has an edge again at time 90"):
        sampled(header(*VARIABLES) + start + gap + "#90\n1!\n", ["q"], chunk_bytes=chunk_bytes)


def test_a_glitch_of_no_length_on_the_clock_is_no_edge() -> None:
    body = "#0\n0!\n#10\n1!\n0!\n#20\n1!\n#20\n0!\n1!\n#25\n0!\n#30\n1!\n"
    assert sampled(header(*VARIABLES) + body, ["q"]).edges == 2


def test_a_dump_without_an_edge_is_an_error_and_not_an_empty_result() -> None:
    text = header(*VARIABLES)
    with pytest.raises(DumpError, match=r"the clock clk has no rising edge in this dump \(is this the clock\?\)"):
        sampled(text + "#0\n0!\n#5\n", ["q"])
    with pytest.raises(DumpError, match="has no rising edge in this dump \\(1 changes came from an unknown level\\)"):
        sampled(text + "#0\nx!\n#5\n1!\n", ["q"])
    with pytest.raises(DumpError, match="none of the 1 edges of clk samples q = 1"):
        sampled(header("wire 1 ! clk", 'wire 1 " q') + "#0\n0!\n#5\n1!\n", ["q"], ClockRule("clk", enable="q"))


def test_clock_and_reset_must_be_one_bit_and_known() -> None:
    with pytest.raises(DumpError) as caught:
        sampled(header(*VARIABLES), ["q"], ClockRule("q", reset=ResetRule("q*")))
    assert '"t.q" is 4 bits wide; expected 1' in str(caught.value)
    with pytest.raises(DumpError, match='no signal "clock" in the dump'):
        sampled(header(*VARIABLES), ["q"], ClockRule("clock"))


def test_a_signal_that_never_changes_in_the_dump_is_unknown() -> None:
    text = header(*VARIABLES, "wire 4 % idle") + BODY
    assert table(sampled(text, ["idle"]).steps("idle")) == ([(0, None)], 4)


def test_signals_are_looked_up_as_asked_by_path_or_by_the_end_of_one() -> None:
    found = sampled(header(*VARIABLES) + BODY, ["q", "t.*"])
    assert found["q"] is found["t.q"]
    assert found["clk"].path == "t.clk"
    with pytest.raises(DumpError, match=r'"t\.\*" stands for 2 signals: t\.clk, t\.q'):
        found["t.*"]
    with pytest.raises(DumpError, match='no signal "p" among those read'):
        found["p"]


def walk(changes: list[tuple[int, str, int | None]]) -> tuple[Levels, int]:
    """Sample ``q`` at the edges that count, one time after the other; clk, ce and rst as in the test below."""
    held: dict[str, int | None] = {"clk": None, "ce": None, "rst": None, "q": None}
    samples: list[int | None] = []
    for time in sorted({t for t, _, _ in changes}):
        before = dict(held)
        held.update({name: value for t, name, value in changes if t == time})
        edge = before["clk"] == 0 and held["clk"] == 1
        if edge and before["ce"] == 1 and (samples or before["rst"] == 0):
            samples.append(before["q"])
    entries = [(k, v) for k, v in enumerate(samples) if k == 0 or samples[k - 1] != v]
    return entries, len(samples)


VALUES = {"clk": [0, 1], "ce": [0, 1, 1, 1], "rst": [0, 0, 1, None], "q": [*range(16), None]}
change = st.sampled_from(sorted(VALUES)).flatmap(
    lambda n: st.tuples(st.integers(0, 60), st.just(n), st.sampled_from(VALUES[n]))
)


@settings(max_examples=150, deadline=None)
@given(st.lists(change, max_size=120), st.sampled_from([1, 13, 2**18]))
def test_sampling_agrees_with_a_walk_through_time(changes: list[tuple[int, str, int | None]], chunk_bytes: int) -> None:
    changes = [(0, "clk", 0), (0, "ce", 1), *sorted(changes, key=lambda c: c[0])]
    codes = {"clk": "!", "ce": "#", "rst": "%", "q": '"'}
    body = "".join(
        f"#{t}\n"
        + (f"b{'x' if v is None else format(v, 'b')} " if n == "q" else "x" if v is None else str(v))
        + codes[n]
        + "\n"
        for t, n, v in changes
    )
    text = header("wire 1 ! clk", "wire 1 # ce", "wire 1 % rst", 'wire 4 " q') + body
    rule = ClockRule("clk", enable="ce", reset=ResetRule("rst"))
    expected, edges = walk(changes)
    if edges == 0:
        with pytest.raises(DumpError, match=r"no rising edge|is never sampled inactive|none of the"):
            sampled(text, ["q"], rule, chunk_bytes)
        return
    found = sampled(text, ["q"], rule, chunk_bytes)
    assert found.edges == edges
    assert entries(found, "q") == expected
    levels = [v for k, v in ((k, next(v for e, v in reversed(expected) if e <= k)) for k in range(1, edges))]
    steps = found.steps("q")
    got = [None if steps.unknown_mask()[steps.index_at(c)] else int(steps.at(c)) for c in range(steps.end)]
    assert got == levels
    assert np.all(np.diff(found["q"].edge) > 0)
