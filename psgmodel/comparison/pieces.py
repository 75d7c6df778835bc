"""Comparing in pieces: a dump of any size against the specification, in bounded memory.

Stage: compare. In: a chip, a dump that is large. Out: a `Comparison`; nothing where more is asked than a piece can
tell: then the dump is read again, whole.

The levels of the dump come piece by piece, the model is run as far as each, and both are forgotten. Writes are kept.
Whatever is told of every cycle (where signals differ first, for how many cycles, at which latency they would agree,
which outputs follow a channel) is that of the whole, to the cycle. What needs samples (the sound, the kind of the
difference, its block) rests on a stretch around the first difference, which is kept; `Comparison.notes` says which.
"""

from __future__ import annotations

import os
from dataclasses import replace

from psgmodel.chip.records import Chip
from psgmodel.comparison.concluding import owned
from psgmodel.comparison.departed import FollowedDump, InPieces, concluded_in_pieces
from psgmodel.comparison.following import SignalState
from psgmodel.comparison.kept import Bounds, Pairs, StretchState
from psgmodel.comparison.offsets import ConstantState
from psgmodel.comparison.options import SpectralOptions
from psgmodel.comparison.remixing import RemixState
from psgmodel.dump.levels import PIECE_ENTRIES
from psgmodel.dump.observe import Kind, Piece, observe
from psgmodel.dump.signal_map import SignalMap
from psgmodel.dump.source import DumpSource
from psgmodel.engine.run import run
from psgmodel.engine.state import UnitState, reset_state
from psgmodel.reglog.log import RegisterLog

LARGE_BYTES = 2**26
"""Size from which on a dump is large; a gzip-compressed one is taken to hold ten times as much."""

SPAN_CYCLES = 2**23
"""How far the model is run at a time: a dump that is silent says nothing of how much the model has to say."""


class _NotInPiecesError(Exception):
    """The dump cannot be compared in pieces; ends the reading and never leaves this module."""


def is_large(path: object) -> bool:
    """Tell whether a dump is a file that is better compared in pieces."""
    if not isinstance(path, (str, os.PathLike)) or not os.path.isfile(path):
        return False
    with open(path, "rb") as file:
        packed = file.read(2) == b"\x1f\x8b"
    return os.path.getsize(path) * (10 if packed else 1) >= LARGE_BYTES


def compare_in_pieces(
    chip: Chip,
    source: DumpSource,
    *,
    log: RegisterLog | None = None,
    signal_map: SignalMap | None = None,
    whole: bool = False,
    options: SpectralOptions | None = None,
    piece_entries: int = PIECE_ENTRIES,
    bounds: Bounds | None = None,
) -> InPieces | None:
    """Compare a dump with the specification to the cycle, at latency 0.

    Parameters and errors are those of `psgmodel.comparison.compare`; `piece_entries` is that of `observe`, `bounds` is
    how much of a dump that differs is kept.

    Returns
    -------
    InPieces or None
        None where the dump holds pins, strobes, recordings or a second reset.
    """
    if signal_map is not None and signal_map.recordings:
        return None
    following = _FollowingState(chip, log, bounds or Bounds())
    try:
        dump = observe(
            source, chip, signal_map, need_bus=log is None, each=following.follow, piece_entries=piece_entries
        )
    except _NotInPiecesError:
        return None
    if dump.end != following.end or not following.signals:
        return None
    followed = FollowedDump(
        dump,
        following.signals,
        following.opening if following.is_early else None,
        following.around,
        following.constant.found() if following.constant is not None else None,
        frozenset() if following.remix is None else frozenset(following.remix.following),
    )
    return concluded_in_pieces(chip, log, followed, bounds or Bounds(), options or SpectralOptions(), whole=whole)


class _FollowingState:
    """The model, run as far as the dump was read, and what is known so far.

    Attributes
    ----------
    opening : StretchState or None
        Both sides from the start on, until there is enough of them; None: not needed any more.
    around : StretchState or None
        Both sides from before the first difference on.
    is_early : bool
        `opening` reaches as far as `around` begins.
    constant : ConstantState or None
        None: the opening is not complete.
    """

    def __init__(self, chip: Chip, log: RegisterLog | None, bounds: Bounds) -> None:
        self.signals: dict[str, SignalState] = {}
        self.opening: StretchState | None = StretchState(0, bounds.opening)
        self.around: StretchState | None = None
        self.constant: ConstantState | None = None
        self.remix: RemixState | None = None
        self.is_early = True
        self.end = 0
        self._chip, self._log, self._bounds = chip, log, bounds
        self._state: UnitState | None = None

    def follow(self, piece: Piece) -> None:
        """Compare one piece."""
        log = self._log if piece.log is None else owned(self._chip, piece.log, [])
        if log is None or any(s.kind is Kind.PIN or s.strobes is not None for s in piece.signals):
            raise _NotInPiecesError
        if self.remix is None:
            self.signals = {s.name: SignalState(self._bounds) for s in piece.signals}
            self.remix = RemixState(self._chip, [s.name for s in piece.signals if s.kind is Kind.OUTPUT])
        for start in range(piece.start, piece.end, SPAN_CYCLES):
            end = min(start + SPAN_CYCLES, piece.end)
            signals = tuple(replace(s, steps=s.steps.cut(start, end)) for s in piece.signals)
            part = log.cut(start - self._chip.bus.write_latency, end).with_end(end)
            self._follow_span(Piece(start, end, signals, part), part, self.remix)

    def _follow_span(self, span: Piece, log: RegisterLog, remix: RemixState) -> None:
        trace = run(self._chip, log, state=self._state)
        opening = self.opening if self.opening is not None and not self.opening.full else None
        pairs = {s.name: self.signals[s.name].add(s, trace[s.name], self._state, opening) for s in span.signals}
        remix.add(span, pairs, reset_state(self._chip) if self._state is None else self._state, log)
        remix.settle(trace.state)
        if self.around is None and any(s.at is not None for s in self.signals.values()):
            self.is_early = opening is not None
            self.around = self._stretch_around(pairs, span.start)
        if self.around is not None:
            self.around.add(pairs)
        self._open(pairs, span.end)
        self._state, self.end = trace.state, span.end

    def _stretch_around(self, pairs: Pairs, start: int) -> StretchState:
        """Return what gathers both sides from before the first difference on; all from the start on, if it is early."""
        bounds = self._bounds
        at = min(s.at for s in self.signals.values() if s.at is not None)
        begin = start if self.is_early else max(start, at - bounds.past_cycles)
        before = sum(len(side.cut(begin, at)) for pair in pairs.values() for side in pair)
        return StretchState(begin, before + bounds.around_entries, at - begin + bounds.around)

    def _open(self, pairs: Pairs, end: int) -> None:
        if self.constant is not None:
            self.constant.add(pairs)
        elif self.opening is not None:
            self.opening.add(pairs)
            if not self.opening.full:
                return
            self.constant, begin = ConstantState(self.opening.pairs()), self.opening.end
            if begin < end:
                self.constant.add({n: (m.cut(begin, end), d.cut(begin, end)) for n, (m, d) in pairs.items()})
            if self.around is None:
                self.opening = None
