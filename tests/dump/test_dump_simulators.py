"""Dumps made by Icarus Verilog, Verilator and GHDL of one small counter: the same levels and traffic from all three."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
import pywellen
from vcd.reader import TokenKind, tokenize

from psgmodel.dump import (
    BusProbe,
    ClockRule,
    GridRule,
    ResetRule,
    Samples,
    bus_traffic,
    read_changes,
    read_header,
    sample,
)
from psgmodel.errors import DumpError
from tests.dump import naive_reader
from tests.dump.dump_text import levels

DESIGNS = Path(__file__).parent / "designs"
VERILOG = [str(DESIGNS / "counter.v"), str(DESIGNS / "counter_bench.v")]
RULE = ClockRule("bench.clk", reset=ResetRule("bench.rst"))
NAMES = ["dut.q", "dut.even", "dut.pin", "dut.rdata", "bench.we", "bench.re", "bench.addr", "bench.wdata"]


def run(command: list[str], folder: Path) -> None:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def by_icarus(folder: Path) -> Path:
    run(["iverilog", "-s", "bench", "-o", "bench.vvp", *VERILOG], folder)
    run(["vvp", "-n", "bench.vvp"], folder)
    return folder / "counter.vcd"


def by_verilator(folder: Path) -> Path:
    options = ["--binary", "--timing", "--trace", "-Wno-fatal", "-O0", "-CFLAGS", "-O0", "--top-module", "bench"]
    run(["verilator", *options, "--Mdir", "build", *VERILOG], folder)
    run(["build/Vbench"], folder)
    return folder / "counter.vcd"


def by_ghdl(folder: Path) -> Path:
    run(["ghdl", "-a", "--std=08", str(DESIGNS / "counter.vhd")], folder)
    run(["ghdl", "-e", "--std=08", "bench"], folder)
    run(["ghdl", "-r", "--std=08", "bench", "--vcd=counter.vcd"], folder)
    return folder / "counter.vcd"


SIMULATORS: dict[str, Callable[[Path], Path]] = {
    "Icarus Verilog": by_icarus,
    "Verilator": by_verilator,
    "GHDL": by_ghdl,
}


@pytest.fixture(scope="module", params=list(SIMULATORS))
def dump(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return SIMULATORS[request.param](tmp_path_factory.mktemp("simulation"))


@pytest.fixture(scope="module")
def samples(dump: Path) -> Samples:
    return sample(dump, NAMES, RULE)


def expected_levels() -> list[tuple[int, int]]:
    """Return (q, rdata) after the edge of each cycle, from the text of counter.v; rdata is -1 while unknown."""
    writes = {3: (1, 5), 7: (2, 99), 8: (1, 200), 27: (1, 3)}
    reads = {5, 37}
    q, step, rdata = 0, 1, -1
    rows = []
    for cycle in range(60):
        rdata = step if cycle in reads else rdata
        q = (q + step) % 1024
        address, value = writes.get(cycle, (0, 0))
        step = value if address == 1 else step
        rows.append((q, rdata))
    return rows


def test_the_counter_counts_as_its_text_says(samples: Samples) -> None:
    # 64 rising edges, 4 of them in reset; the last begins a cycle that no edge samples
    assert (samples.edges, samples.skipped_edges, samples.reset_again) == (60, 4, None)
    q = samples.steps("dut.q")
    assert (q.start, q.end) == (0, 59)
    expected = [q for q, _ in expected_levels()][:59]
    assert q.at(range(59)).tolist() == expected
    signed = samples.steps("dut.q", signed=True)
    assert signed.at(range(59)).tolist() == [v - 1024 if v >= 512 else v for v in expected]
    assert samples.steps("dut.even").at(range(59)).tolist() == [1 - v % 2 for v in expected]
    assert samples.steps("dut.pin").at(range(59)).tolist() == [v >> 9 for v in expected]


def test_the_writes_are_those_of_the_bench(samples: Samples) -> None:
    writes = bus_traffic(samples, BusProbe("bench.we", "bench.addr", "bench.wdata"))
    rows = list(zip(writes.cycle.tolist(), writes.address.tolist(), writes.value.tolist(), strict=True))
    assert rows == [(3, 1, 5), (7, 2, 99), (8, 1, 200), (27, 1, 3)]


def test_the_reads_answer_one_cycle_later(samples: Samples) -> None:
    reads = bus_traffic(samples, BusProbe("bench.re", "bench.addr", "dut.rdata", latency=1))
    rows = list(zip(reads.cycle.tolist(), reads.address.tolist(), reads.value.tolist(), strict=True))
    assert rows == [(5, 1, 5), (37, 1, 3)]


def test_read_data_are_unknown_until_read_but_for_two_state_verilator(samples: Samples) -> None:
    rdata = samples.steps("dut.rdata")
    expected = [r for _, r in expected_levels()][:59]
    two_state = rdata.unknown is None
    got = [
        -1 if u else v
        for u, v in zip(rdata.unknown_mask()[rdata.index_at(range(59))], rdata.at(range(59)), strict=True)
    ]
    assert got == [0 if two_state and v < 0 else v for v in expected]


def test_the_clock_wanders_by_rounding_yet_every_cycle_has_its_time(dump: Path, samples: Samples) -> None:
    header = read_header(dump)
    assert header.timescale is not None
    edge = read_changes(dump, ["bench.clk"])["clk"]
    rises = edge.time[1:][(edge.value[1:] == 1) & ~edge.unknown[:-1]][samples.skipped_edges :]
    assert rises.size == samples.edges
    assert abs(samples.time_of(30) - int(rises[30])) * header.timescale.seconds < 1e-10
    assert (samples.time_of(0), samples.time_of(59)) == (int(rises[0]), int(rises[59]))


def test_every_signal_reads_as_the_slow_reader_reads_it(dump: Path) -> None:
    naive = naive_reader.read(dump.read_bytes())
    header = read_header(dump)
    usable = [v.path for v in header.variables if v.kind not in ("real", "string")]
    found = read_changes(dump, usable)
    assert len(found.signals) >= 11
    for path, changes in found.signals.items():
        assert levels(changes) == naive_reader.as_levels(naive.signals[path])
    assert found.end_time == naive.end_time


def test_every_signal_reads_as_pyvcd_reads_it(dump: Path) -> None:
    raw: dict[str, list[tuple[int, str]]] = {}
    widths = {v.code.decode(): v.width for v in read_header(dump).variables}
    time = 0
    with dump.open("rb") as stream:
        for token in tokenize(stream):
            if token.kind is TokenKind.CHANGE_TIME:
                time = token.time_change
            elif token.kind is TokenKind.CHANGE_VECTOR:
                change = token.vector_change
                text = change.value if isinstance(change.value, str) else format(change.value, "b")
                raw.setdefault(change.id_code, []).append((time, text))
            elif token.kind is TokenKind.CHANGE_SCALAR:
                raw.setdefault(token.scalar_change.id_code, []).append((time, token.scalar_change.value))
    header = read_header(dump)
    found = read_changes(dump, [v.path for v in header.variables])
    for variable in header.variables:
        if variable.path in found.signals:
            code = variable.code.decode()
            expected = naive_reader.as_levels(naive_reader.canonical(raw.get(code, []), widths[code]))
            assert levels(found.signals[variable.path]) == expected


def test_every_signal_reads_as_pywellen_reads_it(dump: Path) -> None:
    found = read_changes(dump, [v.path for v in read_header(dump).variables]).signals
    compared = 0
    for variable in pywellen.Waveform(str(dump)).all_vars():
        name = variable.full_name.removesuffix("]").partition("[")[0]
        if name not in found:
            continue
        texts = [(t, v if isinstance(v, str) else format(v, "b")) for t, v in variable.tv]
        assert levels(found[name]) == naive_reader.as_levels(naive_reader.canonical(texts, variable.bitwidth))
        compared += 1
    assert compared >= 11


def test_without_its_clock_a_dump_on_a_wandering_grid_is_refused(dump: Path) -> None:
    time = read_changes(dump, ["bench.clk"])["bench.clk"].time
    period = int(time[3] - time[1])
    with pytest.raises(DumpError, match=r"changes at time .* after the place of a change on the grid"):
        sample(dump, ["dut.q"], GridRule(period - 1, int(time[1])))
