"""Suspicion: what a search for suspects found, and how sure that is.

Stage: diagnose. In: nothing. Out: the result records of `psgmodel.diagnose.suspects`, and how suspects are ranked.

A suspect that explains everything is still only a suspect: a dump shows what the hardware did with one log. So the
result says how sure it is, and `Certainty.SURE` asks for a mismatch in several places that one single change of the
description explains to the last cycle while no other change does.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import Enum

from psgmodel.diagnose.changes import Change
from psgmodel.diagnose.moves import Move
from psgmodel.diagnose.standing import Standing

SURE_PLACES = 4
"""Separate stretches of difference that a sure suspect explains."""
PAIR_GAIN = 0.05
"""What share of the mismatch a pair that leaves something must explain more than each of the two alone."""


class Certainty(Enum):
    """How much the best suspect can be trusted."""

    SURE = "explains everything, and nothing else that was tried does"
    FEW_PLACES = "explains everything, but that is in few places only"
    SEVERAL = "one of several that explain everything"
    TWO_AT_ONCE = "two changes at once explain everything"
    WRITES = "explains everything, but blames a write and not the description"
    PARTLY = "explains a part"
    NOTHING = "nothing that was tried explains anything"
    AGREES = "there is nothing to explain"


@dataclass(frozen=True, slots=True, eq=False)
class Suspect:
    """One change, or two at once, and what it explains.

    Attributes
    ----------
    changes : tuple of Change
        A change may be made in several channels at once.
    explained : int, clock cycles
        Differing cycles that would agree, less those that would newly differ.
    left : int, clock cycles
        Cycles that would still differ.
    signals : tuple of str
        Signals that would differ less.
    first_left : int or None, clock cycles
        First cycle that would still differ.
    alternatives : tuple of str
        Other values of the same options that explain exactly as much.
    """

    changes: tuple[Change, ...]
    explained: int
    left: int
    signals: tuple[str, ...]
    first_left: int | None
    alternatives: tuple[str, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether nothing would differ any more."""
        return self.left == 0

    @property
    def of_writes(self) -> bool:
        """Whether it blames a write rather than the description."""
        return any(change.move is Move.WRITE for change in self.changes)

    @property
    def share(self) -> float:
        """Part of the mismatch that it explains, 0 to 1."""
        return self.explained / (self.explained + self.left)

    def __str__(self) -> str:
        return " and ".join(str(change) for change in self.changes)


@dataclass(frozen=True, slots=True, eq=False)
class Suspicion:
    """What a search for suspects found.

    Attributes
    ----------
    standings : dict from signal name to Standing
        How the signals stand without any change; an output that differs only because a channel does agrees here.
    cycles, stretches : int
        Cycles that differ, over all signals, and in how many stretches.
    ranked : tuple of Suspect
        The best first.
    singles, pairs : int
        Changes tried alone, and on top of another.
    stopped : bool
        The search was stopped before its end.
    """

    standings: Mapping[str, Standing]
    cycles: int
    stretches: int
    ranked: tuple[Suspect, ...]
    singles: int
    pairs: int
    stopped: bool

    @property
    def complete(self) -> tuple[Suspect, ...]:
        """Suspects that explain everything."""
        return tuple(s for s in self.ranked if s.complete)

    @property
    def certainty(self) -> Certainty:
        """How much the best suspect can be trusted."""
        if not self.cycles:
            return Certainty.AGREES
        if not self.ranked:
            return Certainty.NOTHING
        best = self.ranked[0]
        if not best.complete:
            return Certainty.PARTLY
        if best.of_writes:
            return Certainty.WRITES
        if best.alternatives or len([s for s in self.complete if not s.of_writes]) > 1:
            return Certainty.SEVERAL
        if len(best.changes) > 1:
            return Certainty.TWO_AT_ONCE
        return Certainty.SURE if self.stretches >= SURE_PLACES else Certainty.FEW_PLACES


def ranked(suspects: Iterable[Suspect], cycles: int) -> tuple[Suspect, ...]:
    """Return suspects in order, those that explain nothing left out, and values of one option told together.

    The more cycles a suspect explains the better; of equals the one with fewer changes, then the simpler.

    Parameters
    ----------
    suspects : iterable of Suspect
    cycles : int, clock cycles
        What there is to explain.
    """
    found = sorted((s for s in suspects if s.explained > 0), key=_order)
    alone = {str(s): s.explained for s in found if len(s.changes) == 1}
    together: dict[tuple[object, ...], Suspect] = {}
    for suspect in found:
        parts = [alone.get(str(change), 0) for change in suspect.changes]
        if len(parts) > 1 and not suspect.complete and suspect.explained - max(parts) < PAIR_GAIN * cycles:
            continue
        key = (suspect.explained, tuple(sorted(_options(change) for change in suspect.changes)))
        if key in together:
            first = together[key]
            together[key] = replace(first, alternatives=(*first.alternatives, str(suspect)))
        else:
            together[key] = suspect
    return tuple(together.values())


def _order(suspect: Suspect) -> tuple[object, ...]:
    return -suspect.explained, len(suspect.changes), tuple(change.simplicity for change in suspect.changes)


def _options(change: Change) -> tuple[str, ...]:
    """Return which options a change is of, without their values."""
    if change.wording:
        return (change.wording,)
    return tuple(sorted(edit.key for edit in change.edits))
