"""The worked example of IEEE 1364-2005, 18.2.4, which stands in four public test suites with its decode."""

from __future__ import annotations

from pathlib import Path

import pytest
import pywellen

from psgmodel.dump import Timescale, read_changes, read_header
from tests.dump import naive_reader
from tests.dump.dump_text import levels, read_levels

EXAMPLE = """$date June 26, 1989 10:05:41
$end
$version VERILOG-SIMULATOR 1.0a
$end
$timescale 1 ns
$end
$scope module top $end
$scope module m1 $end
$var trireg 1 *@ net1 $end
$var trireg 1 *# net2 $end
$var trireg 1 *$ net3 $end
$upscope $end
$scope task t1 $end
$var reg 32 (k accumulator[31:0] $end
$var integer 32 {2 index $end
$upscope $end
$upscope $end
$enddefinitions $end
$comment
  Note: $dumpvars was executed at time '#500'.
  All initial values are dumped at this time.
$end
#500
$dumpvars
x*@
x*#
x*$
bx (k
bx {2
$end
#505
0*@
1*#
1*$
b10zx1110x11100 (k
b1111000101z01x {2
#510
0*$
#520
1*$
#530
0*$
bz (k
#535
$dumpall
0*@
1*#
0*$
bz (k
b1111000101z01x {2
$end
#540
1*$
#1000
$dumpoff
x*@
x*#
x*$
bx (k
bx {2
$end
#2000
$dumpon
z*@
1*#
0*$
b0 (k
bx {2
$end
#2010
1*$
"""

NAMES = ["net1", "net2", "net3", "accumulator", "index"]

DECODED = {
    "top.m1.net1": [(500, "x"), (505, "0"), (1000, "x"), (2000, "z")],
    "top.m1.net2": [(500, "x"), (505, "1"), (1000, "x"), (2000, "1")],
    "top.m1.net3": [
        *((500, "x"), (505, "1"), (510, "0"), (520, "1"), (530, "0"), (540, "1")),
        *((1000, "x"), (2000, "0"), (2010, "1")),
    ],
    "top.t1.accumulator": [
        *((500, "x" * 32), (505, "00000000000000000010zx1110x11100"), (530, "z" * 32)),
        *((1000, "x" * 32), (2000, "0" * 32)),
    ],
    "top.t1.index": [(500, "x" * 32), (505, "0000000000000000001111000101z01x"), (1000, "x" * 32)],
}


def test_the_slow_reader_of_these_tests_decodes_the_example_of_the_standard() -> None:
    assert naive_reader.read(EXAMPLE.encode()).signals == DECODED


def test_pywellen_decodes_the_example_of_the_standard_the_same_way(tmp_path: Path) -> None:
    path = tmp_path / "example.vcd"
    path.write_text(EXAMPLE)
    found = {v.full_name: list(v.tv) for v in pywellen.Waveform(str(path)).all_vars()}
    for name, changes in DECODED.items():
        expected = [(t, int(text, 2) if set(text) <= {"0", "1"} else text) for t, text in changes]
        assert found[name] == expected


@pytest.mark.parametrize("chunk_bytes", [1, 2, 3, 5, 7, 64, 1000, 2**18])
def test_the_example_of_the_standard_is_read_as_its_text_says(chunk_bytes: int) -> None:
    expected = {name: naive_reader.as_levels(changes) for name, changes in DECODED.items()}
    assert read_levels(EXAMPLE, NAMES, chunk_bytes) == expected


def test_the_example_of_the_standard_begins_at_500_and_ends_at_2010_nanoseconds(tmp_path: Path) -> None:
    path = tmp_path / "example.vcd"
    path.write_text(EXAMPLE)
    found = read_changes(path, ["net3"])
    assert (found.first_time, found.end_time, found.timescale) == (500, 2010, Timescale(1, "ns"))
    assert levels(found.signals["top.m1.net3"])[-1] == (2010, 1)


def test_the_header_of_the_example_lists_its_five_variables(tmp_path: Path) -> None:
    path = tmp_path / "example.vcd"
    path.write_text(EXAMPLE)
    header = read_header(path)
    assert [(v.path, v.kind, v.width, v.code) for v in header.variables] == [
        ("top.m1.net1", "trireg", 1, b"*@"),
        ("top.m1.net2", "trireg", 1, b"*#"),
        ("top.m1.net3", "trireg", 1, b"*$"),
        ("top.t1.accumulator", "reg", 32, b"(k"),
        ("top.t1.index", "integer", 32, b"{2"),
    ]
    assert (header.date, header.version) == ("June 26, 1989 10:05:41", "VERILOG-SIMULATOR 1.0a")
