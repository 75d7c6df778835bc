"""The command `stimulus`: logs at random and as a walk, exports to test benches, dump snippets."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from psgmodel.chip import load_chip
from psgmodel.reglog import check_log, load_log
from tests.cli.commands import CHIP, JINGLE, PATCHES, TINY, run, run_here
from tests.rtl.simulate import LINNET
from tests.stimulus.exported import tool

SISKIN = str(PATCHES / "siskin.toml")
LINNET_NAMES = ["--tie", "rd=0", "--signal", "wave=level_w", "--signal", "noise=level_n"]
RANDOM = ["stimulus", "--random", "--seed", "7", "--length", "30000", "--writes", "200", "--chip", CHIP]


def test_a_random_log_records_how_it_was_drawn_and_is_the_same_each_time(tmp_path: Path) -> None:
    for name in ("one.csv", "two.csv"):
        assert run([*RANDOM, "-o", name], tmp_path).status == 0
    text = (tmp_path / "one.csv").read_text(encoding="utf-8")
    assert text == (tmp_path / "two.csv").read_text(encoding="utf-8")
    line = "# random log for Linnet: psgmodel stimulus --random --seed 7 --length 30000 --writes 200 --spacing 4"
    assert text.splitlines()[:2] == [line, "cycle,address,value"]
    log = load_log(tmp_path / "one.csv")
    check_log(log, load_chip(CHIP))
    assert (len(log), log.end) == (200, 30_000)


def test_the_recorded_line_draws_the_same_log_again(tmp_path: Path) -> None:
    run_here([*RANDOM, "-o", "one.csv"], tmp_path)
    first = (tmp_path / "one.csv").read_text(encoding="utf-8")
    words = first.splitlines()[0].split("psgmodel ")[1].split()
    assert run_here([*words, "--chip", CHIP, "-o", "again.csv"], tmp_path).status == 0
    assert (tmp_path / "again.csv").read_text(encoding="utf-8") == first


def test_a_length_in_seconds_is_taken_by_the_clock_of_the_chip(tmp_path: Path) -> None:
    words = ["stimulus", "--random", "--length", "5ms", "--writes", "10", "--chip", SISKIN, "--json"]
    found = run_here(words, tmp_path)
    assert found.document["result"] == {
        "writes": 10,
        "cycles": 60_000,
        "comment": "random log for Siskin: psgmodel stimulus --random --seed 1 --length 60000 --writes 10 --spacing 4",
        "format": "csv",
        "files": ["out/stimulus.csv"],
    }
    assert load_log(tmp_path / "out" / "stimulus.csv").end == 60_000


def test_a_walk_says_what_it_wrote(tmp_path: Path) -> None:
    found = run_here(["stimulus", "--walk", "--dwell", "64", "--chip", CHIP, "-o", "walk.npz"], tmp_path)
    assert (found.status, found.err) == (0, "")
    assert re.fullmatch(
        r"\d+ writes in \d+ cycles, 0\.\d+ s: walk of Linnet: psgmodel stimulus --walk --spacing 4 --dwell 64\n"
        r"wrote walk\.npz\n",
        found.out,
    )
    check_log(load_log(tmp_path / "walk.npz"), load_chip(CHIP))


def test_a_log_is_exported_simulated_as_the_bench_says_and_compared(tmp_path: Path) -> None:
    words = ["stimulus", TINY, "--chip", CHIP, "--format", "verilog", *LINNET_NAMES, "-o", "bench"]
    found = run_here(words, tmp_path)
    assert (found.status, found.err) == (0, "")
    folder = tmp_path / "bench"
    assert sorted(path.name for path in folder.iterdir()) == [
        "stimulus.csv", "stimulus.hex", "stimulus_bench.v", "stimulus_driver.v",
    ]  # fmt: skip
    lines = re.findall(
        r"^//   \$ (iverilog .*|vvp .*)$", (folder / "stimulus_bench.v").read_text("utf-8"), re.MULTILINE
    )
    assert len(lines) == 2
    for line in lines:
        tool(folder, *line.replace("YOUR_FILES.v", str(LINNET)).replace("[+noclock]", "+noclock").split())
    words = ["compare", "bench/bench.vcd", "--chip", CHIP, "--log", "bench/stimulus.csv", "--whole"]
    told = re.search(r"--period \d+ --phase \d+", (folder / "stimulus_bench.v").read_text("utf-8"))
    assert told is not None
    compared = run_here([*words, *told[0].split()], tmp_path)
    assert compared.status == 0, compared.out + compared.err


@pytest.mark.parametrize(
    ("kind", "names"),
    [
        ("vhdl", ["dump.opt", "stimulus.csv", "stimulus.txt", "stimulus_bench.vhd", "stimulus_driver.vhd"]),
        ("cocotb", ["stimulus.csv", "stimulus_cocotb.py", "stimulus_dump.v"]),
    ],
)
def test_exports_for_other_benches_write_their_files_and_names(kind: str, names: list[str], tmp_path: Path) -> None:
    words = ["--reset", "reset_n", "--reset-active", "low", "--write", "we", "--address", "port_sel", "--data", "din"]
    made = ["--random", "--length", "5000", "--writes", "20", "--chip", SISKIN, "--format", kind, "--no-clock"]
    assert run_here(["stimulus", *made, *words], tmp_path).status == 0
    folder = tmp_path / "out" / "bench"
    assert sorted(path.name for path in folder.iterdir()) == names
    dump = (folder / ("dump.opt" if kind == "vhdl" else "stimulus_dump.v")).read_text(encoding="utf-8")
    assert {"reset_n", "we", "port_sel", "din", "level_p", "out_main"} <= set(re.findall(r"\w+", dump))
    assert not re.search(r"\bclk\b", dump)


def test_a_snippet_is_printed_and_needs_no_log(tmp_path: Path) -> None:
    found = run_here(["stimulus", "--snippet", "icarus", "--chip", CHIP, *LINNET_NAMES, "--no-clock"], tmp_path)
    assert (found.status, found.err) == (0, "")
    assert found.out == (
        "// In Icarus Verilog: into the module bench\n"
        "initial begin\n"
        '    $dumpfile("bench.vcd");\n'
        "    $dumpvars(0, rst, wr, addr, wdata);\n"
        "    $dumpvars(0, level_a, level_b, level_w, level_n, out_left, out_right);\n"
        "end\n"
        "// The clock is left out: then compare with --period and --phase, in time units of the dump\n"
    )
    run_here(["stimulus", "--snippet", "ghdl", "--chip", SISKIN, "-o", "d.opt"], tmp_path)
    assert (tmp_path / "d.opt").read_text(encoding="utf-8").startswith("$ version 1.1\n/bench/clk\n/bench/rst\n")


def test_writes_that_share_a_cycle_are_refused_or_spread(tmp_path: Path) -> None:
    (tmp_path / "two.csv").write_text("cycle,address,value\n5,0x08,1\n5,0x09,2\n5,0x0A,3\n9,,\n", encoding="utf-8")
    words = ["stimulus", "two.csv", "--chip", CHIP, "-o", "one.csv"]
    found = run_here(words, tmp_path)
    assert found.status == 2
    assert found.err.splitlines() == [
        f"psgmodel: error: two.csv:{line}: a second write at cycle 5 (--spread CYCLES moves the later one on)"
        for line in (3, 4)
    ]
    assert not (tmp_path / "one.csv").exists()
    assert run_here([*words, "--spread", "4"], tmp_path).status == 0
    spread = load_log(tmp_path / "one.csv")
    assert (spread.cycle.tolist(), spread.end) == ([5, 9, 13], 14)
    assert (tmp_path / "one.csv").read_text(encoding="utf-8").startswith("# two.csv, spread to 4 cycles\n")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ([], "stimulus: give one of LOG, --random, --walk, --close, --snippet"),
        ([JINGLE, "--walk"], "stimulus: give one of LOG, --random, --walk, --close, --snippet"),
        (["--walk", "--spread", "1"], "--spread is for a LOG (logs that are made never have two writes in a cycle)"),
        (["--random", "--dwell", "5"], "--dwell is for --walk"),
        (["--random", "--length", "-3"], "--length: "),
        (["--walk", "--no-clock"], "--no-clock is for --snippet, vhdl and cocotb (a Verilog bench takes +noclock"),
        (["--walk", "--tie", "rd=2"], '--tie rd=2: found "2", accepted: 0, 1'),
        (["--walk", "--tie", "rd"], '--tie "rd", expected NAME=VALUE'),
        (["--walk", "--signal", "a=x", "--signal", "a=y"], "--signal a is given twice"),
        (["--walk", "--signal", "nose=x"], 'no channel or output "nose" (did you mean "noise"?)'),
        (["--random", "--seed", "x"], "stimulus: argument --seed: invalid int value: 'x'"),
    ],
)
def test_arguments_that_make_no_stimulus_are_told(words: list[str], message: str, tmp_path: Path) -> None:
    found = run_here(["stimulus", *words, "--chip", CHIP], tmp_path)
    assert found.status == 2
    assert found.err.startswith(f"psgmodel: error: {message}")
    assert found.out == ""
