"""compare: where two sides agree. Model and dump in; verdicts that can explain themselves out.

Stages, in the order of the data: `streams` (equal or not), `alignment` (how late), `writes` (the log against the bus),
`exact` (one signal to the cycle), `sides` (both as audio), `bands`, `moments`, `notes` and `spectral` (one signal as
audio), `signals` (all of them), `comparing` (the front door), `verdict` (the result).
"""

from psgmodel.comparison.comparing import compare
from psgmodel.comparison.exact import Divergence, ExactResult
from psgmodel.comparison.options import REASONS, SpectralOptions
from psgmodel.comparison.spectral import SpectralResult
from psgmodel.comparison.verdict import Comparison, Coverage, SignalResult, Status
from psgmodel.comparison.writes import BusResult, SeenWrite, describe_write

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
