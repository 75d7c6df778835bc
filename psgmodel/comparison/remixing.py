"""Remixing: whether outputs differ only because a channel does, told piece by piece.

Stage: compare. In: pieces of the dump, what the model makes of each. Out: the outputs that equal, from start to end,
what the model's mixer makes of the dump's own channels.
"""

from __future__ import annotations

from psgmodel.chip.records import Chip
from psgmodel.comparison.kept import Pairs
from psgmodel.comparison.remix import can_be_mixed, mixed_from
from psgmodel.comparison.streams import first_difference
from psgmodel.dump.levels import Kind, Piece
from psgmodel.engine.state import UnitState
from psgmodel.reglog.log import RegisterLog


class RemixState:
    """The outputs that have followed the dump's channels so far.

    Invariant: `_pipelines` are the output registers of the mixer that is fed with the dump's channels, where they are
    others than the model's.
    """

    def __init__(self, chip: Chip, outputs: list[str]) -> None:
        self._chip, self.following = chip, set(outputs)
        self._pipelines: dict[str, list[int]] | None = None

    def add(self, piece: Piece, pairs: Pairs, state: UnitState, log: RegisterLog) -> None:
        """Add a piece, with the model's state just before it; in `pairs` the sides that agree are one object."""
        if not self.following:
            return
        channels = {s.name: s.steps for s in piece.signals if s.kind is Kind.CHANNEL}
        if not can_be_mixed(self._chip, channels, piece.start):
            self.following.clear()
            return
        if self._pipelines is None and all(pairs[name][0] is pairs[name][1] for name in channels):
            self.following = {name for name in self.following if pairs[name][0] is pairs[name][1]}
            return
        pipelines = {**state.outputs, **(self._pipelines or {})}
        names = sorted(self.following)
        mixed = mixed_from(self._chip, log, channels, names, state, pipelines)
        self.following = {n for n in names if first_difference(mixed[n][0], pairs[n][1]) is None}
        self._pipelines = {name: mixed[name][1] for name in self.following}

    def settle(self, after: UnitState) -> None:
        """Take the model's output registers again, where they are the same after a piece."""
        if self._pipelines is not None and all(after.outputs[n] == codes for n, codes in self._pipelines.items()):
            self._pipelines = None
