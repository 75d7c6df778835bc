"""Random logs: constrained chance that a real bus could have made.

Stage: stimulus. In: a chip, a seed, a length and a number of writes. Out: a register log; the same input gives the same
log. All from the description: what can be written, its widths, its strobes and the ticks that it can meet.

A log is drawn so:

1. An intent at a time: a field with a value of one class (0, 1, one bit, the largest, any number), a strobe, a sample,
   a register as a whole, the power bit, or a run of data behind an index port that steps on.
2. Each gets a cycle: half of them such that the write acts at a tick of its block, or one cycle beside it.
3. In the order of these cycles, intents become writes; the bits that are not meant keep what was written last.
4. Where a mirror stands for an address, a quarter of its writes goes there.
5. Writes are moved apart to the least spacing, on to later cycles; those that this pushes past the end, back.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from psgmodel.chip.records import Chip, Field
from psgmodel.engine.state import UnitState, reset_state
from psgmodel.errors import StimulusError
from psgmodel.reglog.bus import SPACING
from psgmodel.reglog.log import RegisterLog, make_log
from psgmodel.stimulus.chance import ChanceState
from psgmodel.stimulus.schedule import BusRow
from psgmodel.stimulus.shadow import BusWrite, ShadowState, Strobe, bus_writes, driven_fields, strobes_of

WEIGHTS = {"start": 4, "field": 5, "stop": 1, "restart": 1, "sample": 2, "register": 1, "run": 1, "power": 1}
BLOCKS = {"timer": "timer", "envelope": "envelope", "volume": "envelope", "sweep": "sweep", "period": "sweep"}
LONGEST_RUN = 6
LARGEST_CROWD = 6

_Thing = TypeVar("_Thing")


@dataclass(frozen=True, slots=True)
class _Intent:
    """What is meant, how many bus writes it takes, and when the last of them should be.

    `meant` is a field with its value, a strobe, a register or memory address with its value, or several of these for a
    run; None for a lone index that fills up the number of writes.
    """

    cycle: int
    writes: int
    meant: tuple[Field, int] | Strobe | tuple[int, int] | list[int] | None


def random_log(chip: Chip, seed: int, *, length: int, writes: int, spacing: int = SPACING) -> RegisterLog:
    """Draw a log.

    Parameters
    ----------
    chip : Chip
    seed : int, 0 or more
    length : int, clock cycles
        End of the log.
    writes : int
        Number of bus writes.
    spacing : int, clock cycles, optional
        Least distance of two writes; 1 for a bus master in hardware.

    Raises
    ------
    StimulusError
        Numbers out of range, writes that do not fit into the length, or a chip to which nothing can be written.
    """
    for name, value, least in (("seed", seed, 0), ("writes", writes, 1), ("spacing", spacing, 1)):
        if value < least:
            raise StimulusError(f"{name} {value}, accepted: {least} and more")
    if (writes - 1) * spacing >= length:
        text = f"{writes} writes, {spacing} cycles apart, do not fit into {length} cycles"
        raise StimulusError(text, hint=f"at most {(length - 1) // spacing + 1} do")
    rows = random_rows(chip, ChanceState(seed), reset_state(chip), length=length, writes=writes, spacing=spacing)
    columns = ([row[i] for row in rows] for i in range(3))
    return make_log(*columns, end=length, source=f"random log, seed {seed}")


def random_rows(
    chip: Chip,
    chance: ChanceState,
    state: UnitState,
    *,
    length: int,
    writes: int,
    spacing: int,
    about: Collection[str] = (),
    crowded: bool = False,
) -> list[BusRow]:
    """Draw the writes of a log that begins in a state, at cycle 0.

    `about` are channels, or what else comes first in the name of a field or strobe: all but one in eight of the fields,
    strobes and samples drawn are theirs; nothing stands for everything. `crowded`: what is written comes in groups,
    about as dense as the bus allows.
    """
    shadow = ShadowState(chip)
    shadow.stored.update(state.registers)
    drawer = _Drawer(chip, chance, state, length, spacing, about)
    intents = drawer.draw(writes)
    intents = drawer.crowd(intents) if crowded else intents
    found, wanted = _written(chip, shadow, intents, spacing)
    found = [(_mirrored(chip, chance, address), value) for address, value in found]
    cycles = _spaced(np.array(wanted, dtype=np.int64), length, spacing)
    return [(cycle, address, value) for cycle, (address, value) in zip(cycles, found, strict=True)]


def _spaced(wanted: np.ndarray[tuple[int], np.dtype[np.int64]], length: int, spacing: int) -> list[int]:
    """Move cycles on until they are `spacing` apart, then back from the end of the log."""
    steps = np.arange(wanted.size, dtype=np.int64) * spacing
    later = np.maximum.accumulate(np.maximum(wanted, 0) - steps) + steps
    latest = length - 1 - steps[::-1]
    return [int(c) for c in np.minimum(later, latest)]


def _mirrored(chip: Chip, chance: ChanceState, address: int) -> int:
    """Return a bus address, or now and then one that stands for it."""
    for mirror in chip.mirrors:
        if mirror.of <= address < mirror.of + mirror.size and chance.once_in(4):
            return address - mirror.of + mirror.address
    return address


class _Drawer:
    """Draws intents for one log."""

    def __init__(
        self, chip: Chip, chance: ChanceState, state: UnitState, length: int, spacing: int, about: Collection[str]
    ) -> None:
        self.chip, self.chance, self.length, self.spacing, self.about = chip, chance, length, spacing, about
        self.dividers = state.dividers
        self.each = 2 if chip.bus.access == "index-data" else 1
        self.fields = [f for f in driven_fields(chip) if f.name != "power"]
        self.power = [f for f in driven_fields(chip) if f.name == "power"]
        self.strobes = strobes_of(chip)
        self.samples = [m.address + i for m in chip.memories.values() for i in range(m.size)]
        mine = [m for m in chip.memories.values() if m.channel in about]
        self.own = [m.address + i for m in mine for i in range(m.size)]
        self.owned = {*chip.registers, *self.samples}
        kinds = {
            "field": self.fields,
            "sample": self.samples,
            "register": list(chip.registers),
            "power": self.power,
            "run": self.owned if self.each == 2 else (),
            **{event: self._strobes(event) for event in ("start", "stop", "restart")},
        }
        self.kinds = [kind for kind, weight in WEIGHTS.items() for _ in range(weight if kinds[kind] else 0)]
        if not self.kinds:
            raise StimulusError("nothing can be written to this chip: it has neither registers nor memories")

    def _strobes(self, event: str) -> list[Strobe]:
        return [s for s in self.strobes if s.target.endswith(f".{event}")]

    def draw(self, writes: int) -> list[_Intent]:
        """Draw intents that take so many bus writes, in the order of their cycles."""
        found = []
        left = writes
        if self.power and left >= self.each:
            found.append(_Intent(-1, self.each, (self.power[0], 1)))  # before everything, or nothing would sound
            left -= self.each
        while left > 0:
            intent = self._intent(self.chance.among(self.kinds))
            if intent.writes > left:
                intent = _Intent(intent.cycle, left, None)
            found.append(intent)
            left -= intent.writes
            if intent.meant == (*self.power, 0) and left >= self.each:  # locked; software soon unlocks it
                found.append(_Intent(intent.cycle + self.chance.below(64), self.each, (self.power[0], 1)))
                left -= self.each
        return sorted(found, key=lambda intent: intent.cycle)

    def crowd(self, intents: list[_Intent]) -> list[_Intent]:
        """Move intents to others, into groups; one of each group stays about where it was."""
        found: list[_Intent] = []
        left = cycle = 0
        for intent in intents:
            if left:
                cycle += self.spacing * intent.writes + self.chance.among((0, 0, 0, 1, 2, self.spacing))
            else:
                left = 1 + self.chance.below(LARGEST_CROWD)
                cycle = intent.cycle - self.spacing * self.each * self.chance.below(left)
            left -= 1
            found.append(replace(intent, cycle=cycle))
        return found

    def _one(self, things: list[_Thing], owner: Callable[[_Thing], str]) -> _Thing:
        """Draw one of several things; as a rule one that belongs to what the log is about."""
        wanted = [t for t in things if owner(t) in self.about] if self.about and not self.chance.once_in(8) else []
        return self.chance.among(wanted or things)

    def _sample(self) -> int:
        """Draw an address in a memory; as a rule in that of a channel that the log is about."""
        return self.chance.among(self.own if self.own and not self.chance.once_in(8) else self.samples)

    def _intent(self, kind: str) -> _Intent:
        chance, chip = self.chance, self.chip
        if kind in ("start", "stop", "restart"):
            strobe = self._one(self._strobes(kind), lambda s: s.target.partition(".")[0])
            name = strobe.target.rpartition(".")[0]
            channel = chip.channels.get(name)
            blocks = (channel.timer, channel.envelope, channel.sweep) if channel else ()
            ticks = [b.ticks for b in blocks if b is not None] or list(chip.ticks)
            return _Intent(self._cycle(ticks, channel.start_delay if channel else 0), self.each, strobe)
        if kind in ("field", "power"):
            field = self._one(self.fields if kind == "field" else self.power, lambda f: f.name.partition(".")[0])
            registers = len({s.address for s in field.segments})
            return _Intent(
                self._cycle(self._ticks(field), 0), self.each * registers, (field, drawn_value(self.chance, field.bits))
            )
        if kind == "run":
            return self._run()
        address = self._sample() if kind == "sample" else chance.among(list(chip.registers))
        return _Intent(self._cycle([], 0), self.each, (address, drawn_value(self.chance, chip.bus.data_bits)))

    def _run(self) -> _Intent:
        """Draw data for one index after the other, as the port steps on; it ends where nobody owns the next."""
        step, size = self.chip.bus.index_step, 1 << self.chip.bus.index_bits
        run = [self.chance.among(sorted(a for a in self.owned if a < size))]
        for _ in range(self.chance.below(LONGEST_RUN)):
            if (upcoming := (run[-1] + step) % size) not in self.owned:
                break
            run.append(upcoming)
        values = [drawn_value(self.chance, self.chip.bus.data_bits) for _ in run]
        return _Intent(self._cycle([], 0), 1 + len(run), [n for pair in zip(run, values, strict=True) for n in pair])

    def _ticks(self, field: Field) -> list[str]:
        name, _, rest = field.name.partition(".")
        block = getattr(self.chip.channels.get(name), BLOCKS.get(rest.split(".")[0], ""), None)
        return [block.ticks] if block is not None else []

    def _cycle(self, ticks: list[str], delay: int) -> int:
        """Draw the cycle of a write whose effect comes `delay` cycles after the register has changed."""
        anywhere = self.chance.below(self.length)
        if not ticks or self.chance.once_in(2):
            return anywhere
        source = self.chip.ticks[self.chance.among(ticks)]
        divider = self.chip.dividers[source.divider]
        every = divider.every * divider.steps
        wait, step = self.dividers[source.divider]
        first = wait + divider.every * ((self.chance.among(source.at) - step) % divider.steps)
        tick = first + max(0, anywhere - first) // every * every
        cycle = tick - delay - self.chip.bus.write_latency + self.chance.among((0, 0, 0, -1, 1))
        return cycle if 0 <= cycle < self.length else anywhere


def drawn_value(chance: ChanceState, bits: int) -> int:
    """Draw a value of one class: 0, 1, one bit, the largest, any."""
    return chance.among((0, 1, 1 << chance.below(bits), (1 << bits) - 1, chance.bits(bits)))


def _written(chip: Chip, shadow: ShadowState, intents: list[_Intent], spacing: int) -> tuple[list[BusWrite], list[int]]:
    """Turn intents into bus writes and the cycles that these would like."""
    rows: list[BusWrite] = []
    wanted: list[int] = []
    for intent in intents:
        new = list(_bus_rows(chip, shadow, intent))
        rows += new
        wanted += [intent.cycle - spacing * (len(new) - 1 - i) for i in range(len(new))]
    return rows, wanted


def _bus_rows(chip: Chip, shadow: ShadowState, intent: _Intent) -> list[BusWrite]:
    meant = intent.meant
    if meant is None:
        return _filling(chip, shadow, intent.writes)
    if isinstance(meant, list):
        data = [shadow.put(a, v) for a, v in zip(meant[::2], meant[1::2], strict=True)]
        return [(chip.bus.index_address, data[0][0]), *((chip.bus.data_address, value) for _, value in data)]
    if isinstance(meant, Strobe):
        writes = [shadow.strobe(meant)]
    elif isinstance(meant[0], Field):
        if meant == (chip.fields.get("power"), 0):
            shadow.clear()
        writes = shadow.set({meant[0].name: meant[1]})
    else:
        writes = [shadow.put(meant[0], meant[1])]
    return [row for write in writes for row in bus_writes(chip, write)]


def _filling(chip: Chip, shadow: ShadowState, count: int) -> list[BusWrite]:
    """Return writes that change nothing: registers written as they are, or an index alone."""
    if chip.bus.access == "index-data":
        return [(chip.bus.index_address, 0)] * count
    quiet = [a for a, r in chip.registers.items() if not r.on_write] or [m.address for m in chip.memories.values()]
    address = (quiet or list(chip.registers))[0]
    return [(address, shadow.stored.get(address, 0))] * count
