"""Reader: a chip description from a TOML file to a checked `Chip`.

Stage: chip. In: a TOML file, format 1. Out: one frozen `Chip`, or a `ChipError` that holds every problem of
the file with its line.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from psgmodel.chip.channel import Channel, NoiseClock, StepClock
from psgmodel.chip.checks import check_bus, check_channel, check_held, check_mixer, resolve_ticks
from psgmodel.chip.options import ReadingState, read_record, read_value, show, stand_in
from psgmodel.chip.records import (
    CHANNEL_LIMIT,
    Bus,
    Chip,
    Divider,
    Mirror,
    Mixer,
    Power,
    Sequencer,
    Ticks,
    TickSource,
    Unit,
)
from psgmodel.chip.wiring import WiringState, field_specs
from psgmodel.errors import ChipError, Place
from psgmodel.tomlfile import TomlFile, load_toml, parse_toml

FORMAT = 1
_TAKEN = ("mixer", "power", "trim")
_TABLES = (
    "format",
    "unit",
    "bus",
    "ticks",
    "sequencers",
    "power",
    "channel",
    "mixer",
    "register",
    "memory",
    "mirror",
    "constants",
)


def load_chip(path: str | Path) -> Chip:
    """Read a chip description.

    Parameters
    ----------
    path : str or Path
        A TOML file.

    Returns
    -------
    Chip

    Raises
    ------
    ChipError
        The file cannot be read, is not TOML, or describes no usable chip; holds all problems found.
    """
    return _read(load_toml(path, ChipError))


def parse_chip(text: str, name: str = "description") -> Chip:
    """Read a chip description from TOML text; `name` is what problems call it. Raises as `load_chip`."""
    return _read(parse_toml(text, name, ChipError))


def _read(file: TomlFile) -> Chip:
    state = ReadingState(file, [])
    data = file.data
    version = data.get("format")
    if type(version) is not int or version != FORMAT:
        found = "no format" if version is None else f"format {show(version)}"
        raise ChipError(f"{found}; this version reads format {FORMAT}", place=file.place("format"))
    for key in data:
        if key not in _TABLES:
            state.report((key,), "unknown table", state.hint(key, _TABLES))
    unit = _unit(data.get("unit", {}), state)
    bus = _bus(data.get("bus", {}), state)
    dividers, ticks = _ticks(data, state)
    power = read_record(Power, data["power"], ("power",), state) if "power" in data else None
    channels = {}
    doubtful: set[str] = set()
    for name, table in _tables(data, "channel", state).items():
        channels[name] = _channel(name, table, state)
        if state.spoilt("channel", name):
            doubtful.add(name)
        if not state.spoilt("channel", name, "kind"):
            check_channel(channels[name], ticks, dividers, power, state)
        if name in dividers or name in unit.outputs:
            state.report(("channel", name), "a tick, a sequencer or an output has this name too")
    if not 1 <= len(channels) <= CHANNEL_LIMIT:
        state.report(("channel",), f"found {len(channels)} channels, accepted: 1 to {CHANNEL_LIMIT}")
    mixer = _mixer(data.get("mixer", {}), list(channels), state)
    if state.spoilt("mixer") or state.spoilt("unit"):
        doubtful.add("mixer")
    check_mixer(mixer, channels, state)
    if state.spoilt("power"):
        doubtful.add("power")
    specs = field_specs(channels, mixer, unit, power is not None)
    wiring = WiringState(bus, channels, dividers, specs, doubtful, state)
    wiring.addresses.ports()
    registers = [wiring.register(t, ("register", i)) for i, t in enumerate(_list(data, "register", state))]
    check_held(registers, state)
    memories = [wiring.memory(t, ("memory", i)) for i, t in enumerate(_list(data, "memory", state))]
    mirrors = [read_record(Mirror, t, ("mirror", i), state) for i, t in enumerate(_list(data, "mirror", state))]
    wiring.addresses.mirrors(mirrors)
    for name in channels:
        count = sum(m.channel == name for m in memories)
        if channels[name].kind == "wave" and count != 1:
            state.report(("channel", name), f"a wave-table channel has one [[memory]], found {count}")
    fields = wiring.fields(data.get("constants", {}))
    if state.problems:
        raise ChipError(sorted(state.problems, key=lambda p: (p.place or Place("")).line or 0))
    return Chip(
        source=file.name,
        unit=unit,
        bus=bus,
        dividers=dividers,
        ticks=ticks,
        power=power,
        mirrors=tuple(mirrors),
        channels=channels,
        mixer=mixer,
        registers={r.address: r for r in sorted(registers, key=lambda r: r.address)},
        memories={m.channel: m for m in memories},
        fields=fields,
    )


def _unit(table: Any, state: ReadingState) -> Unit:
    unit = read_record(Unit, table, ("unit",), state)
    if not 1 <= len(unit.outputs) <= 2 or len(set(unit.outputs)) != len(unit.outputs) or "" in unit.outputs:
        state.report(("unit", "outputs"), f"found {len(unit.outputs)} names, one or two different names are expected")
    return unit


def _ticks(data: dict[str, Any], state: ReadingState) -> tuple[dict[str, Divider], dict[str, Ticks]]:
    sequencers = {
        name: read_record(Sequencer, table, ("sequencers", name), state)
        for name, table in _tables(data, "sequencers", state).items()
    }
    sources = {
        name: read_record(TickSource, table, ("ticks", name), state)
        for name, table in _tables(data, "ticks", state).items()
    }
    return resolve_ticks(sources, sequencers, state)


def _bus(table: Any, state: ReadingState) -> Bus:
    """Read the bus; where a width could not be read, the widest stands in, so that nothing else seems too wide."""
    bus = read_record(Bus, table, ("bus",), state)

    def unread(key: str) -> bool:
        return ("bus",) in state.spoilt_paths or state.spoilt("bus", key)

    if unread("data_bits"):
        bus = replace(bus, data_bits=32)
    if unread("address_bits"):
        bus = replace(bus, address_bits=32)
    if unread("index_bits"):
        bus = replace(bus, index_bits=16)
    check_bus(bus, state)
    return bus


def _tables(data: dict[str, Any], key: str, state: ReadingState) -> dict[str, Any]:
    table = data.get(key, {})
    if not isinstance(table, dict):
        state.report((key,), f"found {show(table)}, tables [{key}.NAME] are expected")
        return {}
    for name in table:
        if not name.isascii() or not name.replace("_", "").replace("-", "").isalnum() or name in _TAKEN:
            state.report((key, name), "a name is made of letters, digits, - and _, and is not mixer, power or trim")
    return table


def _list(data: dict[str, Any], key: str, state: ReadingState) -> list[Any]:
    items = data.get(key, [])
    if not isinstance(items, list):
        state.report((key,), f"found {show(items)}, tables [[{key}]] are expected", f"write [[{key}]]")
        return []
    return items


def _channel(name: str, table: Any, state: ReadingState) -> Channel:
    path = ("channel", name)
    step_kind = NoiseClock if isinstance(table, dict) and table.get("kind") == "noise" else StepClock
    step: StepClock | NoiseClock
    if isinstance(table, dict) and "step" in table:
        step = read_value(step_kind, table["step"], (*path, "step"), state, {})
    else:
        state.report(path, f"missing: table [channel.{name}.step]")
        step = stand_in(step_kind, {})
    return read_record(Channel, table, path, state, known=("step",), name=name, step=step)


def _mixer(table: Any, names: list[str], state: ReadingState) -> Mixer:
    given = table.get("gains", {}) if isinstance(table, dict) else {}
    if not isinstance(given, dict):
        state.report(("mixer", "gains"), f"found {show(given)}, a table is expected")
        given = {}
    gains = dict.fromkeys(names, 1)
    for name, value in given.items():
        if name not in gains:
            state.report(("mixer", "gains", name), "no such channel", state.hint(name, names))
        elif type(value) is not int or not 0 <= value <= 2**16:
            state.report(("mixer", "gains", name), f"found {show(value)}, accepted: 0 to {2**16}")
        else:
            gains[name] = value
    return read_record(Mixer, table, ("mixer",), state, known=("gains",), gains=gains)
