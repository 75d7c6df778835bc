"""Directed, the power bit: what makes it clear and lock what it can.

Stage: stimulus. In: a player of all channels. Out: writes. What the power bit clears is not foreseen.
"""

from __future__ import annotations

from psgmodel.chip.records import Chip
from psgmodel.coverage.clearing import not_left_alone, own_parts, patience
from psgmodel.stimulus.blind import DWELL, hear_blindly, route_all, run, start_blindly, stop_blindly
from psgmodel.stimulus.player import Player
from psgmodel.stimulus.walk import sounding_fields


def play_power(player: Player) -> None:
    """Switch off and on: with everything sounding, with strobes on their way, with writes while it is off."""
    chip, shadow = player.chip, player.shadow
    if chip.power is None or not chip.fields["power"].segments:
        return
    s = chip.fields["power"].segments[0]
    others = chip.registers[s.address].stored & ~(1 << s.low)
    delayed = [n for n, c in chip.channels.items() if c.start_delay >= player.schedule.spacing]
    for begun in ["", *chip.channels]:
        for name in chip.channels:
            hear_blindly(player, name)
        player.now += DWELL
        player.write((s.address, shadow.stored[s.address] | 1 << s.low))
        if begun:
            start_blindly(player, begun)
            player.now += 0 if begun in delayed else chip.channels[begun].start_delay
        player.write((s.address, others))
        player.now += 40
        player.write((s.address, 0))
        for address, register in chip.registers.items():
            if address != s.address:
                strobes = sum(1 << g.low for g in register.fields if g.role == "strobes")
                player.write((address, register.stored | strobes))
        for memory in chip.memories.values():
            player.write((memory.address, 1))
        shadow.clear()
        player.now += 40
        player.write((s.address, 1 << s.low))
        player.write((s.address, 1 << s.low))
        shadow.put(s.address, 1 << s.low)
        route_all(player)
        for name in chip.channels:
            hear_blindly(player, name)
        player.now += DWELL
    _clear(player)


def _clear(player: Player) -> None:
    """Let it be heard that every register is cleared: of each channel one after another is left as it was cleared."""
    chip = player.chip
    stops = [event for r in chip.registers.values() for event in r.on_write if event.endswith(".stop")]
    ways = {n: [a for a in own_parts(chip, n) if not not_left_alone(r, a)] for n, r in player.reach.items()}
    for turn in range(max(map(len, ways.values()), default=0)):
        left = {name: found[turn] for name, found in ways.items() if turn < len(found)}
        for alone in _apart(chip, left):
            _off_and_on(player)
            route_all(player)
            for name in chip.channels:
                hear_blindly(player, name, without=alone.values())
            for name in alone if stops else ():
                start_blindly(player, name)
            player.now += max(patience(chip, name, address) for name, address in alone.items()) + DWELL
    _off_and_on(player)
    mixer = {s.address for name, f in chip.fields.items() if name.startswith("mixer.") for s in f.segments}
    for name in chip.channels:
        hear_blindly(player, name, without=mixer)
        player.now += DWELL
        stop_blindly(player, name)


def _apart(chip: Chip, left: dict[str, int]) -> list[dict[str, int]]:
    """Part registers that are left, each for a channel, where one of them holds the volume of another channel."""
    volumes = {name: {s.address for s in chip.fields[f"{name}.volume"].segments} for name in left}
    missed = any(a in volumes[other] for name, a in left.items() for other in left if other != name)
    return [{name: address} for name, address in left.items()] if missed else [left]


def _off_and_on(player: Player) -> None:
    """Move every field away from its reset value, then switch off and on."""
    chip, shadow = player.chip, player.shadow
    switch = chip.fields["power"].segments[0]
    run(player, shadow.set(_away(chip)))
    player.write((switch.address, 0))
    shadow.clear()
    player.now += 40
    player.write(shadow.put(switch.address, 1 << switch.low))


def _away(chip: Chip) -> dict[str, int]:
    """Return a value for every field that software can set, with which it would be heard that it is not cleared."""
    fields: dict[str, int] = {}
    for name, channel in chip.channels.items():
        last = (1 << channel.timer.bits) - 1 if channel.timer is not None and channel.timer.loads != "field" else 1
        moving = {"timer.enable": 1, "timer.length": last, "envelope.period": 1}
        moving |= {"sweep.period": 1, "sweep.shift": 2, "sweep.falling": 1}
        fields |= sounding_fields(chip, name) | {f"{name}.{key}": value for key, value in moving.items()}
    free = {n: f for n, f in chip.fields.items() if f.segments and n != "power" and not n.endswith(".gate")}
    wanted = {n: fields.get(n, 0) & (1 << f.bits) - 1 for n, f in free.items()}
    return {n: value if value != free[n].reset else value ^ 1 for n, value in wanted.items()}
