"""Watching: one channel of the reference engine that notes what happens at each edge it is shown.

Stage: coverage. In: for each clock edge what `ReferenceChannel` gets. Out: a row of whole numbers an edge, for
`moments`. The rows say what stood before the edge, what acted, and what stood after it; which behaviours that makes is
decided in one place (`behaviours`), whoever shows the edges: `following`, which goes from event to event, or a run of
the reference engine cycle by cycle.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.channel import Channel
from psgmodel.engine.blocks import Fields
from psgmodel.engine.followed import Watched
from psgmodel.engine.kernel.layout import PASSED, ROW_FLAGS
from psgmodel.engine.reference_channel import ReferenceChannel
from psgmodel.engine.state import ChannelState

COLUMNS = (
    "edge", "start", "stop", "met", "asked_start", "asked_stop", "line_before", "active", "after", "cleared",
    "quiet", "wrote",
    "timer_tick", "fade_tick", "glide_tick", "clock_tick",
    "timer", "timer_after", "ran_out", "level", "level_after", "fade_count", "fade_count_after", "faded",
    "glide_count", "glide_count_after", "shadow", "shadow_after", "fell", "swept", "over",
    "count", "length", "advanced", "position", "position_after", "sample", "sample_after", "fresh",
    "samples_written", "sample_address",
)  # fmt: skip
"""What a row holds before the fields as they were and as the writes of the edge left them; what each of them means is
said in `psgmodel.engine.kernel.layout`."""

NONE = -1


def _note(block: Any, answers: dict[str, Any], name: str) -> None:
    """Let what the `edge` of a block answers be kept."""
    plain = block.edge

    def edge(*given: Any) -> Any:
        answers[name] = plain(*given)
        return answers[name]

    block.edge = edge


class WatchedChannel(ReferenceChannel):
    """A channel of the reference engine that writes a row for each edge."""

    def __init__(self, channel: Channel, state: ChannelState, memory: list[int] | None) -> None:
        super().__init__(channel, state, memory)
        self.rows: list[tuple[int, ...]] = []
        self.between: list[tuple[int, int, int, int]] = []
        """What passed after each row: `PASSED`."""
        self.standing: Fields = {}
        self.forgets = False
        """The wave memory goes when the channel is cleared next."""
        self._did: dict[str, Any] = {}
        for name in ("timer", "envelope", "sweep", "step"):
            if getattr(self, name) is not None:
                _note(getattr(self, name), self._did, name)

    def show(
        self,
        c: int,
        old: Fields,
        new: Fields,
        written: frozenset[str],
        wrote: int,
        strobes: set[str],
        ticks: dict[str, bool],
        samples: list[tuple[int, int]],
        *,
        cleared: bool = False,
        quiet: bool = False,
    ) -> int | None:
        """Run edge `c` and note it; returns what `edge` returns. A cleared channel does nothing at its edge."""
        channel, entry, name = self.channel, 1 << self.channel.start_delay, self.channel.name
        timer, fade, glide, wave = self.timer, self.envelope, self.sweep, self.wave
        asked_start, asked_stop = name + ".start" in strobes, name + ".stop" in strobes
        line = self.starts | self.stops
        start = bool((self.starts | entry * asked_start) & 1)
        stop = bool((self.stops | entry * asked_stop) & 1)
        met, stop = start and stop, stop and not start
        was, count, position = self.active, self.step.count, self._position()
        t = timer.count if timer else 0
        level, fade_count = (fade.level, fade.count) if fade else (0, 0)
        glide_count, shadow, fell = (glide.count, glide.shadow, glide.fell) if glide else (0, 0, False)
        sample = wave.sample if wave else 0
        fresh = wave.memory[channel.table.start_position] if wave and channel.table else 0
        length = NONE if self.step.stopped(old) else self.step.length(old)
        clock = channel.step.clocked_by
        if cleared:
            start = stop = met = False
            ticks = dict.fromkeys(ticks, False)
            if self.forgets and wave:
                wave.memory = [0] * len(wave.memory)
            self.forgets = False
            self.clear(samples)
            swept, ran_out, faded, over, advanced = None, False, False, False, False
        else:
            swept = self.edge(old, new, written, strobes, ticks, samples)
            did = self._did
            ran_out = did.get("timer", False) and timer is not None and timer.options.at_zero == "stop"
            faded = did.get("envelope", False)
            over, advanced = did.get("sweep", (None, False))[1], did["step"]
        self.rows.append(
            (
                c, start, stop, met, asked_start, asked_stop, line, was, self.active, cleared, quiet, wrote,
                ticks[timer.options.ticks] if timer else 0, ticks[fade.options.ticks] if fade else 0,
                ticks[glide.options.ticks] if glide else 0, ticks[clock] if clock else 1,
                t, timer.count if timer else 0, ran_out,
                level, fade.level if fade else 0, fade_count, fade.count if fade else 0, faded,
                glide_count, glide.count if glide else 0, shadow, glide.shadow if glide else 0, fell,
                NONE if swept is None else swept, over,
                count, length, advanced, position, self._position(), sample, wave.sample if wave else 0, fresh,
                len(samples), samples[-1][0] if samples else NONE,
                *old.values(), *new.values(),
            )
        )  # fmt: skip
        return swept

    def passed(self, steps: int, timer_ticks: int, fade_ticks: int, glide_ticks: int) -> None:
        """Note what passed since the last edge that was shown; once before every edge but the first, and at the end."""
        self.between.append((steps, timer_ticks, fade_ticks, glide_ticks))

    def steps_since(self, edge: int) -> list[int]:
        """Return the numbers of steps made after an edge, newest first, as far as they are known."""
        found, advanced = [], COLUMNS.index("advanced")
        for row, between in zip(reversed(self.rows[:-1]), reversed(self.between), strict=False):
            if row[0] < edge:
                break
            found.append(between[0] + row[advanced])
        return found

    def watched(self, fields: Iterable[str], first: int = 0) -> Watched:
        """Return the rows from one on as columns; what passed after the last one is 0 where it is not known yet.

        `fields` are the channel's, in the order in which `show` was given them.
        """
        names, rows = list(fields), self.rows[first:]
        between = [*self.between[first:], (0,) * len(PASSED)][: len(rows)]
        table = np.array(rows, dtype=np.int64).reshape(-1, len(COLUMNS) + 2 * len(names)).T
        columns: dict[str, NDArray[Any]] = dict(zip(COLUMNS, table, strict=False))
        columns |= {flag: columns[flag] == 1 for flag in ROW_FLAGS}
        columns |= dict(zip(PASSED, np.array(between, dtype=np.int64).reshape(-1, len(PASSED)).T, strict=True))
        old, new = table[len(COLUMNS) :][: len(names)], table[len(COLUMNS) + len(names) :]
        return Watched(
            columns, dict(zip(names, old, strict=True)), dict(zip(names, new, strict=True)), dict(self.standing)
        )

    def _position(self) -> int:
        player = self.square or self.wave
        return player.position if player else 0
