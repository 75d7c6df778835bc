"""A dump as a stream of settled changes, bounded in memory whatever the size of the file.

Stage: dump. In: a path, "-" or a binary stream, and a `Selection`. Out: blocks of change lists, one list a
signal. Times are in dump time units. A block holds only times that are over: everything that the dump
says about them is in this block or an earlier one.

- Of several changes of one signal at one time the last one counts; `Dump.notes` says how many there were.
- Changes that change nothing are left out, so neighbours in a list differ.
- Values that stand before the first time stamp are taken as standing from time 0.

The end of the file: simulators end it with a line end. A dump without a final line end is taken when its last
token is complete as the grammar goes: a time stamp with digits, a change with a declared code, a
keyword that closes. Otherwise, and when a comment or a ``$dump...`` section is still open, it is cut: a
`DumpError`. A dump that is cut exactly between lines cannot be told from a shorter one; so compare `Dump.end_time`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from psgmodel.dump.body import BodyState, cut_error
from psgmodel.dump.codes import NOT_KEPT, CodeTable
from psgmodel.dump.header import Header, Timescale, parse_header
from psgmodel.dump.select import Selection, choose, one_path
from psgmodel.dump.settle import Changes, SettleState, settle
from psgmodel.dump.source import CHUNK_BYTES, ByteSource, CutStreamError, DumpSource, shown
from psgmodel.dump.tokens import scan
from psgmodel.errors import DumpError, Place, Problem

MIN_TOKEN_LIMIT = 2**20
"""A longer run of bytes without a blank is no value of any signal declared (in bytes)."""


class Dump:
    """An opened dump: the header is read, the body can be streamed once.

    Use it in a ``with`` statement.

    Parameters
    ----------
    source : path, str or binary stream
        "-" is standard input; gzip is recognised by its first bytes.
    chunk_bytes : int, bytes
        How much is read at a time. The result does not depend on it.

    Attributes
    ----------
    header : Header
    first_time, end_time : int or None, dump time units
        First and last time stamp; None before the body was read, or where it has none.
    notes : tuple of Problem
        What was tolerated so far.
    settled : int or None, dump time units
        All changes before this time were given in blocks; None before the body and after its end.

    Raises
    ------
    DumpError
        The file cannot be opened, or its header cannot be read.
    """

    def __init__(self, source: DumpSource, *, chunk_bytes: int = CHUNK_BYTES) -> None:
        self._source = ByteSource(source, chunk_bytes)
        try:
            self.header, self._begin = parse_header(self._source)
        except BaseException:
            self._source.close()
            raise
        self.first_time: int | None = None
        self.end_time: int | None = None
        self.notes = self.header.notes
        self.settled: int | None = None
        self._started = False

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._source.close()

    def place(self) -> Place:
        """Return the place that stands for the whole dump."""
        return Place(self.header.file)

    def blocks(self, selection: Selection) -> Iterator[tuple[Changes, ...]]:
        """Stream the body: blocks of change lists, one list for each signal of `selection`.

        Raises
        ------
        DumpError
            The body is cut or broken; with place and `last_good_time`. Or it was streamed before.
        """
        if self._started:
            raise DumpError("the body of a dump can be read once; open it again", place=self.place())
        self._started = True
        codes = selection.codes()
        table, widths = self._slots(codes, selection)
        longest = max((v.width for v in self.header.variables), default=0)
        state = BodyState(
            self.header.file, self._begin.byte, self._begin.line, token_limit=max(MIN_TOKEN_LIMIT, 2 * longest)
        )
        settling = SettleState.for_signals(selection.signals, codes)
        data = self._begin.ahead or self._next(state)
        while data:
            kept = scan(state, data, table, widths)
            self.settled = state.time or 0
            yield settle(settling, kept, state.time)
            data = self._next(state)
        unended = bool(state.rest)
        if unended:
            kept = scan(state, b"\n", table, widths, last=True)
            self.settled = state.time or 0
            yield settle(settling, kept, state.time)
        _refuse_cut(state)
        settled = settle(settling, None, None)
        self.settled = None
        self.first_time, self.end_time = state.first_time, state.time
        self.notes += _body_notes(state, settling, unended=unended)
        yield settled

    def _slots(self, codes: list[bytes], selection: Selection) -> tuple[CodeTable, NDArray[np.int64]]:
        width_of = {part.code: part.width for signal in selection.signals for part in signal.parts}
        slot_of = {variable.code: NOT_KEPT for variable in self.header.variables}
        slot_of.update({code: slot for slot, code in enumerate(codes)})
        return CodeTable(slot_of), np.array([width_of[code] for code in codes], dtype=np.int64)

    def _next(self, state: BodyState) -> bytes:
        try:
            return self._source.read()
        except CutStreamError as error:
            place = Place(state.file, line=state.line, byte=state.byte + len(state.rest))
            raise cut_error(str(error), place, state.before) from error


def _refuse_cut(state: BodyState) -> None:
    """Raise where the end of the file leaves something open."""
    place = Place(state.file, line=state.line, byte=state.byte)
    if state.rest:
        value = shown(state.rest.strip())
        raise cut_error(f'the dump ends behind the value "{value}", without its code', place, state.before)
    for opened in (state.comment, state.section):
        if opened is not None:
            message = f"the dump ends within {opened.keyword}"
            raise cut_error(message, place, state.before, f"opened at {opened.place}")


def _body_notes(state: BodyState, settling: SettleState, *, unended: bool) -> tuple[Problem, ...]:
    notes: list[Problem] = []
    if settling.several:
        first = Place(state.file, byte=settling.several_byte)
        message = f"{settling.several} changes were followed by another of the same signal at the same time"
        notes.append(Problem(message, first, "the last one counts"))
    if unended:
        place = Place(state.file, line=state.line, byte=state.byte)
        notes.append(Problem("the last line has no line end", place, "the dump may be cut"))
    return tuple(notes)


@dataclass(frozen=True, slots=True)
class DumpChanges:
    """Change lists of chosen signals, whole.

    Attributes
    ----------
    file : str
    timescale : Timescale or None
    signals : mapping of str to Changes
        By full path, in the order asked for.
    asked : mapping of str to tuple of str
        The paths that each name asked for stands for.
    first_time, end_time : int or None, dump time units
        First and last time stamp of the dump; None where it has none.
    notes : tuple of Problem
        What was tolerated, with places.
    """

    file: str
    timescale: Timescale | None
    signals: Mapping[str, Changes]
    asked: Mapping[str, tuple[str, ...]]
    first_time: int | None
    end_time: int | None
    notes: tuple[Problem, ...]

    def __getitem__(self, name: str) -> Changes:
        """Return the signal that a name stands for: as asked for, a full path, or the end of one.

        Raises
        ------
        DumpError
            The name stands for no signal that was read, or for several.
        """
        return self.signals[one_path(name, self.signals, self.asked, self.file)]


def read_header(source: DumpSource) -> Header:
    """Read the declarations of a dump; the body is not read.

    Raises
    ------
    DumpError
        The file cannot be opened, or its header cannot be read.
    """
    with Dump(source) as dump:
        return dump.header


def read_changes(source: DumpSource, names: Iterable[str], *, chunk_bytes: int = CHUNK_BYTES) -> DumpChanges:
    """Read the change lists of chosen signals.

    Parameters
    ----------
    source : path, str or binary stream
    names : iterable of str
        See `choose`.
    chunk_bytes : int, bytes

    Returns
    -------
    DumpChanges

    Raises
    ------
    DumpError
        The dump cannot be read, or a name does not stand for one signal.
    """
    with Dump(source, chunk_bytes=chunk_bytes) as dump:
        selection = choose(dump.header, names)
        blocks = list(dump.blocks(selection))
        signals = {
            signal.path: Changes(*(np.concatenate(column) for column in zip(*lists, strict=True)))
            for signal, lists in zip(selection.signals, zip(*blocks, strict=True), strict=True)
        }
        return DumpChanges(
            file=dump.header.file,
            timescale=dump.header.timescale,
            signals=signals,
            asked=selection.paths_asked(),
            first_time=dump.first_time,
            end_time=dump.end_time,
            notes=dump.notes,
        )
