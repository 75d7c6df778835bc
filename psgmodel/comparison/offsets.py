"""Offsets: latencies with which what differs would agree, told piece by piece.

Stage: compare. In: what stands around a first difference, then the rest of both sides in pieces. Out: the same as
`psgmodel.comparison.alignment` finds in the whole.
"""

from __future__ import annotations

from collections.abc import Callable

from psgmodel.comparison.alignment import Fit, OffsetChange, likely_latencies, offsets_after
from psgmodel.comparison.kept import Pairs
from psgmodel.comparison.lagging import LaggingState
from psgmodel.steps import Steps


class OffsetState:
    """The latencies that may fit one signal after its first difference.

    Parameters
    ----------
    model, dump : Steps
        Around the difference.
    at : int, clock cycles
        The first difference.
    """

    def __init__(self, model: Steps, dump: Steps, at: int) -> None:
        self._at, self._start = at, model.start
        self._trials: list[tuple[Fit, LaggingState]] = []
        for fit in offsets_after(model, dump, 0, at):
            trial = LaggingState(fit.after)
            begin = model.start if fit.begin is None else fit.begin
            theirs = dump if fit.begin is None else dump.cut(begin + fit.after, dump.end)
            trial.add(model.cut(begin, model.end), theirs)
            self._trials.append((fit, trial))
            if fit.begin is not None:  # nothing that comes can rule it out
                return

    def add(self, model: Steps, dump: Steps) -> None:
        """Add what follows."""
        for _, trial in self._trials:
            trial.add(model, dump)

    def concluded(self, agrees_before: Callable[[int, int], bool]) -> tuple[int | None, OffsetChange | None]:
        """Return the latency with which the signal agrees throughout, or where the latency changed.

        `agrees_before` tells whether the model agrees with itself at a latency, up to a cycle.
        """
        for fit, trial in self._trials:
            if fit.begin is not None:
                return None, OffsetChange(self._at, 0, fit.after, trial.agrees_until, trial.agrees)
            if trial.agrees and trial.changes and (not self._start or agrees_before(fit.after, self._start)):
                return fit.after, None
        return None, None


class ConstantState:
    """The latencies with which all signals agree, from the start of the dump on."""

    def __init__(self, opening: Pairs) -> None:
        self._trials = {
            latency: {name: LaggingState(latency) for name in opening}
            for latency in likely_latencies(list(opening.values()))
            if latency
        }
        self.add(opening)

    def add(self, pairs: Pairs) -> None:
        """Add what follows."""
        for latency, trials in list(self._trials.items()):
            for name, (model, dump) in pairs.items():
                trials[name].add(model, dump)
                if not trials[name].agrees:
                    del self._trials[latency]
                    break

    def found(self) -> int | None:
        """Return the latency with which everything agrees; of several the one that compares most changes."""
        changes = {latency: sum(t.changes for t in trials.values()) for latency, trials in self._trials.items()}
        best = max(changes, key=lambda latency: changes[latency], default=None)
        return best if best is not None and changes[best] else None
