"""Track: one channel, event by event.

Stage: engine, the fast one. In: the channel's writes, its state. Out: `Row`s of regular stepping for `expand`, and
the state at the end. Between two events everything goes on regularly; an event is an edge at which a register of
the channel is written, a strobe acts, the note timer runs out, the envelope or the sweep makes a step. At such an
edge the code below does what the numbered list in `psgmodel.engine` says.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.records import Channel, Chip, NoiseClock, StepClock
from psgmodel.engine.countdown import NEVER, TickTrain, counted_down
from psgmodel.engine.expand import Row, expand_rows
from psgmodel.engine.shifting import ShiftMap
from psgmodel.engine.state import ChannelState
from psgmodel.steps import Steps

Fields = dict[str, int]


class WriteAction(NamedTuple):
    """What writing one address does to a channel.

    Attributes
    ----------
    parts : tuple of (field, shift right, mask, shift left)
    strobes : tuple of (bit, "start" or "stop")
    """

    parts: tuple[tuple[str, int, int, int], ...]
    strobes: tuple[tuple[int, str], ...]


def write_actions(chip: Chip, channel: str) -> dict[int, WriteAction]:
    """Return what each address of a chip does to a channel; addresses that do nothing are left out."""
    prefix = channel + "."
    actions = {}
    for address, register in chip.registers.items():
        parts = tuple(
            (field.name.removeprefix(prefix), s.low, (1 << s.width) - 1, s.field_low)
            for field in chip.fields.values()
            if field.name.startswith(prefix)
            for s in field.segments
            if s.address == address
        )
        strobes = tuple(
            (f.low, f.target.removeprefix(prefix))
            for f in register.fields
            if f.role == "strobes" and f.target.startswith(prefix)
        )
        if parts or strobes:
            actions[address] = WriteAction(parts, strobes)
    return actions


def level_of(channel: Channel, raw: Any, volume: Any) -> Any:
    """Return the level of a raw value at a volume; integers, or arrays of them."""
    table = channel.table
    if table is None:
        return raw * volume
    if table.volume == "shift":
        return raw >> ((1 << channel.volume_bits) - 1 - volume)
    return raw * volume >> table.volume_shift


class TrackState:
    """A channel on its way from event to event."""

    def __init__(
        self, chip: Chip, channel: Channel, fields: Fields, state: ChannelState, memory: list[int] | None, cycle: int
    ) -> None:
        self.channel, self.fields = channel, fields
        self.begin, self.now = cycle, cycle - 1
        self.memory = memory or []
        self.actions = write_actions(chip, channel.name)
        self.active = bool(state.active)
        self.pending = sorted(
            (cycle + i, kind)
            for kind, line in (("start", state.starts), ("stop", state.stops))
            for i in range(line.bit_length())
            if line >> i & 1
        )
        self.timer, self.level, self.fade = state.timer, state.envelope_level, state.envelope_count
        self.glide, self.count = state.sweep_count, state.count
        self.position, self.sample = state.position, state.sample
        self.contents = state.shift_register
        self.trains = {
            key: TickTrain(chip.ticks[block.ticks])
            for key, block in (("timer", channel.timer), ("envelope", channel.envelope), ("sweep", channel.sweep))
            if block is not None
        }
        self.maps: dict[bool, ShiftMap] = {}
        if channel.register is not None:
            self.maps = {short: ShiftMap(channel.register, short) for short in (False, True)}
        self.rows: list[Row] = []
        self.tables: list[NDArray[np.integer]] = []
        self.streams: list[tuple[bool, int]] = []
        self.stream_index: dict[tuple[bool, int], int] = {}
        self.table = -1
        self._begin()

    # ------------------------------------------------------------------ the stretch that runs now

    def _begin(self) -> None:
        """Set up the stretch that runs after edge `now`: next events, next step, table, level."""
        channel, f = self.channel, self.fields
        self.stretch = max(self.now, self.begin)
        self.timer_at = self.fade_at = self.glide_at = NEVER
        if self.active:
            self._plan_blocks()
        self.length = self._length(f)
        self.first = NEVER
        if self.active and not self._stopped(f):
            wait = self.count + 1 if channel.step.new_value == "next-step" else max(1, self.length - self.count)
            self.first = self.now + wait
        self.volume = (self.level if channel.envelope else f["volume"]) if self.active else 0
        if channel.kind == "square":
            self.table = f.get("pattern", 0)
        elif channel.kind == "noise":
            self._choose_stream(bool(f.get("short", 0)))
        elif self.table < 0 and self.active:
            self.table = len(self.tables)
            self.tables.append(np.array(self.memory, dtype=np.int64))

    def _plan_blocks(self) -> None:
        """Compute the edges at which timer, envelope and sweep next do something."""
        channel, f, now = self.channel, self.fields, self.now
        timer, envelope, sweep = channel.timer, channel.envelope, channel.sweep
        if timer and f["timer.enable"] and timer.at_zero == "stop":
            self.timer_at = self.trains["timer"].nth_after(now, self.timer or 1 << timer.bits)
        if envelope:
            moves = envelope.at_end == "wrap" or envelope.at_zero == "stop"
            moves = moves or self.level != ((1 << channel.volume_bits) - 1 if f["envelope.rising"] else 0)
            if moves and self._fade_ticks(f):
                self.fade_at = self.trains["envelope"].nth_after(now, max(self.fade, 1))
        if sweep and self._glide_ticks(f) and f["period"] >> f["sweep.shift"]:
            self.glide_at = self.trains["sweep"].nth_after(now, max(self.glide, 1))

    def _fade_ticks(self, f: Mapping[str, int]) -> int:
        o = self.channel.envelope
        period = f["envelope.period"]
        return period or (1 << o.period_bits if o and o.period_zero == "longest" else 0)

    def _glide_ticks(self, f: Mapping[str, int]) -> int:
        o = self.channel.sweep
        period = f["sweep.period"]
        return period or (1 << o.period_bits if o and o.period_zero == "longest" else 0)

    def _length(self, f: Mapping[str, int]) -> int:
        o = self.channel.step
        if isinstance(o, NoiseClock):
            return o.divisors[f.get("divisor", 0)] << f.get("shift", 0)
        period = f["period"]
        return o.scale * (period + o.offset if o.rule == "up-from" else o.top - period)

    def _stopped(self, f: Mapping[str, int]) -> bool:
        o = self.channel.step
        return isinstance(o, NoiseClock) and f.get("shift", 0) in o.stopped

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
        if self.table >= 0:
            short, base = self.streams[self.table]
            self.contents = self.maps[short].contents_after(base, self.position)

    def _level(self) -> int:
        """Return the level that sounds now, or -1 where the table has it."""
        if not self.active:
            return 0
        table = self.channel.table
        if table is None:
            return -1
        raw = self.sample if table.fetch == "each-step" else self.memory[self.position]
        return int(level_of(self.channel, raw, self.volume))

    def flush(self, edge: int) -> None:
        """Close the running stretch before an edge: write its row, bring counters up to `edge` - 1."""
        last = edge - 1
        steps = 0 if self.first > last else (last - self.first) // self.length + 1
        if self.stretch < edge:
            first = self.first if steps else 0
            self.rows.append(
                Row(self.stretch, self._level(), first, self.length, steps, self.position, self.table, self.volume)
            )
        if steps:
            since = last - (self.first + (steps - 1) * self.length)
            self.count = since if self.channel.step.new_value == "at-once" else self.length - 1 - since
            self.position += steps
            self._wrap_position()
            if self.channel.kind == "wave":
                self.sample = int(self.tables[self.table][self.position])
        elif self.first != NEVER:
            ran = last - self.now
            self.count += ran if self.channel.step.new_value == "at-once" else -ran
        if self.active:
            self._count_ticks(last)
        self.now = last

    def _wrap_position(self) -> None:
        if self.channel.kind == "square":
            self.position %= len(self.channel.patterns[0])
        elif self.channel.kind == "wave":
            self.position %= len(self.memory)

    def _count_ticks(self, last: int) -> None:
        """Bring the tick counters of an active channel up to edge `last`; none of them acts on the way."""
        f = self.fields
        if self.channel.timer and f["timer.enable"]:
            ticks = self.trains["timer"].between(self.now, last)
            self.timer = (self.timer - ticks) % (1 << self.channel.timer.bits)
        if self.channel.envelope and (reload := self._fade_ticks(f)):
            self.fade = counted_down(self.fade, self.trains["envelope"].between(self.now, last), reload)
        if self.channel.sweep and (reload := self._glide_ticks(f)):
            self.glide = counted_down(self.glide, self.trains["sweep"].between(self.now, last), reload)

    # ------------------------------------------------------------------ from event to event

    def run(self, writes: Iterator[tuple[int, int, int]], end: int) -> None:
        """Run up to, not including, edge `end`; `writes` are (edge, address, value) in order."""
        upcoming = next(writes, None)
        while True:
            edge = min(self.timer_at, self.fade_at, self.glide_at, upcoming[0] if upcoming else NEVER)
            if self.pending:
                edge = min(edge, self.pending[0][0])
            if edge >= end:
                break
            batch: list[tuple[int, int]] = []
            while upcoming is not None and upcoming[0] == edge:
                batch.append(upcoming[1:])
                upcoming = next(writes, None)
            self.flush(edge)
            self.edge(edge, batch)
            self._begin()
        self.flush(end)

    def edge(self, c: int, batch: list[tuple[int, int]]) -> None:
        """Do what happens at edge `c`."""
        old, new, written, samples = self._apply(c, batch)
        start = stop = False
        while self.pending and self.pending[0][0] == c:
            kind = self.pending.pop(0)[1]
            start, stop = start or kind == "start", stop or kind == "stop"
        seen = new if self.channel.start_delay == 0 else old
        expired = self._timer_edge(c, start, old, new, seen)
        faded = self._fade_edge(c, start, old, new, seen, written)
        period, ran_over = self._glide_edge(c, start, old, new, seen)
        self._step_edge(start, old, new, seen, samples)
        if start:
            timer = self.channel.timer
            self.active = not (expired and timer is not None and timer.expiry_and_start == "expiry")
        elif stop or expired or faded or ran_over:
            self.active = False
        if period is not None:
            self._take_period(period, new, written)
        self.fields, self.now = new, c

    def _apply(
        self, c: int, batch: list[tuple[int, int]]
    ) -> tuple[Fields, Fields, dict[str, int], list[tuple[int, int]]]:
        """Apply the writes of an edge; return old and new fields, written bits by field, and samples."""
        old = self.fields
        if not batch:
            return old, old, {}, []
        new = dict(old)
        written: dict[str, int] = {}
        samples: list[tuple[int, int]] = []
        for address, value in batch:
            if address < 0:
                samples.append((-1 - address, value))
                continue
            parts, strobes = self.actions[address]
            for name, low, mask, field_low in parts:
                new[name] = new[name] & ~(mask << field_low) | (value >> low & mask) << field_low
                written[name] = written.get(name, 0) | mask << field_low
            for bit, kind in strobes:
                if value >> bit & 1:
                    self.pending.append((c + self.channel.start_delay, kind))
        self.pending.sort()
        return old, new, written, samples

    def _timer_edge(self, c: int, start: bool, old: Fields, new: Fields, seen: Fields) -> bool:
        o = self.channel.timer
        if o is None:
            return False
        size = 1 << o.bits
        enable = (new if o.write_and_tick == "new" else old)["timer.enable"]
        tick = bool(enable) and self.trains["timer"].at(c)
        counts = tick and self.active
        if start and not (counts and o.start_and_tick == "tick"):
            if o.on_start == "always" or self.timer == 0:
                length = seen["timer.length"]
                self.timer = length if o.loads == "field" else (size - length) % size
            counts = tick and o.start_and_tick == "both"
        if counts:
            self.timer = (self.timer - 1) % size
        return counts and self.timer == 0 and o.at_zero == "stop"

    def _fade_edge(self, c: int, start: bool, old: Fields, new: Fields, seen: Fields, written: dict[str, int]) -> bool:
        o = self.channel.envelope
        if o is None:
            return False
        f = new if o.write_and_tick == "new" else old
        tick = self.trains["envelope"].at(c)
        counts = tick and self.active
        direct = not start and self.active and o.volume_write == "at-once" and "volume" in written
        if start and not (counts and o.start_and_tick == "tick"):
            self.level, self.fade = seen["volume"], self._fade_ticks(seen)
            counts = tick and o.start_and_tick == "both"
        if direct and (not counts or o.volume_and_tick == "both"):
            self.level = new["volume"]
        reload = self._fade_ticks(f)
        stepped = counts and reload > 0 and self.fade <= 1
        if counts and reload:
            self.fade = reload if stepped else self.fade - 1
        if stepped:
            size = 1 << self.channel.volume_bits
            level = self.level + (o.step if f["envelope.rising"] else -o.step)
            self.level = level % size if o.at_end == "wrap" else max(0, min(level, size - 1))
        if direct and counts and o.volume_and_tick == "write":
            self.level = new["volume"]
        return stepped and not start and self.level == 0 and o.at_zero == "stop"

    def _glide_edge(self, c: int, start: bool, old: Fields, new: Fields, seen: Fields) -> tuple[int | None, bool]:
        o = self.channel.sweep
        if o is None:
            return None, False
        f = new if o.write_and_tick == "new" else old
        tick = self.trains["sweep"].at(c)
        counts = tick and self.active
        if start and not (counts and o.start_and_tick == "tick"):
            self.glide = self._glide_ticks(seen)
            counts = tick and o.start_and_tick == "both"
        reload = self._glide_ticks(f)
        if not counts or not reload:
            return None, False
        if self.glide > 1:
            self.glide -= 1
            return None, False
        self.glide = reload
        period = old["period"]
        part = period >> f["sweep.shift"]
        if f["sweep.falling"]:
            return period - part, False
        assert isinstance(self.channel.step, StepClock)
        size = 1 << self.channel.step.bits
        if period + part < size or o.overflow == "wrap":
            return (period + part) % size, False
        return None, o.overflow == "stop"

    def _take_period(self, period: int, new: Fields, written: dict[str, int]) -> None:
        """Put the result of a sweep step into the period."""
        rule = self.channel.sweep.write_and_step if self.channel.sweep else "write"
        bits = written.get("period", 0)
        if bits == 0 or rule == "step":
            new["period"] = period
        elif rule == "merge":
            new["period"] = new["period"] & bits | period & ~bits

    def _step_edge(self, start: bool, old: Fields, new: Fields, seen: Fields, samples: list[tuple[int, int]]) -> None:
        """Step counter, position, sample register and shift register at an edge."""
        channel = self.channel
        o = channel.step
        f = new if o.write_and_step == "new" else old
        down = o.new_value == "next-step"
        advance = False
        if start and o.on_start == "reload":
            self.count = self._length(seen) - 1 if down else 0
        elif self.active and not self._stopped(f):
            advance = self.count == 0 if down else self.count + 1 >= self._length(f)
            if advance:
                self.count = self._length(f) - 1 if down else 0
            else:
                self.count += -1 if down else 1
        if channel.register is not None:
            if start and channel.register.on_start == "reseed":
                self.contents, self.table = channel.register.seed_value, -1
            elif advance:
                self.position += 1
            return
        reset = start and channel.position_on_start == "reset"
        if reset:
            self.position = 0
        elif advance:
            self.position += 1
            self._wrap_position()
        if channel.table is not None:
            if (advance and not reset) or (start and channel.table.first_sample == "fresh"):
                self.sample = self.memory[self.position]
            for index, value in samples:
                self.memory[index] = value
                self.table = -1

    def state(self, end: int) -> ChannelState:
        """Return the registers just before edge `end`."""
        if self.channel.register is not None:
            self._bring_contents()
        position = 0 if self.channel.register is not None else self.position
        lines = {kind: sum(1 << at - end for at, k in set(self.pending) if k == kind) for kind in ("start", "stop")}
        return ChannelState(
            int(self.active),
            self.count,
            position,
            self.sample,
            self.contents,
            self.timer,
            self.level,
            self.fade,
            self.glide,
            lines["start"],
            lines["stop"],
        )

    def signal(self, end: int) -> Steps:
        """Return what the channel did, once `run` is over."""
        tables = self.tables
        if self.channel.kind == "square":
            tables = [np.array([int(bit) for bit in pattern]) for pattern in self.channel.patterns]
        elif self.channel.register is not None:
            tables = self._stream_tables()
        return expand_rows(self.rows, tables, lambda raw, volume: level_of(self.channel, raw, volume), end)

    def _stream_tables(self) -> list[NDArray[np.integer]]:
        """Return the output bits of every stream, as far as the rows reach into it."""
        reach = [1] * len(self.streams)
        for row in self.rows:
            reach[row.table] = max(reach[row.table], row.position + row.steps + 1)
        inverted = self.channel.register is not None and self.channel.register.polarity == "low"
        bits = [self.maps[short].output_bits(base, n) for (short, base), n in zip(self.streams, reach, strict=True)]
        return [b ^ 1 if inverted else b for b in bits]
