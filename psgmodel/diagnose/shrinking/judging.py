"""Judging: what the search asks about a log, what it remembers, and how much it may ask.

Stage: diagnose, shrinking. In: logs. Out: verdicts, each run made once. A run is one call of the predicate, which is
one run of a simulator; everything else costs next to nothing beside it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.errors import PsgmodelError, RegisterLogError
from psgmodel.reglog.checks import check_log
from psgmodel.reglog.log import RegisterLog


class ShrinkError(PsgmodelError):
    """A log that cannot be shrunk, a command that cannot be run, or a record that does not fit."""


class Outcome(Enum):
    """Answer of one run; the three of Zeller and Hildebrandt (2002, section 2): fail, pass, unresolved."""

    FAILS = "fails"
    PASSES = "passes"
    UNRESOLVED = "unresolved"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a run said.

    Attributes
    ----------
    outcome : Outcome
        FAILS only where it is the failure that is looked for.
    cycle : int or None, clock cycles
        First cycle in which the failure shows; None where that is not known.
    text : str
        The failure, or why there is none, in words.
    """

    outcome: Outcome
    cycle: int | None = None
    text: str = ""


Predicate = Callable[[RegisterLog], Verdict]
"""Runs a log. The same log must get the same verdict."""

Recorder = Callable[[str, Verdict], None]
"""Is told the name of each log that was run, and the verdict."""


class BudgetSpent(Exception):
    """No further run may be made; ends a pass early and never leaves this package."""


def name_of(log: RegisterLog) -> str:
    """Return a name that two logs share only if they are equal: SHA-256 over end and columns, 32 digits of it."""
    columns = [np.array([log.end, len(log)], dtype=np.int64), log.cycle, log.address, log.value]
    return hashlib.sha256(b"".join(c.astype("<i8").tobytes() for c in columns)).hexdigest()[:32]


def least_distance(log: RegisterLog) -> int:
    """Return the smallest number of cycles between neighbouring writes; 0 where two share a cycle, 1 for one write."""
    return int(np.diff(log.cycle).min()) if len(log) > 1 else 1


class JudgeState:
    """Answers for logs: from memory where it can, by a run where it must.

    Parameters
    ----------
    chip : Chip
    predicate : callable
    distance : int, clock cycles
        Logs with writes closer than this are not legal: the bench may not be able to play them.
    max_runs : int or None
        Runs that may be made now; None: any number. Runs known from before do not count.
    may_go_on : callable
        Asked before each run; False ends the search like a spent budget.
    known : dict from name to Verdict
        Runs made before.
    record : callable
    """

    def __init__(
        self,
        chip: Chip,
        predicate: Predicate,
        *,
        distance: int,
        max_runs: int | None,
        may_go_on: Callable[[], bool],
        known: dict[str, Verdict],
        record: Recorder,
    ) -> None:
        self._chip, self._predicate, self._distance = chip, predicate, distance
        self._max_runs, self._may_go_on, self._record = max_runs, may_go_on, record
        self._known = dict(known)
        self.runs = self.repeated = self.illegal = 0

    def judge(self, log: RegisterLog) -> Verdict:
        """Return the verdict on a log; one that is not legal is unresolved without a run.

        Raises
        ------
        BudgetSpent
            It would need a run that may not be made.
        """
        name = name_of(log)
        if name in self._known:
            self.repeated += 1
            return self._known[name]
        if not self._legal(log):
            self.illegal += 1
            return Verdict(Outcome.UNRESOLVED, text="not legal")
        if (self._max_runs is not None and self.runs >= self._max_runs) or not self._may_go_on():
            raise BudgetSpent
        verdict = self._predicate(log)
        self.runs += 1
        self._known[name] = verdict
        self._record(name, verdict)
        return verdict

    def _legal(self, log: RegisterLog) -> bool:
        if len(log) > 1 and least_distance(log) < self._distance:
            return False
        try:
            check_log(log, self._chip)
        except RegisterLogError:
            return False
        return True
