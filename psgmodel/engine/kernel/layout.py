"""Layout: the numbers by which Python and C name the same thing, written down once.

Stage: engine, the compiled kernel. In: nothing. Out: names whose place is their number; `header` writes them as C, and
`psgmodel.engine.kernel.encode` puts values at these places. Imports nothing of the project: it also runs while the
project is being built.
"""

from __future__ import annotations

from collections.abc import Iterable

CLEAR = -(1 << 50)
"""Address code: the power bit clears everything; the value is 1 where wave memories are cleared too."""
PASS = CLEAR - 1
"""Address code: nothing happens, but a stretch must end here."""
QUIET = 1 << 50
"""Added to an address: the write stores its value and causes no strobes."""
TIMER, FADE, GLIDE, STEP = 1, 2, 4, 8
"""Blocks of a channel, as bits: note timer, envelope, sweep, and all that steps through the waveform."""

OPTIONS: dict[str, tuple[str, ...]] = {
    "kind": ("square", "wave", "noise"),
    "volume_bits": (),
    "start_delay": (),
    "position_on_start": ("keep", "reset"),
    "levels": ("unipolar", "bipolar"),
    "gate": (),
    "at_reset": ("inactive", "active"),
    "idle_level": (),
    "step.rule": ("up-from", "down-from"),
    "step.bits": (),
    "step.scale": (),
    "step.offset": (),
    "step.top": (),
    "step.new_value": ("next-step", "at-once"),
    "step.on_start": ("reload", "keep"),
    "step.write_and_step": ("old", "new"),
    "register.bits": (),
    "register.output": (),
    "register.feedback": ("xor", "xnor"),
    "register.shift": ("left", "right"),
    "register.polarity": ("high", "low"),
    "register.seed_value": (),
    "register.on_start": ("keep", "reseed"),
    "register.short.output": (),
    "table.samples": (),
    "table.bits": (),
    "table.per_address": (),
    "table.order": ("low-first", "high-first"),
    "table.start_position": (),
    "table.while_playing": ("taken", "ignored", "redirected"),
    "table.after_last": ("go-on", "stop"),
    "table.fetch": ("each-step", "direct"),
    "table.first_sample": ("stale", "fresh"),
    "table.volume": ("multiply", "shift"),
    "table.volume_shift": (),
    "timer.bits": (),
    "timer.loads": ("field", "top-minus-field"),
    "timer.on_start": ("always", "when-zero"),
    "timer.at_zero": ("stop", "go-on"),
    "timer.start_and_tick": ("start", "tick", "both"),
    "timer.expiry_and_start": ("expiry", "start"),
    "timer.write_and_tick": ("old", "new"),
    "timer.on_enable": ("nothing", "tick"),
    "envelope.period_bits": (),
    "envelope.period_zero": ("stop", "longest"),
    "envelope.step": (),
    "envelope.at_end": ("hold", "wrap"),
    "envelope.at_zero": ("sound", "stop"),
    "envelope.volume_write": ("next-start", "at-once"),
    "envelope.volume_and_tick": ("write", "tick", "both"),
    "envelope.start_and_tick": ("start", "tick", "both"),
    "envelope.write_and_tick": ("old", "new"),
    "sweep.period_bits": (),
    "sweep.period_zero": ("stop", "longest"),
    "sweep.works_on": ("period", "shadow"),
    "sweep.moves_by": ("fraction", "constant"),
    "sweep.overflow": ("stop", "hold", "wrap"),
    "sweep.check": ("at-step", "at-start-too", "after-step-too"),
    "sweep.subtract": ("twos-complement", "ones-complement"),
    "sweep.rising_after_falling": ("go-on", "stop"),
    "sweep.start_and_tick": ("start", "tick", "both"),
    "sweep.write_and_step": ("write", "step", "merge"),
    "sweep.write_and_tick": ("old", "new"),
}
"""Options of a channel: path from its record, and the words that it may be; a number where there are none."""

FACTS = (
    "begin",
    "end",
    "positions",
    "has_short",
    "taps",
    "short_taps",
    "short_insert",
    "stopped",
    "memory_address",
    "memory_size",
    "watched",
    "shown",
)
"""What stands behind the options: the run's cycles, how many positions the waveform has (0: noise), lists as bit masks
(bit k: entry k, tap k + 1), where samples are written, whether rows are written, and which fields they show."""

FIELDS = (
    "volume",
    "gate",
    "period",
    "divisor",
    "shift",
    "pattern",
    "short",
    "timer.length",
    "timer.enable",
    "envelope.period",
    "envelope.rising",
    "envelope.bypass",
    "sweep.period",
    "sweep.falling",
    "sweep.shift",
)
"""Fields of a channel, without its name."""

STATE = (
    "active",
    "count",
    "position",
    "sample",
    "shift_register",
    "timer",
    "envelope_level",
    "envelope_count",
    "sweep_count",
    "sweep_shadow",
    "sweep_fell",
    "starts",
    "stops",
)
"""Registers of a channel, as `ChannelState` has them."""

TRAINS = ("timer", "envelope", "sweep", "step")
"""Who counts ticks."""
TRAIN = ("every", "turn", "places", "first_place", "epochs", "first_epoch")
"""Columns of a tick train; one with no places is not there."""
EPOCH = ("begin", "lowest", "origin")
ACTION = ("address", "parts", "first_part", "starts", "stops", "always", "touches")
"""Columns of what a write does: masks of the bits that strobe; `always` is 1 for start, 2 for stop."""
PART = ("field", "low", "mask", "field_low")

INPUTS = (
    "options",
    "patterns",
    "volume_table",
    "divisors",
    "fields",
    "reset_fields",
    "state",
    "memory",
    "edge",
    "address",
    "value",
    "passes",
    "marks",
    "actions",
    "parts",
    "trains",
    "places",
    "epochs",
)
"""Arrays of int64 that follow a channel; `fields`, `state` and `memory` are written to. `passes` are edges at which a
stretch must end though nothing happens; `marks` are edges that have a row in any case."""

ROW_FLAGS = (
    "start",
    "stop",
    "met",
    "asked_start",
    "asked_stop",
    "active",
    "after",
    "cleared",
    "quiet",
    "timer_tick",
    "fade_tick",
    "glide_tick",
    "clock_tick",
    "ran_out",
    "faded",
    "fell",
    "over",
    "advanced",
)
"""What is or is not so at an edge that is looked at; in a row they are the bits of its first column."""

ROW = (
    "edge",
    "line_before",
    "wrote",
    "timer",
    "timer_after",
    "level",
    "level_after",
    "fade_count",
    "fade_count_after",
    "glide_count",
    "glide_count_after",
    "shadow",
    "shadow_after",
    "swept",
    "count",
    "length",
    "position",
    "position_after",
    "sample",
    "sample_after",
    "fresh",
    "samples_written",
    "sample_address",
)
"""Numbers of a row: what stood before an edge that is looked at, what acted there, and what stands after it.

Bits of `wrote` stand for registers of the channel, in the order of their addresses. `line_before` has bit i set where a
strobe on its way acts i edges later. `swept` is the period that a sweep step made, or -1. `count` and `length` are
those of the step by the fields before the edge, `length` -1 where it is stopped; `fresh` is the sample that stood at
the start position of the memory.
"""

PASSED = ("steps", "timer_ticks", "fade_ticks", "glide_ticks")
"""What passed after an edge that was looked at, up to, not including, the next one."""

ROW_COLUMNS = ("flags", *ROW, *PASSED)
"""Columns of the rows; behind them are the fields as they were, and as the writes of the edge left them."""

MIXER: dict[str, tuple[str, ...]] = {
    "channels": (),
    "outputs": (),
    "start": (),
    "end": (),
    "latency": (),
    "trim_shift": (),
    "offset": (),
    "bits": (),
    "overflow": ("saturate", "wrap"),
    "table": (),
    "seen": (),
}
"""Options of the mixer; `table` is 1 where there is one, `seen` where sums are looked at instead of mixed."""
MIXER_INPUTS = ("options", "signals", "gains", "routes", "trims", "codes", "pipelines", "outputs", "seen")
"""Arrays of int64 that mix; `pipelines` is written to. `signals` has a `SIGNAL` for each channel and then, for each
output, one for each channel's route and one for the trim; `outputs` has a `SIGNAL` for each output, which has room for
all that can change; its sizes become what was written. `seen` has the `SEEN` of each output,
where that is asked for."""
SIGNAL = ("cycle", "level", "size")
"""Columns of a signal: addresses of its arrays, and how many entries they have."""

SEEN = ("over", "under", "fraction", "alone", "together")
"""What is seen of the sums of an output: whether a code passes the top or falls below 0 before it is fitted to its
width, whether the shift rounds a product down, which channels are alone at some time (as bits), and the most channels
at one time that are not 0."""


def c_name(name: str) -> str:
    """Return a name as C spells it."""
    return "".join(c if c.isalnum() else "_" for c in name).upper()


def _enum(prefix: str, names: Iterable[str], count: str = "") -> str:
    items = [f"{prefix}_{c_name(name)}" for name in names] + ([count] if count else [])
    return "enum { " + ", ".join(items) + " };"


def _words(options: dict[str, tuple[str, ...]]) -> list[str]:
    return [_enum(c_name(name), words) for name, words in options.items() if words]


def header() -> str:
    """Return the layout as a C header."""
    lines = ["/* Written by psgmodel/engine/kernel/layout.py. */", "#ifndef LAYOUT_H", "#define LAYOUT_H"]
    lines += [f"#define {name} INT64_C({code})" for name, code in (("CLEAR", CLEAR), ("QUIET", QUIET))]
    lines += [f"enum {{ TIMER = {TIMER}, FADE = {FADE}, GLIDE = {GLIDE}, STEP = {STEP} }};"]
    lines += [_enum("O", [*OPTIONS, *FACTS]), *_words(OPTIONS)]
    lines += [_enum("F", FIELDS, "FIELDS"), _enum("S", STATE), _enum("TRAIN", TRAINS, "TRAINS")]
    lines += [_enum("T", TRAIN, "TRAIN_COLUMNS"), _enum("E", EPOCH, "EPOCH_COLUMNS")]
    lines += [_enum("A", ACTION, "ACTION_COLUMNS"), _enum("P", PART, "PART_COLUMNS"), _enum("IN", INPUTS)]
    lines += [_enum("M", MIXER), *_words({f"mixer.{name}": words for name, words in MIXER.items()})]
    lines += [_enum("MIX", MIXER_INPUTS), _enum("SIGNAL", SIGNAL, "SIGNAL_COLUMNS")]
    lines += [_enum("SEEN", SEEN, "SEEN_COLUMNS"), _enum("FLAG", ROW_FLAGS), _enum("R", ROW_COLUMNS, "ROW_COLUMNS")]
    return "\n".join([*lines, "#endif"]) + "\n"
