"""Remembering: what was worked out from a chip is not worked out again.

Stage: chip. In: a function of a chip. Out: the same function, which keeps its last results.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import update_wrapper
from typing import Concatenate, ParamSpec, TypeVar

from psgmodel.chip.records import Chip

P = ParamSpec("P")
T = TypeVar("T")

MOST_KEPT = 64
"""Results that a function keeps; of more, the oldest goes."""


def remembered(make: Callable[Concatenate[Chip, P], T]) -> Callable[Concatenate[Chip, P], T]:
    """Keep what a function returns for a chip object and further arguments, which can be hashed.

    Results are shared: nobody may change them.
    """
    kept: dict[tuple[object, ...], tuple[Chip, T]] = {}

    def found(chip: Chip, /, *arguments: P.args, **named: P.kwargs) -> T:
        key = (id(chip), *arguments, *named.items())  # a chip that is kept keeps its number
        if key not in kept:
            if len(kept) >= MOST_KEPT:
                del kept[next(iter(kept))]
            kept[key] = (chip, make(chip, *arguments, **named))
        return kept[key][1]

    update_wrapper(found, make)
    return found
