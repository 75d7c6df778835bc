"""Trace: the answer of an engine.

Stage: engine. In: nothing. Out: one record with a `Steps` for each channel and each output code.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from psgmodel.chip.records import Chip
from psgmodel.engine.state import UnitState
from psgmodel.errors import EngineError, nearest
from psgmodel.steps import Steps


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """What the unit did from `start` up to, not including, `end`.

    Attributes
    ----------
    chip : Chip
    start, end : int, clock cycles
    channels, outputs : dict from name to Steps
        Channel levels and output codes.
    state : UnitState
        The unit just before edge `end`; hand it to `run` to go on.
    """

    chip: Chip
    start: int
    end: int
    channels: Mapping[str, Steps]
    outputs: Mapping[str, Steps]
    state: UnitState

    def __getitem__(self, name: str) -> Steps:
        """Return a channel or an output by name; `EngineError` names the nearest where there is none."""
        for group in (self.channels, self.outputs):
            if name in group:
                return group[name]
        known = [*self.channels, *self.outputs]
        raise EngineError(f'no channel or output "{name}"', hint=nearest(name, known) or f"known: {', '.join(known)}")
