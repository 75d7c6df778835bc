"""The command `coverage`: what it says, adds up, writes, and the exit status for CI."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.cli.commands import CHIP, PATCHES, TINY, run, run_here

WALK = str(PATCHES / "walk.csv")
TINY_COVERAGE = ["coverage", TINY, "--chip", CHIP]


def test_the_report_counts_by_channel_and_names_what_is_missing_with_what_it_takes(tmp_path: Path) -> None:
    found = run(TINY_COVERAGE, tmp_path)
    assert (found.status, found.err) == (0, "")
    first = found.out.splitlines()[0]
    told = re.fullmatch(
        r"([\d.]+) % of what Linnet can be made to do: (\d+) of (\d+) behaviours, by 1 log with .*", first
    )
    assert told is not None
    assert float(told[1]) == pytest.approx(100 * int(told[2]) / int(told[3]), abs=0.05)
    rows = {line.split()[0]: line.split()[1:] for line in found.out.splitlines()[3:10]}
    assert list(rows) == ["a", "b", "wave", "noise", "bus", "register", "mixer"]
    assert sum(int(row[0]) for row in rows.values()) == int(told[2])
    assert sum(int(row[1]) for row in rows.values()) == int(told[3])
    whole = run([*TINY_COVERAGE, "--missing"], tmp_path).out
    assert "  a.stop.sounding: stopped while it sounds\n      A_GO bit 1, acts 1 cycle later\n" in whole
    assert "a.timer.end-at-sweep-step: timing and bending never tick at one edge" in whole
    assert whole.count("\n") > int(told[3]) - int(told[2])


def test_a_threshold_that_is_not_reached_is_exit_status_one(tmp_path: Path) -> None:
    assert run_here([*TINY_COVERAGE, "--threshold", "1"], tmp_path).status == 0
    below = run_here([*TINY_COVERAGE, "--threshold", "99"], tmp_path)
    assert below.status == 1
    assert below.out.endswith("BELOW  99 % of the behaviours within reach were asked for\n")


def test_logs_without_writes_are_never_a_pass(tmp_path: Path) -> None:
    (tmp_path / "empty.csv").write_text("cycle,address,value\n1000,,\n", encoding="utf-8")
    found = run_here(["coverage", "empty.csv", "--chip", CHIP, "--threshold", "0"], tmp_path)
    assert found.status == 3
    assert found.out.endswith("NOTHING COVERED  the logs hold no writes\n")


def test_saved_results_are_given_like_logs_and_a_log_given_twice_counts_once(tmp_path: Path) -> None:
    assert run_here([*TINY_COVERAGE, "--save", "tiny.json"], tmp_path).status == 0
    assert run_here(["coverage", WALK, "--chip", CHIP, "--save", "walk.json"], tmp_path).status == 0
    both = run_here(["coverage", TINY, WALK, "--chip", CHIP, "--json"], tmp_path).document["result"]
    for order in (["tiny.json", "walk.json"], ["walk.json", TINY, "tiny.json"]):
        again = run_here(["coverage", *order, "--chip", CHIP, "--json"], tmp_path).document["result"]
        assert again["bins"] == both["bins"]
        assert [log["digest"] for log in again["logs"]] == [log["digest"] for log in both["logs"]]
    assert len(both["logs"]) == 2


def test_the_json_has_every_behaviour_with_its_count_and_its_reason(tmp_path: Path) -> None:
    document = run_here([*TINY_COVERAGE, "--json", "--threshold", "90"], tmp_path).document
    result = document["result"]
    assert (document["command"], document["status"]) == ("coverage", 1)
    assert set(result) == {
        "chip", "spacing", "share", "reachable", "hit", "unreachable", "logs", "bins", "threshold", "page", "saved",
    }  # fmt: skip
    hit = [b for b in result["bins"] if b["count"] and not b["unreachable"]]
    assert result["hit"] == len(hit)
    assert result["reachable"] + result["unreachable"] == len(result["bins"])
    assert result["share"] == len(hit) / result["reachable"]
    assert all(set(b) == {"name", "text", "count", "how", "unreachable"} for b in result["bins"])


def test_a_page_needs_nothing_but_itself_and_has_a_tile_for_each_behaviour(tmp_path: Path) -> None:
    found = run_here([*TINY_COVERAGE, "--page", "tiny.html", "--save", "tiny.json"], tmp_path)
    assert found.out.endswith("wrote tiny.html\nwrote tiny.json\n")
    page = (tmp_path / "tiny.html").read_text(encoding="utf-8")
    assert not re.search(r"<script|https?:|src=|@import|url\(", page)
    assert page.count('role="img"') == len(json.loads((tmp_path / "tiny.json").read_text(encoding="utf-8"))["bins"])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["coverage", TINY, "--chip", CHIP, "--threshold", "101"], "--threshold 101, accepted: 0 to 100"),
        (["coverage", TINY, "--chip", CHIP, "--spacing", "0"], "spacing 0, accepted: 1 and more"),
        (["coverage", TINY, "--chip", CHIP, "--page", "page.pdf"], "a name that ends in .html is expected"),
        (["coverage", "gone.json", "--chip", CHIP], "gone.json: cannot read: No such file"),
        (["coverage", "bad.json", "--chip", CHIP], "bad.json: no saved coverage (psgmodel coverage --save writes one)"),
        (["coverage", "old.json", "--chip", CHIP], "old.json: saved coverage of format 99, expected 1"),
        (["coverage", "--chip", CHIP], "the following arguments are required: LOG"),
    ],
)
def test_what_cannot_be_used_is_told_in_a_line(words: list[str], told: str, tmp_path: Path) -> None:
    (tmp_path / "bad.json").write_text("[1, 2", encoding="utf-8")
    (tmp_path / "old.json").write_text('{"coverage_format": 99}', encoding="utf-8")
    found = run_here(words, tmp_path)
    assert found.status == 2
    assert told in found.err


def test_results_of_another_chip_or_spacing_are_not_added(tmp_path: Path) -> None:
    run_here([*TINY_COVERAGE, "--spacing", "1", "--save", "one.json"], tmp_path)
    found = run_here([*TINY_COVERAGE[:1], "one.json", "--chip", CHIP], tmp_path)
    assert found.status == 2
    assert "coverage of Linnet with spacing 1 cannot be added to that of Linnet with spacing 4" in found.err


def test_a_closing_log_says_that_it_leaves_nothing_open(tmp_path: Path) -> None:
    chip = str(PATCHES.parent / "tests" / "chip" / "units" / "whinchat.toml")
    words = ["stimulus", "--close", "--seed", "3", "--chip", chip, "-o", "close.csv"]
    found = run_here(words, tmp_path)
    assert (found.status, found.err) == (0, "")
    assert "closing log for Whinchat: psgmodel stimulus --close --seed 3 --spacing 4" in found.out
    assert "100 % of what Whinchat can be made to do" in found.out
    assert run_here(["coverage", "close.csv", "--chip", chip, "--threshold", "100"], tmp_path).status == 0
    first = (tmp_path / "close.csv").read_text(encoding="utf-8")
    run_here([*words[:-1], "again.csv"], tmp_path)
    assert (tmp_path / "again.csv").read_text(encoding="utf-8") == first
