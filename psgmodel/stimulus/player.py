"""Player: channels played with knowledge of what they will do next.

Stage: stimulus. In: what is meant (fields, strobes, samples), at once or at a certain edge. Out: register writes on a
`Schedule`, and channels that are followed as they are played (`psgmodel.coverage.following`), so that the edges of
their next steps, ticks and ends are known and can be met.

One player plays channels that share registers or dividers; players with nothing in common share only the bus.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from psgmodel.chip.records import Chip
from psgmodel.coverage.following import Follower
from psgmodel.coverage.lasting import FAR
from psgmodel.coverage.reach import Reach
from psgmodel.engine.actions import write_actions
from psgmodel.engine.countdown import NEVER, TickTrain, epochs_of, tick_train
from psgmodel.engine.kernel.layout import QUIET
from psgmodel.engine.state import reset_state
from psgmodel.stimulus.chance import ChanceState
from psgmodel.stimulus.schedule import Schedule
from psgmodel.stimulus.shadow import RegisterWrite, ShadowState, strobes_of

Fields = Mapping[str, int]


class Player:
    """Some channels, from cycle to cycle.

    Attributes
    ----------
    now : int
        Edge of the last register write; the next one is later.
    last : (int, int)
        Address and cycle of the last register write; -1 before the first one.
    farthest : int
        Cycles that are waited for one thing at most.
    """

    def __init__(
        self, chip: Chip, names: list[str], schedule: Schedule, chance: ChanceState, shadow: ShadowState, spacing: int
    ) -> None:
        self.chip, self.names, self.schedule, self.chance, self.shadow = chip, names, schedule, chance, shadow
        state = reset_state(chip)
        self.restarts: dict[str, list[int]] = {name: [] for name in chip.dividers}
        self.trains = self._trains()
        self.followers = {name: Follower(chip, name, self.trains, state) for name in names}
        self.reach = {name: Reach(chip, name, spacing) for name in names}
        self.strobes = strobes_of(chip)
        self.holds = chip.held()
        self.held: dict[int, int] = {}
        self.now, self.last = 0, (-1, -1)
        self.farthest = int(FAR * chip.clock_hz)

    def _trains(self) -> dict[str, TickTrain]:
        state = reset_state(self.chip)
        epochs = {
            name: epochs_of(d, 0, state.dividers[name], self.restarts[name]) for name, d in self.chip.dividers.items()
        }
        return {
            name: tick_train(self.chip.dividers[t.divider], t.at, epochs[t.divider])
            for name, t in self.chip.ticks.items()
        }

    def go_on(self, whole: Player) -> None:
        """Go on where a player of all channels stopped."""
        self.restarts = {name: list(edges) for name, edges in whole.restarts.items()}
        self.trains, self.now, self.held = whole.trains, whole.now, {}

    # --- writes -----------------------------------------------------------------------------------------------------

    def earliest(self) -> int:
        """Return the first edge at which a further register write can take place."""
        latency = self.schedule.latency
        return self.schedule.next_free(self.now - latency + 1) + latency

    def write(self, write: RegisterWrite, edge: int | None = None) -> bool:
        """Let a register write take place as soon as can be, or at an edge; return whether that can be."""
        at = self.earliest() if edge is None else edge
        if at <= self.now or not self.schedule.is_free(at - self.schedule.latency):
            return False
        address, value = write
        self.last = address, at - self.schedule.latency
        self.shadow.put(address, value)
        self.schedule.put(at - self.schedule.latency, write)
        if address in self.holds:
            self.held[address] = value
            self.now = at
            return True
        self._take_place(at, write)
        return True

    def act(self, write: RegisterWrite, edge: int | None = None) -> bool:
        """Let a register write take place even where it waits for another one, which is then written as it is."""
        release = self.holds.get(write[0])
        if release is None:
            return self.write(write, edge)
        return self.write(write) and self.write((release, self.shadow.stored[release]), edge)

    def _take_place(self, at: int, write: RegisterWrite) -> None:
        """Let a register write, and those that wait for it, be seen by the channels."""
        batch = [(a, self.held.pop(a)) for a in sorted(self.held) if self.holds[a] == write[0]] + [write]
        self._restart(at, batch)
        for name, follower in self.followers.items():
            events = [e for a, v in batch for e in self._events(name, at, a, v)]
            if events:
                follower.visit(at, events)
        self.now = at

    def again(self, write: RegisterWrite, edge: int | None = None) -> bool:
        """Write the register of the last register write at the least spacing, or at an edge, the index left as it
        stands where there is one."""
        s = self.schedule
        address = self.chip.bus.data_address if s.each == 2 else write[0]
        at = self.now + s.spacing if edge is None else edge
        moved = s.each == 2 and (self.chip.bus.index_step or self.last != (write[0], s.last))
        if moved or at <= self.now or not s.is_last(at - s.latency):
            return False
        s.put_row(at - s.latency, address, write[1])
        self.last = write[0], at - s.latency
        self._take_place(at, write)
        return True

    def _restart(self, at: int, batch: list[RegisterWrite]) -> None:
        for address, value in batch:
            for name in self.chip.dividers:
                if any(
                    s.target == f"{name}.restart" and s.address == address and (not s.mask or s.mask & value)
                    for s in self.strobes
                ):
                    self.wait(at)
                    self.restarts[name].append(at)
                    self.trains = self._trains()
                    for follower in self.followers.values():
                        follower.renew(self.trains)

    def _events(self, name: str, at: int, address: int, value: int) -> list[tuple[int, int, int]]:
        memory = self.chip.memories.get(name)
        if memory is not None and memory.address <= address < memory.address + memory.size:
            return [(at, -1 - (address - memory.address), value)]
        return [(at, address, value)] if address in self.followers[name].actions and address < QUIET else []

    def wait(self, edge: int) -> None:
        """Let time pass up to, not including, an edge."""
        for follower in self.followers.values():
            follower.wait(edge)
        self.now = max(self.now, edge - 1)

    # --- what is meant ------------------------------------------------------------------------------------------------

    def set(self, name: str, fields: Fields, edge: int | None = None) -> bool:
        """Set fields that software can set and that have other values; at an edge only where one write does it."""
        wanted = {f"{name}.{key}": value for key, value in fields.items() if self.driven(name, key)}
        wanted = {key: v & (1 << self.chip.fields[key].bits) - 1 for key, v in wanted.items() if self.value(key) != v}
        self._believe_sweeps()
        before = dict(self.shadow.stored)
        writes = self.shadow.in_order([(a, v) for a, v in self.shadow.set(wanted) if v != before[a]])
        self.shadow.stored.update(before)
        if edge is not None and (not writes or any(a not in self.holds for a, _ in writes[:-1])):
            return False
        return not [w for w in writes if not self.write(w, None if w != writes[-1] else edge)]

    def _believe_sweeps(self) -> None:
        """Take in what sweeps have made of periods, so that bits which are not meant stay as they are."""
        for name, follower in self.followers.items():
            if self.chip.channels[name].sweep is not None:
                self.shadow.set({f"{name}.period": follower.fields["period"]})

    def driven(self, name: str, key: str) -> bool:
        """Return whether software can set a field of a channel."""
        return self.reach[name].driven(key)

    def value(self, field: str) -> int:
        """Return what software believes to stand in a field; of a swept period, what does."""
        name, _, key = field.partition(".")
        follower = self.followers.get(name)
        if follower is not None and key in follower.fields:
            return follower.fields[key]
        return self.shadow.value(field)

    def strobe(self, name: str, kind: str, edge: int | None = None) -> bool:
        """Strobe start or stop; `edge` is where it acts."""
        delay = self.chip.channels[name].start_delay
        at = None if edge is None else edge - delay
        ways = [s for s in self.strobes if s.target == f"{name}.{kind}"]
        if ways:
            return self.act(self.shadow.strobe(self.chance.among(ways)), at)
        if not self.driven(name, "gate"):
            return False
        wanted = int(kind == "start")
        if self.followers[name].fields["gate"] == wanted and not self.set(name, {"gate": 1 - wanted}):
            return False
        return self.set(name, {"gate": wanted}, at)

    def both(self, name: str, edge: int | None = None) -> bool:
        """Strobe start and stop in one write, where one register does."""
        masks: dict[int, dict[str, int]] = {}
        for s in self.strobes:
            if s.target in (f"{name}.start", f"{name}.stop"):
                masks.setdefault(s.address, {})[s.target] = s.mask
        for address, found in masks.items():
            if len(found) == 2:
                return self.act((address, self.shadow.stored[address] | sum(found.values())), edge)
        return False

    def store(self, name: str, place: int, value: int, edge: int | None = None) -> bool:
        """Write a wave memory at a place counted from its beginning."""
        return self.write((self.chip.memories[name].address + place, value), edge)

    # --- when ---------------------------------------------------------------------------------------------------------

    def ready(self, name: str, writes: int = 1) -> int:
        """Return an edge from which on a strobe or write can be made to act, some writes before it."""
        s = self.schedule
        return self.now + 1 + (s.lead + s.spacing) * (writes + 2) + self.chip.channels[name].start_delay

    def meet(self, name: str, when: Callable[[], int], act: Callable[[int], bool], *, tries: int = 12) -> bool:
        """Act at an edge that `when` names; where that comes too soon or the bus is taken, at a later one it names."""
        for _ in range(tries):
            edge = when()
            if edge - self.now > self.farthest:
                return False
            if edge >= self.ready(name) and act(edge):
                return True
            self.wait(edge + 1)
        return False

    def tick(self, name: str, block: str) -> int:
        """Return the next tick of a block that can be met."""
        options = getattr(self.chip.channels[name], block)
        return self.trains[options.ticks].nth_after(self.ready(name), 1)

    def due(self, name: str, block: str) -> int:
        """Return the edge at which a block acts next by itself: timer, envelope, sweep, wave or step."""
        follower = self.followers[name]
        follower.wait(self.now + 1)
        if block == "step":
            return follower.step_wait(self.ready(name))
        return self._acts(follower, block)

    def _acts(self, follower: Follower, block: str) -> int:
        """Return the edge at which a block acts next; a timer that lets the note go on acts where it runs out, too."""
        timer = follower.watched.timer if block == "timer" else None
        if timer and follower.watched.active and follower.fields["timer.enable"]:
            return self.trains[timer.options.ticks].nth_after(follower.now, timer.count or 1 << timer.options.bits)
        return follower.block_waits().get(block, NEVER)

    def count_before(self, name: str, edge: int, counts: int) -> int:
        """Return the edge so many counts of the step before an edge (after it where negative)."""
        clock = self.chip.channels[name].step.clocked_by
        if not clock:
            return edge - counts
        every = self.chip.dividers[self.chip.ticks[clock].divider].every
        return edge - counts * every


def groups(chip: Chip) -> list[list[str]]:
    """Return the channels of a chip, those together that share registers, or dividers that their registers restart."""
    owners: dict[object, set[str]] = {}
    strobes = strobes_of(chip)
    for name in chip.channels:
        channel = chip.channels[name]
        mine = {a & ~QUIET for a in write_actions(chip, name)}
        released = {chip.held()[a] for a in mine if a in chip.held()}
        for address in mine | released:
            owners.setdefault(address, set()).add(name)
        blocks = (channel.timer, channel.envelope, channel.sweep)
        own = {b.ticks for b in blocks if b is not None} | ({channel.step.clocked_by} - {""})
        counted = {chip.ticks[t].divider for t in own}
        restarted = {s.target.removesuffix(".restart") for s in strobes if s.address in mine and "restart" in s.target}
        for divider in restarted:
            owners.setdefault(divider, set()).add(name)
        for divider in counted & {
            s.target.removesuffix(".restart")
            for s in strobes
            if any(f.target.split(".")[0] in chip.channels for f in chip.registers[s.address].fields)
        }:
            owners.setdefault(divider, set()).add(name)
    found: list[set[str]] = [{name} for name in chip.channels]
    for shared in owners.values():
        joined = [g for g in found if g & shared]
        if len(joined) > 1:
            found = [g for g in found if g not in joined] + [set().union(*joined)]
    order = list(chip.channels)
    return sorted((sorted(g, key=order.index) for g in found), key=lambda g: order.index(g[0]))


def joined(players: list[Player]) -> Player:
    """Return one player who goes on with the channels of several."""
    first = players[0]
    whole = Player(first.chip, [], first.schedule, first.chance, first.shadow, first.schedule.spacing)
    for player in players:
        whole.names += player.names
        whole.followers |= player.followers
        whole.reach |= player.reach
        whole.held |= player.held
        for divider, edges in player.restarts.items():
            whole.restarts[divider] = sorted({*whole.restarts[divider], *edges})
    whole.trains = whole._trains()
    whole.wait(max(player.now for player in players) + 1)
    return whole
