"""The declarations of a dump: timescale, scopes, variables (IEEE 1364-2005, 18.2.1 to 18.2.3).

Stage: dump. In: the bytes up to ``$enddefinitions $end``. Out: a frozen `Header`. Reading it costs nothing of
the body, however long that is. Times are in the dump's own unit; `Timescale` says what that is, exactly.

What is tolerated beyond the standard: scope and variable types of later standards and of tools, unknown
``$keyword ... $end`` groups (each gives a note), an empty scope name (left out of paths), blanks inside names.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import Literal, NamedTuple, get_args

from psgmodel.dump.header_words import WordState
from psgmodel.dump.source import ByteSource, shown
from psgmodel.errors import DumpError, Place, Problem, nearest

TimeUnit = Literal["s", "ms", "us", "ns", "ps", "fs"]

NO_LEVEL_KINDS = frozenset({"real", "realtime", "shortreal", "real_parameter", "event", "string"})
"""Variable types whose changes are no levels of bits; such a variable cannot be chosen."""

DEEPEST_SCOPE, LONGEST_SCOPE_NAME = 256, 1024
"""Bounds of a hierarchy: full names would else take the square of the size of the file."""
_TIMESCALE = re.compile(r"(1|10|100)(s|ms|us|ns|ps|fs)")
_RANGE = re.compile(r"\[(-?\d{1,9})(?::(-?\d{1,9}))?\]")
_NAME_WITH_RANGE = re.compile(r"(?s)(.+?)\s*\[(-?\d{1,9})(?::(-?\d{1,9}))?\]")
_CODE = re.compile(rb"[!-~]+")


class Timescale(NamedTuple):
    """Length of one dump time unit: `magnitude` (1, 10 or 100) times `unit`."""

    magnitude: int
    unit: TimeUnit

    @property
    def seconds(self) -> Fraction:
        """Length of one dump time unit in seconds, exact."""
        return self.magnitude * Fraction(1, 1000 ** get_args(TimeUnit).index(self.unit))

    def __str__(self) -> str:
        return f"{self.magnitude} {self.unit}"


@dataclass(frozen=True, slots=True)
class Variable:
    """One ``$var`` declaration.

    Attributes
    ----------
    scope : tuple of str
        Names of the enclosing scopes, outermost first.
    name : str
        Name without its bit range; an escaped name keeps its dots, brackets and leading backslash.
    kind : str
        Variable type as written: wire, reg, logic, ...
    width : int, bits
    code : bytes
        The identifier code; variables that share one are the same signal.
    msb, lsb : int or None
        The bit range after the name; equal for a single bit; None where none was written.
    place : Place
        Where the declaration stands.
    """

    scope: tuple[str, ...]
    name: str
    kind: str
    width: int
    code: bytes
    msb: int | None
    lsb: int | None
    place: Place

    @property
    def path(self) -> str:
        """Scope names and name joined by dots, without the bit range."""
        return ".".join((*self.scope, self.name))

    @property
    def range_text(self) -> str:
        """The bit range as written after a name: "[7:0]", "[3]" or nothing."""
        if self.msb is None:
            return ""
        return f"[{self.msb}]" if self.msb == self.lsb and self.width == 1 else f"[{self.msb}:{self.lsb}]"


@dataclass(frozen=True)
class Header:
    """What a dump declares.

    Attributes
    ----------
    file : str
        Name of the file as given; "-" for standard input.
    timescale : Timescale or None
        None where the dump states none.
    variables : tuple of Variable
        In the order of the file.
    date, version : str
        Text of those declarations; empty where missing.
    notes : tuple of Problem
        What was tolerated, with its place.
    """

    file: str
    timescale: Timescale | None
    variables: tuple[Variable, ...]
    date: str
    version: str
    notes: tuple[Problem, ...]

    @cached_property
    def by_path(self) -> dict[str, list[Variable]]:
        """The variables of each path; several where a vector stands in pieces, or several share a name."""
        found: dict[str, list[Variable]] = {}
        for variable in self.variables:
            found.setdefault(variable.path, []).append(variable)
        return found

    @cached_property
    def by_code(self) -> dict[bytes, list[Variable]]:
        """The variables of each identifier code."""
        found: dict[bytes, list[Variable]] = {}
        for variable in self.variables:
            found.setdefault(variable.code, []).append(variable)
        return found


class HeaderEnd(NamedTuple):
    """Where the body begins: bytes read ahead, their offset in the dump, and the line they begin in."""

    ahead: bytes
    byte: int
    line: int


@dataclass(slots=True)
class HeaderState:
    """What was declared so far, and the words still to come."""

    words: WordState
    scope: list[str] = field(default_factory=list)
    variables: list[Variable] = field(default_factory=list)
    timescale: Timescale | None = None
    texts: dict[str, str] = field(default_factory=dict)
    notes: list[Problem] = field(default_factory=list)


def parse_header(source: ByteSource) -> tuple[Header, HeaderEnd]:
    """Read the declarations from the start of a dump.

    Returns
    -------
    Header, HeaderEnd

    Raises
    ------
    DumpError
        The file is empty, is no value change dump, is cut within the header, or declares something
        that cannot be understood. `last_good_time` is None.
    """
    words = WordState(source)
    state = HeaderState(words)
    while (token := words.take()) != b"$enddefinitions":
        if token is None:
            raise _no_end(state)
        if not token.startswith(b"$"):
            raise _no_keyword(state, token)
        _declare(state, token.decode("ascii", "backslashreplace"))
    if words.take() != b"$end":
        raise DumpError("$enddefinitions is not closed by $end", place=words.place())
    header = Header(
        source.name,
        state.timescale,
        tuple(state.variables),
        state.texts.get("$date", ""),
        state.texts.get("$version", ""),
        tuple(state.notes),
    )
    line = words.line + words.buffer.count(b"\n", words.line_at, words.at)
    return header, HeaderEnd(words.buffer[words.at :], words.byte + words.at, line)


def _declare(state: HeaderState, keyword: str) -> None:
    place = state.words.place()
    words = state.words.group(keyword)
    if keyword == "$var":
        state.variables.append(_variable(tuple(state.scope), words, place))
    elif keyword == "$scope":
        if not words:
            raise DumpError("$scope without a type; expected: $scope type name $end", place=place)
        name = " ".join(words[1:])
        if len(state.scope) >= DEEPEST_SCOPE or len(name) > LONGEST_SCOPE_NAME:
            wanted = f"accepted: {DEEPEST_SCOPE} scopes within one another, names of {LONGEST_SCOPE_NAME} characters"
            raise DumpError(
                f"a scope within {len(state.scope)} others, its name {len(name)} long; {wanted}", place=place
            )
        state.scope.append(name)
    elif keyword == "$upscope":
        if not state.scope:
            raise DumpError("$upscope where no scope is open", place=place)
        state.scope.pop()
    elif keyword == "$timescale":
        _set_timescale(state, words, place)
    elif keyword in ("$date", "$version"):
        state.texts[keyword] = " ".join(words)
    elif keyword in ("$dumpvars", "$dumpall", "$dumpon", "$dumpoff", "$end"):
        raise DumpError(f"{keyword} before $enddefinitions", place=place, hint="the header has no end")
    elif keyword != "$comment":
        state.notes.append(Problem(f"unknown declaration {keyword} left out", place))


def _set_timescale(state: HeaderState, words: list[str], place: Place) -> None:
    found = _TIMESCALE.fullmatch("".join(words))
    if not found:
        raise DumpError(
            f'timescale "{" ".join(words)}"; expected 1, 10 or 100 and one of s, ms, us, ns, ps, fs', place=place
        )
    unit = next(u for u in get_args(TimeUnit) if u == found.group(2))
    scale = Timescale(int(found.group(1)), unit)
    if state.timescale not in (None, scale):
        raise DumpError(f"a second timescale, {scale}, after {state.timescale}", place=place)
    state.timescale = scale


def _variable(scope: tuple[str, ...], words: list[str], place: Place) -> Variable:
    if len(words) < 4:
        raise DumpError(
            f'declaration "$var {" ".join(words)}" is too short; expected: $var type width code name $end', place=place
        )
    kind, width_text, code_text = words[:3]
    if not (width_text.isascii() and width_text.isdigit() and len(width_text) < 10):
        shown = width_text if len(width_text) < 40 else width_text[:37] + "..."
        raise DumpError(f'width "{shown}" of a variable; expected a whole number of bits', place=place)
    code = code_text.encode()
    if not _CODE.fullmatch(code):
        raise DumpError(f'identifier code "{code_text}"; expected printable ASCII (33 to 126)', place=place)
    name, msb, lsb = _split_range(words[3:], int(width_text))
    return Variable(tuple(s for s in scope if s), name, kind, int(width_text), code, msb, lsb, place)


def _split_range(words: list[str], width: int) -> tuple[str, int | None, int | None]:
    """Split "q [3:0]", "q[3:0]" or "q[3]" into name and range; an escaped name keeps glued brackets."""
    apart = _RANGE.fullmatch(words[-1]) if len(words) > 1 else None
    if apart:
        return " ".join(words[:-1]), int(apart.group(1)), int(apart.group(2) or apart.group(1))
    name = " ".join(words)
    glued = None if name.startswith("\\") else _NAME_WITH_RANGE.fullmatch(name)
    if glued is None:
        return name, None, None
    msb, lsb = int(glued.group(2)), int(glued.group(3) or glued.group(2))
    if abs(msb - lsb) + 1 != width:
        return name, None, None
    return glued.group(1), msb, lsb


def _no_end(state: HeaderState) -> DumpError:
    if not state.variables and not state.texts and state.words.byte + len(state.words.buffer) == 0:
        return DumpError("the file is empty", place=Place(state.words.source.name, line=1, byte=0))
    return DumpError("the dump ends in its header: no $enddefinitions", place=state.words.place())


def _no_keyword(state: HeaderState, token: bytes) -> DumpError:
    word = shown(token)
    if b"\0" in state.words.buffer or not _CODE.fullmatch(token):
        hint = "this looks like a binary wave file; make the simulator write VCD text"
    elif token.startswith(b"#"):
        hint = "$enddefinitions $end is missing before the first time stamp"
    else:
        hint = nearest("$" + word, ["$comment", "$date", "$enddefinitions", "$scope", "$timescale", "$var", "$version"])
    return DumpError(
        f'found "{word}" where a declaration keyword ($...) should stand', place=state.words.place(), hint=hint
    )
