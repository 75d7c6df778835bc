"""Names to signals: by full path, by unique suffix, by glob, and bits joined to vectors.

Stage: dump. In: a header and the names a user gives. Out: a `Selection`, which says which codes are kept and
what signal each makes up. Variables that share an identifier code are one signal. Vectors written bit by bit
(``q[3]``, ``q[2]``, ... or ``q[7:4]``, ``q[3:0]``) are one signal under their common name; the higher index is the
more significant, unless the parts themselves run upwards (``q[0:3]``).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from psgmodel.dump.digits import MAX_VALUE_BITS
from psgmodel.dump.header import NO_LEVEL_KINDS, Header, Variable
from psgmodel.errors import DumpError, Place, Problem, nearest

_MOST_LISTED = 10
_MOST_COMPARED = 5000


class Part(NamedTuple):
    """Bits of a signal that one identifier code carries: `width` bits from bit `shift` up."""

    code: bytes
    shift: int
    width: int


@dataclass(frozen=True, slots=True)
class Signal:
    """A signal to keep.

    Attributes
    ----------
    path : str
        Scope names and name joined by dots; with a bit range only where one was asked for.
    width : int, bits
    parts : tuple of Part
        One, or several where the dump holds the vector in pieces.
    place : Place
        Where it is declared.
    """

    path: str
    width: int
    parts: tuple[Part, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Selection:
    """The signals to keep.

    Attributes
    ----------
    signals : tuple of Signal
        Each once, in the order they were asked for.
    asked : mapping of str to tuple of int
        What each name asked for stands for, as indices into `signals`.
    """

    signals: tuple[Signal, ...]
    asked: Mapping[str, tuple[int, ...]]

    def paths_asked(self) -> dict[str, tuple[str, ...]]:
        """Return the paths that each name asked for stands for."""
        return {name: tuple(self.signals[i].path for i in found) for name, found in self.asked.items()}

    def codes(self) -> list[bytes]:
        """Return the distinct identifier codes, in order; their indices are the slots."""
        return list(dict.fromkeys(part.code for signal in self.signals for part in signal.parts))


def choose(header: Header, names: Iterable[str]) -> Selection:
    """Find the signals that names stand for.

    Parameters
    ----------
    header : Header
    names : iterable of str
        A full path (``tb.dut.mix``), the end of one if only one signal has it (``dut.mix``, ``mix``), either with a bit
        range, or a pattern in which ``*`` stands for any text and ``?`` for one character (``*.level_*``).

    Returns
    -------
    Selection

    Raises
    ------
    DumpError
        With one problem for each name that fits nothing or more than one signal, or fits a signal that
        has no bits (real, string, event) or more than 64.
    """
    signals: dict[tuple[Part, ...], Signal] = {}
    order: dict[tuple[Part, ...], int] = {}
    asked: dict[str, tuple[int, ...]] = {}
    problems: list[Problem] = []
    for name in dict.fromkeys(names):
        found = _find(header.by_path, name)
        problem = _selection_problem(header, name, found)
        problems += [problem] if problem else [p for s in found for p in _unusable(s, header.by_code)]
        for signal in found:
            order.setdefault(signal.parts, len(order))
            signals.setdefault(signal.parts, signal)
        asked[name] = tuple(order[signal.parts] for signal in found)
    if problems:
        raise DumpError(problems)
    return Selection(tuple(signals.values()), asked)


def one_path(name: str, paths: Collection[str], asked: Mapping[str, tuple[str, ...]], file: str) -> str:
    """Return which of `paths` a name stands for: as it was asked for, the path itself, or the end of one.

    Raises
    ------
    DumpError
        The name stands for none of the paths, or for several.
    """
    found = (name,) if name in paths else asked.get(name, ()) or tuple(p for p in paths if p.endswith("." + name))
    if len(found) == 1:
        return found[0]
    if not found:
        hint = nearest(name, [*paths, *asked])
        raise DumpError(f'no signal "{name}" among those read', place=Place(file), hint=hint)
    raise DumpError(f'"{name}" stands for {len(found)} signals: {", ".join(found)}', place=Place(file))


def _find(groups: Mapping[str, list[Variable]], name: str) -> list[Signal]:
    """Return the distinct signals that a name stands for.

    Asked in this order: whole paths, paths without the backslashes of escaped names, paths with a bit range.
    """
    fits = _matcher(name)
    paths = [name] if name in groups else [path for path in groups if fits(path)]
    if not paths:
        paths = [path for path in groups if "\\" in path and fits(path.replace("\\", ""))]
    found = [signal for path in paths for signal in _signals_of(path, groups[path])]
    if not found and name.endswith("]"):
        ranged = [(path + v.range_text, v) for path, group in groups.items() for v in group if v.range_text]
        exact = [pair for pair in ranged if pair[0] == name]
        found = [_single(path, v) for path, v in exact or [pair for pair in ranged if fits(pair[0])]]
    return list({signal.parts: signal for signal in reversed(found)}.values())[::-1]


def _is_pattern(name: str) -> bool:
    return "*" in name or "?" in name


def _matcher(name: str) -> Callable[[str], bool]:
    """Return the test whether a path is the name, ends with it behind a dot, or fits it as a pattern."""
    if _is_pattern(name):
        text = "".join({"*": ".*", "?": "."}.get(c, re.escape(c)) for c in name)
        pattern = re.compile(rf"(?s)(?:.*\.)?{text}")
        return lambda path: pattern.fullmatch(path) is not None
    tail = "." + name
    return lambda path: path == name or path.endswith(tail)


def _signals_of(path: str, group: list[Variable]) -> list[Signal]:
    """Return what a path stands for: one signal, or several where its variables do not fit together."""
    distinct = list({(v.code, v.msb, v.lsb): v for v in group}.values())
    if len({v.code for v in distinct}) > 1:
        joined = _joined(path, distinct)
        if joined is not None:
            return [joined]
    return list({v.code: _single(path, v) for v in reversed(distinct)}.values())[::-1]


def _single(path: str, variable: Variable) -> Signal:
    return Signal(path, variable.width, (Part(variable.code, 0, variable.width),), variable.place)


def _joined(path: str, pieces: list[Variable]) -> Signal | None:
    """Return the vector that pieces with ranges make up, or None where they overlap or leave gaps."""
    spans: list[tuple[int, int, Variable]] = []
    upwards = False
    for piece in pieces:
        if piece.msb is None or piece.lsb is None or abs(piece.msb - piece.lsb) + 1 != piece.width:
            return None
        upwards |= piece.msb < piece.lsb
        spans.append((min(piece.msb, piece.lsb), max(piece.msb, piece.lsb), piece))
    spans.sort(key=lambda span: span[:2])
    if any(low != high + 1 for (_, high, _), (low, _, _) in pairwise(spans)):
        return None
    parts: list[Part] = []
    width = 0
    for _, _, piece in reversed(spans) if upwards else spans:
        parts.append(Part(piece.code, width, piece.width))
        width += piece.width
    return Signal(path, width, tuple(parts), pieces[0].place)


def _selection_problem(header: Header, name: str, found: list[Signal]) -> Problem | None:
    place = Place(header.file)
    if not header.variables:
        return Problem(f'no signal "{name}": the dump declares no signals', place, "did $dumpvars name a scope?")
    if not found:
        return Problem(f'no signal "{name}" in the dump', place, _nearest_path(name, header.by_path))
    if len(found) > 1 and not _is_pattern(name):
        listed = [f"{s.path} ({s.place})" for s in found[:_MOST_LISTED]]
        more = f" and {len(found) - _MOST_LISTED} more" if len(found) > _MOST_LISTED else ""
        return Problem(
            f'"{name}" stands for {len(found)} signals: {", ".join(listed)}{more}', place, "name one in full"
        )
    return None


def _nearest_path(name: str, paths: Collection[str]) -> str:
    """Return the hint with the nearest path, or nearest last name; of very many only similar ones are tried."""
    tails = {path.rpartition(".")[2] for path in paths}
    options = [list(paths), sorted(tails)]
    if len(paths) > _MOST_COMPARED:
        ends = (name[:2], name[-2:])
        options = [
            [o for o in some if abs(len(o) - len(name)) <= 2 and (o.startswith(ends[0]) or o.endswith(ends[1]))]
            for some in options
        ]
    return next((hint for some in options if (hint := nearest(name, some[:_MOST_COMPARED]))), "")


def _unusable(signal: Signal, by_code: Mapping[bytes, list[Variable]]) -> list[Problem]:
    declared = [variable for part in signal.parts for variable in by_code[part.code]]
    odd = sorted({variable.kind for variable in declared if variable.kind.lower() in NO_LEVEL_KINDS})
    if odd:
        return [Problem(f'"{signal.path}" is of type {odd[0]}, which has no bits', signal.place)]
    if not 1 <= signal.width <= MAX_VALUE_BITS:
        message = f'"{signal.path}" is {signal.width} bits wide; 1 to {MAX_VALUE_BITS} can be read'
        return [Problem(message, signal.place, "dump the part that is compared as a signal of its own")]
    for part in signal.parts:
        widths = sorted({variable.width for variable in by_code[part.code]})
        if len(widths) > 1:
            message = f'"{signal.path}" shares its identifier code with signals of other widths: {widths}'
            return [Problem(message, signal.place)]
    return []
