"""dump: what the RTL did. A simulation dump in; change lists, `Steps` and the register traffic out.

Stages, in the order of the data: `source` (bytes), `header` (declarations), `select` (names to signals), `tokens` with
`codes` and `digits` (the kernel), `settle` (canonical change lists), `reader` (the stream), `sampling` with `clock` and
`grid` (edges counted, values sampled), `samples` (levels over cycles), `bus` (transfers and strobed codes).
"""

from psgmodel.dump.bus import BusProbe, BusTraffic, bus_traffic, sample_cycles, strobed_steps
from psgmodel.dump.header import Header, Timescale, Variable
from psgmodel.dump.reader import Dump, DumpChanges, read_changes, read_header
from psgmodel.dump.rules import ClockRule, GridRule, ResetRule
from psgmodel.dump.samples import EdgeSamples, Samples, level_steps
from psgmodel.dump.sampling import sample
from psgmodel.dump.select import Selection, Signal, choose
from psgmodel.dump.settle import Changes

__all__ = [
    "BusProbe",
    "BusTraffic",
    "Changes",
    "ClockRule",
    "Dump",
    "DumpChanges",
    "EdgeSamples",
    "GridRule",
    "Header",
    "ResetRule",
    "Samples",
    "Selection",
    "Signal",
    "Timescale",
    "Variable",
    "bus_traffic",
    "choose",
    "level_steps",
    "read_changes",
    "read_header",
    "sample",
    "sample_cycles",
    "strobed_steps",
]
