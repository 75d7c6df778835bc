"""Standing: how a chip and a log stand against a dump, signal by signal.

Stage: diagnose. In: what a dump says. Out: for each signal the first cycle in which a chip with a log differs from it,
and the number of cycles in which it does. Unknown levels of the dump are left out: no description explains them.

Where the dump has every channel, an output is judged by what the mixer makes of the dump's own channels, so that a
fault of the mixer and one of a channel are told apart. Where it has not, an output follows the channels of the model.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.comparison.exact import aligned
from psgmodel.comparison.remix import remixed
from psgmodel.comparison.streams import count_differences, first_difference
from psgmodel.dump.observe import Kind, Observation
from psgmodel.engine.alone import run_channel
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps, merged_cycles, steps_from_changes


@dataclass(frozen=True, slots=True)
class Standing:
    """How one signal stands.

    Attributes
    ----------
    first : int or None, clock cycles
        First cycle that differs; None: no known level does.
    cycles, stretches : int
        How many differ, and in how many stretches.
    """

    first: int | None
    cycles: int
    stretches: int


class EarlierDifferenceError(Exception):
    """A changed chip differs from a dump before the levels that are in memory begin; never leaves this folder."""


class HeardDump:
    """The dump's side, at the latency of the model.

    Attributes
    ----------
    start, end : int, clock cycles
        What the levels cover.
    walked : int, clock cycles
        How far chips were run, all together, before the levels begin.

    Parameters
    ----------
    chip : Chip
    observation : Observation
    latency : int, clock cycles
    start : int, clock cycles
        See `psgmodel.diagnose.late`.
    """

    def __init__(self, chip: Chip, observation: Observation, latency: int, start: int = 0) -> None:
        self.start, self.end, self.walked = start, observation.end, 0
        self.names = [s.name for s in observation.signals if s.kind is not Kind.PIN and len(s.steps)]
        self.latency = {s.name: 0 if s.strobes is None else latency for s in observation.signals}
        self.observed = {
            s.name: s if s.strobes is not None else replace(s, steps=s.steps.shifted(-latency))
            for s in observation.signals
            if s.name in self.names
        }
        channels = {n: s.steps for n, s in self.observed.items() if s.kind is Kind.CHANNEL}
        whole = all(s.start <= start and (s.unknown is None or not s.unknown.any()) for s in channels.values())
        self.own_channels: Mapping[str, Steps] = {}
        if set(channels) == set(chip.channels) and whole:
            self.own_channels = {n: s.cut(start, s.end) for n, s in channels.items()}

    def is_output(self, name: str) -> bool:
        """Return whether a signal is an output code."""
        return self.observed[name].kind is Kind.OUTPUT

    def follows(self, name: str) -> bool:
        """Return whether a signal depends on the model's channels through the mixer."""
        return self.is_output(name) and not self.own_channels

    def level(self, chip: Chip, log: RegisterLog, name: str, until: int) -> Steps:
        """Return a channel of the model up to a cycle."""
        return run_channel(chip, log, name, end=until).level

    def model(self, chip: Chip, log: RegisterLog, name: str, until: int, levels: Mapping[str, Steps]) -> Steps:
        """Return what a chip makes of a log, as one signal, up to a cycle.

        `levels` holds channels that are known already, as far as `until`; the others are run.
        """
        until = min(until, self.end)
        if not self.is_output(name):
            return self.level(chip, log, name, until)
        channels = self.own_channels or {
            n: levels[n] if n in levels else self.level(chip, log, n, until) for n in chip.channels
        }
        mixed = remixed(chip, log, {n: s.cut(0, until) for n, s in channels.items()}, name)
        assert mixed is not None  # every channel is there, known, and begins at 0
        return mixed

    def beside(self, name: str, model: Steps) -> tuple[Steps, Steps]:
        """Return model and dump over the cycles that both cover; where the dump is unknown, both are the model."""
        ours, theirs = aligned(model, self.observed[name], self.latency[name])
        return ours, _known(ours, theirs)

    def first(self, name: str, model: Steps) -> int | None:
        """Return the first cycle that differs."""
        return first_difference(*self.beside(name, model))

    def standing(self, name: str, model: Steps) -> Standing:
        """Return how a signal of the model stands against the dump's."""
        ours, theirs = self.beside(name, model)
        first = first_difference(ours, theirs)
        if first is None:
            return Standing(None, 0, 0)
        count = count_differences(ours, theirs)
        return Standing(first, count.cycles, count.stretches)

    def cycle_of_change(self, name: str, after: int, changes: int) -> int:
        """Return the cycle of the n-th change of the dump after a cycle, or the end."""
        cycle = self.observed[name].steps.cycle
        at = int(np.searchsorted(cycle, after, side="right")) + changes
        return int(cycle[at]) if at < cycle.size else self.end


def _known(ours: Steps, theirs: Steps) -> Steps:
    """Return the dump with the model in place of what is unknown."""
    if theirs.unknown is None or not theirs.unknown.any():
        return theirs
    grid = merged_cycles([ours.cycle, theirs.cycle])
    at = theirs.index_at(grid)
    levels = np.where(theirs.unknown[at], ours.at(grid), theirs.level[at])
    return steps_from_changes(grid, levels, theirs.end)
