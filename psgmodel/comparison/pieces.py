"""Comparing in pieces: whether a dump of any size agrees with the specification, in bounded memory.

Stage: compare. In: a chip, a dump that is large. Out: the same `Comparison` as in one go, where the two sides agree to
the cycle; nothing where they do not, or where more is asked than a piece can tell: then the dump is read again, whole.

The levels of the dump come piece by piece, the model is run as far as each, and both are forgotten. Writes are kept.
"""

from __future__ import annotations

import os
from dataclasses import replace

from psgmodel.chip.records import Chip
from psgmodel.comparison.concluding import concluded, note_past_log, owned
from psgmodel.comparison.exact import ExactResult, agreement
from psgmodel.comparison.streams import first_difference
from psgmodel.comparison.verdict import Comparison, SignalResult
from psgmodel.dump.observe import Kind, Observation, Piece, observe
from psgmodel.dump.signal_map import SignalMap
from psgmodel.dump.source import DumpSource
from psgmodel.engine.run import run
from psgmodel.engine.state import UnitState
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps

LARGE_BYTES = 2**26
"""Size from which on a dump is large; a gzip-compressed one is taken to hold ten times as much."""


class _Departed(Exception):
    """The sides differ, or cannot be compared in pieces; ends the reading and never leaves this module."""


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
    piece_entries: int | None = None,
) -> Comparison | None:
    """Compare a dump with the specification to the cycle, at latency 0.

    Parameters and errors are those of `psgmodel.comparison.compare`; `piece_entries` is that of `observe`.

    Returns
    -------
    Comparison or None
        None where the levels do not agree, or the dump holds pins, strobes, recordings or a second reset.
    """
    if signal_map is not None and signal_map.recordings:
        return None
    following = _FollowingState(chip, log)
    more = {} if piece_entries is None else {"piece_entries": piece_entries}
    try:
        dump = observe(source, chip, signal_map, need_bus=log is None, each=following.follow, **more)
    except _Departed:
        return None
    if dump.end != following.end or not following.agreed:
        return None
    return following.concluded(dump, whole)


class _FollowingState:
    """The model, run as far as the dump was read, and what agreed so far."""

    def __init__(self, chip: Chip, log: RegisterLog | None) -> None:
        self.chip, self.log = chip, log
        self.state: UnitState | None = None
        self.end = 0
        self.agreed: dict[str, ExactResult] = {}
        self._last: dict[str, Steps] = {}

    def follow(self, piece: Piece) -> None:
        """Compare one piece."""
        followed = self.log if piece.log is None else owned(self.chip, piece.log, [])
        if followed is None or any(s.kind is Kind.PIN or s.strobes is not None for s in piece.signals):
            raise _Departed
        trace = run(self.chip, followed.with_end(piece.end), state=self.state)
        for s in piece.signals:
            model = trace[s.name]
            if first_difference(model, s.steps) is not None:
                raise _Departed
            found = agreement(s, model, s.steps)
            before = self.agreed.get(s.name)
            if before is not None:
                quiet = before.constant and found.constant and model.level[0] == self._last[s.name].level[-1]
                found = replace(found, start=before.start, constant=bool(quiet))
            self.agreed[s.name], self._last[s.name] = found, model.cut(piece.end - 1, piece.end)
        self.state, self.end = trace.state, piece.end

    def concluded(self, dump: Observation, whole: bool) -> Comparison:
        """Return the verdict."""
        notes = [str(note) for note in dump.notes]
        followed = self.log if dump.log is None else owned(self.chip, dump.log, notes)
        if followed is not None:
            note_past_log(dump, followed, notes)
        signals = tuple(SignalResult(r.name, r.kind.value, r.path, "exact", r, None) for r in self.agreed.values())
        return concluded(self.chip, dump, signals, self.log, followed, self.end, notes, judge="exact", whole=whole)
