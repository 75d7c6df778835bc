"""ddmin: a minimal failing subset of things, by delta debugging.

Stage: diagnose, shrinking. In: a number of things, and a test of subsets. Out: a subset from which no single thing can
be taken away. Source: Zeller and Hildebrandt, "Simplifying and Isolating Failure-Inducing Input", IEEE Transactions on
Software Engineering 28(2), 2002, definition of ddmin.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

Subset = tuple[int, ...]


def ddmin(count: int, fails: Callable[[Subset], bool]) -> Subset:
    """Return a 1-minimal failing subset of ``range(count)``.

    Parameters
    ----------
    count : int
        The whole is known to fail.
    fails : callable
        Whether a subset, in rising order, still fails; passed and unresolved are both False. The empty subset is never
        asked for. A test that is repeated should be remembered by the caller: it is asked for again here.

    Returns
    -------
    tuple of int
        With one thing or none left nothing is asked. At most ``count**2 + 3 * count`` tests (same source, on the
        complexity of ddmin).
    """
    kept: Subset = tuple(range(count))
    parts = 2
    while len(kept) >= 2:
        # Before and after each round `kept` fails, and 2 <= parts <= len(kept).
        slices = split(kept, parts)
        subset = next((s for s in slices if fails(s)), None)
        if subset is not None:
            kept, parts = subset, 2
            continue
        rests = () if parts == 2 else (tuple(i for i in kept if i not in s) for s in map(frozenset, slices))
        rest = next((r for r in rests if fails(r)), None)  # with two parts the rests are the parts themselves
        if rest is not None:
            kept, parts = rest, max(parts - 1, 2)
        elif parts < len(kept):
            parts = min(2 * parts, len(kept))
        else:
            break
    return kept


def split(things: Sequence[int], parts: int) -> list[Subset]:
    """Return `things` cut into `parts` runs whose lengths differ by one at most; none is empty."""
    bounds = [len(things) * k // parts for k in range(parts + 1)]
    return [tuple(things[a:b]) for a, b in pairwise(bounds)]
