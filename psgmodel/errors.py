"""Errors: one root class, one subclass per kind of input, each problem with its place.

Stage: the ground floor. A problem says where it stands, what was found, what would have been accepted,
and a cheap hint. Readers collect every problem of a file and raise one error that holds them all.
Library code raises; only `cli` prints.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Place:
    """Where a problem stands in an input.

    Attributes
    ----------
    file : str
        Name of the file as the user gave it; "-" for standard input.
    line, column : int or None
        Counted from 1.
    byte : int or None
        Offset from the start of the (uncompressed) file, counted from 0.
    """

    file: str
    line: int | None = None
    column: int | None = None
    byte: int | None = None

    def __str__(self) -> str:
        text = self.file
        if self.line is not None:
            text += f":{self.line}"
            if self.column is not None:
                text += f":{self.column}"
        if self.byte is not None:
            text += f" (byte {self.byte})"
        return text


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with an input: the message, its place, and a hint (may be empty)."""

    message: str
    place: Place | None = None
    hint: str = ""

    def __str__(self) -> str:
        """Return the problem as one line; what cannot be printed, such as a line break in a name, is escaped."""
        text = f"{self.place}: {self.message}" if self.place else self.message
        text = f"{text} ({self.hint})" if self.hint else text
        return text if text.isprintable() else "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


class PsgmodelError(Exception):
    """Root of every error this package raises on purpose.

    Attributes
    ----------
    problems : tuple of Problem
        At least one; ``str(error)`` has one line for each.
    """

    def __init__(
        self, message: str | Problem | Sequence[Problem], *, place: Place | None = None, hint: str = ""
    ) -> None:
        if isinstance(message, str):
            self.problems: tuple[Problem, ...] = (Problem(message, place, hint),)
        elif isinstance(message, Problem):
            self.problems = (message,)
        else:
            self.problems = tuple(message)
        super().__init__("\n".join(str(p) for p in self.problems))


class StepsError(PsgmodelError):
    """A signal that is not a piecewise-constant signal, or used outside what it covers."""


class ChipError(PsgmodelError):
    """A chip description that cannot be used."""


class RegisterLogError(PsgmodelError):
    """A register log that cannot be used, or does not fit the chip."""


class EngineError(PsgmodelError):
    """A run that cannot be made, or a saved state that does not fit the chip."""


class AudioError(PsgmodelError):
    """Audio that cannot be rendered, written, read or played."""


class DumpError(PsgmodelError):
    """A simulation dump that cannot be read.

    Attributes
    ----------
    last_good_time : int or None
        Last time stamp (in dump time units) whose changes were complete before the fault.
    """

    def __init__(
        self,
        message: str | Problem | Sequence[Problem],
        *,
        place: Place | None = None,
        hint: str = "",
        last_good_time: int | None = None,
    ) -> None:
        super().__init__(message, place=place, hint=hint)
        self.last_good_time = last_good_time


class MapError(PsgmodelError):
    """A signal map that cannot be used, or names signals the dump does not have."""


class CompareError(PsgmodelError):
    """A comparison whose two sides cannot be put beside each other."""


class StageError(PsgmodelError):
    """An output-stage description, network or part value that cannot be used."""


class StimulusError(PsgmodelError):
    """A stimulus that cannot be made, or cannot be exported to a test bench."""


class CoverageError(PsgmodelError):
    """Saved coverage that cannot be read, or is of another chip."""


class OutputError(PsgmodelError):
    """A result that cannot be written."""


LONGEST_WORD = 80
"""Longer words are compared with nothing: that would take the square of their length."""


def listed(words: Iterable[str], most: int = 20) -> str:
    """Return words with commas between, the first ones where there are many; ``none`` where there are none."""
    known = list(words)
    more = f" and {len(known) - most} more" if len(known) > most else ""
    return f"{', '.join(known[:most])}{more}" if known else "none"


def nearest(word: str, known: Iterable[str]) -> str:
    """Return ``'did you mean "x"?'`` for the nearest of `known`, or an empty string."""
    options = [k for k in known if len(k) <= LONGEST_WORD] if len(word) <= LONGEST_WORD else []
    close = difflib.get_close_matches(word, options, n=1, cutoff=0.6)
    if not close:
        folded = {k.lower(): k for k in options}
        close = [folded[c] for c in difflib.get_close_matches(word.lower(), folded, n=1, cutoff=0.6)]
    return f'did you mean "{close[0]}"?' if close else ""
