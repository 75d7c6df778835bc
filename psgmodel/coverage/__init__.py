"""coverage: which behaviours a log shows. Chip and register logs in; bins hit, missing and out of reach out.

A behaviour is an event or a meeting of events, and it counts where it can be heard. All bins are derived from the
description. Channels are followed from event to event by the reference engine's own blocks; what lies between is
regular.
"""

from psgmodel.coverage.bins import Behaviour, Bin

__all__ = ["Behaviour", "Bin"]
