"""The command `stimulus --close` where it takes more than one log: numbered files, numbered folders, what it says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from psgmodel.chip import load_chip
from psgmodel.reglog import check_log, load_log
from tests.cli.commands import Finished, run_here

TWITE = """
format = 1

[unit]
name = "Twite"
clock_hz = 1_000_000
outputs = ["out"]

[bus]
data_bits = 8

[mixer]
bits = 8

[ticks]
t = { every = 10, first = 10 }

[channel.x]
kind = "square"
volume_bits = 3
patterns = ["1"]
step = { bits = 1 }
timer = { ticks = "t", bits = 2, at_zero = "go-on" }

[constants]
"x.volume" = 7
"x.period" = 1
"x.timer.length" = 2
"x.timer.enable" = 1

[[register]]
name = "STRIKE"
address = 0
fields = [{ bits = "0", strobes = "x.start" }]
"""
"""Nothing stops x: its only start while idle is at a tick or not."""
COMMENT = "closing log for Twite: psgmodel stimulus --close --seed 3 --spacing 4 --patience 60"
CLOSE = ["stimulus", "--close", "--seed", "3", "--patience", "60", "--chip", "twite.toml"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the chip."""
    (tmp_path / "twite.toml").write_text(TWITE, encoding="utf-8")
    return tmp_path


def coverage_of(*names: str, folder: Path) -> Finished:
    return run_here(["coverage", *names, "--chip", "twite.toml", "--threshold", "100"], folder)


def test_each_closing_log_is_a_numbered_file_that_says_which_it_is_of_how_many(folder: Path) -> None:
    found = run_here([*CLOSE, "-o", "close.csv"], folder)
    assert (found.status, found.err) == (0, "")
    assert sorted(path.name for path in folder.iterdir()) == ["close-2.csv", "close.csv", "twite.toml"]
    logs = [load_log(folder / name) for name in ("close.csv", "close-2.csv")]
    for number, (name, log) in enumerate(zip(("close.csv", "close-2.csv"), logs, strict=True), 1):
        check_log(log, load_chip(folder / "twite.toml"))
        first = (folder / name).read_text(encoding="utf-8").splitlines()[0]
        assert first == f"# {COMMENT}, {number} of 2"
    told = [line for line in found.out.splitlines() if line.endswith((" of 2", ".csv"))]
    assert len(told) == 4
    for place, (log, name) in enumerate(zip(logs, ("close.csv", "close-2.csv"), strict=True)):
        said = rf"{len(log)} writes in {log.end} cycles, \S+ s: {re.escape(COMMENT)}, {place + 1} of 2"
        assert re.fullmatch(said, told[2 * place])
        assert told[2 * place + 1] == f"wrote {name}"
    assert "100 % of what Twite can be made to do" in found.out
    assert "by 2 logs" in found.out
    assert "left open" not in found.out


def test_all_closing_logs_together_meet_the_threshold_and_the_first_alone_does_not(folder: Path) -> None:
    run_here([*CLOSE, "-o", "close.csv"], folder)
    assert coverage_of("close.csv", "close-2.csv", folder=folder).status == 0
    alone = coverage_of("close.csv", folder=folder)
    assert alone.status == 1
    assert "x.timer.tick-at-start-idle" in run_here(
        ["coverage", "close.csv", "--missing", "--chip", "twite.toml"], folder
    ).out  # fmt: skip


def test_the_json_lists_all_files_and_adds_up_writes_and_cycles(folder: Path) -> None:
    result = run_here([*CLOSE, "-o", "close.csv", "--json"], folder).document["result"]
    assert result["files"] == ["close.csv", "close-2.csv"]
    logs = [load_log(folder / name) for name in result["files"]]
    assert result["writes"] == sum(len(log) for log in logs)
    assert result["cycles"] == sum(log.end for log in logs)
    assert (result["comment"], result["format"]) == (COMMENT, "csv")


def test_without_a_path_the_files_are_numbered_beside_the_usual_one(folder: Path) -> None:
    result = run_here([*CLOSE, "--json"], folder).document["result"]
    assert result["files"] == ["out/stimulus.csv", "out/stimulus-2.csv"]
    assert all((folder / name).is_file() for name in result["files"])


def test_each_closing_log_has_a_folder_of_its_own_for_a_test_bench(folder: Path) -> None:
    run_here([*CLOSE, "-o", "close.csv"], folder)
    found = run_here([*CLOSE, "--format", "verilog", "-o", "bench", "--json"], folder)
    assert (found.status, found.err) == (0, "")
    files = found.document["result"]["files"]
    per = {name: sorted(path.name for path in (folder / name).iterdir()) for name in ("bench", "bench-2")}
    assert per["bench"] == per["bench-2"]
    assert len(per["bench"]) > 1
    assert sorted(files) == sorted(f"{name}/{file}" for name, inside in per.items() for file in inside)
    assert not (folder / "bench-3").exists()
    for number, (name, csv) in enumerate((("bench", "close.csv"), ("bench-2", "close-2.csv")), 1):
        text = "".join(path.read_text(encoding="utf-8") for path in sorted((folder / name).iterdir()))
        assert f"{COMMENT}, {number} of 2" in text
        assert f"{3 - number} of 2" not in text
        assert str(load_log(folder / csv).end) in text


def test_a_chip_with_nothing_left_has_one_file_and_no_number(folder: Path) -> None:
    (folder / "twite.toml").write_text(
        TWITE.replace('"x.start" }', '"x.start" }, { bits = "1", strobes = "x.stop" }'), encoding="utf-8"
    )
    found = run_here([*CLOSE, "-o", "close.csv"], folder)
    assert found.status == 0
    assert sorted(path.name for path in folder.iterdir()) == ["close.csv", "twite.toml"]
    assert (folder / "close.csv").read_text(encoding="utf-8").startswith(f"# {COMMENT}\n")
    assert coverage_of("close.csv", folder=folder).status == 0


def test_what_is_left_open_is_named_and_is_the_exit_status(folder: Path) -> None:
    impatient = ["0" if word == "60" else word for word in CLOSE]
    found = run_here([*impatient, "-o", "close.csv", "--json"], folder)
    assert (found.status, found.err) == (1, "")
    result = found.document["result"]
    assert result["files"] == ["close.csv"]
    assert result["share"] < 1
    (name,) = result["left_open"]
    told = run_here([*impatient, "-o", "close.csv"], folder)
    assert told.status == 1
    assert f"  left open: {name}, " in told.out
    assert (
        told.out.splitlines()[-1] == "  more --patience may show them; otherwise nothing is known that rules them out"
    )
