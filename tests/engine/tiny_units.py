"""Tiny units: a few lines of TOML that a test is about; the boring rest is filled in here.

What is left out becomes: 16 data bits, 16-bit codes, one output "out", a tick "t" at edges 10, 20, 30 ..., a square "x"
of one step that is 1, volumes of 3 bits, periods of 4. Every field that the text does not wire gets a register of its
own, at the address below (channel y: 0x40 more); START and STOP are bits 0 and 1 of GO, but for channels that the key
"only_gated" names. Fields of the mixer that have a default keep it.
"""

from __future__ import annotations

import tomllib
from functools import cache
from typing import Any

import numpy as np

from psgmodel.chip import Chip, parse_chip
from psgmodel.comparison.reads import compare_reads
from psgmodel.dump import BusTraffic
from psgmodel.engine import Trace
from psgmodel.reglog import make_log
from tests.engine.engines import agreed
from tests.engine.linnet_plays import Table, Write, table_of
from tests.laws.generated_wiring import specs_of
from tests.laws.generators import toml_text

GO, VOLUME, PERIOD, LENGTH, ENABLE, FADE, RISING, GLIDE, FALLING, SHIFT = range(10)
DIVISOR, CLOCK_SHIFT, SHORT, PATTERN, POWER = range(10, 15)
GATE, BYPASS = 16, 17
MEMORY, Y = 0x20, 0x40
START, STOP, BOTH = 1, 2, 3

ADDRESSES = {
    "volume": VOLUME,
    "period": PERIOD,
    "timer.length": LENGTH,
    "timer.enable": ENABLE,
    "envelope.period": FADE,
    "envelope.rising": RISING,
    "sweep.period": GLIDE,
    "sweep.falling": FALLING,
    "sweep.shift": SHIFT,
    "divisor": DIVISOR,
    "shift": CLOCK_SHIFT,
    "short": SHORT,
    "pattern": PATTERN,
    "power": POWER,
    "gate": GATE,
    "envelope.bypass": BYPASS,
}
_RESET_TO_ONE = ("timer.enable", "power")


@cache
def tiny(text: str) -> Chip:
    """Read a description of which the boring parts are left out."""
    return filled(tomllib.loads(text))


def filled(chip: dict[str, Any]) -> Chip:
    """Read a description given as tables, which are filled in."""
    chip.setdefault("format", 1)
    chip["unit"] = {"name": "Tiny", "clock_hz": 1_000_000, "outputs": ["out"]} | chip.get("unit", {})
    chip["bus"] = {"data_bits": 16} | chip.get("bus", {})
    chip["mixer"] = {"bits": 16} | chip.get("mixer", {})
    chip["ticks"] = {"t": {"every": 10, "first": 10}} | chip.get("ticks", {})
    for key in ("register", "memory", "mirror"):
        chip.setdefault(key, [])
    for channel in chip.setdefault("channel", {"x": {}}).values():
        _fill_channel(channel)
    _fill_registers(chip)
    return parse_chip(toml_text(chip))


def _fill_channel(channel: dict[str, Any]) -> None:
    kind = channel.setdefault("kind", "square")
    channel.setdefault("volume_bits", 3)
    if kind == "square":
        channel.setdefault("patterns", ["1"])
    step = channel.setdefault("step", {})
    step.setdefault("divisors", [1]) if kind == "noise" else step.setdefault("bits", 4)
    widths = {"timer": {"bits": 3}, "envelope": {"period_bits": 2}, "sweep": {"period_bits": 2, "shift_bits": 2}}
    for block, needed in widths.items():
        if block in channel:
            channel[block] = {"ticks": "t"} | needed | channel[block]


def _fill_registers(chip: dict[str, Any]) -> None:
    groups = [group for register in chip["register"] for group in register.get("fields", [])]
    wired = {group.get("drives", "").partition("[")[0] for group in groups} | set(chip.get("constants", {}))
    struck = {group.get("strobes", "") for group in groups} | {f"{name}.start" for name in chip.pop("only_gated", ())}
    struck |= {event for register in chip["register"] for event in register.get("on_write", [])}
    for name, spec in specs_of(chip).items():
        channel, _, field = name.partition(".")
        if channel == "mixer" or name in wired:
            continue
        address = ADDRESSES[field or name] + (Y if channel == "y" else 0)
        group = {"bits": f"{spec.bits - 1}:0", "drives": name}
        reset = 1 if (field or name) in _RESET_TO_ONE else 0
        chip["register"].append({"name": f"R{address}", "address": address, "reset": reset, "fields": [group]})
    for name, channel in chip["channel"].items():
        offset = Y if name == "y" else 0
        if f"{name}.start" not in struck:
            groups = [{"bits": str(bit), "strobes": f"{name}.{event}"} for bit, event in enumerate(("start", "stop"))]
            chip["register"].append({"name": f"GO_{name}", "address": GO + offset, "fields": groups})
        if channel["kind"] == "wave" and not any(memory["channel"] == name for memory in chip["memory"]):
            chip["memory"].append({"name": f"M_{name}", "channel": name, "address": MEMORY + offset})


def play(chip: Chip, writes: list[Write], end: int) -> Trace:
    """Run writes (cycle, address, value) through all engines, which must agree; those of a cycle keep their order."""
    rows = sorted(writes, key=lambda row: row[0])
    log = make_log(*([row[i] for row in rows] for i in range(3)), end=end)
    return agreed(chip, log)


def sounds(chip: Chip, writes: list[Write], end: int, name: str = "x") -> Table:
    """What a channel or an output does, as (cycle, level) pairs."""
    return table_of(play(chip, writes, end)[name])


def reads(chip: Chip, writes: list[Write], wanted: list[tuple[int, int, int]], end: int = 40) -> None:
    """Check reads (cycle, address on the bus, value) against what the comparison of reads expects."""
    columns = [np.array([row[i] for row in wanted], dtype=np.int64) for i in range(3)]
    log = make_log(*([row[i] for row in writes] for i in range(3)), end=end)
    result = compare_reads(
        chip,
        log,
        BusTraffic(*columns, edges=end, unknown_strobes=0, unknown_transfers=0, unfinished=0, problems=()),
        end,
    )
    assert result.compared == len(wanted)
    assert [str(read) for read in result.first_wrong] == []
