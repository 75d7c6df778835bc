"""Description: the reference of the chip description language, made from the options themselves.

Stage: report. In: the record classes of `psgmodel.chip`, whose options carry type, bounds, default and a sentence.
Out: text, Markdown and plain values. What no option says (tables that are read by hand) stands in `_NOTES`.
"""

from __future__ import annotations

import dataclasses
import re
import typing
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, dataclass
from fractions import Fraction
from typing import Any

from psgmodel.chip.channel import (
    Channel,
    Envelope,
    NoiseClock,
    ShiftRegister,
    ShortMode,
    StepClock,
    Sweep,
    Timer,
    WaveTable,
)
from psgmodel.chip.options import MAX_INT, choices_of, options_of, show
from psgmodel.chip.reader import FORMAT
from psgmodel.chip.records import Bus, Mirror, Mixer, Power, Sequencer, TickSource, Unit
from psgmodel.chip.wiring import FieldEntry, MemoryEntry, RegisterEntry
from psgmodel.report.layout import markdown_table, paragraph

TABLES: tuple[tuple[str, type], ...] = (
    ("[unit]", Unit),
    ("[bus]", Bus),
    ("[power]", Power),
    ("[sequencers.NAME]", Sequencer),
    ("[ticks.NAME]", TickSource),
    ("[channel.NAME]", Channel),
    ("[channel.NAME.step], square and wave", StepClock),
    ("[channel.NAME.step], noise", NoiseClock),
    ("[channel.NAME.register]", ShiftRegister),
    ("[channel.NAME.register.short]", ShortMode),
    ("[channel.NAME.table]", WaveTable),
    ("[channel.NAME.timer]", Timer),
    ("[channel.NAME.envelope]", Envelope),
    ("[channel.NAME.sweep]", Sweep),
    ("[mixer]", Mixer),
    ("[[register]]", RegisterEntry),
    ("[[register]] fields", FieldEntry),
    ("[[memory]]", MemoryEntry),
    ("[[mirror]]", Mirror),
)
"""How each table is written, and the record that it is read into."""

_NOTES: Mapping[str, str] = {
    "[channel.NAME]": "The table step, below, is required too.",
    "[power]": "With this table there is a field power: while it is 0 the unit stands as after reset, and every write "
    "is lost but one to the register that holds it or to an index port; dividers and output registers go on.",
    "[mixer]": "The table gains gives the gain of a channel by name, such as gains = { a = 4 }, a whole number from 0 "
    "to 2^16; 1 where not given.",
    "[[register]]": "The list fields says what the bits do; bits that it leaves out do not exist and read 0.",
}
_OPENING = (
    f"A chip description is a TOML file that begins with format = {FORMAT}. Its tables and their keys follow; a key "
    "that is not listed here is an error. All times are clock cycles, all levels whole numbers. A list that has an "
    "entry for each value of a field (patterns, divisors, trims, routes) has 1, 2, 4, ... 256 of them."
)
_FIELDS = (
    "Fields are what register bits drive. A field that no register drives and that has no default needs a value in "
    'the table [constants], such as "a.timer.enable" = 1. A channel has: volume; gate (where it says so); period '
    "(square, wave) or divisor and shift (noise); pattern (square with several); short (noise with a short mode); "
    "timer.length, timer.enable; envelope.period, envelope.rising, envelope.bypass (where it says so); sweep.period, "
    "sweep.falling, sweep.shift. The mixer has, for each output: mixer.OUTPUT.CHANNEL (1 lets the channel through, "
    "where routes says nothing else) and mixer.OUTPUT.trim (with several trims). Registers strobe CHANNEL.start, "
    "CHANNEL.stop and DIVIDER.restart, and show CHANNEL.active; a divider is a tick with its own every or a sequencer. "
    "Defaults: timer.enable and mixer.OUTPUT.CHANNEL 1; pattern, divisor, shift, short, envelope.rising, sweep.falling "
    "and mixer.OUTPUT.trim 0."
)


@dataclass(frozen=True, slots=True)
class OptionText:
    """One option in words: its key, what it accepts, its default ("" where it must be given), its sentence."""

    key: str
    accepts: str
    default: str
    sentence: str


@dataclass(frozen=True, slots=True)
class TableText:
    """One table of the language: how it is written, what it is, its options."""

    header: str
    sentence: str
    options: tuple[OptionText, ...]


def description_tables() -> tuple[TableText, ...]:
    """Return every table of the description language, in the order in which a description is read."""
    return tuple(TableText(header, _sentence(header, record), tuple(_options(record))) for header, record in TABLES)


def description_text(order: str = "") -> str:
    """Return the reference as plain text; `order` is the documentation of the engine, which numbers what happens."""
    text = "The chip description language\n\n" + paragraph(_OPENING)
    for table in description_tables():
        text += f"\n{table.header}\n" + paragraph(table.sentence, indent="  ")
        for option in table.options:
            given = f"default {option.default}" if option.default else "required"
            text += f"\n    {option.key} = {option.accepts}".ljust(64) + f"  {given}\n"
            text += paragraph(option.sentence, indent="        ")
    text += "\nFields and [constants]\n" + paragraph(_FIELDS, indent="  ")
    opening, *lines = _order_of_action(order)
    if lines:
        text += "\nThe order of action\n" + paragraph(opening, indent="  ")
        for number, line in enumerate(lines, 1):
            text += "\n" + paragraph(line, indent="     ", first=f"  {number}. ")
    return text


def description_markdown(order: str = "") -> str:
    """Return the reference as Markdown; `order` as for `description_text`."""
    text = "# The chip description language\n\n" + _OPENING + "\n"
    for table in description_tables():
        text += f"\n## `{table.header}`\n\n{table.sentence}\n\n"
        rows = [[f"`{o.key}`", o.accepts, o.default or "required", o.sentence] for o in table.options]
        text += markdown_table(("key", "accepts", "default", "meaning"), rows)
    text += f"\n## Fields and `[constants]`\n\n{_FIELDS}\n"
    opening, *lines = _order_of_action(order)
    if lines:
        text += f"\n## The order of action\n\n{opening}\n\n"
        text += "".join(f"{number}. {line}\n" for number, line in enumerate(lines, 1))
    return text


def description_json(order: str = "") -> dict[str, Any]:
    """Return the reference as plain values; `order` as for `description_text`."""
    tables = [dataclasses.asdict(table) for table in description_tables()]
    _, *lines = _order_of_action(order)
    return {"format": FORMAT, "opening": _OPENING, "tables": tables, "fields": _FIELDS, "order": lines}


def _order_of_action(doc: str) -> list[str]:
    """Return the opening of the numbered list in a docstring, and its lines, each as one line of text."""
    plain = doc.replace("``", "").replace("`", "")
    found = re.search(r"(The order of action.*?)\n\n(?= 1\. )(.*?)\n\n", plain, re.DOTALL)
    if found is None:
        return [""]
    lines = re.split(r"^ \d+\. ", found[2], flags=re.MULTILINE)[1:]
    return [" ".join(text.split()) for text in (found[1], *lines)]


def _sentence(header: str, record: type) -> str:
    first = (record.__doc__ or "").strip().split("\n\n")[0]
    plain = re.sub(r"\s*\((?:table|key|items of)[^)]*\)", "", first).replace("``", "")
    return " ".join(f"{plain} {_NOTES.get(header, '')}".split())


def _options(record: type) -> Iterator[OptionText]:
    for item, kind in options_of(record):
        default = "" if item.default is MISSING else item.metadata["shown"] or _default(item.default)
        yield OptionText(item.name, _accepts(kind, item.metadata), default, item.metadata["doc"])


def _default(value: Any) -> str:
    if value is None:
        return "none"
    if isinstance(value, tuple):
        return "[" + ", ".join(show(v) for v in value) + "]"
    return show(value) if value != "" else '""'


def _accepts(kind: Any, bounds: Mapping[str, Any]) -> str:
    if words := choices_of(kind):
        return " | ".join(show(word) for word in words)
    if typing.get_origin(kind) is tuple:
        item = typing.get_args(kind)[0]
        return f"list of {_accepts(item, bounds).replace('text', 'texts').replace('integer', 'integers')}"
    if dataclasses.is_dataclass(kind):
        return "table"
    if kind is int:
        low, high = bounds["at_least"], bounds["at_most"]
        if low is None:
            return "integer"
        return f"integer, {_power(low)} to {_power(high)}" if high < MAX_INT else f"integer, {low} or more"
    return {str: "text", bool: "true | false", Fraction: 'integer, or "A / B"'}.get(kind, str(kind))


def _power(number: int) -> str:
    """Return a bound as people write it: 2^24, 2^32 - 1, -2^20, 64."""
    if number < 0:
        return f"-{_power(-number)}"
    for extra, ending in ((0, ""), (1, " - 1")):
        whole = number + extra
        if whole >= 4096 and whole & (whole - 1) == 0:
            return f"2^{whole.bit_length() - 1}{ending}"
    return str(number)
