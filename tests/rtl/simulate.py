"""Build and run the test bench of Linnet in Icarus Verilog or Verilator.

Stage: tests. What goes in: the path of the unit's RTL (the original or a copy with one fault) and a bus log in clock
cycles. What comes out: a value change dump, whose time is nominal (`PERIOD` units a clock cycle, see linnet_bench.v).

A built bench is a path: a ``.vvp`` file of Icarus Verilog, or a folder of Verilator. Verilator fixes the shape of the
dump (with or without clock, with or without internal registers) when it compiles, so such a folder gets one program
for each shape that is asked for, at its first use. Both kinds are named after a hash of everything that went in; a
folder that is kept between runs (or shared by parallel ones) saves the compilation.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

HERE = Path(__file__).parent
LINNET = HERE / "linnet.v"
BENCH = HERE / "linnet_bench.v"

PERIOD = 162
"""Clock period, in time units of the dump."""

_LAST_LINE = re.compile(r"^period (\d+) phase (\d+)$", re.MULTILINE)
# The same as --binary --timing, but with `make` run here, so that the runtime need not be compiled each time.
_VERILATOR = ("verilator", "--main", "--exe", "--timing", "--trace", "-O3", "-Wno-fatal", "--top-module", "bench")
_MAKE = ("make", "-j", "2", "-f", "Vbench.mk", "Vbench", "OPT_FAST=-O2", "OPT_GLOBAL=-O2")


class SimulationError(RuntimeError):
    """A bench that could not be built or did not run to its end; the text holds what the tool said."""


class EdgeTimes(NamedTuple):
    """When rising edges stand in the dump: cycle c at ``phase + c * period`` (int, time units of the dump)."""

    period: int
    phase: int


def build_icarus(rtl: Path, out_dir: Path) -> Path:
    """Compile the bench with Icarus Verilog.

    Parameters
    ----------
    rtl : Path
        Verilog file with a module ``linnet``.
    out_dir : Path
        Folder for built benches, made if missing; may be kept between runs.

    Returns
    -------
    Path
        The built bench, for `simulate`.

    Raises
    ------
    SimulationError
        If it does not compile.
    """
    options = ("iverilog", "-g2001")
    built = out_dir / f"icarus-{_digest(options, BENCH, rtl)}.vvp"
    if not built.exists():
        out_dir.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=out_dir) as work:
            fresh = Path(work) / "bench.vvp"
            _run([*options, "-o", str(fresh), str(BENCH), str(rtl)])
            os.replace(fresh, built)
    return built


def build_verilator(rtl: Path, out_dir: Path) -> Path:
    """Check the bench with Verilator and keep a copy of the RTL; `simulate` compiles the dump shapes it needs.

    Parameters
    ----------
    rtl : Path
        Verilog file with a module ``linnet``.
    out_dir : Path
        Folder for built benches, made if missing; kept between runs it saves some seconds a shape.

    Returns
    -------
    Path
        The built bench (a folder), for `simulate`.

    Raises
    ------
    SimulationError
        If Verilator refuses it.
    """
    built = out_dir / f"verilator-{_digest((*_VERILATOR, *_MAKE), BENCH, rtl)}"
    if not (built / "linnet.v").exists():
        _run(["verilator", "--lint-only", "--timing", "-Wno-fatal", "--top-module", "bench", str(BENCH), str(rtl)])
        built.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=built) as work:
            copy = Path(work) / "linnet.v"
            shutil.copyfile(rtl, copy)
            os.replace(copy, built / "linnet.v")
    return built


def simulate(
    built: Path,
    log: Iterable[tuple[int, str, int, int]],
    cycles: int,
    dump: Path | None,
    *,
    clock: bool = True,
    full: bool = False,
    reset_edges: int = 5,
    timeout_seconds: float = 600.0,
) -> EdgeTimes:
    """Run a built bench over a bus log and write a dump.

    Parameters
    ----------
    built : Path
        What `build_icarus` or `build_verilator` gave.
    log : iterable of (int, str, int, int)
        Cycle, ``"w"`` or ``"r"``, address, value (0 for a read); cycles strictly increasing, all below `cycles`.
    cycles : int
        Cycles to simulate after reset, at least 1. The dump ends at the end of the last one.
    dump : Path or None
        Where the value change dump goes; None for none.
    clock : bool
        Whether the clock is in the dump.
    full : bool
        Whether the internal registers are in the dump (the wave memory never is).
    reset_edges : int
        Rising edges with ``rst`` = 1 before cycle 0.
    timeout_seconds : float
        When to give up.

    Returns
    -------
    EdgeTimes
        Where the rising edges stand in the dump.

    Raises
    ------
    SimulationError
        If the bench refuses the log or does not run to its end.
    """
    options = [f"+cycles={cycles}", f"+reset_edges={reset_edges}"]
    if dump is not None:
        options.append(f"+dump={dump}")
    if built.is_dir():
        command = [str(verilator_program(built, clock, full))]
    else:
        command = ["vvp", "-N", str(built)]
        options += ["+noclk"] * (not clock) + ["+full"] * full
    with tempfile.TemporaryDirectory() as work:
        log_file = Path(work) / "bus.log"
        log_file.write_text("".join(f"{c} {kind} {a} {v}\n" for c, kind, a, v in log), encoding="ascii")
        said = _run([*command, *options, f"+log={log_file}"], timeout_seconds)
    last = _LAST_LINE.search(said)
    if last is None or "bench: error" in said:
        raise SimulationError(f"the bench did not run to its end:\n{said}")
    return EdgeTimes(int(last[1]), int(last[2]))


def verilator_program(built: Path, clock: bool, full: bool) -> Path:
    """Return the program for one dump shape, compiled at its first use."""
    program = built / f"bench-{'clock' if clock else 'clockless'}{'-full' if full else ''}"
    if program.exists():
        return program
    with tempfile.TemporaryDirectory(dir=built) as work:
        shape = [] if full else ["--trace-depth", "1"]
        if not clock:
            shape += ["-DBENCH_NO_CLOCK", str(_hide_clock(built / "linnet.v", Path(work) / "hide_clock.vlt"))]
        objects = Path(work) / "objects"
        _run([*_VERILATOR, *shape, "--Mdir", str(objects), str(BENCH), str(built / "linnet.v")])
        _make(objects, built.parent / f"verilator-runtime-{_digest((*_VERILATOR, *_MAKE))}")
        os.replace(objects / "Vbench", program)
    return program


def _make(objects: Path, runtime: Path) -> None:
    """Compile and link what Verilator wrote, with the objects of its runtime from (or for) the folder `runtime`."""
    for compiled in runtime.glob("*.o"):
        shutil.copyfile(compiled, objects / compiled.name)  # newer than its sources, so make takes it as it is
    _run([*_MAKE, "-C", str(objects)])
    if not runtime.exists():
        fresh = objects / "runtime"
        fresh.mkdir()
        for compiled in objects.glob("verilated*.o"):
            shutil.copyfile(compiled, fresh / compiled.name)
        with contextlib.suppress(OSError):  # another run may have put it there meanwhile
            os.rename(fresh, runtime)


def _hide_clock(rtl: Path, control: Path) -> Path:
    """Write a Verilator control file that keeps every clock port of `rtl` out of the dump."""
    lines = rtl.read_text(encoding="utf-8").splitlines()
    ports = [n for n, line in enumerate(lines, 1) if re.search(r"\binput\b.*\bclk\b", line)]
    rules = [f'tracing_off -file "*linnet.v" -lines {n}' for n in ports]
    control.write_text("\n".join(["`verilator_config", *rules, ""]), encoding="ascii")
    return control


def _digest(options: Sequence[str], *sources: Path) -> str:
    """Hash what a compilation depends on: tool version, options, this module, source files."""
    whole = hashlib.sha256("\0".join(options).encode())
    whole.update(_run([options[0], "-V"]).splitlines()[0].encode())
    for source in (Path(__file__), *sources):
        whole.update(hashlib.sha256(source.read_bytes()).digest())
    return whole.hexdigest()[:16]


def _run(command: Sequence[str], timeout_seconds: float = 600.0) -> str:
    """Run a tool and return all it said; raise with that text where it fails or takes too long."""
    try:
        done = subprocess.run(
            command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False, timeout=timeout_seconds
        )
    except subprocess.TimeoutExpired as late:
        raise SimulationError(f"{command[0]} took more than {timeout_seconds:g} s") from late
    if done.returncode != 0:
        raise SimulationError(f"{' '.join(command)}\nended with status {done.returncode}:\n{done.stdout}")
    return done.stdout
