"""Stepping: what steps through the waveform of one channel, as the fast engine follows it.

Stage: engine, the fast one. In: the edges at which something about the stepping changes. Out: `Row`s of regular
stepping for `expand`, and the step counter, position, sample and shift register in between. Edge numbers are clock
cycles. The rules are the numbered list in `psgmodel.engine`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.channel import Channel
from psgmodel.engine.actions import stored_samples
from psgmodel.engine.countdown import NEVER, TickTrain
from psgmodel.engine.expand import UNKNOWN_LEVEL, Row
from psgmodel.engine.shifting import shift_map
from psgmodel.engine.slow import Fields, Look, step_length, step_stopped
from psgmodel.engine.sounding import channel_signal, level_of
from psgmodel.engine.state import ChannelState, positions_of
from psgmodel.steps import Steps


class StepTrack:
    """Step counter, position, sample register, wave memory and shift register.

    Invariant: `rows` tell what sounded up to edge `stretch`; counter and position stand as after edge `now`; from there
    on steps are made at `first` and every `length` counts after it, until `flush` closes the stretch, at the latest at
    `ends_at`, where a wave that ends goes past its last sample.
    """

    def __init__(self, channel: Channel, trains: Mapping[str, TickTrain], begin: int) -> None:
        self.channel = channel
        self.begin, self.now = begin, begin - 1
        self.down = channel.step.new_value == "next-step"
        self.clock = trains[channel.step.clocked_by] if channel.step.clocked_by else None
        self.spacing = self.clock.every if self.clock else 1
        self.one_shot = channel.table is not None and channel.table.after_last == "stop"
        self.size = positions_of(channel)
        self.rows: list[Row] = []
        self.tables: list[NDArray[np.integer]] = []
        self.streams: list[tuple[bool, int]] = []
        self.stream_index: dict[tuple[bool, int], int] = {}

    def load(self, state: ChannelState, memory: list[int]) -> None:
        """Take over a state."""
        self.count, self.position, self.sample = state.count, state.position, state.sample
        self.contents, self.table, self.memory = state.shift_register, -1, memory

    def resume(self, active: bool, volume: int, f: Fields) -> None:
        """Set up the stretch that runs after edge `now`: next step, table, volume."""
        channel, now = self.channel, self.now
        self.active, self.volume = active, volume
        self.stretch = max(now, self.begin)
        self.first = NEVER
        self.ends_at = NEVER
        self.length = step_length(channel.step, f)
        if self.active and not step_stopped(channel.step, f):
            wait = self.count + 1 if self.down else max(1, self.length - self.count)
            self.first = self.clock.nth_after(now, wait) if self.clock else now + wait
            if self.one_shot:
                self.ends_at = self.first + (self.size - 1 - self.position) * self.length * self.spacing
        if channel.patterns:
            self.table = f.get("pattern", 0)
        elif channel.register is not None:
            self._choose_stream(f.get("short", 0) == 1)
        elif self.table < 0 and self.active:
            self.table = len(self.tables)
            self.tables.append(np.array(self.memory, dtype=np.int32))

    def _choose_stream(self, short: bool) -> None:
        """Make sure that the current table is the register's bits in this mode."""
        if self.table >= 0 and self.streams[self.table][0] == short:
            return
        self.bring_contents()
        self.table = self.stream_index.setdefault((short, self.contents), len(self.streams))
        if self.table == len(self.streams):
            self.streams.append((short, self.contents))
        self.position = 0

    def bring_contents(self) -> None:
        """Work out the shift register from the stream and the position in it."""
        if self.table >= 0 and self.channel.register is not None:
            short, base = self.streams[self.table]
            self.contents = shift_map(self.channel.register, short).contents_after(base, self.position)

    def _level(self) -> int:
        """Return the level that sounds now, or `UNKNOWN_LEVEL` where the table has it."""
        channel = self.channel
        if not self.active:
            return channel.idle_level
        if channel.table is None:
            return UNKNOWN_LEVEL
        raw = self.sample if channel.table.fetch == "each-step" else self.memory[self.position]
        return int(level_of(channel, raw, self.volume))

    def flush(self, edge: int) -> None:
        """Close the running stretch before an edge: write its row, bring the step counter up to `edge` - 1."""
        last, spread = edge - 1, min(self.length * self.spacing, NEVER)
        steps = 0 if self.first > last else (last - self.first) // spread + 1
        if self.stretch < edge:
            self.rows.append(self._row(steps, spread))
        if steps:
            latest = self.first + (steps - 1) * spread
            since = self.clock.between(latest, last) if self.clock else last - latest
            self.count = self.length - 1 - since if self.down else since
            self.position += steps
            if self.size:
                self.position %= self.size
                if self.channel.table is not None:
                    self.sample = int(self.tables[self.table][self.position])
        elif self.first != NEVER:
            ran = self.clock.between(self.now, last) if self.clock else last - self.now
            self.count += -ran if self.down else ran
        self.now = last

    def _row(self, steps: int, spread: int) -> Row:
        """Return the running stretch as a row; a run may begin at a step, which then is no change within it."""
        if steps and self.first == self.stretch:
            first, level = self.first + spread if steps > 1 else 0, UNKNOWN_LEVEL
            return Row(self.stretch, level, first, spread, steps - 1, self.position + 1, self.table, self.volume)
        first = self.first if steps else 0
        return Row(self.stretch, self._level(), first, spread, steps, self.position, self.table, self.volume)

    def edge(self, e: Look, samples: list[tuple[int, int]]) -> bool:
        """Step counter, position, sample and shift register at an edge; return whether a wave that ends has ended."""
        channel, o = self.channel, self.channel.step
        f = e.new if o.write_and_step == "new" else e.old
        sounding = self.position
        advance = False
        if e.start and o.on_start == "reload":
            self.count = step_length(self.channel.step, e.seen) - 1 if self.down else 0
        elif e.active and not step_stopped(self.channel.step, f) and (self.clock is None or self.clock.at(e.edge)):
            advance = self.count == 0 if self.down else self.count + 1 >= step_length(self.channel.step, f)
            if advance:
                self.count = step_length(self.channel.step, f) - 1 if self.down else 0
            else:
                self.count += -1 if self.down else 1
        self.now = e.edge
        if channel.register is not None:
            if e.start and channel.register.on_start == "reseed":
                self.contents, self.table = channel.register.seed_value, -1
            elif advance:
                self.position += 1
            return False
        reset = e.start and channel.position_on_start == "reset"
        if reset:
            self.position = channel.table.start_position if channel.table else 0
        elif advance:
            self.position = (self.position + 1) % self.size
        if channel.table is not None:
            if (advance and not reset) or (e.start and channel.table.first_sample == "fresh"):
                self.sample = self.memory[self.position]
            self.store(samples, e.active, sounding)
        return self.one_shot and advance and not reset and self.position == 0

    def store(self, writes: list[tuple[int, int]], playing: bool, position: int) -> None:
        """Write to the wave memory, as `while_playing` says."""
        table = self.channel.table
        if table is None or not writes or (playing and table.while_playing == "ignored"):
            return
        for address, data in writes:
            to = position // table.per_address if playing and table.while_playing == "redirected" else address
            begin = to * table.per_address
            self.memory[begin : begin + table.per_address] = stored_samples(table, data)
        self.table = -1

    def signal(self, end: int) -> Steps:
        """Return what the channel did, once all is flushed."""
        return channel_signal(self.channel, self.rows, self.tables, self.streams, end)
