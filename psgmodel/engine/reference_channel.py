"""Reference channel: one channel cycle by cycle, its blocks put together as the specification reads.

Stage: engine. In: for each clock edge the fields before and after its writes, strobes, ticks and samples. Out: the
channel's level, the period that a sweep step makes, the registers. Nothing here is clever.
"""

from __future__ import annotations

from psgmodel.chip.channel import Channel, StepClock
from psgmodel.engine.blocks import EdgeState, Fields, FrequencySweep, NoteTimer, StepCounter, VolumeEnvelope
from psgmodel.engine.players import NoisePlayer, PatternPlayer, WavePlayer, channel_level
from psgmodel.engine.state import ChannelState, reset_channel


class ReferenceChannel:
    """One channel: its blocks, its delay lines and its `active` bit."""

    def __init__(self, channel: Channel, state: ChannelState, memory: list[int] | None) -> None:
        self.channel = channel
        self.active = bool(state.active)
        self.starts, self.stops = state.starts, state.stops
        self.step = StepCounter(channel.step)
        self.step.count = state.count
        self.timer = NoteTimer(channel.timer) if channel.timer else None
        self.envelope = VolumeEnvelope(channel.envelope, channel.volume_bits) if channel.envelope else None
        self.sweep = None
        if channel.sweep and isinstance(channel.step, StepClock):
            self.sweep = FrequencySweep(channel.sweep, channel.step.bits)
        self.square = PatternPlayer(channel) if channel.kind == "square" else None
        self.wave = WavePlayer(channel, channel.table) if channel.table else None
        self.noise = NoisePlayer(channel.register) if channel.register else None
        self._restore(state, memory)

    def clear(self, samples: list[tuple[int, int]]) -> None:
        """Go back to the reset state, as the power bit makes it; the wave memory only takes what is written."""
        memory = self.wave.memory if self.wave else None
        self.starts = self.stops = 0
        reset = reset_channel(self.channel)
        self.active = bool(reset.active)
        self.step.count = reset.count
        self._restore(reset, memory)
        if self.wave:
            nothing = EdgeState(False, False, False, {}, {}, {}, frozenset())
            self.wave.edge(nothing, False, samples)

    def _restore(self, state: ChannelState, memory: list[int] | None) -> None:
        if self.timer:
            self.timer.count = state.timer
        if self.envelope:
            self.envelope.level, self.envelope.count = state.envelope_level, state.envelope_count
        if self.sweep:
            self.sweep.count, self.sweep.shadow = state.sweep_count, state.sweep_shadow
            self.sweep.fell = bool(state.sweep_fell)
        if self.square:
            self.square.position = state.position
        if self.wave:
            self.wave.position, self.wave.sample = state.position, state.sample
            self.wave.memory = list(memory or [])
        if self.noise:
            self.noise.contents = state.shift_register

    def edge(
        self,
        old: Fields,
        new: Fields,
        written: frozenset[str],
        strobes: set[str],
        ticks: dict[str, bool],
        samples: list[tuple[int, int]],
    ) -> int | None:
        """Run one edge; return the period that a sweep step makes, if one does."""
        start, stop = self._delayed(strobes)
        seen = new if self.channel.start_delay == 0 else old
        e = EdgeState(start, stop, self.active, old, new, seen, written)
        expired = self.timer.edge(e, ticks[self.timer.options.ticks]) if self.timer else False
        faded = self.envelope.edge(e, ticks[self.envelope.options.ticks]) if self.envelope else False
        swept, ran_over = self.sweep.edge(e, ticks[self.sweep.options.ticks]) if self.sweep else (None, False)
        clock = self.channel.step.clocked_by
        advance = self.step.edge(e, ticks[clock] if clock else True)
        if self.square:
            self.square.edge(e, advance)
        ended = self.wave.edge(e, advance, samples) if self.wave else False
        if self.noise:
            self.noise.edge(e, advance)
        checked = self.sweep is not None and self.sweep.options.check != "at-step"
        expired = expired and self.timer is not None and self.timer.options.at_zero == "stop"
        if start:
            ends = expired and self.timer is not None and self.timer.options.expiry_and_start == "expiry"
            self.active = not (ends or (checked and ran_over))
        elif stop or expired or faded or ran_over or ended:
            self.active = False
        return swept

    def _delayed(self, strobes: set[str]) -> tuple[bool, bool]:
        """Send the strobes of this edge through the delay lines; return what acts now."""
        entry = 1 << self.channel.start_delay
        self.starts |= entry if self.channel.name + ".start" in strobes else 0
        self.stops |= entry if self.channel.name + ".stop" in strobes else 0
        start, stop = bool(self.starts & 1), bool(self.stops & 1)
        self.starts >>= 1
        self.stops >>= 1
        return start, stop and not start

    def level(self, fields: Fields) -> int:
        """Return the level as it stands after the edge."""
        if not self.active:
            return self.channel.idle_level
        bypassed = self.envelope is None or fields.get("envelope.bypass", 0) == 1
        volume = fields["volume"] if self.envelope is None or bypassed else self.envelope.level
        player = self.square or self.wave or self.noise
        return channel_level(self.channel, player.raw(fields), volume) if player else 0

    def state(self) -> ChannelState:
        """Return the channel's registers."""
        state = ChannelState(int(self.active), self.step.count, starts=self.starts, stops=self.stops)
        if self.timer:
            state.timer = self.timer.count
        if self.envelope:
            state.envelope_level, state.envelope_count = self.envelope.level, self.envelope.count
        if self.sweep:
            state.sweep_count, state.sweep_shadow = self.sweep.count, self.sweep.shadow
            state.sweep_fell = int(self.sweep.fell)
        if self.square:
            state.position = self.square.position
        if self.wave:
            state.position, state.sample = self.wave.position, self.wave.sample
        if self.noise:
            state.shift_register = self.noise.contents
        return state
