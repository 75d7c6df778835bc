"""Two notes on Linnet's B, by hand, and what can go wrong with them.

Stage: tests. In: edits of levels. Out: dumps, and the first divergence told of each.

Numbers are worked out from patches/linnet.md: B steps every 2 x (period + 1) cycles through 16 positions, a start
written at edge c acts at c + 1, a stop too.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from psgmodel.chip import load_chip
from psgmodel.comparison import compare
from psgmodel.diagnose.story import Story, tell
from psgmodel.dump.observe import Kind
from psgmodel.reglog import RegisterLog, make_log
from psgmodel.steps import Steps, steps_from_changes
from tests.diagnose.model_dumps import observation_of

LINNET = load_chip("patches/linnet.toml")
B_PITCH, B_TONE, B_NOTE, B_LENGTH, B_SHAPE, B_GO = 0x10, 0x11, 0x12, 0x13, 0x14, 0x16
NOTES = [(10, 0, 20), (4010, 0, 29)]
"""Two notes on B: cycle of the start, position that it begins at, volume. Each is stopped 3000 cycles later."""
STEP = 20
PATTERN = "1111111100000000"
END = 9_000

Levels = list[int]


def log_of_b() -> RegisterLog:
    """Period 9, pattern 2; the start acts one cycle after its write, and so does the stop."""
    rows = [(0, B_PITCH, 9), (1, B_TONE, 0x20), (9, B_NOTE, 20), (10, B_GO, 1), (3010, B_GO, 2)]
    rows += [(4009, B_NOTE, 29), (4010, B_GO, 1), (7010, B_GO, 2)]
    return make_log(*zip(*rows, strict=True), end=END)


def played(
    *, step: int = STEP, pattern: str = PATTERN, gain: Callable[[int], int] = lambda level: level, length: int = 3000
) -> Levels:
    """Level of B at each cycle, by hand; the position stays where the note before left it."""
    levels = [0] * END
    position = 0
    for start, _, volume in NOTES:
        for since in range(length):
            now = (position + since // step) % 16
            levels[start + 1 + since] = gain(volume) if pattern[now] == "1" else 0
        position = (position + 3000 // step) % 16  # the edge at which a stop acts still steps (section 5)
    return levels


def steps(levels: Levels, unknown: slice | None = None) -> Steps:
    """Return levels as a signal; a part of it may be unknown."""
    mask = np.zeros(len(levels), dtype=np.bool_)
    if unknown is not None:
        mask[unknown] = True
    return steps_from_changes(np.arange(len(levels)), np.array(levels), len(levels), unknown=mask)


def story_of(dump: Steps) -> Story:
    """Return the first divergence of B, told."""
    observation = observation_of({"b": (Kind.CHANNEL, dump)}, log_of_b())
    found = tell(compare(LINNET, observation), observation, LINNET, None)
    assert found is not None
    assert found.name == "b"
    return found


def changed(edit: Callable[[Levels], None]) -> Levels:
    """Return the levels of B after an edit."""
    levels = played()
    edit(levels)
    return levels


def drop(levels: Levels, low: int, high: int) -> None:
    """Silence some cycles."""
    levels[low:high] = [0] * (high - low)


def sound_more(levels: Levels, low: int, high: int) -> None:
    """Sound on as 320 cycles before."""
    levels[low:high] = levels[low - 320 : high - 320]


def later(levels: Levels, begin: int, by: int) -> None:
    """Let everything from a cycle on come later."""
    levels[begin + by :] = levels[begin:-by]
