"""Trials: single changes of a chip or its log, tried against a dump.

Stage: diagnose. In: a chip, a log, what the dump says. Out: for each change that helps, how the signals stand with it.

A change can be the cause of a signal's first difference only if it moves that difference away and leaves alone what
agreed before it: hardware and model are deterministic, so what agrees up to there was computed alike. That is the
screen. It needs one channel, run from reset up to the first difference and not further: a changed option may have
changed hidden state (a divider, a shift register) at any time before, so a run from a saved state would be wrong. A
signal whose first difference lies late is first run over a sixteenth of the way, where most changes already differ.
What passes the screen is run over the whole, in every signal that it touches.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import TypeVar

from psgmodel.chip.records import Chip
from psgmodel.diagnose.changes import Change
from psgmodel.diagnose.edits import touched_channels, touches_mixer
from psgmodel.diagnose.standing import EarlierDifferenceError, HeardDump, Standing
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps

MOST_MEASURED = 24
"""Changes that are run over the whole, for each signal.

They are taken in turn from those that differ least in a window after the first difference, those that agree for longest
from there on, and the simplest.
"""

MOST_WALKED = 2 * 10**10
"""Cycles that changed chips are run, all together, to where the levels in memory begin: some ten seconds."""

_LATE = 1 << 18
_WINDOW_CHANGES = 256

GoOn = Callable[[int], bool]
"""Told how many changes were tried; returns whether to go on."""


@dataclass(frozen=True, slots=True, eq=False)
class Base:
    """What changes are made to: a chip, a log, and how the signals stand with them."""

    chip: Chip
    log: RegisterLog
    standings: Mapping[str, Standing]
    levels: Mapping[str, Steps]

    def differing(self) -> list[str]:
        """Return the signals that differ, the first to do so first."""
        found = [(s.first, name) for name, s in self.standings.items() if s.first is not None]
        return [name for _, name in sorted(found, key=lambda pair: pair[0])]

    @property
    def cycles(self) -> int:
        """Cycles that differ, over all signals."""
        return sum(s.cycles for s in self.standings.values())


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A change ready to be tried: the chip and the log that it makes, and the signals that it touches."""

    change: Change
    chip: Chip
    log: RegisterLog
    touches: tuple[str, ...]
    channels: frozenset[str]


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """A change that helps, and how the signals stand with it.

    Attributes
    ----------
    change : Change
    chip : Chip
    log : RegisterLog
    after : dict from signal name to Standing
        Of the signals that it touches.
    explained : int, cycles
        Differing cycles that now agree, less those that newly differ.
    """

    change: Change
    chip: Chip
    log: RegisterLog
    after: Mapping[str, Standing]
    explained: int


Item = TypeVar("Item")


def in_turn(orders: Sequence[Sequence[Item]], most: int) -> list[Item]:
    """Return the first items of several orders, one of each in turn, each item once."""
    found: dict[int, Item] = {}
    for items in zip_longest(*orders):
        found.update({id(item): item for item in items if item is not None and id(item) not in found})
    return list(found.values())[:most]


class TrialState:
    """Tries changes and counts them."""

    def __init__(self, heard: HeardDump, go_on: GoOn) -> None:
        self.heard, self._go_on = heard, go_on
        self.tried = 0
        self.stopped = False

    def base(self, chip: Chip, log: RegisterLog, known: Mapping[str, Standing] | None = None) -> Base:
        """Return a chip and a log with their standings; `known` are those of signals that are not worked out again."""
        heard = self.heard
        levels: dict[str, Steps] = {}
        if any(heard.follows(name) for name in heard.names):
            levels = {name: heard.level(chip, log, name, heard.end) for name in chip.channels}
        standings = {}
        for name in heard.names:
            if known is not None and name in known:
                standings[name] = known[name]
            else:
                model = levels.get(name) or heard.model(chip, log, name, heard.end, levels)
                standings[name] = heard.standing(name, model)
        return Base(chip, log, standings, levels)

    def candidate(self, base: Base, change: Change, name: str = "") -> Candidate | None:
        """Return a change ready to be tried, None where it is not legal; `name`: the signal that writes are for."""
        made = change.apply(base.chip, base.log)
        if made is None:
            return None
        chip, log = made
        channels = touched_channels(chip, base.chip) if log is base.log else frozenset([name]) & set(chip.channels)
        mixes = touches_mixer(chip, base.chip) if log is base.log else self.heard.is_output(name)
        touches = tuple(
            n
            for n in self.heard.names
            if n in channels or (self.heard.is_output(n) and (mixes or (channels and self.heard.follows(n))))
        )
        return Candidate(change, chip, log, touches, channels)

    def helping(self, base: Base, name: str, candidates: Iterable[Candidate]) -> list[Trial]:
        """Return the changes that move a signal's first difference and spoil nothing before, tried over the whole."""
        first = base.standings[name].first
        assert first is not None
        passed = []
        for candidate in candidates:
            if self.stopped or name not in candidate.touches:
                continue
            self.tried += 1
            if not self._go_on(self.tried) or self.heard.walked > MOST_WALKED:
                self.stopped = True
            elif self._screened(base, candidate, name, first):
                passed.append(candidate)
        if len(passed) > MOST_MEASURED:
            until = self.heard.cycle_of_change(name, first, _WINDOW_CHANGES)
            near = {id(c): self.heard.standing(name, self._model(base, c, name, until)) for c in passed}
            passed = in_turn(
                [
                    sorted(passed, key=lambda c: near[id(c)].cycles),
                    sorted(passed, key=lambda c: -(near[id(c)].first or until)),
                    sorted(passed, key=lambda c: c.change.simplicity),
                ],
                MOST_MEASURED,
            )
        found = [self.measured(base, c) for c in passed]
        return [trial for trial in found if trial is not None]

    def measured(self, base: Base, candidate: Candidate) -> Trial | None:
        """Try a change over the whole, None where it spoils what agreed before a first difference."""
        after = {}
        for name in candidate.touches:
            try:
                standing = self.heard.standing(name, self._model(base, candidate, name, self.heard.end))
            except EarlierDifferenceError:
                return None
            before = base.standings[name]
            if standing.first is not None and (before.first is None or standing.first < before.first):
                return None
            after[name] = standing
        explained = sum(base.standings[n].cycles - s.cycles for n, s in after.items())
        return Trial(candidate.change, candidate.chip, candidate.log, after, explained)

    def _screened(self, base: Base, candidate: Candidate, name: str, first: int) -> bool:
        """Return whether a signal agrees up to and in the cycle in which it first differed."""
        stages = (first // 16, first + 1) if first > _LATE and not self.heard.start else (first + 1,)
        try:
            return all(self.heard.first(name, self._model(base, candidate, name, until)) is None for until in stages)
        except EarlierDifferenceError:
            return False

    def _model(self, base: Base, candidate: Candidate, name: str, until: int) -> Steps:
        known = {n: s for n, s in base.levels.items() if n not in candidate.channels}
        return self.heard.model(candidate.chip, candidate.log, name, until, known)
