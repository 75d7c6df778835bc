"""Guessing a signal map from the names of a dump.

Stage: dump. In: a header, a chip, the sections that are missing. Out: these sections, and a `Guess` for each signal
with the reason. Nothing is guessed where two signals fit equally well: what the comparison cannot do without is then a
`MapError` that lists them; a channel or output is left out, and said to be.

Where a dump holds signals of several scopes, the scope in which the most parts are found is asked first; of two equal
ones the outer. Variables that share an identifier code are one signal, however often the hierarchy repeats it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from psgmodel.chip.records import Chip
from psgmodel.dump import names
from psgmodel.dump.header import NO_LEVEL_KINDS, Header
from psgmodel.dump.signal_map import BusEntry, ClockEntry, CodeEntry, Guess, LevelEntry, PinEntry, ResetEntry
from psgmodel.errors import MapError, Place, Problem

_MOST_LISTED = 10


@dataclass(frozen=True, slots=True)
class Candidate:
    """A signal that may be guessed; `codes` tell whether two paths are one signal."""

    path: str
    scope: tuple[str, ...]
    name: str
    width: int
    codes: tuple[bytes, ...]


Ranking = Callable[[Candidate], int | None]


def candidates_of(header: Header) -> list[Candidate]:
    """Return the signals of a dump that hold bits; vectors written in pieces are one candidate."""
    found = []
    for path, group in header.by_path.items():
        pieces = [v for v in group if v.kind.lower() not in NO_LEVEL_KINDS and v.kind != "parameter"]
        if pieces:
            parts = {v.code: v for v in pieces}
            width = sum(v.width for v in parts.values())
            found.append(Candidate(path, pieces[0].scope, pieces[0].name, width, tuple(parts)))
    return found


class GuesserState:
    """Guesses section by section and keeps what was guessed and what could not be."""

    def __init__(self, header: Header, chip: Chip) -> None:
        self.header, self.chip = header, chip
        self.guesses: list[Guess] = []
        self.problems: list[Problem] = []

    @cached_property
    def signals(self) -> list[Candidate]:
        """What may be guessed; a map that is whole never asks for it."""
        return candidates_of(self.header)

    def clock(self) -> ClockEntry:
        """Guess the clock and its enable; two clocks, or none, are a problem."""
        found = self._nearest(_control(names.CLOCK, 1), equal_ranks=True)
        if len(found) != 1:
            self._refuse("clock", names.CLOCK, found, '[clock] signal = "..."', "or period and phase without a clock")
            return ClockEntry(signal="?")
        self._note("clock", found[0], "named like a clock; its rising edges count")
        enable = self._nearest(_control(names.ENABLE, 1))
        if len(enable) == 1:
            self._note("clock enable", enable[0], "named like one; only edges that sample it as 1 count")
        return ClockEntry(signal=found[0].path, enable=enable[0].path if len(enable) == 1 else "")

    def reset(self) -> ResetEntry:
        """Guess the reset and its polarity; a dump may have none."""
        found = self._nearest(_control(names.RESET, 1))
        if len(found) > 1:
            self._refuse("reset", names.RESET, found, '[reset] signal = "..."')
        if len(found) != 1:
            self.guesses.append(Guess("reset", "", "no such name; cycle 0 is the first edge"))
            return ResetEntry()
        low = names.control_name(found[0].name).low
        self._note("reset", found[0], f"named like a reset; active {_polarity(low)}")
        return ResetEntry(signal=found[0].path, active="low" if low else "high")

    def bus(self, *, needed: bool) -> BusEntry:
        """Guess the write side of the bus; a problem where it is `needed` and not whole."""
        width = self.chip.bus
        parts = {
            "write strobe": (names.WRITE, 1, 1, "write"),
            "address": (names.ADDRESS, width.address_bits, 64, "address"),
            "write data": (names.DATA, width.data_bits, width.data_bits, "data"),
        }
        taken: dict[str, Candidate] = {}
        before = len(self.guesses), len(self.problems)
        for part, (known, low, high, key) in parts.items():
            found = self._nearest(_control(known, low, high), prefer_width=low)
            if len(found) == 1:
                taken[key] = found[0]
                marked = f"; active {_polarity(names.control_name(found[0].name).low)}" if key == "write" else ""
                self._note(part, found[0], f"named like one, {_bits(found[0].width)}{marked}")
            else:
                bits = f" of {low} bits" if low > 1 else ""
                self._refuse(part + bits, known, found, f'[bus] {key} = "..."', "or give a register log")
        if len(taken) == len(parts):
            low_active = names.control_name(taken["write"].name).low
            write, address, data = (taken[key].path for key in ("write", "address", "data"))
            return BusEntry(write=write, active="low" if low_active else "high", address=address, data=data)
        if not needed:
            del self.guesses[before[0] :], self.problems[before[1] :]
            missing = ", ".join(part for part, (*_, key) in parts.items() if key not in taken)
            self.guesses.append(Guess("bus", "", f"not found: {missing}; the register log is used"))
        return BusEntry(write="")

    def channels(self) -> dict[str, LevelEntry]:
        """Guess the channels' levels."""
        entries = {}
        for name, channel in self.chip.channels.items():
            others = [o for o in self.chip.channels if o != name]
            bits, signed = names.level_width(channel)

            def rank(c: Candidate, name: str = name, others: Sequence[str] = others, bits: int = bits) -> int | None:
                return names.level_rank(c.scope, c.name, name, others) if bits <= c.width <= 32 else None

            found = self._one(f"channel {name}", rank, bits)
            if found is not None:
                entries[name] = LevelEntry(signal=found.path, signed=signed)
        return entries

    def outputs(self) -> tuple[dict[str, CodeEntry], dict[str, PinEntry]]:
        """Guess the outputs; one bit where a code has more is a pin."""
        codes, pins = {}, {}
        bits = self.chip.mixer.bits
        for name in self.chip.unit.outputs:
            others = [o for o in self.chip.unit.outputs if o != name]

            def rank(c: Candidate, name: str = name, others: Sequence[str] = others) -> int | None:
                return names.output_rank(c.name, name, others) if c.width == 1 or bits <= c.width <= 32 else None

            found = self._one(f"output {name}", rank, bits)
            if found is not None and found.width == 1 < bits:
                pins[name] = PinEntry(signal=found.path)
                self.guesses[-1] = Guess(f"pin {name}", found.path, "named like the output, and one bit wide")
            elif found is not None:
                codes[name] = CodeEntry(signal=found.path)
        return codes, pins

    def _one(self, part: str, rank: Ranking, bits: int) -> Candidate | None:
        found = self._nearest(rank, prefer_width=bits)
        if len(found) == 1:
            self._note(part, found[0], f"named like it, {_bits(found[0].width)}")
            return found[0]
        reason = f"{len(found)} signals fit: {_listed(found)}" if found else "no such name of fitting width"
        self.guesses.append(Guess(part, "", f"{reason}; not compared"))
        return None

    def _nearest(self, rank: Ranking, *, prefer_width: int | None = None, equal_ranks: bool = False) -> list[Candidate]:
        """Return the best of the signals that fit: of the home scope if it has one, else of the outermost scope."""
        ranked = [(r, c) for c in self.signals if (r := rank(c)) is not None]
        at_home = [(r, c) for r, c in ranked if c.scope == self.home]
        if not at_home and ranked:
            depth = min(len(c.scope) for _, c in ranked)
            at_home = [(r, c) for r, c in ranked if len(c.scope) == depth]
        if prefer_width is not None and any(c.width == prefer_width for _, c in at_home):
            at_home = [(r, c) for r, c in at_home if c.width == prefer_width]
        if not equal_ranks and at_home:
            best = min(r for r, _ in at_home)
            at_home = [(r, c) for r, c in at_home if r == best]
        return list({c.codes: c for _, c in reversed(at_home)}.values())[::-1]

    @cached_property
    def home(self) -> tuple[str, ...]:
        """Return the scope in which the most parts are found; of equal ones the outermost, then the first."""
        chip = self.chip
        controls = (names.CLOCK, names.RESET, names.WRITE, names.ADDRESS, names.DATA)
        parts: dict[tuple[str, ...], set[str]] = {}
        for c in self.signals:
            found = parts.setdefault(c.scope, set())
            found |= {known[0] for known in controls if names.control_rank(c.name, known) is not None}
            for name, others in _with_others(chip.channels):
                if names.level_rank((), c.name, name, others) is not None:
                    found.add(f"channel {name}")
            for name, others in _with_others(chip.unit.outputs):
                if names.output_rank(c.name, name, others) is not None:
                    found.add(f"output {name}")
        return max(parts, key=lambda scope: (len(parts[scope]), -len(scope)), default=())

    def _note(self, part: str, found: Candidate, reason: str) -> None:
        self.guesses.append(Guess(part, found.path, reason))

    def _refuse(self, part: str, known: Iterable[str], found: list[Candidate], say: str, other: str = "") -> None:
        sought = ", ".join(list(known)[:6])
        hint = f"say it in a map: {say}" + (f" ({other})" if other else "")
        if found:
            message = f"{len(found)} signals may be the {part}: {_listed(found)}"
        else:
            message = f"no signal of the dump is named like a {part} (sought: {sought} and the like)"
        self.problems.append(Problem(message, Place(self.header.file), hint))

    def finish(self) -> None:
        """Raise `MapError` with everything that could not be guessed."""
        if self.problems:
            raise MapError(self.problems)


def _control(known: tuple[str, ...], low: int, high: int | None = None) -> Ranking:
    top = low if high is None else high
    return lambda c: names.control_rank(c.name, known) if low <= c.width <= top else None


def _with_others(all_names: Iterable[str]) -> list[tuple[str, list[str]]]:
    every = list(all_names)
    return [(name, [o for o in every if o != name]) for name in every]


def _bits(width: int) -> str:
    return f"{width} bit{'s' if width > 1 else ''}"


def _polarity(low: bool) -> str:
    return "low, as the trailing mark says" if low else "high"


def _listed(found: list[Candidate]) -> str:
    more = f" and {len(found) - _MOST_LISTED} more" if len(found) > _MOST_LISTED else ""
    return ", ".join(c.path for c in found[:_MOST_LISTED]) + more
