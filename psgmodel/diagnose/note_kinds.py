"""Note kinds: starts and stops that one side has and the other has not.

Stage: diagnose. In: two signals that differ. Out: a sentence where a note of one side is missing on the other, begins
where none should, or ends too soon or too late; else nothing.
"""

from __future__ import annotations

import numpy as np

from psgmodel.comparison.streams import levels_at
from psgmodel.diagnose.differing import Differing, index_after
from psgmodel.steps import Steps


def extra_start(d: Differing) -> str:
    """Tell of a dump that sounds where the model has long been silent."""
    if d.active is None or int(d.active.at(d.at)) or _sounds_on(d):
        return ""
    return f"the model is not active, and has not been since {_since(d)}; the dump sounds"


def stopped_late(d: Differing) -> str:
    """Tell of a dump that sounds on where the model has just stopped."""
    if d.active is None or int(d.active.at(d.at)) or not _sounds_on(d):
        return ""
    quiet = _first_cycle(d.dump, d.at, d.idle)
    until = f"up to cycle {quiet}"
    if quiet is None:
        whole = d.dump.end == d.exact.end
        until = f"to its end, cycle {d.dump.end}" if whole else f"up to {d.at_least(d.dump.end)}"
    return f"the model stops at {_since(d)}; the dump sounds on, {until}"


def _since(d: Differing) -> str:
    assert d.active is not None
    begin = int(d.active.cycle[d.active.index_at(d.at)])
    return f"cycle {begin}" if begin > d.active.start else "reset"


def _sounds_on(d: Differing) -> bool:
    """Return whether the model stopped so short before that the dump's sound is the same one."""
    assert d.active is not None
    begin = int(d.active.cycle[d.active.index_at(d.at)])
    if begin <= d.active.start:
        return False
    last = d.dump.cycle[max(0, index_after(d.dump, begin) - 8) : index_after(d.dump, begin)]
    reach = int(np.diff(last).max()) if last.size > 1 else 0
    return d.at - begin <= reach


def _silent(d: Differing) -> bool:
    """Return whether the model sounds and the dump is silent to the end of the model's note."""
    if d.active is None or not int(d.active.at(d.at)) or levels_at(d.dump, d.at) != d.idle:
        return False
    change = index_after(d.dump, d.at)
    return change == len(d.dump) or int(d.dump.cycle[change]) >= d.note()[1]


def _note_heard(d: Differing) -> bool:
    """Return whether the dump has sounded in the model's note."""
    return bool((d.dump.cut(d.note()[0], d.at).level != d.idle).any())


def missed_start(d: Differing) -> str:
    """Tell of a note of the model that the dump does not play at all."""
    if not _silent(d) or _note_heard(d):
        return ""
    begin, end = d.note()
    return f"the model plays a note from cycle {begin} to {end}; the dump is silent{_as_far_as_seen(d, end)}"


def stopped_early(d: Differing) -> str:
    """Tell of a dump that falls silent within a note of the model."""
    if not _silent(d) or not _note_heard(d):
        return ""
    begin, end = d.note()
    quiet = int(d.dump.cycle[d.dump.index_at(d.at)])
    seen = _as_far_as_seen(d, end)
    return f"the dump is silent from cycle {quiet} on{seen}; the model plays its note from cycle {begin} to {end}"


def _as_far_as_seen(d: Differing, end: int) -> str:
    """Return how far the dump is known to be silent, where that is not to the end of the note."""
    return f", up to {d.at_least(d.dump.end)}" if d.dump.end < min(end, d.exact.end) else ""


def _first_cycle(steps: Steps, after: int, level: int) -> int | None:
    """Return the first cycle from one on at which a level stands for good or for longer than any stretch before."""
    rest = steps.cut(after, steps.end)
    long = np.flatnonzero((rest.level == level) & (rest.durations() > 64 * max(1, int(np.median(rest.durations())))))
    return int(rest.cycle[long[0]]) if long.size else None
