"""Walk: a directed log that shows every field while its channel sounds.

Stage: stimulus. In: a chip. Out: a register log, derived from the description alone. For each field that software can
set, of each channel that it concerns:

1. The channel is set up to be heard (`sounding_fields`) and started; what else the field needs to matter is set too.
2. Every value of the walk (0, each single bit, all ones) is written while the channel sounds; half of its dwell later
   the channel is started again, for what only a start takes; after the other half the channel is set up anew.

Channels are walked one by one, and stopped when they are done. Fields of the mixer that belong to all channels are
walked with all of them sounding. The power bit is walked last, from 1 through 0 and back.
"""

from __future__ import annotations

from collections.abc import Iterable

from psgmodel.chip.channel import Channel, NoiseClock, StepClock
from psgmodel.chip.records import Chip, Field
from psgmodel.errors import StimulusError
from psgmodel.reglog.bus import SPACING
from psgmodel.reglog.log import RegisterLog, make_log
from psgmodel.stimulus.shadow import RegisterWrite, ShadowState, bus_writes, driven_fields, single_bits, strobes_of

STEP_COUNTS = 32
"""Counts that a step of a channel set up to be heard lasts, as nearly as its period can."""
DWELL = 4096
"""Cycles for a value of a field that waits for no tick; common practice, no source."""
TICKS_TO_SEE = 2.5
"""Ticks of its block that a value of a field waits for, before the new start and after it."""


def walked_values(bits: int) -> list[int]:
    """Return the values of the walk: 0, each single bit, all ones; each once."""
    return list(dict.fromkeys([0, *single_bits(bits), (1 << bits) - 1]))


def walk_log(chip: Chip, *, spacing: int = SPACING, dwell: int = 0) -> RegisterLog:
    """Make the walk.

    Parameters
    ----------
    chip : Chip
    spacing : int, clock cycles, optional
        Distance of two bus writes that follow each other.
    dwell : int, clock cycles, optional
        How long a value stays. Default 0: `DWELL` for fields that wait for no tick, two and a half of its ticks before
        and after the new start for the others.

    Raises
    ------
    StimulusError
        A number out of range, or a chip without a field that software can set.
    """
    if spacing < 1:
        raise StimulusError(f"spacing {spacing}, accepted: 1 and more")
    if dwell < 0:
        raise StimulusError(f"a dwell of {dwell} cycles, accepted: 0 and more")
    if not driven_fields(chip):
        raise StimulusError("this chip has no field that software can set")
    walker = _WalkState(chip, spacing, dwell)
    walker.all()
    rows = walker.rows
    return make_log(
        [c for c, _, _ in rows],
        [a for _, a, _ in rows],
        [v for _, _, v in rows],
        end=walker.now,
        source=f"walk of {chip.unit.name}",
    )


def sounding_fields(chip: Chip, name: str) -> dict[str, int]:
    """Return what makes a channel heard from a start until it is stopped.

    That is full volume, a short step, and nothing that moves. Only fields that software can set are in it.
    """
    channel = chip.channels[name]
    wanted = {"volume": -1, "timer.enable": 0, "sweep.period": 0, "sweep.shift": 0, "sweep.falling": 0}
    wanted |= {"envelope.period": 0, "envelope.rising": 1, "envelope.bypass": 1, "short": 0, "pattern": -1}
    wanted |= _step_fields(channel)
    if channel.volume_table:
        wanted["volume"] = channel.volume_table.index(max(channel.volume_table))
    if rises_from_silence(chip, name):
        wanted |= {"envelope.period": 1, "envelope.bypass": 0}
    if channel.sweep is not None and channel.sweep.period_zero == "longest":  # it cannot be stopped: least steps, down
        wanted |= _least_sweep(channel)
    if channel.timer is not None:
        wanted["timer.length"] = 0 if channel.timer.loads == "top-minus-field" else -1
    if channel.register is None and channel.patterns:
        wanted["pattern"] = next((i for i, text in enumerate(channel.patterns) if len(set(text)) > 1), 0)
    fields = {f"{name}.{key}": value for key, value in wanted.items()}
    loudest = max(range(len(chip.mixer.routes)), key=lambda i: chip.mixer.routes[i])
    fields |= {f"mixer.{output}.{name}": loudest for output in chip.unit.outputs}
    return _settable(chip, fields)


def _least_sweep(channel: Channel) -> dict[str, int]:
    """Return the fields of a sweep that changes the period least: down, but where a subtraction by 0 takes 1 away."""
    sweep, step = channel.sweep, channel.step
    assert sweep is not None
    assert isinstance(step, StepClock)
    if sweep.moves_by == "constant":
        nothing, shift = True, 0
    else:
        nothing, shift = 1 << sweep.shift_bits > step.bits, -1
    return {"sweep.shift": shift, "sweep.falling": int(not nothing or sweep.subtract != "ones-complement")}


def rises_from_silence(chip: Chip, name: str) -> bool:
    """Tell whether each note of a channel begins at volume 0, and only its envelope can make it louder."""
    channel, volume = chip.channels[name], chip.fields[f"{name}.volume"]
    return channel.envelope is not None and not volume.segments and not channel.is_loud(volume.reset)


def slowest_period(step: StepClock) -> int:
    """Return the period of the longest step."""
    return (1 << step.bits) - 1 if step.rule == "up-from" else 0


def _step_fields(channel: Channel) -> dict[str, int]:
    step = channel.step
    if isinstance(step, NoiseClock):
        running = [s for s in range(1 << step.shift_bits) if s not in step.stopped]
        return {"divisor": 0, "shift": running[0] if running else 0}
    counts = max(1, STEP_COUNTS // step.scale)
    period = counts - step.offset if step.rule == "up-from" else step.top - counts
    return {"period": min(max(period, 0), (1 << step.bits) - 1)}


def _settable(chip: Chip, fields: dict[str, int]) -> dict[str, int]:
    """Keep the fields that have bits in registers; -1 stands for all ones."""
    found = {}
    for name, value in fields.items():
        field = chip.fields.get(name)
        if field is not None and field.segments:
            found[name] = value & (1 << field.bits) - 1
    return found


def _companions(chip: Chip, field: Field) -> dict[str, int]:
    """Return what a field needs besides a sounding channel, so that its values differ."""
    name, _, rest = field.name.partition(".")
    channel = chip.channels.get(name)
    if channel is None:
        return {}
    block = rest.split(".")[0]
    fields = {}
    if block == "timer":
        fields = {"timer.enable": 1, "timer.length": 2}
    elif block == "envelope":
        fields = {"envelope.period": 1, "envelope.bypass": 0, "volume": 1 << channel.volume_bits - 1}
    elif block == "sweep":
        fields = {"sweep.period": 1, "sweep.shift": 2, "sweep.falling": 1}  # rising could overflow at once
        falling = chip.fields[f"{name}.sweep.falling"]
        if not falling.segments and not falling.reset:
            fields["period"] = 1 << max(0, channel.step.bits - 2) if isinstance(channel.step, StepClock) else 0
    return _settable(chip, {f"{name}.{key}": value for key, value in fields.items()})


class _WalkState:
    """Where the walk is: the cycle, the registers, the rows so far."""

    def __init__(self, chip: Chip, spacing: int, dwell: int) -> None:
        self.chip, self.spacing, self.dwell = chip, spacing, dwell
        self.shadow = ShadowState(chip)
        self.now = 0
        self.rows: list[tuple[int, int, int]] = []
        self.strobes = {s.target: s for s in reversed(strobes_of(chip))}

    def all(self) -> None:
        """Walk everything."""
        fields = [f for f in driven_fields(self.chip) if f.name != "power"]
        self._set(_settable(self.chip, {"power": 1}))
        self._set(_settable(self.chip, {f"mixer.{output}.trim": 0 for output in self.chip.unit.outputs}))
        self._samples()
        for name in self.chip.channels:
            for field in fields:
                if field.name.startswith(f"{name}.") or field.name in {
                    f"mixer.{o}.{name}" for o in self.chip.unit.outputs
                }:
                    self._walk(field, [name])
            self._stop(name)
        owned = {name for channel in self.chip.channels for name in self._names_of(channel)}
        common = [f for f in fields if f.name not in owned]
        for field in common:
            self._walk(field, list(self.chip.channels))
        self._power(list(self.chip.channels))

    def _names_of(self, channel: str) -> Iterable[str]:
        yield from (f"mixer.{output}.{channel}" for output in self.chip.unit.outputs)
        yield from (name for name in self.chip.fields if name.startswith(f"{channel}."))

    def _walk(self, field: Field, channels: list[str]) -> None:
        base: dict[str, int] = {}
        for name in channels:
            base |= sounding_fields(self.chip, name)
        base |= _companions(self.chip, field)
        wait = self.dwell // 2 if self.dwell else self._wait(field)
        for value in walked_values(field.bits):
            self._set(base)
            self._start(channels)
            self.now += wait if self.dwell else DWELL // 2
            self._set({field.name: value})
            self.now += wait
            if not field.name.endswith(".gate"):
                self._start(channels)
            self.now += wait
        self._set(base)

    def _wait(self, field: Field) -> int:
        """Return how long one half of a value takes."""
        name, _, rest = field.name.partition(".")
        block = getattr(self.chip.channels.get(name), rest.split(".")[0], None)
        ticks = self.chip.ticks.get(getattr(block, "ticks", ""))
        if ticks is None:
            return DWELL // 2
        divider = self.chip.dividers[ticks.divider]
        return int(divider.every * divider.steps / len(ticks.at) * TICKS_TO_SEE)

    def _samples(self) -> None:
        """Fill each wave memory with a ramp from 0 to all ones."""
        for memory in self.chip.memories.values():
            table = self.chip.channels[memory.channel].table
            if table is None:
                continue
            ramp = [i * ((1 << table.bits) - 1) // (table.samples - 1) for i in range(table.samples)]
            for index in range(memory.size):
                samples = ramp[index * table.per_address : (index + 1) * table.per_address]
                places = range(len(samples)) if table.order == "low-first" else range(table.per_address - 1, -1, -1)
                value = sum(sample << place * table.bits for sample, place in zip(samples, places, strict=False))
                self._write([(memory.address + index, value)])

    def _power(self, channels: list[str]) -> None:
        for value in (0, 1) if _settable(self.chip, {"power": 1}) else ():
            self._start(channels)
            self.now += DWELL
            self._set({"power": value})
            if not value:
                self.shadow.clear()
            self.now += DWELL

    def _start(self, channels: list[str]) -> None:
        for name in channels:
            if (strobe := self.strobes.get(f"{name}.start")) is not None:
                self._write([self.shadow.strobe(strobe)])
            elif _settable(self.chip, {f"{name}.gate": 1}):
                self._set({f"{name}.gate": 0})
                self._set({f"{name}.gate": 1})

    def _stop(self, name: str) -> None:
        if (strobe := self.strobes.get(f"{name}.stop")) is not None:
            self._write([self.shadow.strobe(strobe)])
        elif _settable(self.chip, {f"{name}.gate": 1}):
            self._set({f"{name}.gate": 0})
        else:
            self._set(_settable(self.chip, {f"{name}.volume": 0}))
        self.now += DWELL // 2

    def _set(self, fields: dict[str, int]) -> None:
        self._write(self.shadow.set(fields))

    def _write(self, writes: list[RegisterWrite]) -> None:
        for write in writes:
            for address, value in bus_writes(self.chip, write):
                self.rows.append((self.now, address, value))
                self.now += self.spacing
