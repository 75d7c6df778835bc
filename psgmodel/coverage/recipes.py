"""Recipes: which bits and which edges a behaviour takes, in the words of the register map.

Stage: coverage. In: a chip. Out: text such as ``A_NOTE bit 7; tick timing at edges 20479, 40959, ...``.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from psgmodel.chip.records import Chip


def bits_text(chip: Chip, target: str) -> str:
    """Return where a field is driven or an event is strobed; empty where nowhere."""
    places = []
    for register in chip.registers.values():
        places += [f"any write to {register.name}"] if target in register.on_write else []
        for g in register.fields:
            if g.target.partition("[")[0] == target and g.role != "shows":
                places.append(f"{register.name} {'bit' if g.high == g.low else 'bits'} {_span(g.high, g.low)}")
    return ", ".join(places)


def _span(high: int, low: int) -> str:
    return str(low) if high == low else f"{high}:{low}"


def tick_text(chip: Chip, tick: str) -> str:
    """Return at which edges a tick happens, before any restart."""
    source = chip.ticks[tick]
    d = chip.dividers[source.divider]
    first = d.first + d.every * source.at[0]
    if len(source.at) == 1:
        return f"tick {tick} at edge {first}, then every {d.every * d.steps}"
    second = d.first + d.every * source.at[1]
    return f"tick {tick} at edges {first}, {second}, ..."


def channel_recipe(chip: Chip, name: str) -> Callable[..., str]:
    """Return what says which bits and ticks some fields, strobes and blocks of a channel take."""
    channel = chip.channels[name]

    @cache
    def told(thing: str) -> str:
        block = getattr(channel, thing, None) if thing in ("timer", "envelope", "sweep") else None
        if block is not None:
            return tick_text(chip, block.ticks)
        if thing in ("start", "stop"):
            return _strobe(chip, name, thing)
        return bits_text(chip, f"{name}.{thing}")

    def recipe(*things: str) -> str:
        return "; ".join(dict.fromkeys(filter(None, map(told, things))))

    return recipe


def _strobe(chip: Chip, name: str, kind: str) -> str:
    delay, gate = chip.channels[name].start_delay, chip.channels[name].gate
    text = bits_text(chip, f"{name}.{kind}")
    if gate:
        text = ", ".join(
            filter(None, [text, f"{bits_text(chip, f'{name}.gate')} {'set' if kind == 'start' else 'cleared'}"])
        )
    late = f", acts {delay} {'cycle' if delay == 1 else 'cycles'} later" if delay and text else ""
    return text + late
