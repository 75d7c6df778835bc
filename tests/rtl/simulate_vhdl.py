"""Analyse and run the test bench of Siskin in GHDL.

Stage: tests. What goes in: the path of the unit's RTL (the original or a copy with one fault) and a bus log in clock
cycles. What comes out: a value change dump in femtoseconds (see siskin_bench.vhd for where its edges stand).

GHDL (its mcode back end) compiles in memory whenever it runs, so what is kept between runs is only the library with the
result of the analysis and the copies of the sources to which it points.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from tests.rtl.simulate import EdgeTimes, SimulationError, _run

HERE = Path(__file__).parent
SISKIN = HERE / "siskin.vhd"
SISKIN_BENCH = HERE / "siskin_bench.vhd"

BUS = ("reset_n", "we", "re", "port_sel", "din", "dout")
LEVELS = ("level_p", "level_q", "level_u", "level_v", "level_x", "level_y")
SIGNALS = (*BUS, *LEVELS, "out_main", "finished")
"""What the bench dumps besides ``clk``."""

_STANDARD = "--std=08"
_LIBRARY = "work-obj08.cf"
_LAST_LINE = re.compile(r"period (\d+) phase (\d+)$", re.MULTILINE)
# GHDL writes a time stamp for every event in the design, of the clock also where the clock is not dumped.
_DROP_EMPTY_STAMPS = '/^#/ { stamp = $0; next } { if (stamp != "") print stamp; stamp = ""; print }'


class Built(NamedTuple):
    """An analysed bench: the folder with GHDL's library and the sources."""

    folder: Path


def build_ghdl(rtl: Path, out_dir: Path) -> Built:
    """Analyse the bench.

    Parameters
    ----------
    rtl : Path
        VHDL file with an entity ``siskin``.
    out_dir : Path
        Folder for built benches, made if missing; may be kept between runs, but not moved.

    Returns
    -------
    Built
        The built bench, for `simulate_ghdl`.

    Raises
    ------
    SimulationError
        If GHDL refuses it.
    """
    whole = hashlib.sha256(_run(["ghdl", "--version"]).encode())
    for source in (Path(__file__), SISKIN_BENCH, rtl):
        whole.update(hashlib.sha256(source.read_bytes()).digest())
    folder = out_dir.resolve() / f"ghdl-{whole.hexdigest()[:16]}"
    if not (folder / _LIBRARY).exists():
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder) as work:
            copies = [folder / "siskin.vhd", folder / "siskin_bench.vhd"]
            for source, copy in zip((rtl, SISKIN_BENCH), copies, strict=True):
                shutil.copyfile(source, Path(work) / copy.name)
                os.replace(Path(work) / copy.name, copy)
            _run(["ghdl", "-a", _STANDARD, f"--workdir={work}", *map(str, copies)])
            os.replace(Path(work) / _LIBRARY, folder / _LIBRARY)
    return Built(folder)


def simulate_ghdl(
    built: Built,
    log: Iterable[tuple[int, str, int, int]],
    cycles: int,
    dump: Path | None,
    *,
    clock: bool = True,
    reset_edges: int = 5,
    timeout_seconds: float = 600.0,
) -> EdgeTimes:
    """Run a built bench over a bus log and write a dump.

    Parameters
    ----------
    built : Built
        What `build_ghdl` gave.
    log : iterable of (int, str, int, int)
        Cycle, ``"w"`` or ``"r"``, port (0 or 1), value (0 for a read); cycles strictly increasing, all below `cycles`.
    cycles : int
        Cycles to simulate after reset, at least 1. The dump ends at the end of the last one.
    dump : Path or None
        Where the value change dump goes; None for none. It holds the signals of the bench, no internal ones.
    clock : bool
        Whether the clock is in the dump.
    reset_edges : int
        Rising edges with ``reset_n`` = 0 before cycle 0.
    timeout_seconds : float
        When to give up.

    Returns
    -------
    EdgeTimes
        Where the rising edges stand in the dump, in femtoseconds.

    Raises
    ------
    SimulationError
        If the bench refuses the log or does not run to its end.
    """
    with tempfile.TemporaryDirectory() as work:
        log_file = Path(work) / "bus.log"
        log_file.write_text("".join(f"{c} {kind} {port} {v}\n" for c, kind, port, v in log), encoding="ascii")
        command = ["ghdl", "-r", _STANDARD, f"--workdir={built.folder}", "bench"]
        command += [f"-glog_name={log_file}", f"-gcycles={cycles}", f"-greset_edges={reset_edges}"]
        with _dump_options(dump, clock, Path(work)) as options:
            said = _run([*command, *options], timeout_seconds)
    last = _LAST_LINE.search(said)
    if last is None:
        raise SimulationError(f"the bench did not run to its end:\n{said}")
    return EdgeTimes(int(last[1]), int(last[2]))


@contextlib.contextmanager
def _dump_options(dump: Path | None, clock: bool, work: Path) -> Iterator[list[str]]:
    """Give the options that make GHDL write the dump, which is complete when the context ends."""
    if dump is None:
        yield []
        return
    names = (*("clk",) * clock, *SIGNALS)
    chosen = work / "signals.opt"
    chosen.write_text("".join(["$ version 1.1\n", *(f"/bench/{name}\n" for name in names)]), encoding="ascii")
    options = ["--vcd-nodate", f"--read-wave-opt={chosen}"]
    if clock:
        yield [*options, f"--vcd={dump}"]
        return
    pipe = work / "dump.pipe"
    os.mkfifo(pipe)
    kept_open = os.open(pipe, os.O_RDWR)  # so that neither side waits for the other, whatever GHDL does
    with dump.open("wb") as out:
        source = os.open(pipe, os.O_RDONLY)
        sieve = subprocess.Popen(["awk", _DROP_EMPTY_STAMPS], stdin=source, stdout=out)
        os.close(source)
        try:
            yield [*options, f"--vcd={pipe}"]
        finally:
            os.close(kept_open)
            status = sieve.wait()
    if status != 0:
        raise SimulationError(f"awk ended with status {status}")
