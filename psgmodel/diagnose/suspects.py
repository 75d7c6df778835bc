"""Suspects: which change of the description would make the model do what the dump does.

Stage: diagnose. In: a chip, a dump that differs from it. Out: changes, ranked by what each explains.

1. Single changes (module `changes`) are tried on the signal that differs first (module `trials`). One that helps there
   and is an option of a channel is also tried in the other channels that differ: channels often share a block.
2. Where none explains everything, they are tried on every other signal that differs.
3. Where still none does, pairs: the best single changes are made, and every change is tried on top of each.

How suspects are ranked, and how sure the best one is, stands in `suspicion`; what is simpler, in `moves`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from psgmodel.chip.records import Chip
from psgmodel.diagnose.changes import changes_of, write_changes
from psgmodel.diagnose.late import heard_dump
from psgmodel.diagnose.standing import HeardDump
from psgmodel.diagnose.suspicion import Suspect, Suspicion, ranked
from psgmodel.diagnose.trials import Base, Candidate, Trial, TrialState, in_turn
from psgmodel.dump.observe import Observation
from psgmodel.reglog.log import RegisterLog

PAIR_SEEDS = 9
"""Single changes on top of which every other one is tried."""

Progress = Callable[[int, int], bool]
"""Told how many changes were tried and how many there are to try so far; returns whether to go on."""


def find_suspects(
    chip: Chip,
    observation: Observation,
    log: RegisterLog,
    *,
    latency: int = 0,
    pairs: bool = True,
    progress: Progress | None = None,
) -> Suspicion:
    """Search for what makes a dump differ from a chip.

    Parameters
    ----------
    chip : Chip
    observation : Observation
        Of the dump; levels that begin after cycle 0 begin where nothing has differed yet.
    log : RegisterLog
        What the unit was told, as the model follows it.
    latency : int, clock cycles
        How late the dump is.
    pairs : bool
        Try two changes at once where no single one explains everything.
    progress : function of (int, int) to bool, optional
        False stops the search; what was found so far is ranked.

    Returns
    -------
    Suspicion
    """
    search = _SearchState(heard_dump(chip, observation, log, latency), progress)
    base = search.trials.base(chip, log)
    found = search.singles(base)
    singles = search.trials.tried
    suspects = [_suspect(base, (trial,)) for trial in found]
    if pairs and base.cycles and not any(s.complete for s in suspects):
        suspects += search.pairs(base, found)
    return Suspicion(
        base.standings,
        base.cycles,
        sum(s.stretches for s in base.standings.values()),
        ranked(suspects, base.cycles),
        singles,
        search.trials.tried - singles,
        search.trials.stopped,
    )


def _suspect(base: Base, trials: tuple[Trial, ...]) -> Suspect:
    standings = dict(base.standings)
    for trial in trials:
        standings.update(trial.after)
    left = sum(s.cycles for s in standings.values())
    helped = tuple(n for n, s in standings.items() if s.cycles < base.standings[n].cycles)
    firsts = [s.first for s in standings.values() if s.first is not None]
    return Suspect(tuple(t.change for t in trials), base.cycles - left, left, helped, min(firsts, default=None))


class _SearchState:
    """One search: what was tried, how much there is to try."""

    def __init__(self, heard: HeardDump, progress: Progress | None) -> None:
        self.heard, self.total = heard, 0
        self._progress = progress
        self.trials = TrialState(heard, self._go_on)

    def _go_on(self, tried: int) -> bool:
        return self._progress is None or self._progress(tried, max(self.total, tried))

    def singles(self, base: Base) -> list[Trial]:
        """Return the single changes that help some signal."""
        found: list[Trial] = []
        for name in base.differing():
            if any(trial.explained == base.cycles for trial in found):
                break
            helping = self._search(base, name)
            found += helping
            found += self._shared(base, name, helping)
        return _distinct(found)

    def pairs(self, base: Base, singles: list[Trial]) -> list[Suspect]:
        """Return suspects of two changes: every change on top of each of the best single ones."""
        found: list[Suspect] = []
        for seed in self._seeds(singles):
            if self.trials.stopped:
                break
            changed = self.trials.base(seed.chip, seed.log, {**base.standings, **seed.after})
            differing = changed.differing()
            if not differing:
                continue
            second = self._search(changed, differing[0])
            second += self._shared(changed, differing[0], second)
            found += [_suspect(base, (seed, trial)) for trial in second]
            if any(s.complete for s in found):
                break
        return found

    def _seeds(self, singles: list[Trial]) -> list[Trial]:
        """Return the single changes that explain most, those that move the first difference furthest, the simplest."""
        simple = sorted(_distinct(singles), key=lambda t: t.change.simplicity)
        by_share = sorted(simple, key=lambda t: -t.explained)
        far = sorted(simple, key=lambda t: -min(s.first or self.heard.end for s in t.after.values()))
        return in_turn([by_share, far, simple], PAIR_SEEDS)

    def _candidates(self, base: Base, name: str) -> list[Candidate]:
        channel = name if name in base.chip.channels else ""
        changes = sorted(changes_of(base.chip, channel), key=lambda c: c.simplicity)
        found = [self.trials.candidate(base, change) for change in changes]
        return [candidate for candidate in found if candidate is not None]

    def _search(self, base: Base, name: str) -> list[Trial]:
        """Try everything that touches a signal."""
        first = base.standings[name].first
        assert first is not None
        touching = [c for c in self._candidates(base, name) if name in c.touches]
        touching += self._write_candidates(base, name, first)
        self.total = self.trials.tried + len(touching)
        return self.trials.helping(base, name, touching)

    def _write_candidates(self, base: Base, name: str, first: int) -> Iterator[Candidate]:
        for change in write_changes(base.chip, base.log, name, first):
            candidate = self.trials.candidate(base, change, name)
            if candidate is not None:
                yield candidate

    def _shared(self, base: Base, name: str, helping: list[Trial]) -> list[Trial]:
        """Return the changes that help other channels also, made in all that they help."""
        others = [n for n in base.differing() if n != name and n in base.chip.channels]
        found = []
        for trial in helping:
            siblings = []
            for other in others:
                sibling = trial.change.sibling(base.chip, name, other)
                candidate = self.trials.candidate(base, sibling) if sibling is not None else None
                if candidate is not None and self.trials.helping(base, other, [candidate]):
                    siblings.append(candidate.change)
            if siblings:
                joined = self.trials.candidate(base, trial.change.joined(siblings))
                whole = self.trials.measured(base, joined) if joined is not None else None
                if whole is not None:
                    found.append(whole)
        return found


def _distinct(trials: list[Trial]) -> list[Trial]:
    """Return trials without those that say the same again."""
    return list({str(t.change): t for t in reversed(trials)}.values())[::-1]
