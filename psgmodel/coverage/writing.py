"""Writing: what software can do to a channel at all, worked out from the description.

Stage: coverage. In: a chip and the least spacing of writes. Out: reasons why something cannot happen, in words; an
empty text where nothing speaks against it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from psgmodel.chip.records import Chip, Register
from psgmodel.engine.actions import write_actions


class WriteReach:
    """What can be done to one channel.

    Attributes
    ----------
    values : dict from field name (without the channel) to range or tuple
        What the field can hold.
    """

    def __init__(self, chip: Chip, name: str, spacing: int) -> None:
        self.chip, self.name, self.channel, self.spacing = chip, name, chip.channels[name], spacing
        prefix = name + "."
        self.fields = {f.name.removeprefix(prefix): f for f in chip.fields.values() if f.name.startswith(prefix)}
        self.strobes = strobing_registers(chip, name)
        self.gated = self.channel.gate and bool(self.fields["gate"].segments)

    def driven(self, field: str) -> bool:
        """Return whether software can set a field."""
        return field in self.fields and bool(self.fields[field].segments)

    def registers(self, field: str) -> set[int]:
        """Return the registers, by address, that hold a field."""
        return {s.address for s in self.fields[field].segments} if field in self.fields else set()

    def values(self, field: str) -> Sequence[int]:
        """Return what a field can hold."""
        return held_values(self.chip, f"{self.name}.{field}")

    def not_held(self, field: str, *wanted: int) -> str:
        """Say why a field can hold none of some values."""
        if any(value in self.values(field) for value in wanted):
            return ""
        return f"{self.name}.{field} is the constant {self.values(field)[0]}"

    def not_other_than(self, field: str, value: int) -> str:
        """Say why a field cannot hold anything but a value."""
        return "" if any(v != value for v in self.values(field)[:2]) else f"{self.name}.{field} is the constant {value}"

    def not_written(self, field: str) -> str:
        """Say why no write changes a field."""
        return "" if self.driven(field) else f"no register drives {self.name}.{field}"

    def not_changed(self, field: str) -> str:
        """Say why no write changes a field while the channel plays on."""
        if reason := self.not_written(field):
            return reason
        return self.starts_anew(sorted(self.registers(field)))

    def starts_anew(self, addresses: Sequence[int], *, delay: int = 0) -> str:
        """Say why any write to some registers starts the channel, within `delay` cycles."""
        if addresses and self.channel.start_delay <= delay and self._always_strobes(f"{self.name}.start", addresses):
            return f"any write to {self.chip.registers[addresses[0]].name} starts {self.name}"
        return ""

    def start_meets(self, tick: str, *, meets: bool = True) -> str:
        """Say why a start never meets a tick, or (`meets` false) always does: it restarts what makes the tick."""
        return self._strobe_meets(tick, self.starts, f"start of {self.name}", meets=meets)

    def stop_meets(self, tick: str) -> str:
        """Say why a stop by software never meets a tick: it restarts what makes the tick."""
        return self._strobe_meets(tick, self.stops, f"stop of {self.name}", meets=True)

    def no_tick_before_start(self, tick: str, addresses: Sequence[int]) -> str:
        """Say why no tick comes from a write to some registers, without its edge, to the start that it makes."""
        delay, source = self.channel.start_delay, self.chip.ticks[tick]
        reason = self.starts_anew(addresses, delay=delay)
        if not reason or delay < 2:
            return reason
        if not self._always_strobes(f"{source.divider}.restart", addresses):
            return ""
        return "" if any(self._ticks_after(tick, addresses, later) for later in range(1, delay)) else reason

    def _ticks_after(self, tick: str, addresses: Collection[int], later: int) -> bool:
        """Tell whether a tick can come so many cycles after a write to some registers that restarts what makes it."""
        source = self.chip.ticks[tick]
        divider, again = self.chip.dividers[source.divider], self._apart(addresses, self.restarts(source.divider))
        return any(divider.ticks_after(later - since, source.at) for since in (0, *range(again, later + 1)))

    def _strobe_meets(self, tick: str, strobes: Collection[int], what: str, *, meets: bool) -> str:
        delay, source = self.channel.start_delay, self.chip.ticks[tick]
        if not delay:
            return self.write_meets(tick, sorted(strobes), what, meets=meets)
        if not meets or not self._always_strobes(f"{source.divider}.restart", strobes):
            return ""
        if self._ticks_after(tick, strobes, delay):
            return ""
        later = "1 cycle" if delay == 1 else f"{delay} cycles"
        return f"any {what} restarts {source.divider} {later} before, and {tick} does not come then"

    def _always_strobes(self, target: str, addresses: Collection[int]) -> bool:
        """Tell whether any write to each of some registers strobes something where it takes place."""
        registers, waits = self.chip.registers, self.chip.held()
        acts = [{a, waits.get(a, a)} for a in addresses]
        return all(any(target in registers[a].on_write for a in both if a in registers) for both in acts)

    def write_meets(self, tick: str, addresses: Sequence[int], what: str = "", *, meets: bool = True) -> str:
        """Say why no write to some registers meets a tick, or (`meets` false) each does: it restarts what makes it."""
        source = self.chip.ticks[tick]
        divider = self.chip.dividers[source.divider]
        ticks = divider.restart_steps and 0 in source.at
        if not addresses or ticks == meets or not self._always_strobes(f"{source.divider}.restart", addresses):
            return ""
        what = what or f"write to {self.chip.registers[addresses[0]].name}"
        return f"any {what} restarts {source.divider}, {'at' if ticks else 'without'} a tick {tick}"

    def restarts(self, divider: str) -> set[int]:
        """Return the registers, by address, that restart a divider."""
        target = f"{divider}.restart"
        return {
            address
            for address, r in self.chip.registers.items()
            if target in r.on_write or any(g.role == "strobes" and g.target == target for g in r.fields)
        }

    def written_together(self, address: int, addresses: tuple[int, ...]) -> str:
        """Say why a write to one of the registers of a field always takes place together with one to another."""
        release = self.chip.held().get(address)
        if release not in addresses:
            return ""
        names = self.chip.registers
        return f"{names[address].name} waits for {names[release].name}, which holds bits of the same field"

    @property
    def no_start(self) -> str:
        """Why the channel cannot be started."""
        return "" if self.strobes["start"] or self.gated else f"nothing starts {self.name}"

    @property
    def no_restart(self) -> str:
        """Why the channel cannot be started while it plays."""
        if self.no_start or self.strobes["start"]:
            return self.no_start
        if self.channel.at_reset == "active" and not self.fields["gate"].reset:
            return ""
        return f"the gate of {self.name} has to be shut before it opens"

    @property
    def no_idle_stop(self) -> str:
        """Why the channel cannot be stopped while idle."""
        power = self.chip.fields.get("power")  # what switches it on opens a gate beside it without a strobe
        with_power = self._gates() & {s.address for s in power.segments} if power is not None else set()
        opens_idle = self.gated and self.channel.at_reset == "inactive" and (self.fields["gate"].reset or with_power)
        if self.no_stop or self.strobes["stop"] or self.ends_itself() or opens_idle:
            return first_of(self.no_stop, self.always_active)
        return f"{self.name} ends only where its gate is shut"

    def ends_itself(self) -> bool:
        """Tell whether anything but software can end a note: timer, envelope or wave."""
        c = self.channel
        return (
            (c.timer is not None and c.timer.at_zero == "stop")
            or (c.envelope is not None and c.envelope.at_zero == "stop")
            or (c.table is not None and c.table.after_last == "stop")
        )

    @property
    def no_stop_strobe(self) -> str:
        """Why software cannot strobe a stop."""
        return "" if self.strobes["stop"] or self.gated else f"nothing stops {self.name}"

    @property
    def no_stop(self) -> str:
        """Why software cannot stop the channel."""
        if reason := self.no_stop_strobe:
            return reason
        waits = self.chip.held()
        acts = [(self.chip.registers[a], self.chip.registers[waits.get(a, a)]) for a in self.stops]
        started = all(f"{self.name}.start" in (*r.on_write, *release.on_write) for r, release in acts)
        return f"any write that stops {self.name} starts it as well" if started else ""

    @property
    def never_active(self) -> str:
        """Why the channel never plays."""
        return self.no_start if self.channel.at_reset == "inactive" else ""

    @property
    def always_active(self) -> str:
        """Why the channel is never idle."""
        if self.channel.at_reset == "inactive" or not self.no_stop:
            return ""
        return "" if self.ends_itself() else f"{self.name} plays from reset on and nothing ends that"

    # --- strobes and writes -----------------------------------------------------------------------------------------

    def start_and_stop_meet(self) -> str:
        """Say why start and stop cannot act at one edge."""
        gates = self._gates()
        for register in self.chip.registers.values():
            together = [register, *(self._released_with(register) if register.held_until else ())]
            kinds = {kind for r in together for kind in ("start", "stop") if r.address in self.strobes[kind]}
            if len(kinds) == 2 or (kinds and any(r.address in gates for r in together)):
                return ""
        return f"no write strobes both {self.name}.start and {self.name}.stop"

    def _released_with(self, register: Register) -> list[Register]:
        """Return the registers whose writes take place at one edge with those of a held one."""
        named = {r.name: r for r in self.chip.registers.values()}
        others = [r for r in self.chip.registers.values() if r.held_until == register.held_until]
        return [named[register.held_until], *others] if register.held_until in named else others

    def written_at_start(self, field: str) -> str:
        """Say why a register of a field cannot be written at the very edge at which a start acts."""
        if (reason := self.not_written(field)) or (reason := self.no_start):
            return reason
        delay = self.channel.start_delay
        addresses = self.registers(field)
        starts = self.starts
        if delay == 0:
            together = {a for s in starts for a in self._same_edge(s)}
            return "" if addresses & together else f"no write both sets {self.name}.{field} and starts {self.name}"
        return self._too_far(delay, self._apart(starts, addresses))

    @property
    def starts(self) -> set[int]:
        """The registers that start the channel."""
        return {*self.strobes["start"], *self._gates()}

    @property
    def stops(self) -> set[int]:
        """The registers that stop the channel."""
        return {*self.strobes["stop"], *self._gates()}

    def _gates(self) -> set[int]:
        """Return the registers that hold the gate."""
        return self.registers("gate") if self.gated else set()

    def _apart(self, first: Collection[int], then: Collection[int]) -> int:
        """Return how soon after a write to one of some registers one to another of some can take place, in cycles.

        Behind an index port that is soonest where the port stays on the register, or steps on to the other one. Of a
        register that waits, the one that lets it go counts; where the same one has let go of both, that is written
        again.
        """
        bus, waits = self.chip.bus, self.chip.held()
        releases = {waits.get(a, a) for a in first}

        def bus_writes(last: int, address: int) -> int:
            """How many bus writes a register takes after another one."""
            steps_on = (last + bus.index_step) % (1 << bus.index_bits) == address
            return 1 if not self._needs_index() or steps_on else 2

        def writes(last: int, address: int) -> int:
            release = waits.get(address, address)
            anew = address != release == last
            return bus_writes(last, address) + bus_writes(address, last) if anew else bus_writes(last, release)

        return self.spacing * min((writes(last, a) for last in releases for a in then), default=1)

    def _too_far(self, delay: int, apart: int) -> str:
        if delay >= apart:
            return ""
        later = "1 cycle" if delay == 1 else f"{delay} cycles"
        return f"a start acts {later} after its write, and the next write comes {apart} cycles after it or later"

    def _same_edge(self, address: int) -> set[int]:
        """Return the registers whose writes can take place at one edge with one of this register."""
        register = self.chip.registers[address]
        held = {r.address for r in self.chip.registers.values() if r.held_until == register.name}
        more = {r.address for r in self._released_with(register)} if register.held_until else set()
        return {address} | held | more

    def written_by(self, writes: int) -> int:
        """Return the first edge at which the last of some writes can take place; behind an index port as if the port
        stepped on to each of them, from 0 on after reset."""
        first = self._needs_index() and 0 not in self.chip.registers and self.chip.memory_at(0) is None
        return self.chip.bus.write_latency + self.spacing * (writes - 1 + first)

    def _needs_index(self) -> bool:
        return self.chip.bus.access == "index-data"

    def under_way(self, then: Collection[int] = ()) -> str:
        """Say why none of some registers, or another strobe, can be written while a strobe is on its way."""
        delay = self.channel.start_delay
        if delay == 0:
            return "strobes act at the edge of their write"
        strobing = self.starts | self.stops
        return self._too_far(delay, self._apart(strobing, then or strobing))


def first_of(*reasons: str) -> str:
    """Return the first reason there is, or nothing."""
    return next((reason for reason in reasons if reason), "")


def strobing_registers(chip: Chip, name: str) -> dict[str, list[int]]:
    """Return the addresses of the registers that strobe a channel's start and stop."""
    found: dict[str, list[int]] = {"start": [], "stop": []}
    for address, action in write_actions(chip, name).items():
        for kind in dict.fromkeys(kind for _, kind in action.strobes):
            found[kind].append(address)
    return found


def held_values(chip: Chip, field: str, kept: Collection[int] = ()) -> Sequence[int]:
    """Return what a field can hold; one value, 0, where there is no such field.

    `kept` are registers, by address, that stand as they are reset.
    """
    if field not in chip.fields:
        return range(0, 1)
    found = chip.fields[field]
    if not found.segments:
        return range(found.reset, found.reset + 1)
    bits = sum((1 << s.width) - 1 << s.field_low for s in found.segments if s.address in kept)
    values = range(1 << found.bits)
    return [v for v in values if (v ^ found.reset) & bits == 0] if bits else values
