"""Linnet's RTL, whole and with one fault a time, simulated in Icarus Verilog: each fault is found where it is.

The RTL was written from the prose specification by somebody who had not read the engine, so it is an independent
judge of the model, and the model of it.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from psgmodel.chip import load_chip
from psgmodel.comparison import Comparison, Status, compare
from psgmodel.dump.observe import observe
from psgmodel.dump.signal_map import parse_map
from psgmodel.reglog import make_log
from tests.rtl.simulate import LINNET, build_icarus, simulate

CHIP = load_chip("patches/linnet.toml")
CYCLES = 34_000
WRITES = [
    *((2 * i, 0x40 + i, (i * 11 + 5) % 64) for i in range(64)),
    (130, 0x08, 0x2A), (131, 0x09, 0x20), (132, 0x0A, 0x94), (133, 0x0B, 0x02), (134, 0x0C, 0x81), (135, 0x0D, 0x12),
    (136, 0x0E, 0x01),
    (200, 0x10, 0x80), (201, 0x11, 0x38), (202, 0x12, 0x8F), (203, 0x13, 0x01), (204, 0x14, 0x01), (205, 0x16, 0x01),
    (300, 0x18, 0x2D), (301, 0x1A, 0x1D), (302, 0x1E, 0x01),
    (400, 0x20, 0x13), (401, 0x22, 0x13), (402, 0x26, 0x01),
    (5000, 0x01, 0x21), (6000, 0x00, 0xDB), (7000, 0x20, 0x11), (8000, 0x21, 0x01), (26_000, 0x1E, 0x02),
]  # fmt: skip

FAULTS = {
    "a pattern with one more high position": ("16'b0000_0000_1111_1111", "16'b0000_0001_1111_1111", "a"),
    "the wave channel starts a cycle early": ("#(.DELAY(3)) note_w", "#(.DELAY(2)) note_w", "wave"),
    "the noise register feeds back another tap": ("bits[17] ^ bits[14]", "bits[17] ^ bits[13]", "noise"),
    "the note timer runs out a tick early": ("loaded == 9'd1", "loaded == 9'd2", "a"),
    "the envelope ticks a cycle late": ("15'd22768", "15'd22767", "a"),
    "the sweep adds one too much": ("period - part : sum[11:0]", "period - part : sum[11:0] + 12'd1", "a"),
    "the wave channel has the wrong gain": ("1'b0} + {4'b0000, level_w}", "1'b0} + {3'b000, level_w, 1'b0}", "left"),
    "a trim of seven eighths": ("sum} * 13'd6", "sum} * 13'd7", "left"),
    "the lowest bit of a period is lost": ("w_period[7:0] <= wdata;", "w_period[7:0] <= {wdata[7:1], 1'b0};", "wave"),
    "the wave channel fetches the sample before": ("memory[next_position]", "memory[position]", "wave"),
    "a shorter noise clock misses the step that runs": ("elapsed_next >= step", "elapsed_next == step", "noise"),
    "two routes of the right output are swapped": (
        "route[5], route[3], route[1]",
        "route[3], route[5], route[1]",
        "right",
    ),
    "the high bits of a period are cut": ("b_period[11:8] <= wdata[3:0]", "b_period[11:8] <= wdata[2:0]", "b"),
    "the lowest bit of an output is stuck": ("out_left <= code_left;", "out_left <= code_left | 9'd1;", "left"),
}


def simulated(rtl: Path, folder: Path, *, clock: bool = False) -> Path:
    dump = folder / "linnet.vcd"
    log = [(cycle, "w", address, value) for cycle, address, value in WRITES]
    simulate(build_icarus(rtl, folder), log, CYCLES, dump, clock=clock)
    return dump


GRID = parse_map("[clock]\nperiod = 162\nphase = 81\n", CHIP)
"""The bench states its period and phase: linnet_bench.v, 162 units a cycle, edge of cycle 0 at 891."""


def compared(dump: Path, *, clock: bool = False) -> Comparison:
    return compare(CHIP, dump, signal_map=None if clock else GRID)


@pytest.mark.parametrize("clock", [True, False])
def test_the_rtl_agrees_with_the_model_whole(tmp_path: Path, clock: bool) -> None:
    log = make_log(*zip(*WRITES, strict=True), end=CYCLES)
    dump = simulated(LINNET, tmp_path, clock=clock)
    found = compared(dump, clock=clock)
    assert found.status is Status.AGREE, found.reasons()
    assert found.coverage.of_writes == len(WRITES)
    assert len(found.signals) == 6
    assert found.not_compared == ()
    assert all(s.spectral is None for s in found.signals)  # equal signals sound the same; judged by it, they do
    heard = compare(CHIP, observe(dump, CHIP, GRID if not clock else None), judge="spectrum")
    assert all(s.spectral is not None and s.spectral.agrees for s in heard.signals)
    if clock:
        whole = compare(CHIP, dump, log=log, whole=True)
        assert whole.status is Status.AGREE, whole.reasons()
        assert whole.skipped_edges == 5


READS = [
    (1000, 0x08), (1001, 0x09), (1002, 0x0A), (1003, 0x02), (1004, 0x0E), (1005, 0x07), (1006, 0x41), (1007, 0x0D),
    (30_003, 0x08), (30_004, 0x09), (30_005, 0x02), (30_006, 0x00), (30_007, 0x21),
]  # fmt: skip


def read_back(rtl: Path, folder: Path) -> Comparison:
    log = [(cycle, "w", address, value) for cycle, address, value in WRITES]
    log += [(cycle, "r", address, 0) for cycle, address in READS]
    dump = folder / "linnet.vcd"
    simulate(build_icarus(rtl, folder), sorted(log), CYCLES, dump, clock=False)
    text = "[clock]\nperiod = 162\nphase = 81\n[bus]\nwrite = 'wr'\naddress = 'addr'\ndata = 'wdata'\n"
    return compare(CHIP, dump, signal_map=parse_map(text + "read = 'rd'\nread_data = 'rdata'\n", CHIP))


def test_reads_of_the_rtl_give_what_the_model_holds(tmp_path: Path) -> None:
    found = read_back(LINNET, tmp_path)
    assert found.status is Status.AGREE, found.reasons()
    assert found.reads is not None
    assert (found.reads.reads, found.reads.compared, found.reads.wrong) == (13, 13, 0)


def test_a_register_that_reads_back_a_bit_too_many_is_named(tmp_path: Path) -> None:
    old = "7'h09: value_here = {2'b00, a_pattern"
    text = LINNET.read_text(encoding="utf-8")
    assert text.count(old) == 1
    rtl = tmp_path / "linnet.v"
    rtl.write_text(text.replace(old, old.replace("2'b00", "2'b01")), encoding="utf-8")
    found = read_back(rtl, tmp_path)
    assert found.status is Status.DIFFER
    assert found.reads is not None
    assert found.reads.wrong == 2
    assert found.reasons() == (
        "2 reads of 13 gave another value, the first at cycle 1001 (0.000162923 s): "
        "A_TONE 0x09: expected 0x20, found 0x60",
    )


@pytest.mark.parametrize("fault", FAULTS)
def test_one_faulty_line_is_found_in_the_signal_where_it_is(fault: str, tmp_path: Path) -> None:
    old, new, name = FAULTS[fault]
    text = LINNET.read_text(encoding="utf-8")
    assert text.count(old) == 1
    rtl = tmp_path / "linnet.v"
    rtl.write_text(text.replace(old, new), encoding="utf-8")
    found = compared(simulated(rtl, tmp_path))
    assert found.status is Status.DIFFER
    assert found.first is not None
    assert found.first.name == name, found.reasons()
    exact = found.first.exact
    assert exact is not None
    assert exact.writes
    assert found.reasons()[0].startswith((f"{name}: cycle ", "everything agrees"))
