"""The bench of Linnet itself: what it refuses, where its edges stand, and that two simulators agree on a busy log."""

from __future__ import annotations

import random
import subprocess
from pathlib import Path

import pytest

from tests.rtl.linnet_runs import A_GO, A_NOTE, BUILDERS, N_CLOCK, N_GO, N_LENGTH, N_NOTE, START, Linnet, linnet_in
from tests.rtl.simulate import BENCH, LINNET, SimulationError, simulate


@pytest.fixture(scope="module", params=sorted(BUILDERS))
def linnet(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Linnet:
    return linnet_in(request.param, tmp_path_factory.getbasetemp())


def busy_log(seed: int, cycles: int) -> list[tuple[int, str, int, int]]:
    """Write random values to random addresses, with many starts and short periods; read some back."""
    rng = random.Random(seed)
    log = []
    cycle = 0
    while (cycle := cycle + rng.randint(1, 60)) < cycles:
        address = rng.choice([*range(0x00, 0x28), rng.randrange(0x40, 0x80), 0x0E, 0x16, 0x1E, 0x26, 0x21])
        value = rng.choice([rng.randrange(256), rng.randrange(4), 1])
        if address in (0x09, 0x11, 0x19):
            value &= 0x30
        log.append((cycle, "w", address, value) if rng.random() < 0.8 else (cycle, "r", address, 0))
    return log


@pytest.mark.parametrize("seed", [1, 2])
def test_both_simulators_give_every_signal_alike(tmp_path_factory: pytest.TempPathFactory, seed: int) -> None:
    folder = tmp_path_factory.getbasetemp()
    log = busy_log(seed, 40000)
    writes = [(cycle, a, v) for cycle, kind, a, v in log if kind == "w"]
    reads = [(cycle, a) for cycle, kind, a, _ in log if kind == "r"]
    one, other = (linnet_in(name, folder)([], writes, reads=reads, cycles=40000) for name in sorted(BUILDERS))
    for name in ["level_a", "level_b", "level_w", "level_n", "out_left", "out_right", "rdata"]:
        assert len(one[name]) > 100, f"{name} hardly moves"
        assert one[name] == other[name]
    assert one.raw.last_time == other.raw.last_time == 891 + 40000 * 162


def test_clock_has_one_rising_edge_a_cycle_and_the_dump_ends_with_the_last_cycle(linnet: Linnet) -> None:
    run = linnet([(A_NOTE, 5)], [(10, A_GO, START)], cycles=50, clock=True)
    rising = [time for time, text in run.raw.signals["clk"] if text == "1"]
    assert rising == [81 + 162 * n for n in range(5 + 50)]
    assert rising[5] == run.edges.phase == 891
    assert run.raw.last_time == run.edges.phase + 50 * run.edges.period


def test_clockless_dump_has_every_signal_of_the_bench_but_the_clock(linnet: Linnet) -> None:
    run = linnet([(A_NOTE, 5)], [(10, A_GO, START)], cycles=50)
    bus = {"rst", "wr", "rd", "addr", "wdata", "rdata", "finished"}
    assert set(run.raw.signals) == bus | {"level_a", "level_b", "level_w", "level_n", "out_left", "out_right"}


def test_write_strobe_is_one_at_exactly_the_edge_of_the_log(linnet: Linnet) -> None:
    # Driven after edge 9, so that edge 10 sees it.
    run = linnet([], [(10, A_NOTE, 5), (11, A_NOTE, 6), (20, A_NOTE, 7)], reads=[(15, A_NOTE)], cycles=30)
    assert run["wr"] == [(0, 0), (9, 1), (11, 0), (19, 1), (20, 0)]
    assert run["rd"] == [(0, 0), (14, 1), (15, 0)]
    assert run["rst"] == [(0, 0)]


@pytest.mark.parametrize("clock", [True, False])
def test_full_dump_holds_the_internal_registers(linnet: Linnet, clock: bool) -> None:
    # Length 0 loaded at 11 and counted once at 20479: 511, so that 512 ticks end the note (section 7).
    setup = [(N_CLOCK, 14), (N_NOTE, 0x83), (N_LENGTH, 0)]
    run = linnet(setup, [(10, N_GO, START)], cycles=20485, clock=clock, full=True)
    timer = [(time, int(text, 2)) for time, text in run.raw.signals["dut.note_n.timer"] if time > run.edges.phase]
    assert timer == [(run.edges.phase + 20479 * run.edges.period, 511)]
    assert ("clk" in run.raw.signals) is clock
    assert not any(name.endswith(".clk") for name in run.raw.signals)


@pytest.mark.parametrize(
    ("log", "message"),
    [
        ([(5, "w", 8, 1), (5, "w", 9, 1)], "cycles must be strictly increasing from 0"),
        ([(50, "w", 8, 1)], "the action stands after the last cycle"),
        ([(5, "x", 8, 1)], "the action is neither w nor r"),
        ([(5, "w", 128, 1)], "the address is not 0 to 127"),
        ([(5, "w", 8, 256)], "the value is not 0 to 255"),
    ],
)
def test_bad_log_is_refused_by_name(
    linnet: Linnet, tmp_path: Path, log: list[tuple[int, str, int, int]], message: str
) -> None:
    with pytest.raises(SimulationError, match=message):
        simulate(linnet.built, log, 50, tmp_path / "linnet.vcd", clock=False)


def test_number_of_cycles_must_be_given_and_possible(linnet: Linnet, tmp_path: Path) -> None:
    with pytest.raises(SimulationError, match="cycles=N must be 1 to"):
        simulate(linnet.built, [], 0, tmp_path / "linnet.vcd", clock=False)


@pytest.mark.parametrize("simulator", sorted(BUILDERS))
def test_rtl_that_does_not_compile_is_told_with_the_words_of_the_tool(simulator: str, tmp_path: Path) -> None:
    broken = tmp_path / "linnet.v"
    broken.write_text(LINNET.read_text(encoding="utf-8").replace("endmodule", "", 1), encoding="utf-8")
    with pytest.raises(SimulationError, match="syntax error"):
        BUILDERS[simulator](broken, tmp_path / "built")


@pytest.mark.parametrize(
    "command",
    [
        ["iverilog", "-g2001", "-Wall", "-t", "null", str(LINNET)],
        ["iverilog", "-g2001", "-Wall", "-t", "null", str(LINNET), str(BENCH)],
        ["verilator", "--lint-only", "-Wall", str(LINNET)],
    ],
    ids=["icarus", "icarus with bench", "verilator"],
)
def test_rtl_gives_no_warning(command: list[str]) -> None:
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "")
