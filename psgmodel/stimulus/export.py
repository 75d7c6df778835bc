"""Export: every file that a test bench needs to replay a log.

Stage: stimulus. In: a register log, a `Bench`, a format. Out: file names and texts; writing them is left to the caller.
"""

from __future__ import annotations

from typing import Literal

from psgmodel.reglog.files import format_log
from psgmodel.reglog.log import RegisterLog
from psgmodel.stimulus.bench import Bench
from psgmodel.stimulus.cocotb_text import cocotb_driver
from psgmodel.stimulus.one_bus import one_write_a_cycle
from psgmodel.stimulus.snippets import dump_module, ghdl_options
from psgmodel.stimulus.verilog import memory_image, verilog_bench, verilog_driver
from psgmodel.stimulus.vhdl import vhdl_bench, vhdl_driver, vhdl_text

Format = Literal["csv", "verilog", "vhdl", "cocotb"]
FORMATS: tuple[Format, ...] = ("csv", "verilog", "vhdl", "cocotb")


def export_files(
    log: RegisterLog, bench: Bench, kind: Format, *, comment: str = "", clock: bool = True
) -> dict[str, str]:
    """Return the files of an export.

    Parameters
    ----------
    log : RegisterLog
    bench : Bench
    kind : "csv", "verilog", "vhdl" or "cocotb"
        Whatever it is, the log as CSV is among the files, for the comparison.
    comment : str, optional
        Opens the CSV.
    clock : bool, optional
        Whether the clock is in dumps whose signals a file of the export names; a Verilog bench leaves that to its user.

    Returns
    -------
    dict from file name to text

    Raises
    ------
    StimulusError
        Writes share a cycle, or the format cannot hold the log.
    """
    one_write_a_cycle(log)
    files = {"stimulus.csv": format_log(log, comment=comment)}
    if kind == "verilog":
        files["stimulus.hex"] = memory_image(log)
        files["stimulus_driver.v"] = verilog_driver(bench)
        files["stimulus_bench.v"] = verilog_bench(bench, len(log) + 1)
    elif kind == "vhdl":
        files["stimulus.txt"] = vhdl_text(log, bench)
        files["stimulus_driver.vhd"] = vhdl_driver(bench)
        files["stimulus_bench.vhd"] = vhdl_bench(bench)
        files["dump.opt"] = ghdl_options(bench, clock=clock, ended=True)
    elif kind == "cocotb":
        files["stimulus_cocotb.py"] = cocotb_driver(bench)
        files["stimulus_dump.v"] = dump_module(bench, clock=clock)
    return files
