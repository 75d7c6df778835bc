"""Differing: two signals beside each other from where they first differ.

Stage: diagnose. In: model, dump, the comparison of both. Out: one record, and looks at it that several rules share.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.comparison.exact import ExactResult
from psgmodel.steps import Steps

LEAST_RUNS = 3
"""Stretches of equal level whose lengths must be off alike before the period is called off."""

_CHANGES = 48


@dataclass(frozen=True, slots=True, eq=False)
class Differing:
    """Two signals over the same cycles that differ.

    Attributes
    ----------
    model, dump : Steps
    at : int, clock cycles
        First cycle that differs.
    exact : ExactResult
        Of the comparison.
    active : Steps or None
        1 where the model's channel is active; None for an output.
    idle : int
        Level of the channel while it is not.
    starts : ndarray of int64, shape (n,), clock cycles
        Edges at which a start acts.
    bit : (int, bool) or None
        The bit in which the sides differ alone, wherever they do, and whether the dump's never changes.
    """

    model: Steps
    dump: Steps
    at: int
    exact: ExactResult
    active: Steps | None
    idle: int
    starts: NDArray[np.int64]
    bit: tuple[int, bool] | None

    def at_least(self, cycle: int) -> str:
        """Return a cycle in words that tell where only what was looked at ends there, and the dump goes on."""
        return f"cycle {cycle}{' at least' if cycle == self.dump.end < self.exact.end else ''}"

    def note(self) -> tuple[int, int]:
        """Return where the model's note, or its silence, around the first difference begins and ends."""
        assert self.active is not None
        begin = int(self.active.cycle[self.active.index_at(self.at)])
        after = index_after(self.active, self.at)
        end = int(self.active.cycle[after]) if after < len(self.active) else self.active.end
        around = int(np.searchsorted(self.starts, self.at, side="right"))
        if around:
            begin = max(begin, int(self.starts[around - 1]))
        if around < self.starts.size:
            end = min(end, int(self.starts[around]))
        return begin, end


def index_after(steps: Steps, cycle: int) -> int:
    """Return the index of the first change after a cycle."""
    return int(np.searchsorted(steps.cycle, cycle, side="right"))


def rest_of(steps: Steps, begin: int) -> Steps:
    """Return the part from a cycle on, with a limited number of changes."""
    last = index_after(steps, begin) + _CHANGES
    return steps.cut(begin, int(steps.cycle[last]) if last < len(steps) else steps.end)
