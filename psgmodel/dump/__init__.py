"""dump: what the RTL did. A simulation dump in; change lists, `Steps` and the register traffic out.

Stages, in the order of the data: `source` (bytes), `header` (declarations), `select` (names to signals), `tokens` with
`codes` and `digits` (the kernel), `settle` (canonical change lists), `reader` (the stream), `sampling` with `clock` and
`grid` (edges counted, values sampled), `samples` (levels over cycles), `bus` (transfers and strobed codes). On top:
`signal_map`, `guess` and `resolve` (which signal is what), `observe` (everything a comparison needs, in one pass).
"""

from psgmodel.dump.bus import BusProbe, BusTraffic, bus_traffic, sample_cycles, strobed_steps
from psgmodel.dump.header import Header, Timescale, Variable
from psgmodel.dump.observe import Kind, Observation, Observed
from psgmodel.dump.reader import Dump, DumpChanges, read_changes, read_header
from psgmodel.dump.resolve import complete_map, guess_map
from psgmodel.dump.rules import ClockRule, GridRule, ResetRule
from psgmodel.dump.samples import EdgeSamples, Samples, level_steps
from psgmodel.dump.sampling import sample
from psgmodel.dump.select import Selection, Signal, choose
from psgmodel.dump.settle import Changes
from psgmodel.dump.signal_map import SignalMap, load_map, parse_map

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
    "Kind",
    "Observation",
    "Observed",
    "ResetRule",
    "Samples",
    "Selection",
    "Signal",
    "SignalMap",
    "Timescale",
    "Variable",
    "bus_traffic",
    "choose",
    "complete_map",
    "guess_map",
    "level_steps",
    "load_map",
    "parse_map",
    "read_changes",
    "read_header",
    "sample",
    "sample_cycles",
    "strobed_steps",
]
