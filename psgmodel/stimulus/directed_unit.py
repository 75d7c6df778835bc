"""Directed, the unit: what makes mixer, registers, bus, dividers and power bit do what they can.

Stage: stimulus. In: a player of all channels. Out: writes. Mixer, registers and restarts are one part; what the player
cannot foresee, which is odd bus writes and the power bit, is another, after which the channels are heard once more.
"""

from __future__ import annotations

from psgmodel.coverage.values import classes
from psgmodel.engine.countdown import epochs_of, tick_train
from psgmodel.engine.state import reset_state
from psgmodel.stimulus.blind import DWELL, hear_blindly, least_route, put_row, route_all, run, set_mixer, stop_blindly
from psgmodel.stimulus.directed_meetings import restart_to_meet
from psgmodel.stimulus.directed_power import play_power
from psgmodel.stimulus.notes import Notes
from psgmodel.stimulus.player import Player
from psgmodel.stimulus.walk import STEP_COUNTS, sounding_fields


def play_unit(player: Player) -> None:
    """Play mixer, dividers and registers."""
    chip = player.chip
    notes = {name: Notes(player, name) for name in chip.channels}
    _mixer(player, notes)
    _dividers(player, notes)
    _registers(player)
    for n in notes.values():
        n.hear()
    player.wait(player.now + 4 * DWELL)


def play_unforeseen(player: Player) -> int:
    """Play odd bus writes and the power bit, which no player foresees; return the edge at which the log can end."""
    for name in player.chip.channels:
        Notes(player, name).hear()
    player.followers = {}
    _odd_writes(player)
    play_power(player)
    for name in player.chip.channels:
        hear_blindly(player, name)
    return player.now + 4 * DWELL


# --- mixer -----------------------------------------------------------------------------------------------------------


def _mixer(player: Player, notes: dict[str, Notes]) -> None:
    chip = player.chip
    for name, n in notes.items():
        for other in notes.values():
            if other is not n and other.channel.idle_level and min(chip.mixer.routes) > 0:
                other.hear(volume=0, envelope_period=0)
            elif other is not n:
                other.silence()
        for output in chip.unit.outputs:
            for value in range(len(chip.mixer.routes)):
                n.hear()
                set_mixer(player, {f"mixer.{o}.{name}": least_route(chip) for o in chip.unit.outputs if o != output})
                set_mixer(player, {f"mixer.{output}.{name}": value})
                player.wait(player.now + DWELL)
                n.start()
                player.wait(player.now + DWELL)
        route_all(player)
        for output in chip.unit.outputs:
            quiet = {f"mixer.{output}.{other}": least_route(chip) for other in chip.channels if other != name}
            set_mixer(player, quiet)
            n.hear()
            player.wait(player.now + DWELL)
            route_all(player)
    for value in range(len(chip.mixer.trims)):
        for output in chip.unit.outputs:
            set_mixer(player, {f"mixer.{output}.trim": value})
            for n in notes.values():
                n.hear()
            player.wait(player.now + 4 * DWELL)
    for output in chip.unit.outputs:
        set_mixer(
            player, {f"mixer.{output}.trim": max(range(len(chip.mixer.trims)), key=lambda i: chip.mixer.trims[i])}
        )
    for _ in range(16):
        _start_all(player, notes)
        player.wait(player.now + DWELL // 2 + player.chance.below(DWELL))
    player.wait(player.now + 8 * DWELL)


def _start_all(player: Player, notes: dict[str, Notes]) -> None:
    """Start every channel, with as few writes as can be, so that short notes sound together."""
    for n in notes.values():
        n.prepare()
    masks: dict[int, int] = {}
    for name, n in notes.items():
        ways = [s for s in player.strobes if s.target == f"{name}.start"]
        if ways:
            masks[ways[0].address] = masks.get(ways[0].address, 0) | ways[0].mask
        else:
            n.start()
    for address, mask in masks.items():
        player.act((address, player.shadow.stored[address] | mask))


# --- registers -------------------------------------------------------------------------------------------------------


def _registers(player: Player) -> None:
    """Write every register as it is, with bits that keep nothing, with each strobe alone and with none."""
    chip, shadow = player.chip, player.shadow
    full = (1 << chip.bus.data_bits) - 1
    for address, register in chip.registers.items():
        strobes = [1 << g.low for g in register.fields if g.role == "strobes"]
        stored = shadow.stored[address]
        spare = full & ~(register.stored | sum(strobes))
        for value in dict.fromkeys([stored, stored | spare, *(stored | strobe for strobe in strobes)]):
            player.write((address, value))
            player.wait(player.now + 100)
        if register.held_until:
            release = chip.held()[address]
            for value in (stored ^ (register.stored & 1), stored):
                player.write((address, value))
            player.write((release, shadow.stored[release]))
            player.write((release, shadow.stored[release]))
    for memory in chip.memories.values():
        table = chip.channels[memory.channel].table
        assert table is not None
        for number, value in enumerate(classes(table.bits * table.per_address, each=False)):
            player.write((memory.address + number % memory.size, value))
            player.wait(player.now + 20)


# --- dividers --------------------------------------------------------------------------------------------------------


def _dividers(player: Player, notes: dict[str, Notes]) -> None:
    """Restart each divider where a step of it is due, an edge before and an edge after."""
    for name in player.chip.dividers:
        strobes = [s for s in player.strobes if s.target == f"{name}.restart"]
        heard = False
        for ahead in (0, 1, -1, 7) if strobes else ():
            for n in notes.values():
                n.hear(timer_enable=1, timer_length=n.ticks(6), envelope_period=1, envelope_rising=0, envelope_bypass=0)
            for _ in range(12):
                edge = _next_step(player, name, player.now + 60 + 4 * player.schedule.spacing) - ahead
                if player.act(player.shadow.strobe(player.chance.among(strobes)), edge):
                    heard = heard or any(n.sounds for n in notes.values())
                    break
                player.wait(edge + 2)
            divider = player.chip.dividers[name]
            player.wait(player.now + min(divider.every * (divider.steps + 3), 1 << 20))
        for n in notes.values() if strobes and not heard else ():
            n.hear()
            player.act(player.shadow.strobe(strobes[0]))
            player.wait(player.now + 2 * DWELL)
    for n in notes.values():
        for block in ("envelope", "sweep"):
            restart_to_meet(n, block)


def _next_step(player: Player, name: str, after: int) -> int:
    """Return the edge of the next step of a divider."""
    divider = player.chip.dividers[name]
    epochs = epochs_of(divider, 0, reset_state(player.chip).dividers[name], player.restarts[name])
    return tick_train(divider, range(divider.steps), epochs).nth_after(after, 1)


# --- what is not foreseen --------------------------------------------------------------------------------------------


def _odd_writes(player: Player) -> None:
    """Write through mirrors, and through an index port in all its ways."""
    chip = player.chip
    bus = chip.bus
    if bus.access == "index-data":
        quiet = [a for a, r in chip.registers.items() if r.stored and not r.on_write and a < 1 << bus.index_bits]
        at = quiet[0] if quiet else min(chip.registers)
        high = at | 1 << bus.index_bits if bus.data_bits > bus.index_bits else at
        put_row(player, bus.index_address, high)
        put_row(player, bus.data_address, player.shadow.stored[at])
        owned = {*chip.registers, *(m.address + i for m in chip.memories.values() for i in range(m.size))}
        size, step = 1 << bus.index_bits, bus.index_step % (1 << bus.index_bits)
        again = [a for a in sorted(owned) if (a + step) % size in owned and a < size]
        runs = [a for a in again if (a + step) % size < a][:1] + again[:1]
        for first in runs:
            put_row(player, bus.index_address, first)
            for address in (first, (first + step) % size):
                put_row(player, bus.data_address, player.shadow.stored.get(address, 1))
        if step:
            for name in chip.memories:
                _run_of_samples(player, name)
    _mirrors(player)


def _mirrors(player: Player) -> None:
    """Write twice through each mirror, at places that somebody owns: registers as they are, or index and data."""
    chip, bus, stored = player.chip, player.chip.bus, player.shadow.stored
    indexed = bus.access == "index-data"
    at = next((a for a in stored if a < 1 << bus.index_bits), 0)
    values = {bus.index_address: at, bus.data_address: stored.get(at, 0)} if indexed else stored
    for mirror in chip.mirrors:
        ports = range(mirror.of, mirror.of + mirror.size)
        known = [p for p in ports if p in values or (not indexed and chip.memory_at(p) is not None)]
        if indexed:
            put_row(player, bus.index_address, at)
            known.sort(key=lambda port: port != bus.index_address)
        for port in known[:2]:
            put_row(player, mirror.address + port - mirror.of, values.get(port, 0))


def _run_of_samples(player: Player, name: str) -> None:
    """Write a whole wave memory with its index given once, while the channel is idle; then hear it."""
    memory, table = player.chip.memories[name], player.chip.channels[name].table
    assert table is not None
    stop_blindly(player, name)
    values = [player.chance.bits(table.bits * table.per_address) for _ in range(memory.size)]
    step = player.chip.bus.index_step
    places = [i for first in range(min(step, memory.size)) for i in range(first, memory.size, step)]
    run(player, [(memory.address + i, values[i]) for i in places])
    hear_blindly(player, name)
    fields = sounding_fields(player.chip, name)
    length = player.reach[name].length_with("period", fields.get(f"{name}.period", 0))
    counts = max(2 * STEP_COUNTS * table.samples, (table.samples + 2) * length)
    player.now = player.count_before(name, player.now, -counts)
