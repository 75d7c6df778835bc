"""Bins: what coverage counts, and how behaviours are written down.

Stage: coverage. In: nothing. Out: the records `Bin` and `Behaviour`, and `Chapter`, with which the other files of the
folder write down what a channel or the unit can do.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from psgmodel.coverage.columns import Mask
from psgmodel.coverage.reach import first_of


@dataclass(frozen=True, slots=True)
class Bin:
    """One thing that should happen at least once.

    Attributes
    ----------
    name : str
        Such as ``a.timer.runs-out``: the channel or the part of the unit, the block, what happens.
    text : str
        The same in words.
    how : str
        Which registers, strobes and ticks it takes; may be empty.
    unreachable : str
        Why no log can make it happen; empty where one can.
    """

    name: str
    text: str
    how: str = ""
    unreachable: str = ""

    @property
    def part(self) -> str:
        """Channel, ``mixer`` or ``unit``."""
        return self.name.partition(".")[0]


@dataclass(frozen=True, slots=True)
class Behaviour:
    """A bin, and a mask over what happened that says where it did; `by` are the fields, strobes and blocks it takes."""

    bin: Bin
    seen: Callable[..., Mask]
    by: tuple[str, ...] = ()


@dataclass(slots=True)
class Chapter:
    """Behaviours of one part, as they are written down.

    Attributes
    ----------
    part : str
        Opens the names.
    recipe : function of (names of fields, strobes and blocks) to str
        Says which registers and ticks a behaviour takes.
    unreachable : str
        Holds for all of them; empty: nothing does.
    """

    part: str
    recipe: Callable[..., str]
    unreachable: str = ""
    behaviours: list[Behaviour] = field(default_factory=list)

    def add(self, name: str, text: str, seen: Callable[..., Mask], *unless: str, by: str = "") -> None:
        """Write one down: the first of `unless` that is not empty says why it cannot happen; `by` is for the recipe."""
        reason = first_of(self.unreachable, *unless)
        how = "" if reason else self.recipe(*by.split())
        found = Bin(f"{self.part}.{name}", text, how, reason)
        self.behaviours.append(Behaviour(found, _never if self.unreachable else seen, tuple(by.split())))


def _never(_: object) -> Mask:
    """What cannot be heard is not counted, though it may happen."""
    return np.zeros(1, np.bool_)
