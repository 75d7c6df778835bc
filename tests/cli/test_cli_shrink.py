"""The command `shrink` on Linnet's RTL with one fault under Icarus Verilog: result, files, stopping, going on."""

from __future__ import annotations

import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from psgmodel.reglog import load_log, save_log
from tests.cli.commands import CHIP, PATCHES, run_here, start
from tests.diagnose.hand_made_log import hand_made_log
from tests.quality.fault_library import load_faults
from tests.rtl.simulate import LINNET, build_icarus

MAP = str(PATCHES / "linnet-bench.toml")
ROW = "{cycle} w {address} {value}"


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shrink")
    (folder / "faulty.v").write_text(load_faults()["mixer-b-gain"].rtl(), encoding="utf-8")
    build_icarus(folder / "faulty.v", folder / "built").rename(folder / "faulty.vvp")
    build_icarus(LINNET, folder / "built").rename(folder / "right.vvp")
    save_log(hand_made_log(), folder / "fails.csv")
    return folder


def words(folder: Path, bench: str = "faulty", log: str = "fails.csv") -> list[str]:
    command = f"vvp -N {folder / bench}.vvp +noclk +log={{log}} +dump={{dump}} +cycles={{cycles}}"
    return ["shrink", str(folder / log), "--chip", CHIP, "--map", MAP, "--rows", ROW, "--run", command]


def test_the_shrunk_log_is_told_saved_and_still_fails_when_compared(bench: Path, tmp_path: Path) -> None:
    found = run_here([*words(bench), "-o", "small.csv"], tmp_path)
    assert (found.status, found.err) == (0, "")
    assert found.out.startswith("SHRUNK  40 writes to 2, 2000 cycles to ")
    assert "\n  cycle 0  B_NOTE 0x12: " in found.out
    assert "b.volume = 1\n" in found.out
    assert "\n  cycle 1  B_GO 0x16: b.start\n" in found.out
    assert "\n  fails: left, cycle 3 " in found.out
    small = load_log(tmp_path / "small.csv")
    assert small.address.tolist() == [0x12, 0x16]
    assert not (tmp_path / "small.csv.runs").exists()
    # The file is a log like any other: run it by hand and compare.
    rows = "".join(f"{c} w {a} {v}\n" for c, a, v in zip(small.cycle, small.address, small.value, strict=True))
    (tmp_path / "bus.log").write_text(rows, encoding="utf-8")
    places = {"log": "bus.log", "dump": "bench.vcd", "cycles": str(small.end)}
    subprocess.run(shlex.split(words(bench)[-1].format(**places)), cwd=tmp_path, check=True, capture_output=True)
    compared = run_here(["compare", "bench.vcd", "--chip", CHIP, "--map", MAP, "--log", "small.csv"], tmp_path)
    assert compared.status == 1
    assert "left first, at cycle 3 " in compared.out


def test_json_holds_the_writes_and_the_price(bench: Path, tmp_path: Path) -> None:
    document = run_here([*words(bench), "--json"], tmp_path).document
    result = document["result"]
    assert (document["status"], result["minimal"], result["output"]) == (0, True, "out/fails-shrunk.csv")
    assert [w["address"] for w in result["writes"]] == [0x12, 0x16]
    assert 0 < result["runs"] < 100
    assert 0 < result["simulator_seconds"] <= result["seconds"]


def test_a_spent_budget_is_told_and_resume_ends_where_one_search_would(bench: Path, tmp_path: Path) -> None:
    whole = run_here([*words(bench), "-o", "whole.csv", "--json"], tmp_path).document["result"]
    found = run_here([*words(bench), "-o", "a.csv", "--most-runs", "9"], tmp_path)
    assert found.status == 0
    assert "stopped before the end: the budget is spent; --resume goes on" in found.out
    assert len((tmp_path / "a.csv.runs").read_text(encoding="utf-8").splitlines()) == 1 + 9
    again = run_here([*words(bench), "-o", "a.csv"], tmp_path)
    assert again.status == 2
    assert "a.csv.runs holds the runs of an earlier search (--resume goes on with them, --anew drops them)" in again.err
    other = run_here([*words(bench), "-o", "a.csv", "--resume", "--same", "any"], tmp_path)
    assert other.status == 2
    assert "its runs were made with another rule" in other.err
    rest = run_here([*words(bench), "-o", "a.csv", "--resume", "--json"], tmp_path).document["result"]
    assert rest["runs"] == whole["runs"] - 9 + 1
    assert rest["writes"] == whole["writes"]
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "whole.csv").read_bytes()


def test_a_unit_that_was_mended_meanwhile_is_noticed_on_resume(bench: Path, tmp_path: Path) -> None:
    (tmp_path / "it.vvp").write_bytes((bench / "faulty.vvp").read_bytes())
    save_log(load_log(bench / "fails.csv"), tmp_path / "fails.csv")
    assert run_here([*words(tmp_path, "it"), "-o", "a.csv", "--most-runs", "4"], tmp_path).status == 0
    (tmp_path / "it.vvp").write_bytes((bench / "right.vvp").read_bytes())
    found = run_here([*words(tmp_path, "it"), "-o", "a.csv", "--resume"], tmp_path)
    assert found.status == 2
    assert "this log does not fail: unit and model agree" in found.err


@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_stopped_search_leaves_the_best_so_far_and_its_runs(
    number: signal.Signals, status: int, bench: Path, tmp_path: Path
) -> None:
    # The ninth run hangs, and is where the search is stopped.
    counted = tmp_path / "counted"
    plain = words(bench)
    hangs = f"echo >> {counted}; if [ $(wc -l < {counted}) = 9 ]; then sleep 60; fi; exec {plain[-1]}"
    hanging = [*plain[:-1], f"sh -c {shlex.quote(hangs)}", "-o", "a.csv"]
    process, deadline = start(hanging, tmp_path), time.monotonic() + 60
    while not (counted.exists() and counted.stat().st_size == 9):
        assert time.monotonic() < deadline
        assert process.poll() is None
        time.sleep(0.01)
    process.send_signal(number)
    process.communicate(timeout=20)
    assert process.returncode == status
    assert len(load_log(tmp_path / "a.csv")) < len(load_log(bench / "fails.csv"))
    assert (tmp_path / "a.csv.runs").read_text(encoding="utf-8").count("\n") == 1 + 8
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.csv", "a.csv.runs", "counted"]
    found = run_here([*hanging, "--resume"], tmp_path)
    assert found.status == 0
    assert " to 2, " in found.out
    assert " known from before; " in found.out


def test_unusable_input_exits_2_and_is_told(bench: Path, tmp_path: Path) -> None:
    good = words(bench)

    def refused(given: list[str]) -> str:
        found = run_here(given, tmp_path)
        assert (found.status, found.out) == (2, "")
        return found.err

    assert "cannot start none: No such file" in refused([*good[:-1], "none {log} {dump}"])
    assert list((tmp_path / "out").iterdir()) == []  # no run, no record of runs
    assert "this log does not fail: unit and model agree" in refused(words(bench, "right"))
    assert "the command has no {dump}" in refused([*good[:-1], "vvp {log}"])
    assert "the command left no dump (status 0)" in refused(
        [*good[:-1], f"{sys.executable} -c '' {{log}} {{dump}}", "--anew"]
    )
    assert "the row has no {value}" in refused([*good, "--rows", "{cycle} {address}"])
    assert "--most-runs 0, accepted: 1 or more" in refused([*good, "--most-runs", "0"])
    assert "--timeout -1.0, accepted: more than 0 seconds" in refused([*good, "--timeout", "-1"])
    assert "the log found would replace" in refused([*good, "-o", str(bench / "fails.csv")])
    assert "cannot read: No such file" in refused([*good, "-o", "b.csv", "--resume"])
    assert "not allowed with argument" in refused([*good, "--resume", "--anew"])
