"""Reference: the unit cycle by cycle, as the specification reads.

Stage: engine. In: chip, log, state. Out: a `Trace`. Nothing here is clever; `fast` must give the same answer.
"""

from __future__ import annotations

from psgmodel.chip.records import Channel, Chip, Register, StepClock
from psgmodel.chip.wiring import join
from psgmodel.engine.blocks import (
    EdgeState,
    Fields,
    FrequencySweep,
    NoisePlayer,
    NoteTimer,
    PatternPlayer,
    StepCounter,
    VolumeEnvelope,
    WavePlayer,
)
from psgmodel.engine.state import ChannelState, UnitState
from psgmodel.engine.trace import Trace
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import steps_from_changes


def run_reference(chip: Chip, log: RegisterLog, state: UnitState, end: int) -> Trace:
    """Run a chip from `state` up to, not including, edge `end`, one edge after another."""
    unit = ReferenceUnit(chip, state)
    writes = _writes_by_edge(chip, log)
    record: dict[str, tuple[list[int], list[int]]] = {name: ([], []) for name in (*chip.channels, *chip.unit.outputs)}
    for cycle in range(state.cycle, end):
        unit.edge(cycle, writes.get(cycle, []))
        for name, level in unit.levels.items():
            cycles, levels = record[name]
            if not levels or levels[-1] != level:
                cycles.append(cycle)
                levels.append(level)
    steps = {name: steps_from_changes(cycles, levels, end) for name, (cycles, levels) in record.items()}
    return Trace(
        chip,
        state.cycle,
        end,
        {name: steps[name] for name in chip.channels},
        {name: steps[name] for name in chip.unit.outputs},
        unit.state(end),
    )


def _writes_by_edge(chip: Chip, log: RegisterLog) -> dict[int, list[tuple[int, int]]]:
    """Return the (address, value) pairs that change registers at each edge, in their order."""
    writes: dict[int, list[tuple[int, int]]] = {}
    for cycle, address, value in zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True):
        writes.setdefault(cycle + chip.bus.write_latency, []).append((address, value))
    return writes


class ReferenceUnit:
    """All registers of the unit."""

    def __init__(self, chip: Chip, state: UnitState) -> None:
        self.chip = chip
        self.registers = dict(state.registers)
        self.channels = {
            name: ReferenceChannel(channel, state.channels[name], state.memories.get(name))
            for name, channel in chip.channels.items()
        }
        self.pipelines = {name: list(codes) for name, codes in state.outputs.items()}
        self.levels: dict[str, int] = {}
        self.fields = self._fields()

    def _fields(self) -> dict[str, dict[str, int]]:
        """Return the value of every field, by channel (or "mixer") and by name within it."""
        groups: dict[str, dict[str, int]] = {name: {} for name in (*self.chip.channels, "mixer")}
        for field in self.chip.fields.values():
            group, _, name = field.name.partition(".")
            groups[group][name] = join(field.segments, self.registers) if field.segments else field.reset
        return groups

    def edge(self, cycle: int, writes: list[tuple[int, int]]) -> None:
        """Run one edge: `writes` change registers, then every block acts, then levels and outputs settle."""
        old = self.fields
        strobes: set[str] = set()
        written: set[int] = set()
        samples: dict[str, list[tuple[int, int]]] = {}
        for address, value in writes:
            self._write(address, value, strobes, written, samples)
        new = self._fields() if writes else old
        ticks = {
            name: cycle >= divider.first and (cycle - divider.first) % divider.every == 0
            for name, divider in self.chip.ticks.items()
        }
        results = {
            name: channel.edge(
                old[name], new[name], self._written(name, written), strobes, ticks, samples.get(name, [])
            )
            for name, channel in self.channels.items()
        }
        for name, period in results.items():
            if period is not None:
                self._sweep(name, period, written)
        self.fields = new if all(period is None for period in results.values()) else self._fields()
        self._settle()

    def _write(
        self, address: int, value: int, strobes: set[str], written: set[int], samples: dict[str, list[tuple[int, int]]]
    ) -> None:
        register: Register | None = self.chip.registers.get(address)
        if register is not None:
            self.registers[address] = value & register.stored
            written.add(address)
            strobes.update(f.target for f in register.fields if f.role == "strobes" and value >> f.low & 1)
            return
        memory = self.chip.memory_at(address)
        table = self.chip.channels[memory.channel].table if memory is not None else None
        if memory is not None and table is not None:
            sample = value & (1 << table.bits) - 1
            samples.setdefault(memory.channel, []).append((address - memory.address, sample))

    def _written(self, name: str, written: set[int]) -> frozenset[str]:
        """Return the fields of a channel of which a register was written."""
        if not written:
            return frozenset()
        prefix = name + "."
        return frozenset(
            field.name.removeprefix(prefix)
            for field in self.chip.fields.values()
            if field.name.startswith(prefix) and any(s.address in written for s in field.segments)
        )

    def _sweep(self, name: str, result: int, written: set[int]) -> None:
        """Put the result of a sweep step into the period's registers, as `write_and_step` says."""
        sweep = self.chip.channels[name].sweep
        segments = self.chip.fields[f"{name}.period"].segments
        touched = any(s.address in written for s in segments)
        rule = sweep.write_and_step if sweep is not None else "write"
        for s in segments:
            if touched and (rule == "write" or (rule == "merge" and s.address in written)):
                continue
            mask = (1 << s.width) - 1 << s.low
            bits = (result >> s.field_low & (1 << s.width) - 1) << s.low
            self.registers[s.address] = self.registers[s.address] & ~mask | bits

    def _settle(self) -> None:
        """Set levels and output codes as they stand after the edge."""
        mixer, fields = self.chip.mixer, self.fields["mixer"]
        for name, channel in self.channels.items():
            self.levels[name] = channel.level(self.fields[name])
        for output in self.chip.unit.outputs:
            total = sum(self.levels[name] * mixer.gains[name] for name in self.channels if fields[f"{output}.{name}"])
            code = total * mixer.trims[fields.get(f"{output}.trim", 0)] >> mixer.trim_shift
            largest = (1 << mixer.bits) - 1
            code = code & largest if mixer.overflow == "wrap" else min(code, largest)
            pipeline = self.pipelines[output]
            pipeline.append(code)
            self.levels[output] = pipeline.pop(0)

    def state(self, cycle: int) -> UnitState:
        """Return everything the unit remembers just before edge `cycle`."""
        state = UnitState(cycle, dict(self.registers))
        for name, channel in self.channels.items():
            state.channels[name] = channel.state()
            if channel.wave is not None:
                state.memories[name] = list(channel.wave.memory)
        state.outputs = {name: list(codes) for name, codes in self.pipelines.items()}
        return state


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

    def _restore(self, state: ChannelState, memory: list[int] | None) -> None:
        if self.timer:
            self.timer.count = state.timer
        if self.envelope:
            self.envelope.level, self.envelope.count = state.envelope_level, state.envelope_count
        if self.sweep:
            self.sweep.count = state.sweep_count
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
        advance = self.step.edge(e)
        if self.square:
            self.square.edge(e, advance)
        if self.wave:
            self.wave.edge(e, advance, samples)
        if self.noise:
            self.noise.edge(e, advance)
        expired = expired and self.timer is not None and self.timer.options.at_zero == "stop"
        if start:
            self.active = not (expired and self.timer is not None and self.timer.options.expiry_and_start == "expiry")
        elif stop or expired or faded or ran_over:
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
            return 0
        volume = self.envelope.level if self.envelope else fields["volume"]
        player = self.square or self.wave or self.noise
        return player.level(fields, volume) if player else 0

    def state(self) -> ChannelState:
        """Return the channel's registers."""
        state = ChannelState(int(self.active), self.step.count, starts=self.starts, stops=self.stops)
        if self.timer:
            state.timer = self.timer.count
        if self.envelope:
            state.envelope_level, state.envelope_count = self.envelope.level, self.envelope.count
        if self.sweep:
            state.sweep_count = self.sweep.count
        if self.square:
            state.position = self.square.position
        if self.wave:
            state.position, state.sample = self.wave.position, self.wave.sample
        if self.noise:
            state.shift_register = self.noise.contents
        return state
