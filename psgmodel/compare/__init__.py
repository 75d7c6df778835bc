"""compare: where two sides agree. Model and dump in; verdicts that can explain themselves out.

Stages, in the order of the data: `streams` (equal or not), `alignment` (how late), `writes` (the log against the bus),
`exact` (one signal to the cycle), `sides` (both as audio), `bands`, `moments`, `notes` and `spectral` (one signal as
audio), `signals` (all of them), `comparing` (the front door), `verdict` (the result).
"""

from psgmodel.compare.comparing import compare
from psgmodel.compare.exact import Divergence, ExactResult
from psgmodel.compare.options import REASONS, SpectralOptions
from psgmodel.compare.spectral import SpectralResult
from psgmodel.compare.verdict import Comparison, Coverage, SignalResult, Status
from psgmodel.compare.writes import BusResult, SeenWrite, describe_write

__all__ = [
    "REASONS",
    "BusResult",
    "Comparison",
    "Coverage",
    "Divergence",
    "ExactResult",
    "SeenWrite",
    "SignalResult",
    "SpectralOptions",
    "SpectralResult",
    "Status",
    "compare",
    "describe_write",
]
