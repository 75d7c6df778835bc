"""Kinds: what sort of difference stands where two signals first differ.

Stage: diagnose. In: both signals, where they first differ, when the model's channel was active. Out: one of a closed
set of kinds, and a sentence with the numbers. Each rule looks for one kind and says nothing where it is not there; the
first that speaks decides, so the order goes from what leaves no doubt to what is a matter of shape.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum

from psgmodel.comparison.exact import late
from psgmodel.comparison.streams import levels_at
from psgmodel.diagnose.differing import Differing, index_after
from psgmodel.diagnose.note_kinds import extra_start, missed_start, stopped_early, stopped_late
from psgmodel.diagnose.shape_kinds import level_bit, level_factor, level_other, period_off, stuck_bit, wrong_pattern


class DifferenceKind(Enum):
    """What sort of difference it is."""

    UNKNOWN = "unknown values"
    CONSTANT_OFFSET = "constant offset"
    STUCK_BIT = "stuck bit"
    GLITCH = "one-cycle glitch"
    EXTRA_START = "extra start"
    STOPPED_LATE = "stopped late"
    MISSED_START = "missed start"
    STOPPED_EARLY = "stopped early"
    OFFSET_CHANGED = "offset changed"
    LEVEL_FACTOR = "level off by a factor"
    LEVEL_BIT = "level off by a bit"
    LEVEL = "level off"
    PERIOD = "period off"
    PATTERN = "wrong pattern"
    OTHER = "levels and times differ"


Rule = Callable[[Differing], str]


def kind_of(d: Differing) -> tuple[DifferenceKind, str]:
    """Return the kind of a difference, and a sentence about it."""
    for kind, rule in _RULES:
        text = rule(d)
        if text:
            return kind, text
    return DifferenceKind.OTHER, "neither the levels nor the times of the changes follow the model's in any simple way"


def _unknown(d: Differing) -> str:
    if levels_at(d.dump, d.at) is not None:
        return ""
    after, count = index_after(d.dump, d.at), d.exact.differences
    end = d.at_least(int(d.dump.cycle[after]) if after < len(d.dump) else d.dump.end)
    total = count.unknown_cycles if count is not None else 0
    return f"the dump has X or Z here, up to {end}; it is unknown in {total} cycles altogether"


def _constant_offset(d: Differing) -> str:
    if d.exact.agrees_at is None:
        return ""
    return f"taken {late(d.exact.agrees_at)}, the dump agrees from start to end"


def _glitch(d: Differing) -> str:
    at = d.at
    if not d.model.start < at < d.model.end - 1:
        return ""
    same = len(set(d.model.at([at - 1, at, at + 1]).tolist())) == 1
    if not same or levels_at(d.dump, at + 1) != int(d.model.at(at + 1)):
        return ""
    count = d.exact.differences
    often = ""
    if count is not None and count.stretches > 1:
        how_long = "each of one cycle" if count.longest == 1 else f"the longest of {count.longest} cycles"
        often = f"; there are {count.stretches} stretches that differ, {how_long}"
    return f"the dump leaves the level for one cycle, in which the model does not change{often}"


def _offset_changed(d: Differing) -> str:
    return str(d.exact.offset_change) if d.exact.offset_change is not None else ""


_RULES: tuple[tuple[DifferenceKind, Rule], ...] = (
    (DifferenceKind.UNKNOWN, _unknown),
    (DifferenceKind.CONSTANT_OFFSET, _constant_offset),
    (DifferenceKind.STUCK_BIT, stuck_bit),
    (DifferenceKind.GLITCH, _glitch),
    (DifferenceKind.EXTRA_START, extra_start),
    (DifferenceKind.STOPPED_LATE, stopped_late),
    (DifferenceKind.MISSED_START, missed_start),
    (DifferenceKind.STOPPED_EARLY, stopped_early),
    (DifferenceKind.OFFSET_CHANGED, _offset_changed),
    (DifferenceKind.LEVEL_FACTOR, level_factor),
    (DifferenceKind.LEVEL_BIT, level_bit),
    (DifferenceKind.LEVEL, level_other),
    (DifferenceKind.PERIOD, period_off),
    (DifferenceKind.PATTERN, wrong_pattern),
)
