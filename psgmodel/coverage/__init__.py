"""coverage: which behaviours a log shows. Chip and register logs in; bins hit, missing and out of reach out.

A behaviour is an event or a meeting of events, and it counts where it can be heard. All bins are derived from the
description. Channels are followed from event to event by the reference engine's own blocks; what lies between is
regular.
"""

from psgmodel.coverage.bins import Bin
from psgmodel.coverage.covering import cover
from psgmodel.coverage.results import Coverage, LogHits, coverage_from_json, coverage_to_json

__all__ = ["Bin", "Coverage", "LogHits", "cover", "coverage_from_json", "coverage_to_json"]
