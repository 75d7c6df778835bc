"""Edits: one option of a chip description changed, and nothing else.

Stage: diagnose. In: a chip, a path and a value. Out: another chip, or None where no description could say that. Frozen
records are replaced from the leaf up to the chip; then what follows from the change (widths of fields, size of a wave
memory) is worked out again and the checks of the description language run, so that only legal chips are tried.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from psgmodel.chip.channel import Channel
from psgmodel.chip.checks import check_channel, check_mixer
from psgmodel.chip.options import ReadingState, show
from psgmodel.chip.records import Chip, Field, Segment
from psgmodel.chip.wiring import FieldSpec, field_specs
from psgmodel.tomlfile import KeyPath, TomlFile

Path = tuple[str | int, ...]

_TABLES = {"channels": "channel", "registers": "register", "fields": "constants"}
_SHORT_LIST = 4
_ENTRIES_TOLD = 2
_LONGEST_TOLD = 16


@dataclass(frozen=True, slots=True)
class Edit:
    """One value of a description.

    Attributes
    ----------
    path : tuple of str or int
        Attributes and keys from the `Chip` down: ``("channels", "noise", "register", "taps")``.
    key : str
        The same as the description writes it: ``channel.noise.register.taps``.
    old, new : any
    words : tuple of str
        Old and new value as the description writes them, where the record has them otherwise.
    """

    path: Path
    key: str
    old: Any
    new: Any
    words: tuple[str, str] | None = None

    def __str__(self) -> str:
        key, new, _ = self.told()
        return f"{key} = {new}"

    def told(self) -> tuple[str, str, str]:
        """Return key, new value and old value in words; of a long list only the entry that changed."""
        old, new = self.words or (self.old, self.new)
        if isinstance(old, tuple) and isinstance(new, tuple) and len(old) == len(new):
            long = len(old) > _SHORT_LIST or (old and isinstance(old[0], str))
            changed = [i for i, (a, b) in enumerate(zip(old, new, strict=True)) if a != b]
            if long and len(changed) <= _ENTRIES_TOLD:
                told = [", ".join(toml_value(side[i]) for i in changed) for side in (new, old)]
                return ", ".join(f"{self.key}[{i}]" for i in changed), told[0], told[1]
        return self.key, toml_value(new), toml_value(old)


def toml_value(value: Any) -> str:
    """Return a value as the description writes it; what is left out is called that."""
    if value is None:
        return "left out"
    if dataclasses.is_dataclass(value):
        return "given"
    if isinstance(value, tuple):
        items = [show(v) for v in value[:_LONGEST_TOLD]] + ["..."] * (len(value) > _LONGEST_TOLD)
        return f"[{', '.join(items)}]"
    return show(value)


def key_of(path: Sequence[str | int]) -> str:
    """Return a path of attributes as a key of the description."""
    return ".".join(str(part) for part in (_TABLES.get(str(path[0]), path[0]), *path[1:]))


def edited(chip: Chip, edits: Sequence[Edit]) -> Chip | None:
    """Return a chip with some values changed, or None where that is no legal description."""
    changed = chip
    for edit in edits:
        changed = _replaced(changed, edit.path, edit.new)
    fitted = _fitted(changed)
    if fitted is None or not _ticks_fit(fitted) or problem_paths(fitted, chip):
        return None
    return fitted


def _ticks_fit(chip: Chip) -> bool:
    """Return whether every tick is at steps that its sequencer has."""
    return all(min(t.at) >= 0 and max(t.at) < chip.dividers[t.divider].steps for t in chip.ticks.values())


def problem_paths(changed: Chip, chip: Chip) -> set[KeyPath]:
    """Return the paths of everything that the checks have against what differs from `chip`."""
    state = ReadingState(TomlFile("", {}, {}), [])
    for name, channel in changed.channels.items():
        if channel is not chip.channels[name]:
            check_channel(channel, changed.ticks, changed.dividers, changed.power, state)
    if changed.mixer is not chip.mixer or changed.channels is not chip.channels:
        check_mixer(changed.mixer, changed.channels, state)
    return state.spoilt_paths


def unfitted(chip: Chip, edit: Edit) -> set[KeyPath]:
    """Return what the checks have against one edit, before anything is made to fit."""
    return problem_paths(_replaced(chip, edit.path, edit.new), chip)


def _replaced(node: Any, path: Path, value: Any) -> Any:
    if not path:
        return value
    head, rest = path[0], path[1:]
    if isinstance(node, Mapping):
        return {**node, head: _replaced(node[head], rest, value)}
    return dataclasses.replace(node, **{str(head): _replaced(getattr(node, str(head)), rest, value)})


def value_at(chip: Chip, path: Path) -> Any:
    """Return what stands at a path, None where the path leads nowhere."""
    node: Any = chip
    for part in path:
        node = node.get(part) if isinstance(node, Mapping) else getattr(node, str(part), None)
    return node


def _fitted(chip: Chip) -> Chip | None:
    """Return the chip with fields and memories of the sizes that its channels ask for, None where that cannot be."""
    specs = field_specs(chip.channels, chip.mixer, chip.unit, chip.power is not None)
    fields = {}
    for name, spec in specs.items():
        field = _fitted_field(name, spec, chip.fields.get(name))
        if field is None:
            return None
        fields[name] = field
    memories = {}
    for name, memory in chip.memories.items():
        table = chip.channels[name].table
        if table is None or table.samples < table.per_address or table.bits * table.per_address > chip.bus.data_bits:
            return None
        memories[name] = dataclasses.replace(memory, size=table.samples // table.per_address)
        if memories[name].size > memory.size:  # what lies behind may belong to somebody else
            return None
    return dataclasses.replace(chip, fields=fields, memories=memories)


def _fitted_field(name: str, spec: FieldSpec, field: Field | None) -> Field | None:
    """Cut a field to its width; a wider one has a bit that nothing drives."""
    if field is None:
        return None if spec.unwired is None else Field(name, spec.bits, (), spec.unwired)
    if field.bits == spec.bits:
        return field
    mask = (1 << spec.bits) - 1
    if field.bits < spec.bits:
        return None if field.segments else Field(name, spec.bits, (), field.reset)
    cut = []
    for s in field.segments:
        width = min(s.width, spec.bits - s.field_low)
        if width > 0:
            cut.append(Segment(s.address, s.low, width, s.field_low))
    return Field(name, spec.bits, tuple(cut), field.reset & mask)


def touched_channels(changed: Chip, chip: Chip) -> frozenset[str]:
    """Return the channels that can sound otherwise in one chip than in another."""
    if (changed.bus, changed.power, changed.mirrors) != (chip.bus, chip.power, chip.mirrors):
        return frozenset(chip.channels)
    moved = _owners(changed, chip)
    if "power" in moved:
        return frozenset(chip.channels)
    sources = {
        name
        for name, ticks in changed.ticks.items()
        if ticks != chip.ticks[name] or changed.dividers[ticks.divider] != chip.dividers[ticks.divider]
    }
    return frozenset(
        name
        for name, channel in changed.channels.items()
        if channel != chip.channels[name]
        or name in moved
        or changed.memories.get(name) != chip.memories.get(name)
        or sources & ticks_of(channel)
    )


def touches_mixer(changed: Chip, chip: Chip) -> bool:
    """Return whether the mixer can do otherwise with the same levels in one chip than in another."""
    shared = ("bus", "power", "mirrors", "mixer")
    owners = _owners(changed, chip)
    return any(getattr(changed, a) != getattr(chip, a) for a in shared) or bool(owners & {"mixer", "power"})


def _owners(changed: Chip, chip: Chip) -> set[str]:
    """Return whose fields or strobes are wired otherwise: channels, dividers, "mixer"."""
    found = set()
    if changed.fields != chip.fields:
        found = {n.partition(".")[0] for n, field in changed.fields.items() if field != chip.fields.get(n)}
    if changed.registers != chip.registers:
        for address in changed.registers.keys() | chip.registers.keys():
            events = [set(_events(c, address)) for c in (changed, chip)]
            found |= {event.partition(".")[0] for _, event in events[0] ^ events[1]}
    used = {n for n in found if n in chip.dividers}
    return found | {n for n, c in changed.channels.items() if used & {chip.ticks[t].divider for t in ticks_of(c)}}


def _events(chip: Chip, address: int) -> list[tuple[int, str]]:
    register = chip.registers.get(address)
    if register is None:
        return []
    return [(f.low, f.target) for f in register.fields if f.role == "strobes"] + [(-1, e) for e in register.on_write]


def ticks_of(channel: Channel) -> set[str]:
    """Return the names of the ticks that a channel counts."""
    blocks = (channel.timer, channel.envelope, channel.sweep)
    found = {block.ticks for block in blocks if block is not None}
    return found | ({channel.step.clocked_by} if channel.step.clocked_by else set())
