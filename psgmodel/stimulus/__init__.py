"""stimulus: logs that test things, and their export to test benches.

In: a chip description, or a log. Out: a random log, a walk through every field, and the files with which a simulator
replays a log on the RTL: for Verilog, VHDL and cocotb.
"""

from psgmodel.stimulus.bench import Bench, make_bench
from psgmodel.stimulus.closing import closing_logs
from psgmodel.stimulus.export import FORMATS, Format, export_files
from psgmodel.stimulus.one_bus import one_write_a_cycle
from psgmodel.stimulus.random_log import random_log
from psgmodel.stimulus.snippets import SIMULATORS, Simulator, dump_snippet
from psgmodel.stimulus.walk import walk_log
from psgmodel.stimulus.wandering import PATIENCE

__all__ = [
    "FORMATS",
    "PATIENCE",
    "SIMULATORS",
    "Bench",
    "Format",
    "Simulator",
    "closing_logs",
    "dump_snippet",
    "export_files",
    "make_bench",
    "one_write_a_cycle",
    "random_log",
    "walk_log",
]
