"""Track: one channel, event by event.

Stage: engine, the fast one. In: the channel's events, its state. Out: what `stepping` wrote down, and the state at
the end. Between two events everything goes on regularly; an event is an edge at which a register of
the channel is written, a strobe acts, the note timer runs out, the envelope or the sweep makes a step. At such an
edge the code below does what the numbered list in `psgmodel.engine` says.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from psgmodel.chip.channel import Channel
from psgmodel.engine.actions import WriteAction, channel_events, write_actions
from psgmodel.engine.countdown import NEVER, TickTrain
from psgmodel.engine.followed import Followed, UnitPlan, own_fields
from psgmodel.engine.kernel.layout import CLEAR, FADE, GLIDE, PASS, QUIET, STEP, TIMER
from psgmodel.engine.slow import FadeTrack, Fields, GlideTrack, Look, TimerTrack
from psgmodel.engine.state import ChannelState, reset_channel
from psgmodel.engine.stepping import StepTrack

CLEARED, CLEARED_WITH_MEMORY = -1, -2
"""Instead of touched blocks: the power bit has cleared the channel."""
Event = tuple[int, int, int]
"""Edge, address (or one of the codes of `actions`), value."""


def follow_in_python(plan: UnitPlan, name: str) -> Followed:
    """Follow one channel up to the end of a plan."""
    chip, channel, begin, end = plan.chip, plan.chip.channels[name], plan.state.cycle, plan.end
    saved, actions = plan.state.channels[name], write_actions(chip, name)
    fields, reset_fields = own_fields(chip, name, plan.state.registers), own_fields(chip, name, None)
    track = TrackState(channel, plan.trains, actions, fields, reset_fields, begin)
    pending = [
        (begin + i, kind)
        for kind, line in (("start", saved.starts), ("stop", saved.stops))
        for i in range(line.bit_length())
        if line >> i & 1
    ]
    track.load(saved, list(plan.state.memories.get(name, [])), pending)
    passes = plan.restarts.get(channel.step.clocked_by, [])
    track.run(channel_events(chip, name, plan.events, actions, passes), end)
    edges, active = np.array(track.activity, dtype=np.int64).reshape(-1, 2).T
    level, period = track.steps.signal(end), track.fields.get("period", 0)
    return Followed(level, edges, active.astype(np.int32), track.state(end), track.steps.memory, period)


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
        self.steps = StepTrack(channel, trains, begin)
        self.periods: list[tuple[int, int]] = []
        self.activity: list[tuple[int, bool]] = []

    def load(self, state: ChannelState, memory: list[int], pending: list[tuple[int, str]]) -> None:
        """Take over a state; `pending` are strobes on their way, as (edge, kind)."""
        channel, trains = self.channel, self.trains
        self.active, self.pending = bool(state.active), sorted(pending)
        self.steps.load(state, memory)
        now = self.steps.now
        timer, envelope, sweep = channel.timer, channel.envelope, channel.sweep
        self.timer = self.fade = self.glide = None
        if timer:
            self.timer = TimerTrack(timer, trains[timer.ticks], state.timer, now)
        if envelope:
            level, count = state.envelope_level, state.envelope_count
            self.fade = FadeTrack(envelope, trains[envelope.ticks], level, count, channel.volume_bits, now)
        if sweep:
            self.glide = GlideTrack(sweep, trains[sweep.ticks], channel, state, now)
        self.blocks = [block for block in (self.timer, self.fade, self.glide) if block is not None]

    def run(self, events: Iterator[Event], end: int) -> None:
        """Run up to, not including, edge `end`; events come in order."""
        self._resume(self.fields)
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
        self.steps.flush(end)
        if self.active:
            for block in self.blocks:
                block.catch_up(end - 1, self.fields)

    def _resume(self, f: Fields) -> None:
        """Let the stepping go on after its edge `now`."""
        bypassed = self.fade is None or f.get("envelope.bypass", 0) == 1
        self.steps.resume(self.active, f["volume"] if self.fade is None or bypassed else self.fade.level, f)

    def _plan(self, f: Fields) -> None:
        """Set the next edge at which a block acts by itself; all of them plan anew after a start."""
        self.next_act = NEVER
        for block in self.blocks if self.active else ():
            block.plan(f)
            self.next_act = min(self.next_act, block.at)
        self.next_act = min(self.next_act, self.steps.ends_at)

    def edge(self, c: int, batch: list[Event]) -> None:
        """Do what happens at edge `c`."""
        old = self.fields
        new, written, touches, samples = self._apply(c, batch)
        if touches < 0:
            self._clear(c, new, samples, touches == CLEARED_WITH_MEMORY)
            return
        if self.channel.gate and new.get("gate", 0) != old.get("gate", 0):
            self._move_gate(c, batch, "start" if new["gate"] else "stop")
        start = stop = False
        while self.pending and self.pending[0][0] == c:
            kind = self.pending.pop(0)[1]
            start, stop = start or kind == "start", stop or kind == "stop"
        if not (start or self.active):
            self.steps.store(samples, False, 0)
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
        if self.steps.one_shot:
            self.steps.flush(c)
            stop |= self.steps.edge(e, samples)
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
        if self.steps.now < c and (stepping or (fade and fade.level != volume)):
            self.steps.flush(c)
            self.steps.edge(e, samples)
        if was != self_active:
            self.activity.append((c, self_active))
        self.active = self_active
        if period is not None:
            self._take_period(c, period, new, e.written)
        self.fields = new
        if self.steps.now == c:
            self._resume(new)
        if e.start or was != self_active:
            self._plan(new)
        else:
            for block in looked:
                block.plan(new)
            self.next_act = min([self.steps.ends_at, *(block.at for block in self.blocks)])

    def _activity(self, e: Look, stop: bool, expired: bool, faded: bool, ran_over: bool) -> bool:
        """Return whether the channel is active after the edge."""
        if e.start:
            timer, sweep = self.channel.timer, self.channel.sweep
            ends = expired and timer is not None and timer.expiry_and_start == "expiry"
            return not (ends or (ran_over and sweep is not None and sweep.check != "at-step"))
        return self.active and not (stop or expired or faded or ran_over)

    def _clear(self, c: int, new: Fields, samples: list[tuple[int, int]], with_memory: bool) -> None:
        """The power bit puts everything back; the memory takes what was written."""
        steps = self.steps
        steps.flush(c)
        if with_memory:
            steps.memory[:] = [0] * len(steps.memory)
        steps.store(samples, False, 0)
        was, steps.now = self.active, c
        self.load(reset_channel(self.channel), steps.memory, [])
        if was != self.active:
            self.activity.append((c, self.active))
        self.fields = new
        self._resume(new)
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

    def _move_gate(self, c: int, batch: list[Event], kind: str) -> None:
        """Strobe where a gate goes, unless it went so while the power was off."""
        if next(address for _, address, _ in reversed(batch) if address >= 0) < QUIET:
            self.pending.append((c + self.channel.start_delay, kind))
            self.pending.sort()

    def _take_period(self, c: int, period: int, new: Fields, written: dict[str, int]) -> None:
        """Put the result of a sweep step into the period."""
        rule = self.channel.sweep.write_and_step if self.channel.sweep else "write"
        bits = written.get("period", 0)
        if bits == 0 or rule == "step":
            new["period"] = period
        elif rule == "merge":
            new["period"] = new["period"] & bits | period & ~bits
        self.periods.append((c, new["period"]))

    def state(self, end: int) -> ChannelState:
        """Return the registers just before edge `end`."""
        steps, timer, fade, glide = self.steps, self.timer, self.fade, self.glide
        steps.bring_contents()
        lines = {kind: sum(1 << at - end for at, k in set(self.pending) if k == kind) for kind in ("start", "stop")}
        return ChannelState(
            active=int(self.active),
            count=steps.count,
            position=0 if self.channel.register is not None else steps.position,
            sample=steps.sample,
            shift_register=steps.contents,
            timer=timer.count if timer else 0,
            envelope_level=fade.level if fade else 0,
            envelope_count=fade.count if fade else 0,
            sweep_count=glide.count if glide else 0,
            sweep_shadow=glide.shadow if glide else 0,
            sweep_fell=int(glide.fell) if glide else 0,
            starts=lines["start"],
            stops=lines["stop"],
        )
