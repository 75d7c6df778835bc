"""Generators: whole chips, and with `generated_logs` logs that fit them, for Hypothesis.

A chip is drawn option by option from the metadata of its records (`psgmodel.chip.options.options_of`), so an option
added there is drawn here too; `TAMED` holds the options whose values must fit something else, or stay small so that a
few thousand cycles hold many events. The drawn tables are written out as TOML text and read by the real reader.

Everything is drawn from a `random.Random`. Hypothesis gives one: with a seed of its own (even spread, the rule), or one
whose every number Hypothesis chooses (``shrinkable=True``: slower, narrower, but a failure shrinks).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING
from random import Random
from typing import Any

from hypothesis import strategies as st

from psgmodel.chip import Chip, parse_chip
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
from psgmodel.chip.options import choices_of, options_of
from psgmodel.chip.records import Bus, Mixer, Power, Sequencer, TickSource, Unit
from psgmodel.reglog import RegisterLog
from tests.laws.generated_logs import draw_log
from tests.laws.generated_wiring import draw_wiring

Table = dict[str, Any]
Rule = Callable[[Random], Any]

OMIT = object()
"""An option that is left out, so that its default counts."""


def ints(low: int, high: int) -> Rule:
    return lambda rng: rng.randint(low, high)


def words(*choices: Any) -> Rule:
    return lambda rng: rng.choice(choices)


def lists(low: int, high: int, counts: Sequence[int]) -> Rule:
    return lambda rng: [rng.randint(low, high) for _ in range(rng.choice(counts))]


def places(rng: Random, bits: int, least: int, most: int) -> list[int]:
    return rng.sample(range(1, bits + 1), rng.randint(least, min(most, bits)))


TAMED: dict[tuple[type, str], Rule] = {
    (Unit, "name"): words("Generated"),
    (Unit, "clock_hz"): words(1_000_000, "100_000_000 / 3"),
    (Unit, "outputs"): words(["left", "right"], ["main"]),
    (Bus, "address_bits"): words(8, 12, 32),
    (Bus, "write_latency"): words(0, 0, 1, 3),
    (Bus, "index_bits"): words(8),
    (Bus, "index_step"): words(0, 1, 3),
    (TickSource, "every"): lambda rng: rng.randint(1, rng.choice((12, 60))),
    (TickSource, "first"): lambda rng: rng.randint(0, rng.choice((8, 70))),
    (TickSource, "after_restart"): ints(1, 40),
    (Sequencer, "every"): lambda rng: rng.randint(1, rng.choice((6, 30))),
    (Sequencer, "first"): lambda rng: rng.randint(0, rng.choice((8, 70))),
    (Sequencer, "after_restart"): ints(1, 40),
    (StepClock, "bits"): ints(1, 6),
    (StepClock, "scale"): ints(1, 3),
    (StepClock, "offset"): ints(1, 4),
    (NoiseClock, "divisors"): lists(1, 12, (1, 2, 4)),
    (NoiseClock, "shift_bits"): ints(0, 3),
    (NoiseClock, "stopped"): lambda rng: rng.sample(range(8), rng.randint(0, 2)),
    (Timer, "bits"): ints(1, 4),
    (Envelope, "period_bits"): ints(1, 3),
    (Envelope, "step"): ints(1, 5),
    (Sweep, "period_bits"): ints(1, 2),
    (Sweep, "shift_bits"): ints(1, 3),
    (WaveTable, "volume_shift"): ints(0, 5),
    (Channel, "volume_bits"): words(1, 2, 3, 4, 5, 8),
    (Channel, "start_delay"): ints(0, 4),
    (Channel, "idle_level"): ints(-9, 9),
    (Mixer, "offset"): ints(-40, 40),
    (Mixer, "routes"): lists(0, 5, (2, 2, 4)),
    (Channel, "gate"): words(True, False, False),
    (Channel, "at_reset"): words("active", "inactive", "inactive"),
    (Mixer, "trims"): lists(0, 9, (1, 2, 4)),
    (Mixer, "trim_shift"): ints(0, 4),
    (Mixer, "latency"): words(0, 0, 1, 2, 5),
}


def draw_record(rng: Random, record: type, given: Mapping[str, Any] | None = None) -> Table:
    """Draw a table for a record; `given` are options decided by the caller (OMIT: left out)."""
    given = given or {}
    table: Table = {}
    for item, kind in options_of(record):
        optional = item.default is not MISSING
        if item.name in given:
            value = given[item.name]
        elif optional and rng.random() < 0.25:
            value = OMIT
        elif (record, item.name) in TAMED:
            value = TAMED[record, item.name](rng)
        elif choices := choices_of(kind):
            value = rng.choice(choices)
        elif kind is bool:
            value = rng.random() < 0.5
        elif kind is int:
            low = item.metadata.get("at_least") or 0
            value = rng.randint(low, min(low + 8, item.metadata["at_most"]))
        else:
            value = OMIT
        if value is not OMIT:
            table[item.name] = value
        elif not optional:
            raise AssertionError(f"the generator does not know how to draw {record.__name__}.{item.name}")
    return table


def draw_step(rng: Random) -> Table:
    step = draw_record(rng, StepClock, {"bits": rng.randint(1, 6)})
    step["top"] = (1 << step["bits"]) + rng.randint(0, 3)
    return step


def draw_table(rng: Random, data_bits: int) -> Table:
    per_address = rng.choice((1, 1, 2, 3))
    samples = per_address * rng.randint(1 + (per_address == 1), rng.choice((3, 12 // per_address)))
    given = {"per_address": per_address, "samples": samples, "bits": rng.randint(1, min(data_bits // per_address, 16))}
    return draw_record(rng, WaveTable, given | {"start_position": rng.randrange(samples)})


def draw_mixer(rng: Random) -> Table:
    bits = rng.randint(1, 12)
    table = [rng.randrange(1 << bits) for _ in range(1 << bits)] if bits < 7 and rng.random() < 0.5 else OMIT
    return draw_record(rng, Mixer, {"bits": bits, "table": table})


def draw_shift_register(rng: Random) -> Table:
    bits = rng.choice((3, 4, 5, 6, 7, 9, 13, 17, 22, 23, 32))
    given: Table = {"bits": bits, "taps": places(rng, bits, 1, 4), "output": rng.randint(1, bits), "short": OMIT}
    given["feedback"] = rng.choice(("xor", "xnor"))
    lowest, highest = (1, (1 << bits) - 1) if given["feedback"] == "xor" else (0, (1 << bits) - 2)
    given["seed"] = rng.choice((lowest, highest, rng.randint(lowest, highest)))
    if rng.random() < 0.7:
        short = {"taps": places(rng, bits, 1, 4), "output": rng.randint(1, bits), "insert": places(rng, bits, 0, 2)}
        given["short"] = draw_record(rng, ShortMode, short)
    return draw_record(rng, ShiftRegister, given)


def draw_channel(rng: Random, kind: str, ticks: list[str], prescalers: list[str], data_bits: int) -> Table:
    given: Table = {"kind": kind, "patterns": OMIT, "register": OMIT, "table": OMIT}
    given |= {"timer": OMIT, "envelope": OMIT, "sweep": OMIT}
    if kind == "square":
        size = rng.randint(1, rng.choice((4, 16)))
        given["patterns"] = ["".join(rng.choice("01") for _ in range(size)) for _ in range(rng.choice((1, 2, 4)))]
    elif kind == "wave":
        given["table"] = draw_table(rng, data_bits)
    else:
        given["register"] = draw_shift_register(rng)
        given["position_on_start"] = OMIT
    for key, record, chance in (("timer", Timer, 0.8), ("envelope", Envelope, 0.8), ("sweep", Sweep, 0.9)):
        if rng.random() < chance and (key != "sweep" or kind != "noise"):
            given[key] = draw_record(rng, record, {"ticks": rng.choice(ticks)})
    bits = rng.choice((1, 2, 3, 4, 5, 8, 8 if kind == "wave" else 12))
    given["volume_bits"], given["volume_table"] = bits, OMIT
    if given["table"] is not OMIT and given["table"]["bits"] + bits > 17:  # sums stay below the limit of 2^30
        given["table"]["volume_shift"] = given["table"]["bits"] + bits - 17
    if rng.random() < 0.3 and given["table"] is OMIT and bits <= 8:
        given["volume_table"] = [rng.randint(0, 40) for _ in range(1 << bits)]
    channel = draw_record(rng, Channel, given)
    channel["step"] = draw_record(rng, NoiseClock) if kind == "noise" else draw_step(rng)
    if prescalers and rng.random() < 0.3:
        channel["step"]["clocked_by"] = rng.choice(prescalers)
    return channel


def draw_ticks(rng: Random, chip: Table) -> list[str]:
    """Draw dividers, sequencers and ticks; return the ticks that have a divider of their own."""
    for name in ["march", "reel"][: rng.choice((0, 0, 1, 2))]:
        chip["sequencers"][name] = draw_record(rng, Sequencer)
    own = []
    for name in ["tock", "beat", "pulse"][: rng.randint(1, 3)]:
        if chip["sequencers"] and rng.random() < 0.6:
            sequencer = rng.choice(list(chip["sequencers"]))
            steps = range(chip["sequencers"][sequencer]["steps"])
            chip["ticks"][name] = {"sequencer": sequencer, "at": rng.sample(steps, rng.randint(1, len(steps)))}
        else:
            chip["ticks"][name] = draw_record(rng, TickSource, {"sequencer": OMIT, "at": OMIT})
            chip["ticks"][name].setdefault("every", rng.randint(1, 30))
            own.append(name)
    return own


class Raw(str):
    """TOML that is written out as it is, not as a text in quotes."""


def toml_value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{toml_key(k)} = {toml_value(v)}" for k, v in value.items()) + " }" if value else "{}"
    if isinstance(value, list):
        return "[" + ", ".join(toml_value(v) for v in value) + "]"
    return str(value) if isinstance(value, Raw) else json.dumps(value)


def toml_key(key: str) -> str:
    return key if key.replace("_", "").replace("-", "").isalnum() else json.dumps(key)


def toml_text(chip: Table) -> str:
    """Write a description as TOML text: a header for each table of tables, values in line."""
    lines = [f"format = {chip['format']}"]
    for key in ("unit", "bus", "sequencers", "ticks", "power", "mixer", "constants"):
        if key in chip:
            lines += ["", f"[{key}]"] + [f"{toml_key(k)} = {toml_value(v)}" for k, v in chip[key].items()]
    for name, table in chip["channel"].items():
        lines += ["", f"[channel.{name}]"] + [f"{k} = {toml_value(v)}" for k, v in table.items()]
    for key in ("register", "memory", "mirror"):
        for table in chip[key]:
            lines += ["", f"[[{key}]]"] + [f"{k} = {toml_value(v)}" for k, v in table.items()]
    return "\n".join(lines) + "\n"


def draw_description(rng: Random) -> Table:
    """Draw the tables of a legal chip with one to four channels of all kinds."""
    kinds = [rng.choice(("square", "wave", "noise")) for _ in range(rng.randint(1, 4))]
    chip: Table = {
        "format": 1,
        "unit": draw_record(rng, Unit),
        "bus": draw_record(rng, Bus),
        "sequencers": {},
        "ticks": {},
        "channel": {},
        "mixer": draw_mixer(rng),
        "constants": {},
        "memory": [],
        "mirror": [],
    }
    prescalers = draw_ticks(rng, chip)
    if rng.random() < 0.3:
        chip["power"] = draw_record(rng, Power)
    for number, kind in enumerate(kinds):
        data_bits = chip["bus"].get("data_bits", 8)
        chip["channel"][f"{kind[0]}{number}"] = draw_channel(rng, kind, list(chip["ticks"]), prescalers, data_bits)
    if "power" in chip:
        for channel in chip["channel"].values():
            channel.pop("at_reset", None)
    chip["mixer"]["gains"] = {name: rng.randint(0, 5) for name in chip["channel"] if rng.random() < 0.7}
    draw_wiring(rng, chip)
    return chip


def draw_chip(rng: Random) -> Chip:
    """Draw a chip; its `source` is its TOML text, so that a failure shows it."""
    text = toml_text(draw_description(rng))
    return parse_chip(text, text)


@st.composite
def chips_and_logs(
    draw: Any, *, cycles: int = 2500, writes: int = 60, shrinkable: bool = False
) -> tuple[Chip, RegisterLog]:
    """A chip and a log that fits it."""
    rng = draw(st.randoms(use_true_random=not shrinkable))
    chip = draw_chip(rng)
    return chip, draw_log(rng, chip, cycles, writes)
