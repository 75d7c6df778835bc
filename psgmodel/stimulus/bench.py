"""Bench names: what the signals of a test bench are called.

Stage: stimulus. In: a chip and names that the user gives. Out: a `Bench`, from which drivers, test benches and dump
snippets take every name and width.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from psgmodel.chip.channel import Channel
from psgmodel.chip.records import Chip
from psgmodel.errors import Problem, StimulusError, nearest
from psgmodel.stimulus.reserved import reserved_words

Active = Literal["high", "low"]

_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]*")


@dataclass(frozen=True, slots=True)
class Watched:
    """One signal that the unit gives: a channel's level or an output code.

    Attributes
    ----------
    name : str
        Channel or output.
    signal : str
        Port of the unit, and signal of the bench.
    bits : int
    """

    name: str
    signal: str
    bits: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """Names and widths of a test bench; made by `make_bench`.

    Attributes
    ----------
    unit : str
        Module or entity of the sound unit.
    clock, reset, write, address, data : str
        Ports of the unit that the driver drives; the write strobe is active high.
    reset_active : "high" or "low"
    address_bits, data_bits : int
    ties : dict from port to 0 or 1
        Other inputs of one bit, held at a level.
    watched : tuple of Watched
    """

    unit: str
    clock: str
    reset: str
    reset_active: Active
    write: str
    address: str
    data: str
    address_bits: int
    data_bits: int
    ties: Mapping[str, int]
    watched: tuple[Watched, ...]

    @property
    def driven(self) -> tuple[str, ...]:
        """Signals of the bus, the reset first, without the clock."""
        return (self.reset, self.write, self.address, self.data)

    @property
    def reset_level(self) -> int:
        """Level of the reset that resets."""
        return 1 if self.reset_active == "high" else 0


def make_bench(
    chip: Chip,
    *,
    unit: str = "",
    clock: str = "clk",
    reset: str = "rst",
    reset_active: Active = "high",
    write: str = "wr",
    address: str = "addr",
    data: str = "wdata",
    ties: Mapping[str, int] | None = None,
    signals: Mapping[str, str] | None = None,
) -> Bench:
    """Settle the names of a test bench.

    Parameters
    ----------
    chip : Chip
    unit : str, optional
        Module or entity of the sound unit. Default: the name in the description, in lower case.
    clock, reset, write, address, data : str, optional
    reset_active : "high" or "low", optional
    ties : dict from port to 0 or 1, optional
        Inputs of one bit that the bench holds at a level, such as a read strobe.
    signals : dict from channel or output to text, optional
        ``SIGNAL`` or ``SIGNAL:BITS``; empty where the unit has no such port. Default: ``level_NAME`` for a channel,
        ``out_NAME`` for an output, with the bits that the description's levels need.

    Raises
    ------
    StimulusError
        A name that Verilog, VHDL and Python do not share, one that is used twice, or no such channel or output.
    """
    chosen = dict(signals or {})
    problems: list[Problem] = []
    widths = {name: level_bits(channel) for name, channel in chip.channels.items()}
    defaults = {name: f"level_{name}" for name in chip.channels} | {name: f"out_{name}" for name in chip.unit.outputs}
    widths |= dict.fromkeys(chip.unit.outputs, chip.mixer.bits)
    for name in chosen:
        if name not in defaults:
            hint = nearest(name, defaults) or f"known: {', '.join(defaults)}"
            problems.append(Problem(f'no channel or output "{name}"', hint=hint))
    watched = []
    for name, default in defaults.items():
        text = chosen.get(name, default)
        signal, colon, bits = text.partition(":")
        if colon and not (bits.isdecimal() and 1 <= int(bits) <= 64):
            problems.append(Problem(f'signal "{text}" of {name}: the bits after the colon are 1 to 64'))
        elif text:
            watched.append(Watched(name, signal, int(bits) if colon else widths[name]))
    bench = Bench(
        unit=unit or re.sub(r"\W+", "_", chip.unit.name.lower()),
        clock=clock,
        reset=reset,
        reset_active=reset_active,
        write=write,
        address=address,
        data=data,
        address_bits=chip.bus.address_bits,
        data_bits=chip.bus.data_bits,
        ties=dict(ties or {}),
        watched=tuple(watched),
    )
    problems += _name_problems(bench)
    if problems:
        raise StimulusError(problems)
    return bench


def _name_problems(bench: Bench) -> list[Problem]:
    names = [bench.clock, *bench.driven, *bench.ties, *(w.signal for w in bench.watched)]
    hint = "a letter, then letters, digits and single _"
    problems = [
        Problem(f'"{name}" is no name in Verilog, VHDL and Python alike', hint=hint)
        for name in [bench.unit, *names]
        if not _NAME.fullmatch(name) or "__" in name or name.endswith("_")
    ]
    folded = [name.lower() for name in names]
    problems += [
        Problem(f'two signals are called "{name}"') for name in sorted({n for n in folded if folded.count(n) > 1})
    ]
    problems += [
        Problem(f"{name} is tied to {level}, accepted: 0, 1")
        for name, level in bench.ties.items()
        if level not in (0, 1)
    ]
    problems += [
        Problem(f'"{n}" is a word of a language') for n in sorted({bench.unit.lower(), *folded} & reserved_words())
    ]
    taken = {"finished", "ended", "bench", "dut", "driver", "dump", "stimulus", "cycles", "half", "depth"} & set(folded)
    problems += [Problem(f'"{name}" is a name of the bench itself') for name in sorted(taken)]
    return problems


def level_bits(channel: Channel) -> int:
    """Return how many bits the levels of a channel need; where they can be negative, in two's complement.

    Tests hold it equal to what `psgmodel.dump` expects of a signal.
    """
    low, high = 0, max(channel.volume_table, default=(1 << channel.volume_bits) - 1)
    if channel.levels == "bipolar":
        low = -high
    if channel.table is not None:
        samples = (0, (1 << channel.table.bits) - 1)
        if channel.levels == "bipolar":
            samples = (-(1 << channel.table.bits - 1), samples[1] >> 1)
        by_shift = channel.table.volume == "shift"
        low, high = (v if by_shift else v * high >> channel.table.volume_shift for v in samples)
    low, high = min(low, channel.idle_level), max(high, channel.idle_level)
    if low < 0:
        return max(high.bit_length(), (-low - 1).bit_length()) + 1
    return max(1, high.bit_length())
