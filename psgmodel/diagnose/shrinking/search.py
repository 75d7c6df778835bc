"""Search: the simplest log that still fails, by the passes, under a budget.

Stage: diagnose, shrinking. In: a chip, a failing log, a predicate. Out: a `ShrinkResult`. In this order:

1. the log as it is must fail; the end then comes to where the failure shows; channels are silenced that it can do
   without, there or in about as much time again, as a failure of few channels may show after one of many; should that
   not lead to the simplest log, the search begins again without it;
2. channels, memories and registers are silenced as a whole;
3. writes are dropped by delta debugging (`ddmin`), and the end comes closer again;
4. writes move earlier, values are lowered;
5. from 2 again until nothing changes; then pairs of writes, and single writes with more time to fail, are dropped. If
   that helps, from 2 again.

The search is deterministic: with the same verdicts it asks for the same logs in the same order. A search that is
resumed therefore asks for what it knows first, which needs no run, and goes on where it stopped.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from psgmodel.chip.records import Chip
from psgmodel.diagnose.shrinking import passes
from psgmodel.diagnose.shrinking.ddmin import Subset, ddmin
from psgmodel.diagnose.shrinking.judging import (
    BudgetSpent,
    JudgeState,
    Outcome,
    Predicate,
    Recorder,
    ShrinkError,
    Verdict,
    least_distance,
    name_of,
)
from psgmodel.diagnose.shrinking.order import is_simpler
from psgmodel.errors import Place
from psgmodel.reglog.checks import check_log
from psgmodel.reglog.log import RegisterLog

SLACKS = (1, 2, 3, 4, 8, 16, 64, 256, 4096)
"""Cycles from the one in which the failure shows to the end, tried in this order."""

Better = Callable[[RegisterLog, Verdict], None]
"""Is told each log that is the simplest so far."""


@dataclass(frozen=True, slots=True, eq=False)
class ShrinkResult:
    """What a search found.

    Attributes
    ----------
    given, log : RegisterLog
        The log that was given, and the simplest one found that still fails.
    given_verdict, verdict : Verdict
    runs : int
        Runs that were made now.
    known : int
        Runs that were known from before.
    repeated, illegal : int
        Candidates answered from memory, and those that the bus cannot have, which are never run.
    minimal : bool
        No pass finds anything simpler. False where the budget was spent first.
    """

    given: RegisterLog
    log: RegisterLog
    given_verdict: Verdict
    verdict: Verdict
    runs: int
    known: int
    repeated: int
    illegal: int
    minimal: bool


def shrink(
    chip: Chip,
    log: RegisterLog,
    predicate: Predicate,
    *,
    max_runs: int | None = None,
    may_go_on: Callable[[], bool] = lambda: True,
    known: Mapping[str, Verdict] | None = None,
    record: Recorder = lambda name, verdict: None,
    better: Better = lambda log, verdict: None,
) -> ShrinkResult:
    """Find the simplest log that still fails.

    Parameters
    ----------
    chip : Chip
    log : RegisterLog
        Fails. Writes of the result come no closer to each other than the closest of this log.
    predicate : callable
        One run of a simulator; the same log must get the same verdict.
    max_runs : int, optional
        Runs that may be made. Default: any number.
    may_go_on : callable, optional
        Asked before each run, such as whether there is time left; False ends the search.
    known : mapping from name to Verdict, optional
        Runs made before, by `name_of`. The log itself is run again all the same: what was a failure then may have been
        mended since.
    record, better : callable, optional
        Told of each run, and of each log that is the simplest so far, at once; what they were told is what an
        interrupted search leaves behind.

    Returns
    -------
    ShrinkResult

    Raises
    ------
    ShrinkError
        The log does not fail, it fails otherwise than is known, or no run may be made at all.
    RegisterLogError
        The log does not fit the chip.
    """
    check_log(log, chip)
    judge = JudgeState(
        chip,
        predicate,
        distance=least_distance(log),
        max_runs=max_runs,
        may_go_on=may_go_on,
        known={name: verdict for name, verdict in (known or {}).items() if name != name_of(log)},
        record=record,
    )
    try:
        first = judge.judge(log)
    except BudgetSpent:
        raise ShrinkError("the budget allows no run at all", hint="allow 1 or more runs, and some time") from None
    if first.outcome is not Outcome.FAILS:
        raise ShrinkError(f"this log does not fail: {first.text or first.outcome.value}", place=Place(log.source))
    if known and known.get(name_of(log), first) != first:
        then = known[name_of(log)].text
        text = f"the simulator does not answer as it did: then {then}; now {first.text}"
        raise ShrinkError(text, place=Place(log.source), hint="the unit has changed; --anew begins again")
    search = SearchState(chip, log, first, judge, better)
    minimal = True
    try:
        search.run()
    except BudgetSpent:
        minimal = False
    return ShrinkResult(
        log,
        search.best,
        first,
        search.best_verdict,
        judge.runs,
        len(known or {}),
        judge.repeated,
        judge.illegal,
        minimal,
    )


class SearchState:
    """A failing log, the passes over it, and the simplest failing log so far."""

    def __init__(self, chip: Chip, log: RegisterLog, verdict: Verdict, judge: JudgeState, better: Better) -> None:
        self.chip, self.log, self.verdict = chip, log, verdict
        self.best, self.best_verdict = log, verdict
        self._judge, self._better = judge, better
        self._distance, self._given = least_distance(log), log
        self._slack = 0
        better(log, verdict)

    def take(self, candidate: RegisterLog) -> bool:
        """Take a candidate if it is simpler and fails."""
        if not is_simpler(candidate, self.log):
            return False
        verdict = self._judge.judge(candidate)
        if verdict.outcome is not Outcome.FAILS:
            return False
        self.log, self.verdict = candidate, verdict
        if is_simpler(candidate, self.best):
            self.best, self.best_verdict = candidate, verdict
            self._better(candidate, verdict)
        return True

    def current(self) -> RegisterLog:
        """Return the log that the passes are at."""
        return self.log

    def run(self) -> None:
        """Choose a log to begin with, and run the passes over it; over another where that was the better beginning."""
        self.end_sooner()
        self.choose_channels()
        self.run_passes()
        if self.log is not self.best:
            self.log, self.verdict = self.best, self.best_verdict
            self.run_passes()

    def run_passes(self) -> None:
        """Run the passes until none helps."""
        while True:
            before = None
            while before is not self.log:
                before = self.log
                self.silence()
                self.drop()
                self.end_sooner()
                passes.move_earlier(self.chip, self.current, self._distance, self.take)
                self.end_sooner()
                passes.lower_values(self.current, self.take)
                self.end_sooner()
            if not (self.drop_pairs() or self.drop_with_more_time()):
                return

    def end_sooner(self) -> None:
        """Let the log end just after the failure shows; a slack that did once is where the next search begins."""
        if self.verdict.cycle is None:
            return
        for number in range(self._slack, len(SLACKS)):
            end = self.verdict.cycle + SLACKS[number]
            if end >= self.log.end:
                return
            if self.take(self.log.cut(0, end)):
                self._slack = number
                return

    def choose_channels(self) -> None:
        """Go on from the log that was given, without what it can do without for a failure in some more time.

        It may have more writes than the log so far; what comes after has fewer channels to keep.
        """
        base, verdict = self._given.cut(0, self._later_end()), self.verdict
        if base.end == self.log.end:
            return
        for group in passes.channel_groups(self.chip, base):
            rest = passes.only(self.chip, base, passes.elsewhere(self.chip, base, group))
            if len(rest) < len(base) and (found := self._judge.judge(rest)).outcome is Outcome.FAILS:
                base, verdict = rest, found
        if verdict is not self.verdict:
            self.log, self.verdict = base, verdict
            self.end_sooner()

    def _later_end(self) -> int:
        """Return about twice the time to the end, within the log that was given."""
        return min(self._given.end, 2 * self.log.end + 4096)

    def silence(self) -> None:
        """Silence channels, memories and registers as long as one can be."""
        helped = True
        while helped:
            base = self.log
            helped = any(self.take(passes.only(self.chip, base, rest)) for rest in passes.silenced(self.chip, base))

    def drop(self) -> None:
        """Drop writes by delta debugging; through an index port first by pairs, then each write on the bus."""
        base = self.log

        def fails(kept: Subset) -> bool:
            return self.take(passes.only(self.chip, base, kept))

        ddmin(passes.number_of_writes(self.chip, base), fails)
        if self.chip.bus.access == "direct":
            return
        on_bus = self.log

        def fails_on_bus(kept: Subset) -> bool:
            pick = list(kept)
            columns = (on_bus.cycle[pick], on_bus.address[pick], on_bus.value[pick])
            return self.take(passes.with_columns(on_bus, *columns, on_bus.end))

        ddmin(len(on_bus), fails_on_bus)

    def drop_pairs(self) -> bool:
        """Drop two of a few writes; return whether it helped."""
        base = self.log
        rests = passes.pairs(passes.number_of_writes(self.chip, base))
        return any(self.take(passes.only(self.chip, base, rest)) for rest in rests)

    def drop_with_more_time(self) -> bool:
        """Drop one write and let the log end later, as fewer writes are worth more; return whether it helped."""
        base, count = self.log, passes.number_of_writes(self.chip, self.log)
        longer = base.with_end(self._later_end())
        rests = (tuple(i for i in range(count) if i != gone) for gone in range(count))
        return longer.end > base.end and any(self.take(passes.only(self.chip, longer, rest)) for rest in rests)
