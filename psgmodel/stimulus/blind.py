"""Blind: writes to the whole unit that need not know how its channels stand.

Stage: stimulus. In: a player of all channels. Out: writes, one after another; channels heard, started, stopped.
"""

from __future__ import annotations

from collections.abc import Collection

from psgmodel.chip.records import Chip
from psgmodel.stimulus.player import Player
from psgmodel.stimulus.shadow import RegisterWrite
from psgmodel.stimulus.walk import sounding_fields

DWELL = 1500
"""Cycles that a setting stays; common practice, no source."""


def least_route(chip: Chip) -> int:
    """Return the route that lets least through."""
    return min(range(len(chip.mixer.routes)), key=lambda i: chip.mixer.routes[i])


def route_all(player: Player) -> None:
    """Route every channel to every output; an output whose trim lets nothing through gets one that does."""
    chip = player.chip
    trims = {o: f"mixer.{o}.trim" for o in chip.unit.outputs if f"mixer.{o}.trim" in chip.fields}
    most = max(range(len(chip.mixer.trims)), key=lambda i: chip.mixer.trims[i])
    mute = {field: most for field in trims.values() if not chip.mixer.trims[player.shadow.value(field)]}
    loudest = max(range(len(chip.mixer.routes)), key=lambda i: chip.mixer.routes[i])
    set_mixer(player, {f"mixer.{o}.{n}": loudest for o in chip.unit.outputs for n in chip.channels} | mute)


def set_mixer(player: Player, fields: dict[str, int]) -> None:
    """Set fields of the mixer, and whatever else software can set outside the channels."""
    chip = player.chip
    wanted = {k: v for k, v in fields.items() if k in chip.fields and chip.fields[k].segments}
    before = dict(player.shadow.stored)
    for write in player.shadow.in_order([w for w in player.shadow.set(wanted) if before[w[0]] != w[1]]):
        player.write(write)


def put_row(player: Player, address: int, value: int) -> None:
    """Put one bus write as soon as can be."""
    s = player.schedule
    cycle = max(player.now - s.latency, 0) + s.lead + 2 * s.spacing
    s.put_row(cycle, address, value)
    player.now = cycle + s.latency


def run(player: Player, writes: list[RegisterWrite]) -> None:
    """Make register writes, their index only where the port has not stepped on to it by itself."""
    bus = player.chip.bus
    upcoming = -1
    waiting = any(address in player.holds for address, _ in writes)
    for address, value in player.shadow.in_order(writes) if waiting else writes:
        if bus.access == "index-data":
            if address != upcoming:
                put_row(player, bus.index_address, address)
            put_row(player, bus.data_address, value)
            upcoming = (address + bus.index_step) % (1 << bus.index_bits)
        else:
            player.write((address, value))


def hear_blindly(player: Player, name: str, without: Collection[int] = ()) -> None:
    """Set a channel up and start it, without knowing how it stands; some registers are left as they are."""
    fields = player.chip.fields
    wanted = sounding_fields(player.chip, name)
    run(
        player,
        player.shadow.set(
            {key: v for key, v in wanted.items() if not any(s.address in without for s in fields[key].segments)}
        ),
    )
    start_blindly(player, name)


def start_blindly(player: Player, name: str) -> None:
    """Start a channel."""
    ways = [s for s in player.strobes if s.target == f"{name}.start"]
    if ways:
        player.act(player.shadow.strobe(ways[0]))
    else:
        _gate(player, name, 0, 1)


def stop_blindly(player: Player, name: str) -> None:
    """Stop a channel, if software can."""
    ways = [s for s in player.strobes if s.target == f"{name}.stop"]
    if ways:
        player.act(player.shadow.strobe(ways[0]))
    else:
        _gate(player, name, 0)
    player.now += player.chip.channels[name].start_delay


def _gate(player: Player, name: str, *values: int) -> None:
    gate = player.chip.fields.get(f"{name}.gate")
    for value in values if gate is not None and gate.segments else ():
        for write in player.shadow.set({f"{name}.gate": value}):
            player.act(write)
