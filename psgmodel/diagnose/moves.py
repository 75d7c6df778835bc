"""Moves: the values near a value, whatever kind of option it is.

Stage: diagnose. In: a value of a description, its type and its bounds (`psgmodel.chip.options`). Out: other values,
each with the kind of move that leads there. Nothing here knows what an option means, so a new option needs no code.

What counts as simpler is written down once, as the order of `Move`: a closed choice is a decision that somebody took
the other way; a number one off is the commonest slip; a list with one wrong entry is a typing error; a list turned
round is a wrong idea of its order; the further down, the more has to go wrong at once. A lost write explains one event
and nothing else, so it comes last.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from enum import Enum
from typing import Any, NamedTuple, get_args, get_origin

from psgmodel.chip.options import MAX_INT, choices_of

SMALL_RANGE = 64
"""A number with at most so many accepted values takes each of them."""
LONG_LIST = 16
"""In a longer list an entry is nudged only, and only neighbours are exchanged."""

VECTOR = 2**32 - 1
"""Bound of the options that are bit vectors; their neighbours are told apart by bits."""


class Move(Enum):
    """How a value was changed; the first is the simplest."""

    CHOICE = "a choice taken the other way"
    NUDGE = "a number up to 3 off"
    ENTRY = "one entry of a list moved, dropped or added"
    FACTOR = "a number doubled or halved"
    TURN = "a list turned round, shifted or inverted, or two of its entries exchanged"
    LEFT_OUT = "a block left out"
    FAR = "any other number"
    WIRING = "register bits that do something else"
    WRITE = "a write lost, doubled or late"


class Moved(NamedTuple):
    """A value near another.

    Attributes
    ----------
    move : Move
    distance : int
        How far, among moves of one kind.
    value : any
    """

    move: Move
    distance: int
    value: Any


def moves_of(kind: Any, value: Any, meta: Mapping[str, Any]) -> Iterator[Moved]:
    """Yield the values near a value, the simplest first, each once.

    Parameters
    ----------
    kind : type
        Annotation of the option.
    value : any
        What the option is.
    meta : mapping
        Has ``at_least`` and ``at_most`` where the option has bounds.
    """
    found = sorted(_moves(kind, value, meta), key=lambda m: (list(Move).index(m.move), m.distance))
    seen = [value]
    for moved in found:
        if moved.value not in seen and not _repeats(moved.value, value, meta):
            seen.append(moved.value)
            yield moved


def _repeats(new: Any, old: Any, meta: Mapping[str, Any]) -> bool:
    """Return whether a list of positions names one twice; in a table of any other numbers that may be."""
    if not isinstance(new, tuple) or meta.get("at_most", MAX_INT) - (meta.get("at_least") or 0) > SMALL_RANGE:
        return False
    return len(set(new)) < len(new) and len(set(old)) == len(old)


def _moves(kind: Any, value: Any, meta: Mapping[str, Any]) -> Iterator[Moved]:
    if words := choices_of(kind):
        yield from (Moved(Move.CHOICE, 1, word) for word in words)
    elif isinstance(value, bool):
        yield Moved(Move.CHOICE, 1, not value)
    elif isinstance(value, int):
        yield from _numbers(value, meta.get("at_least"), meta.get("at_most", MAX_INT))
    elif isinstance(value, tuple) and get_origin(kind) is tuple:
        if get_args(kind)[0] is str:
            yield from _texts(value)
        else:
            yield from _lists(value, meta.get("at_least") or 0, meta.get("at_most", MAX_INT))


def _numbers(value: int, low: int | None, high: int) -> Iterator[Moved]:
    low = -MAX_INT if low is None else low
    wanted = [Moved(Move.NUDGE, abs(by), value + by) for by in (1, -1, 2, -2, 3, -3)]
    wanted += [Moved(Move.FACTOR, by, value * by) for by in (2, 4)]
    wanted += [Moved(Move.FACTOR, by, value // by) for by in (2, 4) if value % by == 0]
    if high - low <= SMALL_RANGE:
        wanted += [Moved(Move.FAR, abs(other - value), other) for other in range(low, high + 1)]
    elif high == VECTOR:
        wanted += [Moved(Move.FACTOR, 1, value ^ 1 << bit) for bit in range(32) if value >= 0]
        wanted += [Moved(Move.FAR, bit, (1 << bit) - less) for bit in range(33) for less in (0, 1)]
    else:
        wanted.append(Moved(Move.FAR, 1, 0))
    return (m for m in wanted if low <= m.value <= high)


def _lists(value: tuple[int, ...], low: int, high: int) -> Iterator[Moved]:
    small = high - low <= SMALL_RANGE
    for index, item in enumerate(value):
        before, after = value[:index], value[index + 1 :]
        for moved in _numbers(item, low, high):
            distance = abs(moved.value - item)
            if len(value) > LONG_LIST and moved.move is not Move.NUDGE:
                continue
            if moved.move is Move.NUDGE or small:
                yield Moved(Move.ENTRY, distance, (*before, moved.value, *after))
            elif moved.move is Move.FACTOR:
                yield Moved(Move.FACTOR, moved.distance, (*before, moved.value, *after))
        if len(value) <= LONG_LIST:
            yield Moved(Move.ENTRY, 1, before + after)
    if small and len(value) < 4:
        yield from (Moved(Move.ENTRY, 4, (*value, more)) for more in range(low, high + 1) if more not in value)
    yield from _turns(value)
    if len(value) > 1 and value == tuple(sorted(value, reverse=True)):  # positions counted from the other end
        mirrored = (value[0], *(value[0] - item for item in value[1:]))
        if min(mirrored) >= low:
            yield Moved(Move.TURN, 2, mirrored)


def _texts(value: tuple[str, ...]) -> Iterator[Moved]:
    """Yield lists of texts of 0 and 1 with one of them, or all, changed."""
    for index, text in enumerate(value):
        before, after = value[:index], value[index + 1 :]
        flipped = [text[:at] + _inverted(text[at]) + text[at + 1 :] for at in range(len(text))]
        yield from (Moved(Move.ENTRY, 1, (*before, other, *after)) for other in flipped)
        for distance, other in enumerate((text[::-1], _inverted(text), text[1:] + text[:1], text[-1:] + text[:-1])):
            yield Moved(Move.TURN, distance, (*before, other, *after))
    yield from _turns(value)
    yield Moved(Move.TURN, 1, tuple(text[::-1] for text in value))
    yield Moved(Move.TURN, 1, tuple(_inverted(text) for text in value))
    for by in (1, -1):
        yield Moved(Move.TURN, 2, tuple(text[by:] + text[:by] for text in value))


def _inverted(text: str) -> str:
    return text.translate(str.maketrans("01", "10"))


def _turns(value: Sequence[Any]) -> Iterator[Moved]:
    items = tuple(value)
    yield Moved(Move.TURN, 1, items[::-1])
    yield Moved(Move.TURN, 2, items[1:] + items[:1])
    yield Moved(Move.TURN, 2, items[-1:] + items[:-1])
    for index in range(len(items)):
        last = len(items) if len(items) <= LONG_LIST else min(index + 2, len(items))
        for other in range(index + 1, last):
            swapped = list(items)
            swapped[index], swapped[other] = items[other], items[index]
            yield Moved(Move.TURN, other - index, tuple(swapped))
