"""Players: what plays the waveform of a channel, one small class a kind, as the reference engine runs it.

Stage: engine. Each class holds its registers; `edge` is called once for every clock edge and told whether a new step
begins; `raw` says what sounds after it. `channel_level` makes a level of that and the volume.
"""

from __future__ import annotations

from psgmodel.chip.channel import Channel, ShiftRegister, WaveTable
from psgmodel.engine.blocks import EdgeState, Fields


class PatternPlayer:
    """The square channel's pattern."""

    def __init__(self, channel: Channel) -> None:
        self.patterns = [[int(bit) for bit in text] for text in channel.patterns]
        self.resets = channel.position_on_start == "reset"
        self.position = 0

    def edge(self, e: EdgeState, advance: bool) -> None:
        """Run one edge."""
        if e.start and self.resets:
            self.position = 0
        elif advance:
            self.position = (self.position + 1) % len(self.patterns[0])

    def raw(self, fields: Fields) -> int:
        """Return the bit that sounds after the edge."""
        return self.patterns[fields.get("pattern", 0)][self.position]


class WavePlayer:
    """The wave-table channel's memory and sample register."""

    def __init__(self, channel: Channel, options: WaveTable) -> None:
        self.options = options
        self.resets = channel.position_on_start == "reset"
        self.memory = [0] * options.samples
        self.position = 0
        self.sample = 0

    def edge(self, e: EdgeState, advance: bool, writes: list[tuple[int, int]]) -> bool:
        """Run one edge; return whether the wave has ended. `writes`: (address within the memory, data)."""
        o = self.options
        sounding = self.position // o.per_address
        fetch, ended = advance, False
        if e.start and self.resets:
            self.position = o.start_position
            fetch = False
        elif advance:
            self.position = (self.position + 1) % o.samples
            ended = self.position == 0 and o.after_last == "stop"
        if fetch or (e.start and o.first_sample == "fresh"):
            self.sample = self.memory[self.position]
        for address, data in writes:
            if e.active and o.while_playing == "ignored":
                continue
            self._store(sounding if e.active and o.while_playing == "redirected" else address, data)
        return ended

    def _store(self, address: int, data: int) -> None:
        o = self.options
        for number in range(o.per_address):
            place = number if o.order == "low-first" else o.per_address - 1 - number
            self.memory[address * o.per_address + number] = data >> (place * o.bits) & (1 << o.bits) - 1

    def raw(self, fields: Fields) -> int:
        """Return the sample that sounds after the edge."""
        return self.sample if self.options.fetch == "each-step" else self.memory[self.position]


class NoisePlayer:
    """The noise channel's shift register, position 1 in bit 0."""

    def __init__(self, options: ShiftRegister) -> None:
        self.options = options
        self.contents = options.seed_value

    def edge(self, e: EdgeState, advance: bool) -> None:
        """Run one edge."""
        if e.start and self.options.on_start == "reseed":
            self.contents = self.options.seed_value
        elif advance:
            self.shift(bool(e.old.get("short", 0)))

    def shift(self, short: bool) -> None:
        """Shift once, in the long or the short mode."""
        o = self.options
        mode = o.short if short and o.short is not None else o
        bit = 1 if o.feedback == "xnor" else 0
        for tap in mode.taps:
            bit ^= self.contents >> (tap - 1) & 1
        if o.shift == "left":
            moved = self.contents << 1 & (1 << o.bits) - 1
            places = [1]
        else:
            moved = self.contents >> 1
            places = [o.bits]
        if short and o.short is not None:
            places += o.short.insert
        for place in places:
            moved = moved & ~(1 << place - 1) | bit << place - 1
        self.contents = moved

    def raw(self, fields: Fields) -> int:
        """Return the bit that sounds after the edge."""
        o = self.options
        output = o.short.output if fields.get("short", 0) and o.short is not None else o.output
        bit = self.contents >> (output - 1) & 1
        return bit if o.polarity == "high" else 1 - bit


def channel_level(channel: Channel, raw: int, volume: int) -> int:
    """Return the level of an active channel from the bit or sample that sounds and the volume."""
    loudness = channel.volume_table[volume] if channel.volume_table else volume
    if channel.table is None:
        low = -loudness if channel.levels == "bipolar" else 0
        return loudness if raw else low
    sample = raw - (1 << channel.table.bits - 1 if channel.levels == "bipolar" else 0)
    if channel.table.volume == "shift":
        return sample >> ((1 << channel.volume_bits) - 1 - volume)
    return sample * loudness >> channel.table.volume_shift
