"""Timing records: what makes ticks, as frozen facts.

Stage: chip. In: nothing. Out: the record classes that ``[ticks]`` and ``[sequencers]`` are read into, and what is made
of them. All times are clock cycles.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

from psgmodel.chip.options import option


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequencer:
    """A divider that walks through a table of steps (table ``[sequencers.NAME]``)."""

    every: int = option("Cycles from one step to the next.", at_least=1, at_most=2**40)
    first: int = option("Edge of the first step, which is step 0.", at_least=0, at_most=2**40)
    steps: int = option("Number of steps in the table.", at_least=1, at_most=1024)
    at_restart: Literal["silent", "step"] = option(
        "The edge at which a restart strobe acts is no step, whatever was due, or is step 0.", default="silent"
    )
    after_restart: int = option(
        "Cycles from a restart to the next step: step 0, or step 1 where the restart itself was step 0.",
        default=0,
        at_least=1,
        at_most=2**40,
        shown="every",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TickSource:
    """What makes one-cycle ticks (table ``[ticks.NAME]``): a divider of its own, or steps of a sequencer."""

    every: int = option("Cycles from one tick to the next.", default=0, at_least=1, at_most=2**40, shown="none")
    first: int = option("Edge of the first tick.", default=-1, at_least=0, at_most=2**40, shown="every - 1")
    at_restart: Literal["silent", "tick"] = option(
        "The edge at which a restart strobe acts is no tick, whatever was due, or is one.", default="silent"
    )
    after_restart: int = option(
        "Cycles from a restart to the next tick.", default=0, at_least=1, at_most=2**40, shown="every"
    )
    sequencer: str = option("Instead of every and first: name of the sequencer.", default="")
    at: tuple[int, ...] = option("Steps of the sequencer that tick, the first being 0.", default=(), at_least=0)


@dataclass(frozen=True, slots=True)
class Divider:
    """What drives a tick source, sequencer or not.

    Attributes
    ----------
    name : str
        Of the sequencer, or of the tick source whose own divider it is.
    every, first, steps : int
        Cycles between steps, edge of step 0, steps of one turn.
    restart_steps : bool
        The edge of a restart is step 0.
    after_restart : int
        Cycles from a restart to the next step.
    """

    name: str
    every: int
    first: int
    steps: int
    restart_steps: bool
    after_restart: int

    def ticks_after(self, cycles: int, at: Collection[int]) -> bool:
        """Tell whether one of some steps comes so many cycles after a restart."""
        if cycles == 0:
            return self.restart_steps and 0 in at
        turns, between = divmod(cycles - self.after_restart, self.every)
        return turns >= 0 and between == 0 and (turns + self.restart_steps) % self.steps in at


@dataclass(frozen=True, slots=True)
class Ticks:
    """One tick source: the steps of a divider at which it ticks, in rising order."""

    divider: str
    at: tuple[int, ...]
