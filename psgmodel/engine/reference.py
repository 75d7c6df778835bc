"""Reference: the unit cycle by cycle, as the specification reads.

Stage: engine. In: chip, log, state. Out: a `Trace`. Nothing here is clever; `fast` must give the same answer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from psgmodel.chip.records import Chip, Register
from psgmodel.chip.wiring import join
from psgmodel.engine.blocks import Fields, StepDivider
from psgmodel.engine.reference_channel import ReferenceChannel
from psgmodel.engine.state import UnitState, output_code
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


@dataclass(slots=True)
class WriteState:
    """What the writes of one edge did."""

    strobes: set[str] = field(default_factory=set)
    written: set[int] = field(default_factory=set)
    samples: dict[str, list[tuple[int, int]]] = field(default_factory=dict)
    cleared: bool = False


class ReferenceUnit:
    """All registers of the unit."""

    def __init__(self, chip: Chip, state: UnitState) -> None:
        self.chip = chip
        self.registers = dict(state.registers)
        self.index, self.held = state.index, dict(state.held)
        self.dividers = {name: StepDivider(d, *state.dividers[name]) for name, d in chip.dividers.items()}
        self.channels = {
            name: ReferenceChannel(channel, state.channels[name], state.memories.get(name))
            for name, channel in chip.channels.items()
        }
        self.pipelines = {name: list(codes) for name, codes in state.outputs.items()}
        self.levels: dict[str, int] = {}
        self.fields = self._fields()

    def _fields(self) -> dict[str, dict[str, int]]:
        """Return the value of every field, by channel (or "mixer") and by name within it."""
        groups: dict[str, dict[str, int]] = {name: {} for name in (*self.chip.channels, "mixer", "power")}
        for item in self.chip.fields.values():
            group, _, name = item.name.partition(".")
            groups[group][name] = join(item.segments, self.registers) if item.segments else item.reset
        return groups

    def edge(self, cycle: int, writes: list[tuple[int, int]]) -> None:
        """Run one edge: `writes` change registers, then every block acts, then levels and outputs settle."""
        old = self.fields
        w = WriteState()
        for address, value in writes:
            self._bus_write(address, value, w)
        new = self._fields() if writes else old
        if new["power"].get("", 1):
            w.strobes |= self._gate_strobes(old, new)
        if w.cleared:
            w.strobes.clear()
        steps = {name: d.edge(f"{name}.restart" in w.strobes) for name, d in self.dividers.items()}
        ticks = {name: steps[t.divider] in t.at for name, t in self.chip.ticks.items()}
        periods: dict[str, int | None] = {}
        for name, channel in self.channels.items():
            if w.cleared:
                channel.clear(w.samples.get(name, []))
                continue
            own = self._written(name, w.written)
            periods[name] = channel.edge(old[name], new[name], own, w.strobes, ticks, w.samples.get(name, []))
        for name, period in periods.items():
            if period is not None:
                self._sweep(name, period, w.written)
        self.fields = new if all(period is None for period in periods.values()) else self._fields()
        self._settle()

    def _gate_strobes(self, old: Mapping[str, Fields], new: Mapping[str, Fields]) -> set[str]:
        """Return the strobes of gates that are other ones after the edge."""
        strobes = set()
        for name, channel in self.channels.items():
            if channel.channel.gate and new[name].get("gate", 0) != old[name].get("gate", 0):
                strobes.add(f"{name}.start" if new[name]["gate"] else f"{name}.stop")
        return strobes

    def _bus_write(self, address: int, value: int, w: WriteState) -> None:
        """Find the register that a write on the bus reaches."""
        bus = self.chip.bus
        for mirror in self.chip.mirrors:
            if mirror.address <= address < mirror.address + mirror.size:
                address = address - mirror.address + mirror.of
                break
        if bus.access == "direct":
            self._write(address, value, w)
        elif address == bus.index_address:
            self.index = value % (1 << bus.index_bits)
        elif address == bus.data_address:
            self._write(self.index, value, w)
            self.index = (self.index + bus.index_step) % (1 << bus.index_bits)

    def _write(self, address: int, value: int, w: WriteState) -> None:
        register = self.chip.registers.get(address)
        if self.chip.power is not None:
            switch = self.chip.fields["power"].segments
            was_on = join(switch, self.registers) if switch else 1
            if not was_on and address not in {s.address for s in switch}:
                return
            if register is not None and switch and not join(switch, {**self.registers, address: value}):
                if was_on:
                    self._clear(w)
                self.registers[address] = value & register.stored
                return
        if register is not None:
            if register.held_until:
                self.held[address] = value
                return
            for waiting in sorted(a for a in self.held if self.chip.registers[a].held_until == register.name):
                self._store(self.chip.registers[waiting], self.held.pop(waiting), w)
            self._store(register, value, w)
            return
        memory = self.chip.memory_at(address)
        if memory is not None:
            w.samples.setdefault(memory.channel, []).append((address - memory.address, value))

    def _store(self, register: Register, value: int, w: WriteState) -> None:
        self.registers[register.address] = value & register.stored
        w.written.add(register.address)
        w.strobes.update(f.target for f in register.fields if f.role == "strobes" and value >> f.low & 1)
        w.strobes.update(register.on_write)

    def _clear(self, w: WriteState) -> None:
        """Put registers back to their reset values; the power bit has just gone to 0."""
        w.cleared = True
        self.held = {}
        self.registers = {address: register.reset for address, register in self.chip.registers.items()}
        if self.chip.power is not None and self.chip.power.memory == "clears":
            w.samples = {}
            for channel in self.channels.values():
                if channel.wave:
                    channel.wave.memory = [0] * len(channel.wave.memory)

    def _written(self, name: str, written: set[int]) -> frozenset[str]:
        """Return the fields of a channel of which a register was written."""
        if not written:
            return frozenset()
        prefix = name + "."
        return frozenset(
            item.name.removeprefix(prefix)
            for item in self.chip.fields.values()
            if item.name.startswith(prefix) and any(s.address in written for s in item.segments)
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
            routes = {name: fields[f"{output}.{name}"] for name in self.channels}
            pipeline = self.pipelines[output]
            pipeline.append(output_code(mixer, self.levels, routes, fields.get(f"{output}.trim", 0)))
            self.levels[output] = pipeline.pop(0)

    def state(self, cycle: int) -> UnitState:
        """Return everything the unit remembers just before edge `cycle`."""
        state = UnitState(cycle, dict(self.registers), index=self.index, held=dict(self.held))
        state.dividers = {name: [d.wait, d.step] for name, d in self.dividers.items()}
        for name, channel in self.channels.items():
            state.channels[name] = channel.state()
            if channel.wave is not None:
                state.memories[name] = list(channel.wave.memory)
        state.outputs = {name: list(codes) for name, codes in self.pipelines.items()}
        return state
