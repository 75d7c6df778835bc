"""Small dumps for the tests of signal maps, written line by line.

Stage: tests. In: scopes with their signals. Out: a file, or its header.
"""

from __future__ import annotations

from pathlib import Path

from psgmodel.dump import read_header
from psgmodel.dump.header import Header

BENCH = "clk:1 rst:1 wr:1 addr:7 wdata:8 level_a:5 level_b:5 level_w:6 level_n:5 out_left:9 out_right:9"


def vcd(tmp_path: Path, *scopes: str, body: str = "#0\n", name: str = "d.vcd") -> Path:
    """A dump whose scopes are written "outer.inner: name:width name:width=code"."""
    lines = ["$timescale 1 ns $end"]
    for number, text in enumerate(scopes):
        path, _, signals = text.partition(": ")
        lines += [f"$scope module {part} $end" for part in path.split(".")]
        for index, signal in enumerate(signals.split()):
            declared, _, code = signal.partition("=")
            leaf, _, width = declared.partition(":")
            code = code or f"{chr(ord('A') + number)}{index}"
            vector = f" [{int(width) - 1}:0]" if int(width) > 1 else ""
            lines.append(f"$var wire {width} {code} {leaf}{vector} $end")
        lines += ["$upscope $end"] * len(path.split("."))
    path = tmp_path / name
    path.write_text("\n".join([*lines, "$enddefinitions $end", body]), encoding="ascii")
    return path


def header(tmp_path: Path, *scopes: str) -> Header:
    return read_header(vcd(tmp_path, *scopes))
