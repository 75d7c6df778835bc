"""Results of coverage: adding up, saving, reading, and the words they are told in."""

from __future__ import annotations

from dataclasses import replace
from functools import reduce
from itertools import permutations

import pytest

from psgmodel.coverage import Bin, Coverage, LogHits, cover, coverage_from_json, coverage_to_json
from psgmodel.errors import CoverageError, RegisterLogError
from psgmodel.report.coverage import coverage_json, coverage_text
from psgmodel.report.coverage_page import coverage_page
from tests.coverage.linnet_hand import GO, LINNET, log_of, note

SOME = [
    log_of(*note(1000), end=3000),
    log_of(*note(500, period=7, shape=1), (2000, GO, 1), end=12_000),
    log_of((0, 0x20, 0), (4, 0x22, 31), (8, 0x26, 1), end=2000),
]
BINS = (
    Bin("a.start.idle", "started while idle", "GO bit 0"),
    Bin("a.stop.idle", "stopped while idle", "GO bit 1"),
    Bin("a.sweep.up", "a sweep step", unreachable="nothing starts a"),
    Bin("mixer.left.a=1", "a sounds <loud> & clear", ""),
)
ONE = Coverage("Wren", 4, BINS, (LogHits("one.csv", "01", 3, {"a.start.idle": 2}),))


def test_the_order_in_which_logs_are_added_does_not_matter() -> None:
    single = [cover(LINNET, [log]) for log in SOME]
    together = cover(LINNET, SOME)
    for order in permutations(single):
        assert reduce(Coverage.merged, order) == together
    assert len(together.missing) < min(len(one.missing) for one in single)


def test_a_log_that_is_added_twice_counts_once() -> None:
    one = cover(LINNET, SOME[:1])
    assert one.merged(one) == one
    assert cover(LINNET, [SOME[0], replace(SOME[0], source="another name")]).writes == len(SOME[0])
    assert one.merged(cover(LINNET, [])) == one


def test_what_is_hit_by_all_logs_is_what_some_log_hits_and_counts_add_up() -> None:
    single = [cover(LINNET, [log]) for log in SOME]
    together = cover(LINNET, SOME)
    for b in together.bins:
        assert together.count(b) == sum(one.count(b) for one in single)


def test_saved_coverage_is_read_as_it_was() -> None:
    coverage = cover(LINNET, SOME)
    text = coverage_to_json(coverage)
    assert coverage_from_json(text) == coverage
    assert coverage_to_json(coverage_from_json(text)) == text


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", '{"coverage_format": 1}', '{"coverage_format": 1, "bins": [1], "logs": []}', "[" * 100_000]
)
def test_what_is_no_saved_coverage_is_refused_with_its_name(text: str) -> None:
    with pytest.raises(CoverageError, match=r"^some\.json: (no saved coverage|saved coverage of format)"):
        coverage_from_json(text, "some.json")


def test_coverage_of_other_bins_is_not_added() -> None:
    with pytest.raises(CoverageError, match="their bins differ"):
        ONE.merged(replace(ONE, bins=BINS[:2]))
    with pytest.raises(CoverageError, match="with spacing 1 cannot be added"):
        ONE.merged(replace(ONE, spacing=1))


def test_a_log_that_does_not_fit_the_chip_is_refused() -> None:
    with pytest.raises(RegisterLogError, match="nobody owns address 0x07"):
        cover(LINNET, [log_of((0, 0x07, 1), end=10)])


def test_the_text_tells_parts_missing_and_out_of_reach() -> None:
    """The lines are written by hand."""
    assert coverage_text(ONE, whole=True).splitlines() == [
        "33.3 % of what Wren can be made to do: 1 of 3 behaviours, by 1 log with 3 writes",
        "",
        "part   hit  of   share  out of reach",
        "a        1   2  50.0 %             1",
        "mixer    0   1   0.0 %             0",
        "",
        "missing, 2 behaviours:",
        "  a.stop.idle: stopped while idle",
        "      GO bit 1",
        "  mixer.left.a=1: a sounds <loud> & clear",
        "",
        "out of reach, 1 behaviour, at least 4 cycles between writes:",
        "  a.sweep.up: nothing starts a",
    ]
    short = coverage_text(ONE).splitlines()
    assert short[-1] == "1 behaviour out of reach (--missing says why)"


def test_a_hit_out_of_reach_is_told_and_not_counted() -> None:
    odd = replace(ONE, logs=(LogHits("x", "02", 9, {"a.sweep.up": 1}),))
    assert odd.share == 0
    text = " ".join(coverage_text(odd).split())
    assert "note 1 behaviour out of reach of writes 4 cycles apart, but hit by closer ones: a.sweep.up" in text


def test_a_hundred_percent_is_said_only_where_nothing_is_missing() -> None:
    many = tuple(Bin(f"a.x={i}", "x") for i in range(10_000))
    nearly = Coverage("Wren", 4, many, (LogHits("x", "01", 1, {b.name: 1 for b in many[1:]}),))
    assert coverage_text(nearly).startswith("99.9 % of")
    whole = replace(nearly, logs=(LogHits("x", "01", 1, {b.name: 1 for b in many}),))
    assert coverage_text(whole).startswith("100 % of")


def test_the_plain_values_are_the_record() -> None:
    assert coverage_json(ONE) == {
        "chip": "Wren",
        "spacing": 4,
        "share": 1 / 3,
        "reachable": 3,
        "hit": 1,
        "unreachable": 1,
        "logs": [{"name": "one.csv", "digest": "01", "writes": 3}],
        "bins": [
            {"name": "a.start.idle", "text": "started while idle", "count": 2, "how": "GO bit 0", "unreachable": None},
            {"name": "a.stop.idle", "text": "stopped while idle", "count": 0, "how": "GO bit 1", "unreachable": None},
            {"name": "a.sweep.up", "text": "a sweep step", "count": 0, "how": None, "unreachable": "nothing starts a"},
            {"name": "mixer.left.a=1", "text": "a sounds <loud> & clear", "count": 0, "how": None, "unreachable": None},
        ],
    }


def test_the_page_escapes_what_it_shows_and_has_a_tile_of_each_kind() -> None:
    page = coverage_page(ONE)
    assert "<loud>" not in page
    assert "a sounds &lt;loud&gt; &amp; clear" in page
    assert [page.count(f'<i class="{kind}" role') for kind in ("t", "t miss", "t out")] == [1, 2, 1]
    assert "33.3 %" in page
