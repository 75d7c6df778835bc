"""Sampling rules: how the cycles of a dump are found.

Stage: dump. `ClockRule` counts the edges of a clock in the dump; time is never divided by a period. `GridRule` is
for a dump without its clock, some 25 times smaller: the edges are declared, and every change must lie where
they put it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from psgmodel.errors import DumpError

Edge = Literal["rising", "falling"]
Bit = Literal[0, 1]


@dataclass(frozen=True, slots=True)
class ResetRule:
    """When cycle 0 is: at the first counted edge that samples the reset inactive.

    Attributes
    ----------
    signal : str
    active : 0 or 1
        The level that resets.
    seen_first : bool
        True: edges before the reset was active once do not count either. For a bench that starts with
        the reset inactive and asserts it later.
    """

    signal: str
    active: Bit = 1
    seen_first: bool = False

    def __str__(self) -> str:
        once = ", once it was active" if self.seen_first else ""
        return f"cycle 0 is the first edge that samples {self.signal} = {1 - self.active}{once}"


@dataclass(frozen=True, slots=True)
class ClockRule:
    """Count the edges of a clock.

    A rising edge is a change from 0 to 1; a change from or to an unknown level is no edge.

    Attributes
    ----------
    clock : str
    edge : "rising" or "falling"
    enable : str or None
        A clock enable: an edge counts only if it samples this signal as 1.
    reset : ResetRule or None
        None: the first counted edge is cycle 0.
    """

    clock: str
    edge: Edge = "rising"
    enable: str | None = None
    reset: ResetRule | None = None

    def __str__(self) -> str:
        enabled = f" that samples {self.enable} = 1" if self.enable else ""
        start = str(self.reset) if self.reset else "cycle 0 is the first edge"
        return f"sampled just before every {self.edge} edge of {self.clock}{enabled}; {start}"


@dataclass(frozen=True, slots=True)
class GridRule:
    """Place edge k at ``phase + k * period``, for a dump without its clock.

    From cycle 0 on every change of a chosen signal must lie `delay` after an edge, or it is an error: the
    period or phase is wrong, or the signal belongs to another clock.

    Attributes
    ----------
    period : int, dump time units
    phase : int, dump time units
        Time of the first edge.
    delay : int, dump time units
        How long after its edge a register changes; below `period`.
    reset : ResetRule or None
        None: the edge at `phase` is cycle 0.
    """

    period: int
    phase: int
    delay: int = 0
    reset: ResetRule | None = None

    def __post_init__(self) -> None:
        if self.period < 1:
            raise DumpError(f"a period of {self.period} dump time units; expected at least 1")
        if self.phase < 0:
            raise DumpError(f"a phase of {self.phase} dump time units; expected at least 0")
        if not 0 <= self.delay < self.period:
            raise DumpError(f"a delay of {self.delay} dump time units; expected 0 to {self.period - 1}")

    def __str__(self) -> str:
        start = str(self.reset) if self.reset else "cycle 0 is the first edge"
        return (
            f"sampled just before every time {self.phase} + k * {self.period}, "
            f"with changes {self.delay} after an edge; {start}"
        )
