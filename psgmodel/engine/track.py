"""Track: one channel, event by event.

Stage: engine, the fast one. In: the channel's events, its state. Out: `Row`s of regular stepping for `expand`, and
the state at the end. Between two events everything goes on regularly; an event is an edge at which a register of
the channel is written, a strobe acts, the note timer runs out, the envelope or the sweep makes a step. At such an
edge the code below does what the numbered list in `psgmodel.engine` says.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.channel import Channel
from psgmodel.engine.actions import CLEAR, FADE, GLIDE, PASS, STEP, TIMER, WriteAction, stored_samples
from psgmodel.engine.countdown import NEVER, TickTrain
from psgmodel.engine.expand import UNKNOWN_LEVEL, Row
from psgmodel.engine.shifting import shift_map
from psgmodel.engine.slow import FadeTrack, GlideTrack, Look, TimerTrack, step_length, step_stopped
from psgmodel.engine.sounding import channel_signal, level_of
from psgmodel.engine.state import ChannelState, reset_channel
from psgmodel.steps import Steps

Fields = dict[str, int]
CLEARED, CLEARED_WITH_MEMORY = -1, -2
"""Instead of touched blocks: the power bit has cleared the channel."""
Event = tuple[int, int, int]
"""Edge, address (or one of the codes of `actions`), value."""


class TrackState:
    """A channel on its way from event to event."""

    def __init__(
        self,
        channel: Channel,
        trains: Mapping[str, TickTrain],
        actions: Mapping[int, WriteAction],
        fields: Fields,
        reset_fields: Fields,
        begin: int,
    ) -> None:
        self.channel, self.trains, self.actions = channel, trains, actions
        self.fields, self.reset_fields = fields, reset_fields
        self.begin, self.now = begin, begin - 1
        self.down = channel.step.new_value == "next-step"
        self.clock = trains[channel.step.clocked_by] if channel.step.clocked_by else None
        self.spacing = self.clock.every if self.clock else 1
        self.size = len(channel.patterns[0]) if channel.patterns else channel.table.samples if channel.table else 0
        self.rows: list[Row] = []
        self.tables: list[NDArray[np.integer]] = []
        self.streams: list[tuple[bool, int]] = []
        self.stream_index: dict[tuple[bool, int], int] = {}
        self.periods: list[tuple[int, int]] = []
        self.activity: list[tuple[int, bool]] = []

    def load(self, state: ChannelState, memory: list[int], pending: list[tuple[int, str]]) -> None:
        """Take over a state; `pending` are strobes on their way, as (edge, kind)."""
        channel, trains = self.channel, self.trains
        self.active, self.pending, self.memory = bool(state.active), sorted(pending), memory
        self.count, self.position, self.sample = state.count, state.position, state.sample
        self.contents, self.table = state.shift_register, -1
        timer, envelope, sweep = channel.timer, channel.envelope, channel.sweep
        self.timer = self.fade = self.glide = None
        if timer:
            self.timer = TimerTrack(timer, trains[timer.ticks], state.timer, self.now)
        if envelope:
            level, count = state.envelope_level, state.envelope_count
            self.fade = FadeTrack(envelope, trains[envelope.ticks], level, count, channel.volume_bits, self.now)
        if sweep:
            self.glide = GlideTrack(sweep, trains[sweep.ticks], channel, state, self.now)
        self.blocks = [block for block in (self.timer, self.fade, self.glide) if block is not None]

    # ------------------------------------------------------------------ the stretch that runs now

    def _begin(self) -> None:
        """Set up the stretch that runs after edge `now`: next step, table, volume."""
        channel, f, now = self.channel, self.fields, self.now
        self.stretch = max(now, self.begin)
        self.first = NEVER
        self.length = step_length(channel.step, f)
        if self.active and not step_stopped(channel.step, f):
            wait = self.count + 1 if self.down else max(1, self.length - self.count)
            self.first = self.clock.nth_after(now, wait) if self.clock else now + wait
        self.volume = self.fade.level if self.fade else f["volume"]
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
        self._bring_contents()
        self.table = self.stream_index.setdefault((short, self.contents), len(self.streams))
        if self.table == len(self.streams):
            self.streams.append((short, self.contents))
        self.position = 0

    def _bring_contents(self) -> None:
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
        last, spread = edge - 1, self.length * self.spacing
        steps = 0 if self.first > last else (last - self.first) // spread + 1
        if self.stretch < edge:
            first = self.first if steps else 0
            self.rows.append(
                Row(self.stretch, self._level(), first, spread, steps, self.position, self.table, self.volume)
            )
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

    # ------------------------------------------------------------------ from event to event

    def run(self, events: Iterator[Event], end: int) -> None:
        """Run up to, not including, edge `end`; events come in order."""
        self._begin()
        self._plan(self.fields)
        upcoming = next(events, None)
        while True:
            edge = min(self.next_act, upcoming[0] if upcoming else NEVER)
            if self.pending:
                edge = min(edge, self.pending[0][0])
            if edge >= end:
                break
            batch: list[Event] = []
            while upcoming is not None and upcoming[0] == edge:
                batch.append(upcoming)
                upcoming = next(events, None)
            self.edge(edge, batch)
        self.flush(end)
        if self.active:
            for block in self.blocks:
                block.catch_up(end - 1, self.fields)

    def _plan(self, f: Fields) -> None:
        """Set the next edge at which a block acts by itself; all of them plan anew after a start."""
        self.next_act = NEVER
        for block in self.blocks if self.active else ():
            block.plan(f)
            self.next_act = min(self.next_act, block.at)

    def edge(self, c: int, batch: list[Event]) -> None:
        """Do what happens at edge `c`."""
        old = self.fields
        new, written, touches, samples = self._apply(c, batch)
        if touches < 0:
            self._clear(c, new, samples, touches == CLEARED_WITH_MEMORY)
            return
        start = stop = False
        while self.pending and self.pending[0][0] == c:
            kind = self.pending.pop(0)[1]
            start, stop = start or kind == "start", stop or kind == "stop"
        if not (start or self.active):
            self._store(samples, False, 0)
            self.fields = new
            return
        if start or stop:
            touches = TIMER | FADE | GLIDE | STEP
        elif not (touches or samples or c == self.next_act):
            self.fields = new
            return
        look = Look(c, start, self.active, old, new, new if self.channel.start_delay == 0 else old, written)
        self._look_at(look, touches, stop, samples)

    def _look_at(self, e: Look, touches: int, stop: bool, samples: list[tuple[int, int]]) -> None:
        """Let the blocks do what they do at an edge: those that are touched, and those that act by themselves."""
        c, new = e.edge, dict(e.new) if self.glide else e.new
        timer, fade, glide = self.timer, self.fade, self.glide
        looked = []
        expired = faded = ran_over = False
        period: int | None = None
        volume = fade.level if fade else 0

        def look_at(block: TimerTrack | FadeTrack | GlideTrack) -> None:
            if self.active:
                block.catch_up(c - 1, e.old)
            looked.append(block)
            block.synced = c

        if timer and (touches & TIMER or timer.at == c):
            look_at(timer)
            expired = timer.edge(e)
        if fade and (touches & FADE or fade.at == c):
            look_at(fade)
            faded = fade.edge(e)
        if glide and (touches & GLIDE or glide.at == c):
            look_at(glide)
            period, ran_over = glide.edge(e)
        was, self_active = self.active, self._activity(e, stop, expired, faded, ran_over)
        if was and not self_active:  # what was not looked at still does at this edge what it would have done
            if timer and timer not in looked:
                look_at(timer)
                timer.edge(e)
            if fade and fade not in looked:
                look_at(fade)
                fade.edge(e)
            if glide and glide not in looked:
                look_at(glide)
                period, _ = glide.edge(e)
        stepping = touches & STEP or was != self_active or period is not None or bool(samples)
        if stepping or (fade and fade.level != volume):
            self.flush(c)
            self._step_edge(e, samples)
            self.now = c
        if was != self_active:
            self.activity.append((c, self_active))
        self.active = self_active
        if period is not None:
            self._take_period(c, period, new, e.written)
        self.fields = new
        if self.now == c:
            self._begin()
        if e.start or was != self_active:
            self._plan(new)
        else:
            for block in looked:
                block.plan(new)
            self.next_act = min((block.at for block in self.blocks), default=NEVER)

    def _activity(self, e: Look, stop: bool, expired: bool, faded: bool, ran_over: bool) -> bool:
        """Return whether the channel is active after the edge."""
        if e.start:
            timer, sweep = self.channel.timer, self.channel.sweep
            ends = expired and timer is not None and timer.expiry_and_start == "expiry"
            return not (ends or (ran_over and sweep is not None and sweep.check != "at-step"))
        return self.active and not (stop or expired or faded or ran_over)

    def _clear(self, c: int, new: Fields, samples: list[tuple[int, int]], with_memory: bool) -> None:
        """The power bit puts everything back; the memory takes what was written."""
        self.flush(c)
        if with_memory:
            self.memory[:] = [0] * len(self.memory)
        self._store(samples, False, 0)
        if self.active:
            self.activity.append((c, False))
        self.now = c
        self.load(reset_channel(self.channel), self.memory, [])
        self.fields = new
        self._begin()
        self._plan(new)

    def _apply(self, c: int, batch: list[Event]) -> tuple[Fields, dict[str, int], int, list[tuple[int, int]]]:
        """Apply the events of an edge; return new fields, written bits by field, touched blocks, memory writes."""
        new = self.fields
        written: dict[str, int] = {}
        samples: list[tuple[int, int]] = []
        touches = cleared = 0
        if batch:
            new = dict(new)
        for _, address, value in batch:
            if address == PASS:
                touches |= STEP
            elif address == CLEAR:
                new, cleared, written = dict(self.reset_fields), CLEARED, {}
                if value:
                    samples, cleared = [], CLEARED_WITH_MEMORY
            elif address < 0:
                samples.append((-1 - address, value))
            else:
                action = self.actions[address]
                touches |= action.touches
                for name, low, mask, field_low in action.parts:
                    new[name] = new[name] & ~(mask << field_low) | (value >> low & mask) << field_low
                    written[name] = written.get(name, 0) | mask << field_low
                for bit, kind in action.strobes:
                    if bit < 0 or value >> bit & 1:
                        self.pending.append((c + self.channel.start_delay, kind))
                        self.pending.sort()
        return new, written, cleared or touches, samples

    def _take_period(self, c: int, period: int, new: Fields, written: dict[str, int]) -> None:
        """Put the result of a sweep step into the period."""
        rule = self.channel.sweep.write_and_step if self.channel.sweep else "write"
        bits = written.get("period", 0)
        if bits == 0 or rule == "step":
            new["period"] = period
        elif rule == "merge":
            new["period"] = new["period"] & bits | period & ~bits
        self.periods.append((c, new["period"]))

    def _step_edge(self, e: Look, samples: list[tuple[int, int]]) -> None:
        """Step counter, position, sample register and shift register at an edge."""
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
        if channel.register is not None:
            if e.start and channel.register.on_start == "reseed":
                self.contents, self.table = channel.register.seed_value, -1
            elif advance:
                self.position += 1
            return
        reset = e.start and channel.position_on_start == "reset"
        if reset:
            self.position = channel.table.start_position if channel.table else 0
        elif advance:
            self.position = (self.position + 1) % self.size
        if channel.table is not None:
            if (advance and not reset) or (e.start and channel.table.first_sample == "fresh"):
                self.sample = self.memory[self.position]
            self._store(samples, e.active, sounding)

    def _store(self, writes: list[tuple[int, int]], playing: bool, position: int) -> None:
        """Write to the wave memory, as `while_playing` says."""
        table = self.channel.table
        if table is None or not writes or (playing and table.while_playing == "ignored"):
            return
        for address, data in writes:
            to = position // table.per_address if playing and table.while_playing == "redirected" else address
            begin = to * table.per_address
            self.memory[begin : begin + table.per_address] = stored_samples(table, data)
        self.table = -1

    # ------------------------------------------------------------------ the answer

    def state(self, end: int) -> ChannelState:
        """Return the registers just before edge `end`."""
        self._bring_contents()
        timer, fade, glide = self.timer, self.fade, self.glide
        lines = {kind: sum(1 << at - end for at, k in set(self.pending) if k == kind) for kind in ("start", "stop")}
        return ChannelState(
            active=int(self.active),
            count=self.count,
            position=0 if self.channel.register is not None else self.position,
            sample=self.sample,
            shift_register=self.contents,
            timer=timer.count if timer else 0,
            envelope_level=fade.level if fade else 0,
            envelope_count=fade.count if fade else 0,
            sweep_count=glide.count if glide else 0,
            sweep_shadow=glide.shadow if glide else 0,
            sweep_fell=int(glide.fell) if glide else 0,
            starts=lines["start"],
            stops=lines["stop"],
        )

    def signal(self, end: int) -> Steps:
        """Return what the channel did, once `run` is over."""
        return channel_signal(self.channel, self.rows, self.tables, self.streams, end)
