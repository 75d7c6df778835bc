"""Changes: everything that can be said once otherwise about a chip or its log.

Stage: diagnose. In: a chip. Out: every single change of its description that the option tables allow, each with the
kind of move and its place in the order of simplicity. The tables of `psgmodel.chip` are followed, so an option that is
added there is tried here without a word of code.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_origin

from psgmodel.chip.channel import Channel
from psgmodel.chip.options import choices_of, options_of
from psgmodel.chip.records import Bus, Chip, Divider, Mixer, Power, Sequencer, TickSource
from psgmodel.diagnose.edits import Edit, Path, edited, key_of, unfitted, value_at
from psgmodel.diagnose.lost_writes import LogEdit, log_edits
from psgmodel.diagnose.moves import Move, Moved, moves_of
from psgmodel.diagnose.wiring import rewirings
from psgmodel.reglog.log import RegisterLog

SILENT_OPTIONS = frozenset({"kind", "reads", "gains"})
"""Options that cannot change a level by themselves: what is read back, and what stands in other options."""
HEARD_BUS_OPTIONS = frozenset({"write_latency", "index_step"})
"""Options of the bus that change when or where a write arrives; the others say how software reaches it."""


@dataclass(frozen=True, slots=True)
class Change:
    """One thing said otherwise.

    Attributes
    ----------
    edits : tuple of Edit
        More than one where one choice forces another number, or where several channels share a block.
    move : Move
    distance, order : int
        Among changes of one move: how far, and the place in the description.
    wording : str
        What to say after "as if" where key and value do not tell it.
    log_edit : LogEdit or None
        In place of `edits`: the description stands, but writes do not reach the unit.
    """

    edits: tuple[Edit, ...]
    move: Move
    distance: int
    order: int
    wording: str = ""
    log_edit: LogEdit | None = None

    def __str__(self) -> str:
        return self.wording or " and ".join(str(edit) for edit in self.edits)

    @property
    def simplicity(self) -> tuple[int, int, int]:
        """The less, the simpler; see `Move` for the reasons."""
        return list(Move).index(self.move), self.distance, self.order

    def apply(self, chip: Chip, log: RegisterLog) -> tuple[Chip, RegisterLog] | None:
        """Return chip and log so changed, None where that is no legal description."""
        if self.log_edit is not None:
            return chip, self.log_edit.apply(log)
        changed = edited(chip, self.edits)
        return None if changed is None else (changed, log)

    def sibling(self, chip: Chip, channel: str, other: str) -> Change | None:
        """Return the same change of another channel, None where that one has no such option, or has the value."""
        found = []
        for edit in self.edits:
            if edit.path[:2] != ("channels", channel):
                return None
            path = ("channels", other, *edit.path[2:])
            old = value_at(chip, path)
            if type(old) is not type(edit.old) or old == edit.new:
                return None
            found.append(Edit(path, key_of(path), old, edit.new))
        return dataclasses.replace(self, edits=tuple(found)) if found and edited(chip, found) is not None else None

    def joined(self, siblings: Sequence[Change]) -> Change:
        """Return this change made in several channels at once."""
        return dataclasses.replace(self, edits=self.edits + tuple(e for s in siblings for e in s.edits))


def changes_of(chip: Chip, channel: str = "") -> Iterator[Change]:
    """Yield every legal single change of a chip, in the order of the description.

    Those that stand in the table of another channel, or of the mixer, are left out where they shall be of one channel.
    """
    order = 0
    for edit, moved in _all_edits(chip):
        order += 1
        if channel and (edit.path[0] == "mixer" or (edit.path[0] == "channels" and edit.path[1] != channel)):
            continue
        edits: tuple[Edit, ...] | None = (edit,)
        if edited(chip, (edit,)) is None:
            edits = _completed(chip, edit)
        if edits is not None:
            yield Change(edits, moved.move, moved.distance, order)
    for edits, distance, text in rewirings(chip):
        order += 1
        if edited(chip, edits) is not None:
            yield Change(edits, Move.WIRING, distance, order, text)


def write_changes(chip: Chip, log: RegisterLog, name: str, cycle: int) -> Iterator[Change]:
    """Yield changes of the writes that concern a signal, before a cycle."""
    for order, (edit, distance) in enumerate(log_edits(chip, log, name, cycle)):
        yield Change((), Move.WRITE, distance, order, edit.text, edit)


def _all_edits(chip: Chip) -> Iterator[tuple[Edit, Moved]]:
    for name, divider in chip.dividers.items():
        yield from _divider_edits(chip, name, divider)
    for name, ticks in chip.ticks.items():
        if chip.dividers[ticks.divider].steps > 1:
            path: Path = ("ticks", name, "at")
            limits = {"at_least": 0, "at_most": chip.dividers[ticks.divider].steps - 1}
            for moved in moves_of(tuple[int, ...], ticks.at, limits):
                at = tuple(sorted(set(moved.value)))
                if at and at != ticks.at:
                    yield Edit(path, key_of(path), ticks.at, at), moved
    for name, channel in chip.channels.items():
        yield from _record_edits(chip, Channel, channel, ("channels", name))
    yield from _record_edits(chip, Mixer, chip.mixer, ("mixer",))
    for name, gain in chip.mixer.gains.items():
        path = ("mixer", "gains", name)
        for moved in moves_of(int, gain, {"at_least": 0, "at_most": 2**16}):
            yield Edit(path, key_of(path), gain, moved.value), moved
    yield from _record_edits(chip, Bus, chip.bus, ("bus",), only=HEARD_BUS_OPTIONS)
    if chip.power is not None:
        yield from _record_edits(chip, Power, chip.power, ("power",))
    for name, field in chip.fields.items():
        if not field.segments and name in _constant_names(chip):
            path = ("fields", name, "reset")
            for moved in moves_of(int, field.reset, {"at_least": 0, "at_most": (1 << field.bits) - 1}):
                yield Edit(path, f'constants."{name}"', field.reset, moved.value), moved


def _constant_names(chip: Chip) -> set[str]:
    """Return the fields that no register drives; a trim without a choice of trims is none."""
    return {name for name, field in chip.fields.items() if field.bits > 0}


def _divider_edits(chip: Chip, name: str, divider: Divider) -> Iterator[tuple[Edit, Moved]]:
    """Yield the edits of a divider; the description writes it as a tick source or as a sequencer."""
    sequenced = all(ticks.divider != name or tick != name for tick, ticks in chip.ticks.items())
    table, words = ("sequencers", Sequencer) if sequenced else ("ticks", TickSource)
    bounds = {item.name: item.metadata for item, _ in options_of(words)}
    again = {True: "step" if sequenced else "tick", False: "silent"}
    restarted = any(
        event == f"{name}.restart"
        for register in chip.registers.values()
        for event in (*register.on_write, *(f.target for f in register.fields if f.role == "strobes"))
    )
    for key in ("every", "first", "steps", "after_restart"):
        value = getattr(divider, key)
        if (key == "steps" and not sequenced) or (key == "after_restart" and not restarted):
            continue
        for moved in moves_of(int, value, bounds[key]):
            yield Edit(("dividers", name, key), f"{table}.{name}.{key}", value, moved.value), moved
    if restarted:
        old = divider.restart_steps
        path: Path = ("dividers", name, "restart_steps")
        edit = Edit(path, f"{table}.{name}.at_restart", old, not old, (again[old], again[not old]))
        yield edit, Moved(Move.CHOICE, 1, again[not old])


def _record_edits(
    chip: Chip, kind: type, record: Any, path: Path, *, only: frozenset[str] | None = None
) -> Iterator[tuple[Edit, Moved]]:
    """Yield the edits of a record and of the records within it."""
    inner = [(item.name, type(getattr(record, item.name))) for item in dataclasses.fields(record)]
    for item, annotation in options_of(kind):
        here: Path = (*path, item.name)
        value = getattr(record, item.name)
        if item.name in SILENT_OPTIONS or (only is not None and item.name not in only):
            continue
        if dataclasses.is_dataclass(value):
            if item.default is None:
                yield Edit(here, key_of(here), value, None), Moved(Move.LEFT_OUT, 1, None)
        elif value is not None:
            for moved in _option_moves(chip, annotation, item, value):
                yield Edit(here, key_of(here), value, moved.value), moved
    for name, within in inner:
        if dataclasses.is_dataclass(within):
            yield from _record_edits(chip, within, getattr(record, name), (*path, name))


def _option_moves(chip: Chip, annotation: Any, item: dataclasses.Field[Any], value: Any) -> Iterator[Moved]:
    """Yield the moves of one option; a text that names a tick moves to the other ticks."""
    if annotation is str and not choices_of(annotation):
        if value in chip.ticks:
            others = [name for name in chip.ticks if name != value]
            yield from (Moved(Move.CHOICE, 2 + distance, name) for distance, name in enumerate(others))
        return
    meta: Mapping[str, Any] = item.metadata
    if value == () and get_origin(annotation) is tuple and item.metadata["at_most"] > 64:
        return  # a table that is left out; nothing says what would stand in it
    yield from moves_of(annotation, value, meta)


def _completed(chip: Chip, edit: Edit) -> tuple[Edit, ...] | None:
    """Return an illegal choice with the one number beside it that makes it legal, None where there is no such number.

    A step counted down from a top, say, needs a top above the largest period: the smallest power of two that is legal.
    """
    if not isinstance(edit.new, str):
        return None
    blamed = unfitted(chip, edit)
    if len(blamed) != 1:
        return None
    (where,) = blamed
    path: Path = (*edit.path[:-1], where[-1])
    record = value_at(chip, path[:-1])
    bounds = {item.name: item.metadata for item, kind in options_of(type(record)) if kind is int}
    key = str(where[-1])
    if key not in bounds or where[:-1] != tuple(key_of(path).split("."))[:-1]:
        return None
    for value in (1 << bit for bit in range(26)):
        if value <= bounds[key]["at_most"]:
            edits = (edit, Edit(path, key_of(path), getattr(record, key), value))
            if edited(chip, edits) is not None:
                return edits
    return None
