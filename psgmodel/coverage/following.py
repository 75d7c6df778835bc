"""Following: one channel from event to event, each event seen by the reference's own blocks.

Stage: coverage. In: the events of a channel, its state. Out: a `WatchedChannel` with a row for each edge at which
something happens: a write to one of its registers, a strobe, the note timer running out, a step of envelope or sweep,
the end of a wave, a change of what the mixer lets through. What lies between is regular and passed over by arithmetic.

The contents of a noise register are not followed: no behaviour asks for them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from copy import copy

from psgmodel.chip.channel import StepClock
from psgmodel.chip.records import Chip
from psgmodel.coverage.watching import WatchedChannel
from psgmodel.engine.actions import write_actions
from psgmodel.engine.blocks import ticks_of
from psgmodel.engine.countdown import NEVER, TickTrain, counted_down
from psgmodel.engine.followed import Watched, own_fields
from psgmodel.engine.kernel.layout import CLEAR, PASS, QUIET
from psgmodel.engine.state import UnitState

Event = tuple[int, int, int]
"""Edge, register address (or a code of `psgmodel.engine.actions`; address i of the memory is -1 - i), value."""


class Follower:
    """One channel on its way.

    Attributes
    ----------
    watched : WatchedChannel
    fields : dict from field name (without the channel) to int
        As they stand after edge `now`.
    now : int
        Last edge that is done.
    trains : mapping from tick name to TickTrain
        May be exchanged for trains that differ from a later edge on.
    """

    def __init__(self, chip: Chip, name: str, trains: Mapping[str, TickTrain], state: UnitState) -> None:
        channel = chip.channels[name]
        self.chip, self.name, self.trains = chip, name, trains
        self.watched = WatchedChannel(channel, state.channels[name], state.memories.get(name))
        self.actions = write_actions(chip, name)
        self.bit = {address: 1 << i for i, address in enumerate(own_registers(chip, name))}
        self.fields = own_fields(chip, name, state.registers)
        self.reset_fields = own_fields(chip, name, None)
        self.now = state.cycle - 1
        step, blocks = channel.step, (channel.timer, channel.envelope, channel.sweep)
        self.own_ticks = {block.ticks for block in blocks if block} | ({step.clocked_by} - {""})
        self.one_shot = channel.table is not None and channel.table.after_last == "stop"
        self.next_own = self._next_own()

    def fork(self) -> Follower:
        """Return a copy that goes its own way; the rows so far stay behind."""
        twin, w = copy(self), self.watched
        twin.watched = WatchedChannel(w.channel, w.state(), w.wave.memory if w.wave else None)
        twin.watched.standing, twin.watched.forgets = w.standing, w.forgets
        return twin

    def run(self, events: Iterable[Event], end: int) -> None:
        """Follow up to, not including, edge `end`; events come in order."""
        batch: list[Event] = []
        for event in events:
            if batch and event[0] != batch[0][0]:
                self.visit(batch[0][0], batch)
                batch = []
            batch.append(event)
        if batch and batch[0][0] < end:
            self.visit(batch[0][0], batch)
        while self.next_own < end:
            self.visit(self.next_own, [])
        self._pass_to(end)

    def visit(self, c: int, batch: list[Event]) -> None:
        """Go to edge `c` and do what the events do there; what happens by itself before it is done first."""
        while self.next_own < c:
            self.visit(self.next_own, [])
        self._pass_to(c)
        old = self.fields
        new, masks, wrote, samples, strobes, cleared, quiet = self._apply(batch)
        gate = new.get("gate", 0)
        if self.watched.channel.gate and gate != old.get("gate", 0) and not quiet and not cleared:
            strobes.add(f"{self.name}.{'start' if gate else 'stop'}")
        ticks = {name: self.trains[name].at(c) for name in self.own_ticks}
        period = self.watched.show(
            c, old, new, frozenset(masks), wrote, strobes, ticks, samples, cleared=cleared, quiet=quiet
        )
        self.fields = new
        if period is not None:
            self._take_period(period, masks.get("period", 0))
        self.watched.standing = self.fields
        self.now = c
        self.next_own = self._next_own()

    def _apply(
        self, batch: list[Event]
    ) -> tuple[dict[str, int], dict[str, int], int, list[tuple[int, int]], set[str], bool, bool]:
        """Return new fields, written bits by field, written registers, samples, strobes; whether it was cleared, and
        whether the last write was made while the power is off."""
        new = dict(self.fields) if batch else self.fields
        masks: dict[str, int] = {}
        samples: list[tuple[int, int]] = []
        strobes: set[str] = set()
        cleared = quiet = False
        wrote = 0
        for _, address, value in batch:
            if address == PASS:
                continue
            if address == CLEAR:
                new, masks, cleared, wrote = dict(self.reset_fields), {}, True, 0
                strobes.clear()
                if value:
                    samples.clear()
                    self.watched.forgets = True
            elif address < 0:
                samples.append((-1 - address, value))
            else:
                action = self.actions[address]
                quiet = address >= QUIET
                wrote |= 0 if quiet else self.bit[address & ~QUIET]
                for name, low, mask, field_low in action.parts:
                    new[name] = new[name] & ~(mask << field_low) | (value >> low & mask) << field_low
                    if not quiet:
                        masks[name] = masks.get(name, 0) | mask << field_low
                strobes.update(f"{self.name}.{kind}" for bit, kind in action.strobes if bit < 0 or value >> bit & 1)
        if cleared:
            strobes.clear()
        return new, masks, wrote, samples, strobes, cleared, quiet

    def _take_period(self, period: int, bits: int) -> None:
        """Put the result of a sweep step into the period, as `write_and_step` says."""
        sweep = self.watched.channel.sweep
        rule = sweep.write_and_step if sweep is not None else "write"
        if bits == 0 or rule == "step":
            self.fields = self.fields | {"period": period}
        elif rule == "merge":
            self.fields = self.fields | {"period": self.fields["period"] & bits | period & ~bits}

    def _pass_to(self, edge: int) -> None:
        """Bring everything up to just before an edge; nothing but ticks and regular steps lies between."""
        w, f, now, last = self.watched, self.fields, self.now, edge - 1
        steps = timer_ticks = fade_ticks = glide_ticks = 0
        if w.active and last > now:
            if w.timer:
                timer_ticks = self.trains[w.timer.options.ticks].between(now, last)
                if f["timer.enable"]:
                    w.timer.count = (w.timer.count - timer_ticks) % (1 << w.timer.options.bits)
            if w.envelope:
                o = w.envelope.options
                fade_ticks = self.trains[o.ticks].between(now, last)
                if reload := ticks_of(f["envelope.period"], o.period_bits, o.period_zero):
                    w.envelope.count = counted_down(w.envelope.count, fade_ticks, reload)
            if w.sweep:
                s = w.sweep.options
                glide_ticks = self.trains[s.ticks].between(now, last)
                if reload := ticks_of(f["sweep.period"], s.period_bits, s.period_zero):
                    w.sweep.count = counted_down(w.sweep.count, glide_ticks, reload)
            steps = self._stepped(last)
        if w.starts | w.stops:
            w.starts >>= last - now
            w.stops >>= last - now
        if w.rows:
            w.passed(steps, timer_ticks, fade_ticks, glide_ticks)
        self.now = max(now, last)

    def _stepped(self, last: int) -> int:
        """Let the waveform step up to edge `last`; return the number of steps."""
        w, f = self.watched, self.fields
        if w.step.stopped(f):
            return 0
        clock = w.channel.step.clocked_by
        counts = self.trains[clock].between(self.now, last) if clock else last - self.now
        length, step = w.step.length(f), w.step
        down = w.channel.step.new_value == "next-step"
        wait = step.count + 1 if down else max(1, length - step.count)
        if counts < wait:
            step.count += -counts if down else counts
            return 0
        steps, since = divmod(counts - wait, length)
        step.count = length - 1 - since if down else since
        if w.square:
            w.square.position = (w.square.position + steps + 1) % len(w.square.patterns[0])
        if w.wave:
            w.wave.position = (w.wave.position + steps + 1) % len(w.wave.memory)
            w.wave.sample = w.wave.memory[w.wave.position]
        return steps + 1

    def shown(self, first: int = 0) -> Watched:
        """Return the rows from one on as columns."""
        return self.watched.watched(self.reset_fields, first)

    def wait(self, edge: int) -> None:
        """Go to just before an edge."""
        while self.next_own < edge:
            self.visit(self.next_own, [])
        if edge - 1 > self.now:
            self._pause(edge)

    def _pause(self, edge: int) -> None:
        """Pass to an edge and stay there: an edge at which nothing is written is shown, so that rows stay whole."""
        self.visit(edge - 1, [])

    def renew(self, trains: Mapping[str, TickTrain]) -> None:
        """Go on with other trains, which are the same up to edge `now`."""
        self.trains = trains
        self.next_own = self._next_own()

    def step_wait(self, earliest: int) -> int:
        """Return the edge of the first regular step not before an edge; NEVER where none comes."""
        w, f = self.watched, self.fields
        if not w.active or w.step.stopped(f):
            return NEVER
        length, down = w.step.length(f), w.channel.step.new_value == "next-step"
        wait = w.step.count + 1 if down else max(1, length - w.step.count)
        clock = w.channel.step.clocked_by
        train = self.trains[clock] if clock else None
        passed = earliest - 1 - self.now if train is None else train.between(self.now, earliest - 1)
        if passed >= wait:
            wait += -(-(passed + 1 - wait) // length) * length
        return self.now + wait if train is None else train.nth_after(self.now, wait)

    def block_waits(self) -> dict[str, int]:
        """Return the next edge at which each block acts by itself: timer, envelope, sweep, and the end of a wave."""
        w, f, now = self.watched, self.fields, self.now
        found: dict[str, int] = {}
        if not w.active:
            return found
        if w.timer and f["timer.enable"] and w.timer.options.at_zero == "stop":
            found["timer"] = self.trains[w.timer.options.ticks].nth_after(
                now, w.timer.count or 1 << w.timer.options.bits
            )
        if w.envelope:
            e = w.envelope.options
            if ticks_of(f["envelope.period"], e.period_bits, e.period_zero):
                found["envelope"] = self.trains[e.ticks].nth_after(now, max(w.envelope.count, 1))
        if w.sweep:
            s = w.sweep.options
            if ticks_of(f["sweep.period"], s.period_bits, s.period_zero):
                found["sweep"] = self.trains[s.ticks].nth_after(now, max(w.sweep.count, 1))
        if self.one_shot and w.wave and isinstance(w.channel.step, StepClock):
            found["wave"] = self._wave_end()
        return found

    def _wave_end(self) -> int:
        """Return the edge at which a wave goes past its last sample, if nothing comes between."""
        w, clock = self.watched, self.watched.channel.step.clocked_by
        assert w.wave is not None
        length = w.step.length(self.fields)
        down = w.channel.step.new_value == "next-step"
        wait = w.step.count + 1 if down else max(1, length - w.step.count)
        wait += (len(w.wave.memory) - 1 - w.wave.position) * length
        return self.trains[clock].nth_after(self.now, wait) if clock else self.now + wait

    def _next_own(self) -> int:
        w = self.watched
        edge = min(self.block_waits().values(), default=NEVER)
        line = w.starts | w.stops
        return min(edge, self.now + (line & -line).bit_length()) if line else edge


def own_registers(chip: Chip, name: str) -> list[int]:
    """Return the addresses of the registers that do something to a channel, rising."""
    return sorted(address for address in write_actions(chip, name) if address < QUIET)
