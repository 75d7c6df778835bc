"""Following: one signal of a large dump beside the model's, piece by piece.

Stage: compare. In: pieces of both sides, in order. Out: the `ExactResult` of the whole, and what was kept around the
first difference.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from psgmodel.chip.records import Chip
from psgmodel.comparison.alignment import Pair
from psgmodel.comparison.bits import BitState
from psgmodel.comparison.exact import Divergence, ExactResult, agreement
from psgmodel.comparison.kept import Bounds, KeptState, PastState, StretchState
from psgmodel.comparison.lagging import LaggingState
from psgmodel.comparison.offsets import OffsetState
from psgmodel.comparison.streams import DifferencesState, first_difference, levels_at
from psgmodel.comparison.writes import last_writes
from psgmodel.dump.levels import Observed
from psgmodel.dump.observe import Observation
from psgmodel.engine.run import run_pieces
from psgmodel.engine.state import UnitState
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps

RUN_CYCLES = 2**24
"""How far the model is run at a time where it is run again."""


class SignalState:
    """One signal so far.

    Attributes
    ----------
    at : int or None, clock cycles
        The first difference.
    levels : (int, int or None)
        Those of model and dump there.
    kept : KeptState or None
        Both sides around it.
    since : UnitState or None
        The unit before the piece in which it lies; None: reset.
    bits : BitState
    result : ExactResult or None
        As if both sides agreed, of the cycles so far; None before the first piece.
    """

    def __init__(self, bounds: Bounds) -> None:
        self.at: int | None = None
        self.levels: tuple[int, int | None] = (0, None)
        self.kept: KeptState | None = None
        self.since: UnitState | None = None
        self.bits = BitState()
        self._bounds, self._past = bounds, PastState(bounds)
        self._differences = DifferencesState()
        self._offset: OffsetState | None = None
        self.result: ExactResult | None = None
        self._last: tuple[int, int, bool] = (0, 0, False)

    def add(self, observed: Observed, model: Steps, since: UnitState | None, opening: StretchState | None) -> Pair:
        """Add a piece.

        Parameters
        ----------
        observed : Observed
        model : Steps
        since : UnitState or None
            The unit before the piece; None: reset.
        opening : StretchState or None
            Both sides from the start of the dump up to the piece, as long as they are known.

        Returns
        -------
        (Steps, Steps)
            Model and dump; one object where they agree.
        """
        dump = observed.steps
        at = first_difference(model, dump)
        self._take(agreement(observed, model, dump), model, dump)
        if at is None:
            self._differences.close()
            self.bits.add_equal(dump)
            dump = model
        else:
            self._differences.add(model, dump)
            self.bits.add(model, dump)
        if self.at is not None:
            self._keep(model, dump)
        elif at is None:
            self._past.add(model)
        else:
            self.at, self.levels, self.since = at, (int(model.at(at)), levels_at(dump, at)), since
            self.kept = KeptState(at, self._bounds)
            pairs = opening.pairs() if opening is not None else {}
            if observed.name in pairs:
                self.kept.add(
                    *(side.then(rest) for side, rest in zip(pairs[observed.name], (model, dump), strict=True))
                )
            else:
                self.kept.add(*self._past.before(model, dump, at))
            self._look_beyond(model, dump)
        return model, dump

    def concluded(self, chip: Chip, log: RegisterLog, dump: Observation, *, follows: bool) -> ExactResult:
        """Return the result; `log` is what the model followed, `follows` whether the output follows the channels."""
        assert self.result is not None
        if self.at is None or self.kept is None:
            return self.result
        if self._offset is None and self.levels[1] is not None:
            self._offset = OffsetState(*self.kept.sides(), self.at)

        agrees_at, change = None, None
        if self._offset is not None:
            agrees_at, change = self._offset.concluded(_agrees_with_itself(chip, log, self.result.name))
        return replace(
            self.result,
            divergence=Divergence(self.at, float(self.at / chip.clock_hz), dump.time_of(self.at), *self.levels),
            differences=self._differences.counted(),
            offset_change=change,
            agrees_at=agrees_at,
            writes=last_writes(chip, log, self.result.name, self.at),
            follows_channels=follows,
        )

    def _take(self, found: ExactResult, model: Steps, dump: Steps) -> None:
        """Merge what is known of a piece with what is known of those before."""
        before, unknown = self.result, dump.unknown_mask()
        if before is not None:
            quiet = before.constant and found.constant
            quiet = quiet and self._last == (int(model.level[0]), int(dump.level[0]), bool(unknown[0]))
            silent = before.unknown_throughout and found.unknown_throughout
            found = replace(found, start=before.start, constant=quiet, unknown_throughout=silent)
        self.result = found
        self._last = (int(model.level[-1]), int(dump.level[-1]), bool(unknown[-1]))

    def _keep(self, model: Steps, dump: Steps) -> None:
        assert self.kept is not None
        if not self.kept.full:
            self.kept.add(model, dump)
            self._look_beyond(model, dump)
        elif self._offset is not None:
            self._offset.add(model, dump)

    def _look_beyond(self, model: Steps, dump: Steps) -> None:
        """Ask for offsets as soon as enough is kept; the rest of the piece is what follows."""
        assert self.kept is not None
        if not self.kept.full or self.levels[1] is None:
            return
        self._offset = OffsetState(*self.kept.sides(), self.kept.at)
        end = self.kept.end
        if end < model.end:
            self._offset.add(model.cut(end, model.end), dump.cut(end, dump.end))


def _agrees_with_itself(chip: Chip, log: RegisterLog, name: str) -> Callable[[int, int], bool]:
    """Return what tells whether a signal of the model, moved by a latency, is the same up to a cycle."""

    def agrees(latency: int, until: int) -> bool:
        trial = LaggingState(latency)
        end = until + abs(latency)
        for trace in run_pieces(chip, log.with_end(max(end, log.end)), RUN_CYCLES, end=end):
            trial.add(trace[name], trace[name])
            if not trial.agrees:
                return False
        return True

    return agrees
