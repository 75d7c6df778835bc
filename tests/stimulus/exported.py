"""Run exported benches as their own comments tell it, and compare their dumps with the model.

Stage: tests. In: a folder with an export. Out: a dump. The tools are called with the options that the exported files
name, plus what only makes compiling quicker.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from textwrap import dedent

from psgmodel.chip import Chip, load_chip
from psgmodel.comparison import Comparison, Status, compare
from psgmodel.dump.signal_map import parse_map
from psgmodel.reglog import RegisterLog
from psgmodel.stimulus import Bench, Format, export_files, make_bench
from tests.rtl.simulate import LINNET
from tests.rtl.simulate_vhdl import SISKIN

PATCHES = Path(__file__).parents[2] / "patches"
LINNET_CHIP = load_chip(PATCHES / "linnet.toml")
SISKIN_CHIP = load_chip(PATCHES / "siskin.toml")
LINNET_BENCH = make_bench(LINNET_CHIP, ties={"rd": 0}, signals={"wave": "level_w", "noise": "level_n"})
SISKIN_BENCH = make_bench(
    SISKIN_CHIP, ties={"re": 0}, reset="reset_n", reset_active="low", write="we", address="port_sel", data="din"
)
QUICKLY = ("-MAKEFLAGS", "OPT_FAST=-O0 OPT_SLOW=-O0 OPT_GLOBAL=-O0", "-j", "2")


def write_export(folder: Path, log: RegisterLog, bench: Bench, kind: Format, *, clock: bool = True) -> None:
    """Write the files of an export."""
    folder.mkdir(exist_ok=True)
    for name, text in export_files(log, bench, kind, clock=clock).items():
        (folder / name).write_text(text, encoding="utf-8")


def tool(folder: Path, *command: str, extra: Mapping[str, str] | None = None) -> str:
    """Run a tool in a folder and return what it said; it must succeed."""
    plain = {key: value for key, value in os.environ.items() if not key.startswith("PYTEST")}  # cocotb would look at it
    done = subprocess.run(
        command, cwd=folder, capture_output=True, text=True, check=False, env={**plain, **(extra or {})}
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr


def run_icarus(folder: Path, words: int, *options: str, rtl: Path = LINNET) -> str:
    """Build and run a Verilog export in Icarus Verilog; all warnings are shown."""
    built = tool(
        folder, "iverilog", "-g2001", "-Wall", "-o", "bench.vvp", "stimulus_bench.v", "stimulus_driver.v", str(rtl)
    )
    return built + replay(folder, words, *options)


def replay(folder: Path, words: int, *options: str) -> str:
    """Run a bench that is built."""
    return tool(
        folder, "vvp", "-N", "bench.vvp", "+stimulus=stimulus.hex", f"+words={words}", "+dump=bench.vcd", *options
    )


def run_verilator(folder: Path, words: int, *options: str) -> None:
    """Build and run a Verilog export in Verilator."""
    fixed = ("--binary", "--timing", "--trace", "--trace-depth", "1", "-Wno-fatal", "--top-module", "bench")
    tool(folder, "verilator", *fixed, *options, *QUICKLY, "stimulus_bench.v", "stimulus_driver.v", str(LINNET))
    tool(folder, "obj_dir/Vbench", "+stimulus=stimulus.hex", f"+words={words}", "+dump=bench.vcd")


def run_ghdl(folder: Path) -> None:
    """Analyse and run a VHDL export in GHDL, to the standard of 1993."""
    files = (str(SISKIN), "stimulus_driver.vhd", "stimulus_bench.vhd")
    tool(folder, "ghdl", "-a", "--std=93", *files)
    tool(folder, "ghdl", "-e", "--std=93", "bench")
    options = ("-gstimulus=stimulus.txt", "--vcd=bench.vcd", "--read-wave-opt=dump.opt")
    tool(folder, "ghdl", "-r", "--std=93", "bench", *options)


def run_cocotb(folder: Path) -> str:
    """Run a cocotb export with Icarus Verilog, as the text of the export shows."""
    shown = (folder / "stimulus_cocotb.py").read_text(encoding="utf-8").split("::\n\n")[1].split("\n\nThe runner")[0]
    code = dedent(shown).replace("YOUR_FILES.v", str(LINNET))
    return tool(folder, sys.executable, "-c", code, extra={"SIM_CMD_SUFFIX": "-vcd"})


def compared(chip: Chip, log: RegisterLog, folder: Path, map_text: str = "") -> Comparison:
    """Compare the dump of a bench with the model, the bus with the log, all of it."""
    named = parse_map(map_text, chip) if map_text else None
    return compare(chip, str(folder / "bench.vcd"), log=log, signal_map=named, whole=True)


def assert_agrees(found: Comparison, log: RegisterLog, signals: int) -> None:
    """Assert that every signal and the bus agree over the whole log, without any latency."""
    assert found.status is Status.AGREE, found.reasons()
    assert (found.latency, found.coverage.cycles, found.coverage.of_cycles) == (0, log.end, log.end)
    assert (found.coverage.writes, found.coverage.of_writes) == (len(log), len(log))
    assert found.bus is not None
    assert found.bus.agrees
    assert found.bus.shift == 0
    assert len(found.signals) == signals
    assert all(s.exact is not None and s.exact.agrees for s in found.signals)
