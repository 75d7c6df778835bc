"""Progress: how far long work has come, on one line of a terminal.

Stage: cli. In: how much of how much is done, in any unit. Out: a bar on standard error, at most ten times a second,
gone when the work is done; nothing where no terminal looks on. This and `shrink`, whose budget may be in seconds, are
the places that read a clock.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager

from psgmodel.cli.screen import Screen

_WIDTH = 30
_SHOW_AFTER_S = 0.3
_REFRESH_S = 0.1


class ProgressState:
    """The bar of one piece of work; made by `progress`."""

    def __init__(self, screen: Screen, label: str, total: float) -> None:
        self._screen = screen if screen.shows_progress else None
        self._label = label
        self._total = max(total, 1e-9)
        self._begin = time.monotonic()
        self._shown = self._begin + _SHOW_AFTER_S - _REFRESH_S

    def update(self, done: float) -> None:
        """Tell how much is done, in the unit of the total."""
        if self._screen is None:
            return
        now = time.monotonic()
        if now - self._shown < _REFRESH_S:
            return
        self._shown = now
        part = min(max(done / self._total, 0.0), 1.0)
        full = round(part * _WIDTH)
        left = (now - self._begin) * (1 - part) / part if part > 0 else 0.0
        self._screen.progress(
            f"{self._label}  {'█' * full}{'░' * (_WIDTH - full)}  {100 * part:3.0f} %  {_short_time(left)} left"
        )


def _short_time(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min"


@contextmanager
def progress(screen: Screen, label: str, total: float) -> Iterator[ProgressState]:
    """Show a bar while the block runs; whatever ends the block, the line is clean afterwards."""
    state = ProgressState(screen, label, total)
    try:
        yield state
    finally:
        screen.clear_progress()
