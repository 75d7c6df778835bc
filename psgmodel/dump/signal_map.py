"""Signal map: which signals of a dump are clock, reset, bus, channels, outputs and pins.

Stage: dump. In: a small TOML file (or nothing), the header of a dump, a chip. Out: a `SignalMap` in which every
signal has its full path. What the file does not say is guessed from names (module `guess`), and every guess is listed.

A section that stands in the file is taken as complete; a section that is left out is guessed::

    [clock]
    signal = "bench.clk"      # counted; or, for a dump without it: period, phase, delay in dump time units
    enable = "clk_en"

    [reset]                   # signal = "" for a dump without a reset
    signal = "rst_n"
    active = "low"

    [bus]                     # write = "" for a dump without the bus
    write = "wr"
    address = "addr"
    data = "wdata"
    read = "rd"               # reads are compared where they are named
    read_data = "rdata"

    [channels]
    a = "level_a"

    [outputs]
    left = { signal = "out_left", strobe = "sample_valid" }

    [pins]
    left = "pwm_left"

    [recordings]
    left = { file = "bench.wav", channel = 1 }
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from psgmodel.chip.options import ReadingState, option, read_record, show
from psgmodel.chip.records import Chip
from psgmodel.dump.bus import BusProbe
from psgmodel.dump.names import level_width
from psgmodel.dump.rules import ClockRule, Edge, GridRule, ResetRule
from psgmodel.errors import MapError, nearest
from psgmodel.steps import MAX_CYCLE
from psgmodel.tomlfile import TomlFile, load_toml, parse_toml

Polarity = Literal["high", "low"]
SECTIONS = ("clock", "reset", "bus", "channels", "outputs", "pins", "recordings")


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockEntry:
    """Section ``[clock]``: a signal whose edges are counted, or a declared period."""

    signal: str = option("The clock in the dump.", default="")
    edge: Edge = option("The edge at which the unit's registers change.", default="rising")
    enable: str = option("A clock enable: an edge counts only where it samples this signal as 1.", default="")
    period: int = option(
        "For a dump without the clock: its period in whole dump time units.", default=0, at_least=1, at_most=MAX_CYCLE
    )
    phase: int = option("Time of the first edge, in dump time units.", default=0, at_least=0, at_most=MAX_CYCLE)
    delay: int = option(
        "How long after its edge a register changes, in dump time units.", default=0, at_least=0, at_most=MAX_CYCLE
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ResetEntry:
    """Section ``[reset]``: cycle 0 is the first edge that samples it inactive."""

    signal: str = option("The reset; an empty text for a dump without one.", default="")
    active: Polarity = option("The level that resets.", default="high")
    seen_first: bool = option("Edges before the reset was active once do not count either.", default=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class BusEntry:
    """Section ``[bus]``: an edge that samples the write strobe active is a write."""

    write: str = option("The write strobe; an empty text for a dump without the bus.")
    active: Polarity = option("The level of the strobe that writes.", default="high")
    address: str = option("The address.", default="")
    data: str = option("The data to write.", default="")
    read: str = option("The read strobe; left out: reads are not compared.", default="")
    read_active: Polarity = option("The level of the strobe that reads.", default="high")
    read_data: str = option("The data read.", default="")
    read_latency: int = option(
        "Edges after that of the read strobe at which the data read are sampled.",
        default=-1,
        at_least=0,
        at_most=64,
        shown="as the chip's bus has it",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelEntry:
    """A channel (items of ``[channels]``): its level at every cycle. The name of the signal alone will do."""

    signal: str = option("The level of the channel.")
    signed: bool = option(
        "Read the bits as two's complement.", default=False, shown="true where the chip's level can be negative"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeEntry:
    """An output (items of ``[outputs]``): its code at every cycle, or in the cycles that a strobe marks."""

    signal: str = option("The output code.")
    signed: bool = option("Read the bits as two's complement.", default=False)
    strobe: str = option("Marks the cycles in which the code is valid; left out: all.", default="")
    strobe_active: Polarity = option("The level of the strobe that marks.", default="high")


@dataclass(frozen=True, slots=True, kw_only=True)
class PinEntry:
    """A one-bit output pin (items of ``[pins]``), pulse-width or sigma-delta; compared as audio."""

    signal: str = option("The pin.")
    active: Polarity = option("The level that stands for more.", default="high")


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingEntry:
    """An audio file that the bench wrote (items of ``[recordings]``); compared as audio."""

    file: str = option("Path of the WAV file, from the folder of the map.")
    channel: int = option("Channel of the file, from 1.", default=1, at_least=1, at_most=64)
    sampling: Literal["filtered", "points"] = option(
        "How the bench made a sample: through a low-pass, or as the code that stood at that time.", default="filtered"
    )


@dataclass(frozen=True, slots=True)
class Guess:
    """One guessed part of a map: what it is, which signal was taken, and why."""

    part: str
    signal: str
    reason: str

    def __str__(self) -> str:
        return f"{self.part}: {self.signal} ({self.reason})" if self.signal else f"{self.part}: none ({self.reason})"


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalMap:
    """What each signal of a dump is; None stands for a section that the file leaves to be guessed.

    Attributes
    ----------
    source : str
        The map file; empty where there is none.
    file : TomlFile or None
        For places in messages.
    clock, reset, bus : ClockEntry, ResetEntry, BusEntry or None
    channels, outputs, pins, recordings : mapping by name of channel or output, or None
    guesses : tuple of Guess
        What was guessed, in the order of the sections.
    absent : tuple of str
        Channels and outputs of the chip that have no signal and are not compared.
    """

    source: str = ""
    file: TomlFile | None = None
    clock: ClockEntry | None = None
    reset: ResetEntry | None = None
    bus: BusEntry | None = None
    channels: Mapping[str, LevelEntry] | None = None
    outputs: Mapping[str, CodeEntry] | None = None
    pins: Mapping[str, PinEntry] | None = None
    recordings: Mapping[str, RecordingEntry] | None = None
    guesses: tuple[Guess, ...] = ()
    absent: tuple[str, ...] = ()

    def rule(self) -> ClockRule | GridRule:
        """Return the sampling rule that the sections ``[clock]`` and ``[reset]`` make up.

        Raises
        ------
        MapError
            There is no clock.
        """
        reset = None
        if self.reset is not None and self.reset.signal:
            reset = ResetRule(self.reset.signal, 1 if self.reset.active == "high" else 0, self.reset.seen_first)
        if self.clock is None:
            raise MapError("the map names no clock", hint='[clock] signal = "..."')
        if self.clock.period:
            return GridRule(self.clock.period, self.clock.phase, self.clock.delay, reset)
        return ClockRule(self.clock.signal, self.clock.edge, self.clock.enable or None, reset)

    def probe(self) -> BusProbe | None:
        """Return the write side of the bus, or None where the dump has none."""
        if self.bus is None or not self.bus.write:
            return None
        return BusProbe(self.bus.write, self.bus.address, self.bus.data, 1 if self.bus.active == "high" else 0)

    def read_probe(self) -> BusProbe | None:
        """Return the read side of the bus, or None where it is not named."""
        if self.probe() is None or self.bus is None or not self.bus.read:
            return None
        active: Literal[0, 1] = 1 if self.bus.read_active == "high" else 0
        return BusProbe(self.bus.read, self.bus.address, self.bus.read_data, active, self.bus.read_latency)


def load_map(path: str | Path, chip: Chip) -> SignalMap:
    """Read a signal map from a TOML file; names are not yet looked up in a dump.

    Raises
    ------
    MapError
        The file cannot be read or says something unknown; all problems are told together.
    """
    return _read(load_toml(path, MapError), chip)


def parse_map(text: str, chip: Chip, name: str = "map") -> SignalMap:
    """Read a signal map from TOML text; `name` is what problems call it. Raises as `load_map`."""
    return _read(parse_toml(text, name, MapError), chip)


def _read(file: TomlFile, chip: Chip) -> SignalMap:
    state = ReadingState(file, [])
    for key in file.data:
        if key not in (*SECTIONS, "format"):
            hint = nearest(key, SECTIONS) or f"known here: {', '.join(SECTIONS)}"
            state.report((key,), "unknown section", hint)
    if file.data.get("format", 1) != 1:
        state.report(("format",), f"found {show(file.data['format'])}, accepted: 1")
    outputs = chip.unit.outputs
    groups = {
        "channels": _group(LevelEntry, "channels", tuple(chip.channels), state),
        "outputs": _group(CodeEntry, "outputs", outputs, state),
        "pins": _group(PinEntry, "pins", outputs, state),
        "recordings": _group(RecordingEntry, "recordings", outputs, state),
    }
    for name, entry in (groups["channels"] or {}).items():
        given = file.data["channels"][name]
        if name in chip.channels and not (isinstance(given, dict) and "signed" in given):
            groups["channels"][name] = replace(entry, signed=level_width(chip.channels[name]).signed)
    clock = _section(ClockEntry, "clock", state)
    bus = _section(BusEntry, "bus", state)
    if clock is not None:
        _check_clock(clock, state)
    if bus is not None and bus.write:
        for key in ("address", "data"):
            if not getattr(bus, key):
                state.report(("bus", key), "missing: a bus with a write strobe has address and data")
        if bool(bus.read) != bool(bus.read_data):
            state.report(("bus", "read"), "read and read_data go together")
    result = SignalMap(
        source=file.name, file=file, clock=clock, reset=_section(ResetEntry, "reset", state), bus=bus, **groups
    )
    if state.problems:
        raise MapError(state.problems)
    return _with_folder(result, file)


def _section(kind: type[Any], name: str, state: ReadingState) -> Any:
    if name not in state.file.data:
        return None
    return read_record(kind, state.file.data[name], (name,), state)


def _group(kind: type[Any], section: str, names: tuple[str, ...], state: ReadingState) -> Any:
    """Read a section of entries by name; a text alone stands for the signal (or file) of an entry."""
    table = state.file.data.get(section)
    if table is None:
        return None
    if not isinstance(table, dict):
        state.report((section,), f"found {show(table)}, a table is expected")
        return None
    main = "file" if kind is RecordingEntry else "signal"
    entries = {}
    for name, value in table.items():
        if name not in names:
            hint = nearest(name, names) or f"the chip has: {', '.join(names)}"
            what = "channel" if section == "channels" else "output"
            state.report((section, name), f'the chip has no {what} "{name}"', hint)
        entries[name] = read_record(kind, {main: value} if isinstance(value, str) else value, (section, name), state)
    return entries


def _check_clock(clock: ClockEntry, state: ReadingState) -> None:
    if bool(clock.signal) == bool(clock.period):
        hint = 'signal = "clk" where the dump holds the clock, period = 162 (and phase) where it does not'
        state.report(("clock",), "either signal or period is expected", hint)
    elif clock.period:
        for key in ("edge", "enable"):
            if key in state.file.data["clock"]:
                state.report(("clock", key), "does not go with period: nothing is counted")
        if clock.delay >= clock.period:
            state.report(("clock", "delay"), f"found {clock.delay}, accepted: 0 to {clock.period - 1}")
    else:
        for key in ("phase", "delay"):
            if key in state.file.data["clock"]:
                state.report(("clock", key), "goes with period only: edges of a signal are counted")


def _with_folder(found: SignalMap, file: TomlFile) -> SignalMap:
    """Return the map with recordings looked for beside it."""
    if not found.recordings:
        return found
    folder = Path(file.name).parent
    entries = {n: replace(e, file=str(folder / e.file)) for n, e in found.recordings.items()}
    return replace(found, recordings=entries)
