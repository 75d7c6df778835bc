"""Exported benches run as they are, in every simulator, and the RTL that they drive agrees with the model to the cycle.

The RTL was written from the prose by someone who had not read the engines.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from psgmodel.comparison import Status, compare
from psgmodel.dump.signal_map import parse_map
from psgmodel.reglog import RegisterLog, make_log
from psgmodel.stimulus import dump_snippet, export_files, random_log, walk_log
from psgmodel.stimulus.verilog import PERIOD, PHASE
from psgmodel.stimulus.vhdl import PERIOD as VHDL_PERIOD
from psgmodel.stimulus.vhdl import PHASE as VHDL_PHASE
from tests.stimulus.exported import (
    LINNET_BENCH,
    LINNET_CHIP,
    SISKIN_BENCH,
    SISKIN_CHIP,
    assert_agrees,
    compared,
    replay,
    run_cocotb,
    run_ghdl,
    run_icarus,
    run_verilator,
    tool,
    write_export,
)

NO_CLOCK = f"[clock]\nperiod = {PERIOD}\nphase = {PHASE}\n"
SISKIN_BUS = '[bus]\nwrite = "bench.we"\naddress = "bench.port_sel"\ndata = "bench.din"\n'
LINNET_SIGNALS, SISKIN_SIGNALS = 6, 7


def linnet_log(seed: int, end: int = 40_000, spacing: int = 1) -> RegisterLog:
    return random_log(LINNET_CHIP, seed, length=end, writes=400, spacing=spacing)


@pytest.fixture(scope="module")
def icarus(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the bench of Linnet, built once; its driver takes any log."""
    folder = tmp_path_factory.mktemp("icarus")
    write_export(folder, linnet_log(1), LINNET_BENCH, "verilog")
    said = run_icarus(folder, 401)
    assert "warning" not in said.lower()
    assert "error" not in said.lower()
    return folder


@pytest.mark.parametrize("options", [(), ("+noclock",)])
def test_the_verilog_bench_agrees_in_icarus_with_the_clock_in_the_dump_and_without(
    icarus: Path, options: tuple[str, ...]
) -> None:
    log = linnet_log(1)
    replay(icarus, len(log) + 1, *options)
    assert_agrees(compared(LINNET_CHIP, log, icarus, NO_CLOCK if options else ""), log, LINNET_SIGNALS)


@pytest.mark.parametrize(
    "log",
    [
        linnet_log(2, spacing=4),
        make_log([0, 1, 2, 39], [0x0A, 0x08, 0x0E, 0x00], [0x1F, 3, 1, 0xAA], end=40),
        walk_log(LINNET_CHIP, dwell=64),
    ],
    ids=["random", "first and last cycle", "walk"],
)
def test_one_built_bench_replays_any_log(icarus: Path, log: RegisterLog) -> None:
    (icarus / "stimulus.hex").write_text(export_files(log, LINNET_BENCH, "verilog")["stimulus.hex"], encoding="ascii")
    if len(log) > 1000:
        tool(icarus, "iverilog", "-g2001", "-Pbench.DEPTH=4096", "-o", "bench.vvp", "stimulus_bench.v",
             "stimulus_driver.v", str(Path("tests/rtl/linnet.v").resolve()))  # fmt: skip
    replay(icarus, len(log) + 1)
    assert_agrees(compared(LINNET_CHIP, log, icarus), log, LINNET_SIGNALS)


def test_a_shorter_run_of_the_verilog_bench_is_seen_to_be_shorter(icarus: Path) -> None:
    log = linnet_log(3)
    (icarus / "stimulus.hex").write_text(export_files(log, LINNET_BENCH, "verilog")["stimulus.hex"], encoding="ascii")
    replay(icarus, len(log) + 1, "+cycles=10000")
    found = compared(LINNET_CHIP, log, icarus)
    assert found.status.value == "differ"
    assert found.coverage.cycles == 10_001
    assert found.coverage.compared_end == 10_000


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["+words=401"], "+stimulus=FILE is missing"),
        (["+stimulus=stimulus.hex"], "+words=N is missing"),
        (["+stimulus=stimulus.hex", "+words=400"], "the last word of the image is not its end"),
        (["+stimulus=stimulus.hex", "+words=5000000"], "+words=N must be 1 to DEPTH"),
        (["+stimulus=stimulus.hex", "+words=401", "+cycles=0"], "+cycles=N must be 1 or more"),
    ],
)
def test_the_verilog_driver_says_what_it_cannot_replay(icarus: Path, options: list[str], message: str) -> None:
    image = export_files(linnet_log(1), LINNET_BENCH, "verilog")["stimulus.hex"]
    (icarus / "stimulus.hex").write_text(image, encoding="ascii")
    assert f"stimulus: error: {message}" in tool(icarus, "vvp", "-N", "bench.vvp", *options)


def test_the_verilog_bench_agrees_in_verilator_without_the_clock(tmp_path: Path) -> None:
    log = linnet_log(4)
    write_export(tmp_path, log, LINNET_BENCH, "verilog")
    run_verilator(tmp_path, len(log) + 1, "-DNO_CLOCK")
    assert_agrees(compared(LINNET_CHIP, log, tmp_path, NO_CLOCK), log, LINNET_SIGNALS)
    header = (tmp_path / "bench.vcd").read_text(encoding="ascii").split("$enddefinitions")[0]
    assert " clk " not in header


@pytest.mark.parametrize("clock", [True, False])
def test_the_vhdl_bench_agrees_in_ghdl_with_the_clock_in_the_dump_and_without(clock: bool, tmp_path: Path) -> None:
    log = random_log(SISKIN_CHIP, 5, length=40_000, writes=500, spacing=1)
    write_export(tmp_path, log, SISKIN_BENCH, "vhdl", clock=clock)
    run_ghdl(tmp_path)
    edges = "" if clock else f"[clock]\nperiod = {VHDL_PERIOD}\nphase = {VHDL_PHASE}\n"
    assert_agrees(compared(SISKIN_CHIP, log, tmp_path, edges + SISKIN_BUS), log, SISKIN_SIGNALS)


def test_a_walk_through_siskin_agrees_in_ghdl(tmp_path: Path) -> None:
    log = walk_log(SISKIN_CHIP, dwell=16, spacing=2)
    write_export(tmp_path, log, SISKIN_BENCH, "vhdl")
    run_ghdl(tmp_path)
    assert_agrees(compared(SISKIN_CHIP, log, tmp_path, SISKIN_BUS), log, SISKIN_SIGNALS)


def test_the_vhdl_driver_refuses_a_text_that_was_cut(tmp_path: Path) -> None:
    log = random_log(SISKIN_CHIP, 5, length=4000, writes=20)
    write_export(tmp_path, log, SISKIN_BENCH, "vhdl")
    text = (tmp_path / "stimulus.txt").read_text(encoding="ascii")
    (tmp_path / "stimulus.txt").write_text(text.rpartition("e")[0], encoding="ascii")
    with pytest.raises(AssertionError, match="the text has no end line"):
        run_ghdl(tmp_path)


def test_the_cocotb_driver_agrees_with_icarus(tmp_path: Path) -> None:
    log = linnet_log(6, 6000)
    write_export(tmp_path, log, LINNET_BENCH, "cocotb")
    assert "replay passed" in run_cocotb(tmp_path)
    assert_agrees(compared(LINNET_CHIP, log, tmp_path), log, LINNET_SIGNALS)


@pytest.mark.parametrize("clock", [True, False])
def test_the_icarus_snippet_put_into_a_bench_dumps_what_a_comparison_needs(clock: bool, tmp_path: Path) -> None:
    log = linnet_log(7)
    write_export(tmp_path, log, LINNET_BENCH, "verilog")
    bench = tmp_path / "stimulus_bench.v"
    text = bench.read_text(encoding="ascii")
    own, end = text.index('        if ($value$plusargs("dump'), text.index("        while (finished")
    snippet = dump_snippet(LINNET_BENCH, "icarus", clock=clock)
    bench.write_text(f"{text[:own]}{text[end:]}".replace("    initial begin", f"{snippet}    initial begin", 1))
    run_icarus(tmp_path, len(log) + 1)
    named = None if clock else parse_map(NO_CLOCK, LINNET_CHIP)
    found = compare(LINNET_CHIP, str(tmp_path / "bench.vcd"), log=log, signal_map=named)
    assert found.status is Status.AGREE, found.reasons()
    assert found.coverage.writes == len(log)
    assert all(s.exact is not None and s.exact.agrees for s in found.signals)
    names = (tmp_path / "bench.vcd").read_text(encoding="ascii").split("$enddefinitions")[0]
    assert (" clk " in names) is clock
    assert "finished" not in names


def test_the_verilator_snippet_is_accepted_by_verilator(tmp_path: Path) -> None:
    write_export(tmp_path, linnet_log(7), LINNET_BENCH, "verilog")
    bench = tmp_path / "stimulus_bench.v"
    text = bench.read_text(encoding="ascii")
    for clock in (True, False):
        snippet = dump_snippet(LINNET_BENCH, "verilator", clock=clock)
        whole = text.replace("    reg  clk;\n", "" if not clock else "reg clk;\n")
        bench.write_text(whole.replace("    wire rst;", f"{snippet}    wire rst;", 1), encoding="ascii")
        linnet = str(Path("tests/rtl/linnet.v").resolve())
        tool(tmp_path, "verilator", "--lint-only", "--timing", "-Wno-fatal", "--top-module", "bench",
             "stimulus_bench.v", "stimulus_driver.v", linnet)  # fmt: skip
