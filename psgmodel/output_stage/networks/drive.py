"""Drive: the pin's levels as volts in time.

Stage: the analog side of the output stage. `Steps`, a clock rate (hertz) and volts per level in; the constant
stretches that a run works on out. Seconds count from cycle 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from psgmodel.errors import StageError
from psgmodel.steps import Steps

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Drive:
    """A pin signal in volts, before the pin's output resistance.

    Attributes
    ----------
    steps : Steps
        Levels of the pin: two, or as many as a multi-level output has. Not empty, nothing unknown.
    clock_rate : Fraction, Hz
        Cycles per second; an int is taken too.
    volts_per_level : float, volt
    volts_at_zero : float, volt
        The voltage of level 0.

    Raises
    ------
    StageError
        The signal is empty or unknown somewhere, or the clock rate is not positive.
    """

    steps: Steps
    clock_rate: Fraction | int
    volts_per_level: float
    volts_at_zero: float = 0.0

    def __post_init__(self) -> None:
        if not self.clock_rate > 0:
            raise StageError(f"a clock rate of {self.clock_rate} Hz drives nothing; accepted is a positive rate")
        if not len(self.steps):
            raise StageError("an empty signal drives nothing; accepted is a signal of at least one cycle")
        if self.steps.unknown is not None and self.steps.unknown.any():
            at = int(self.steps.cycle[int(np.argmax(self.steps.unknown))])
            raise StageError(
                f"the level of the pin is unknown from cycle {at} on; accepted is a signal known throughout",
                hint="cut the signal to what is known",
            )

    @property
    def seconds_per_cycle(self) -> float:
        """Length of a cycle, seconds."""
        return float(1 / Fraction(self.clock_rate))

    def volts(self) -> FloatArray:
        """Return the voltage of each stretch. Shape (n,), volt."""
        return np.asarray(self.volts_at_zero + self.volts_per_level * self.steps.level, dtype=np.float64)

    def seconds(self) -> FloatArray:
        """Return how long each stretch stands. Shape (n,), seconds."""
        return np.asarray(self.steps.durations() * self.seconds_per_cycle, dtype=np.float64)

    def edge_seconds(self) -> FloatArray:
        """Return when each stretch begins, and the end. Shape (n + 1,), seconds from cycle 0."""
        edges = np.append(self.steps.cycle, np.int64(self.steps.end))
        return np.asarray(edges * self.seconds_per_cycle, dtype=np.float64)

    def piece(self, first: int, last: int) -> Drive:
        """Return the part that stretches `first` to, not including, `last` make up."""
        s = self.steps
        end = s.end if last >= len(s) else int(s.cycle[last])
        part = Steps(s.cycle[first:last], s.level[first:last], end)
        return Drive(part, self.clock_rate, self.volts_per_level, self.volts_at_zero)


def two_level_drive(steps: Steps, clock_rate: Fraction | int, high: float, low: float = 0.0) -> Drive:
    """Return the drive of a pin that stands at `low` volt for level 0 and at `high` volt for level 1.

    Raises
    ------
    StageError
        As `Drive`, or a level is neither 0 nor 1.
    """
    wrong = np.flatnonzero((steps.level != 0) & (steps.level != 1))
    if wrong.size:
        at = int(wrong[0])
        raise StageError(
            f"the pin has level {int(steps.level[at])} at cycle {int(steps.cycle[at])}; accepted are 0 and 1"
        )
    return Drive(steps, clock_rate, high - low, low)
