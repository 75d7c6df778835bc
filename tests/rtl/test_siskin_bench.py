"""The bench of Siskin itself: what it refuses, where its edges stand, what it dumps, and that tools take the RTL."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from tests.rtl.linnet_runs import Run, read_raw
from tests.rtl.simulate import SimulationError
from tests.rtl.simulate_vhdl import BUS, LEVELS, SIGNALS, SISKIN, SISKIN_BENCH, build_ghdl, simulate_ghdl
from tests.rtl.siskin_runs import (
    P_KEY,
    P_LEVEL,
    P_TUNE,
    START,
    X_KEY,
    X_LEVEL,
    Y_TUNE,
    Siskin,
    siskin_in,
)

HALF = 41666667
"""Femtoseconds: half the period of 12 MHz, to the nearest."""

BUSY = ([(X_LEVEL, 63), (P_TUNE, 1023), (P_LEVEL, 40)], [(20, X_KEY, START), (30, P_KEY, START), (41, Y_TUNE, 0x3F00)])

# GHDL 2.0 has no switch for all warnings.
WARNINGS = [
    *["library", "default-binding", "binding", "reserved", "nested-comment", "parenthesis", "vital-generic", "body"],
    *["delayed-checks", "specs", "universal", "runtime-error", "delta-cycle", "shared", "hide", "unused", "others"],
    *["pure", "analyze-assert", "attribute", "useless", "static", "port", "port-bounds"],
]


@pytest.fixture(scope="module")
def siskin(tmp_path_factory: pytest.TempPathFactory) -> Siskin:
    return siskin_in(tmp_path_factory.getbasetemp())


def test_clock_has_one_rising_edge_a_cycle_and_the_dump_ends_with_the_last_cycle(siskin: Siskin) -> None:
    run = siskin(*BUSY, cycles=50, clock=True)
    rising = [time for time, text in run.raw.signals["clk"] if text == "1"]
    assert rising == [HALF + 2 * HALF * n for n in range(5 + 50)]
    assert rising[5] == run.edges.phase == 11 * HALF
    assert run.edges.period == 2 * HALF
    assert run.raw.last_time == run.edges.phase + 50 * run.edges.period


def test_clockless_dump_has_the_same_changes_and_a_stamp_only_where_something_changes(siskin: Siskin) -> None:
    with_clock = siskin(*BUSY, cycles=2000, clock=True)
    without = siskin(*BUSY, cycles=2000)
    dump = (siskin.folder / "siskin.vcd").read_text(encoding="ascii").splitlines()
    assert set(without.raw.signals) == {*BUS, *LEVELS, "out_main", "finished"}
    assert set(with_clock.raw.signals) == {"clk", *SIGNALS}
    assert without.raw.last_time == with_clock.raw.last_time
    for name in SIGNALS:
        assert without.raw.signals[name] == with_clock.raw.signals[name]
    stamps = [n for n, line in enumerate(dump) if line.startswith("#")]
    assert len(stamps) > 300
    assert not any(dump[n + 1].startswith("#") for n in stamps[:-1])
    times = [int(dump[n][1:]) for n in stamps[1:]]
    assert times == sorted({time for changes in without.raw.signals.values() for time, _ in changes} - {0})
    assert all((time - HALF) % (2 * HALF) == 0 for time in times)


def test_write_strobe_is_one_at_exactly_the_edge_of_the_log(siskin: Siskin) -> None:
    # Driven after edge 9, so that edge 10 sees it.
    bus = [(10, "w", 0, 5), (11, "w", 1, 6), (15, "r", 0, 0), (20, "w", 1, 7), (29, "w", 0, 0xFFFF)]
    run = siskin([], cycles=30, bus=bus)
    assert run["we"] == [(0, 0), (9, 1), (11, 0), (19, 1), (20, 0), (28, 1), (29, 0)]
    assert run["re"] == [(0, 0), (14, 1), (15, 0)]
    assert run["port_sel"] == [(0, 0), (10, 1), (14, 0), (19, 1), (28, 0)]
    assert run["din"] == [(0, 0), (9, 5), (10, 6), (19, 7), (28, 0xFFFF)]
    assert run["reset_n"] == [(0, 1)]


def test_log_may_begin_with_the_very_first_cycle(siskin: Siskin) -> None:
    run = siskin([], cycles=10, bus=[(0, "w", 0, 5)])
    assert run["we"] == [(0, 0)]
    assert run["dout"] == [(0, 0), (1, 5)]


@pytest.mark.parametrize("reset_edges", [1, 5, 300])
def test_reset_lasts_as_many_edges_as_asked_for(siskin: Siskin, tmp_path: Path, reset_edges: int) -> None:
    # Port 1 is selected after edge 1, for edge 2, where the index goes from 0 (CONTROL reads 1) to STATUS.
    log = [(1, "w", 0, 3), (2, "r", 1, 0)]
    edges = simulate_ghdl(siskin.built, log, 20, tmp_path / "dump.vcd", reset_edges=reset_edges)
    run = Run(read_raw(tmp_path / "dump.vcd"), edges)
    assert edges.phase == HALF + 2 * HALF * reset_edges
    assert run.raw.signals["reset_n"] == [(0, "0"), (edges.phase - edges.period, "1")]
    assert run["dout"] == [(0, 0), (1, 1), (2, 0x8000)]


def test_same_log_gives_the_same_bytes(siskin: Siskin, tmp_path: Path) -> None:
    log = [(1, "w", 0, Y_TUNE), (2, "w", 1, 0x3F00)]
    for clock in (True, False):
        one, other = tmp_path / "one.vcd", tmp_path / "other.vcd"
        for dump in (one, other):
            simulate_ghdl(siskin.built, log, 500, dump, clock=clock)
        assert one.read_bytes() == other.read_bytes()


def test_run_without_a_dump_gives_the_edge_times(siskin: Siskin) -> None:
    assert simulate_ghdl(siskin.built, [], 50, None) == (2 * HALF, 11 * HALF)


@pytest.mark.parametrize("clock", [True, False])
@pytest.mark.parametrize(
    ("log", "message"),
    [
        ([(5, "w", 1, 1), (5, "w", 1, 1)], "cycles must be strictly increasing from 0"),
        ([(50, "w", 1, 1)], "the action stands after the last cycle"),
        ([(5, "x", 1, 1)], "the action is neither w nor r"),
        ([(5, "w", 2, 1)], "the port is not 0 or 1"),
        ([(5, "w", 1, 65536)], "the value is not 0 to 65535"),
        ([(5, "write", 1, 1)], "a line is not: cycle w port value"),
    ],
)
def test_bad_log_is_refused_by_name(
    siskin: Siskin, tmp_path: Path, log: list[tuple[int, str, int, int]], message: str, clock: bool
) -> None:
    with pytest.raises(SimulationError, match=message):
        simulate_ghdl(siskin.built, log, 50, tmp_path / "siskin.vcd", clock=clock)


@pytest.mark.parametrize(
    ("cycles", "reset_edges", "message"),
    [(0, 5, "cycles must be 1 to 1000000000"), (50, 0, "reset_edges must be 1 to 1000")],
)
def test_numbers_of_cycles_and_reset_edges_must_be_possible(
    siskin: Siskin, cycles: int, reset_edges: int, message: str
) -> None:
    with pytest.raises(SimulationError, match=message):
        simulate_ghdl(siskin.built, [], cycles, None, reset_edges=reset_edges)


def test_rtl_that_does_not_compile_is_told_with_the_words_of_the_tool(tmp_path: Path) -> None:
    broken = tmp_path / "broken.vhd"
    broken.write_text(SISKIN.read_text(encoding="utf-8").replace("end if;", "", 1), encoding="utf-8")
    with pytest.raises(SimulationError, match="is expected instead of 'function'"):
        build_ghdl(broken, tmp_path / "built")


def test_changed_rtl_is_built_anew_beside_the_original(siskin: Siskin, tmp_path: Path) -> None:
    # Loudness 255 becomes 254.
    text = SISKIN.read_text(encoding="utf-8")
    assert text.count("234, 255)") == 1
    changed = tmp_path / "siskin.vhd"
    changed.write_text(text.replace("234, 255)", "234, 254)"), encoding="utf-8")
    other = Siskin(build_ghdl(changed, siskin.folder), tmp_path)
    assert other(*BUSY, cycles=50)["level_x"] == [(0, 0), (20, 254)]
    assert siskin(*BUSY, cycles=50)["level_x"] == [(0, 0), (20, 255)]
    assert build_ghdl(SISKIN, siskin.folder) == siskin.built != other.built


def test_rtl_and_bench_give_no_warning(tmp_path: Path) -> None:
    options = ["ghdl", "-a", "--std=08", f"--workdir={tmp_path}", *(f"-W{name}" for name in WARNINGS)]
    done = _run([*options, str(SISKIN), str(SISKIN_BENCH)])
    assert (done.returncode, done.stdout) == (0, "")


@pytest.mark.parametrize("standard", ["93", "08"])
def test_rtl_can_be_synthesized(tmp_path: Path, standard: str) -> None:
    options = [f"--std={standard}", f"--workdir={tmp_path}"]
    assert _run(["ghdl", "-a", *options, str(SISKIN)]).returncode == 0
    done = _run(["ghdl", "--synth", *options, "siskin"])
    assert done.returncode == 0
    assert "entity siskin is" in done.stdout
    assert "latch" not in done.stdout


def _run(command: list[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False)
