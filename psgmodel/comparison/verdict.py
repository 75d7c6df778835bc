"""The verdict: agree, differ, or nothing was compared; with everything it rests on.

Stage: compare. In: the results of `exact`, `spectral` and `writes`. Out: a `Comparison` that can explain itself.

Nothing was compared (which is never a pass) where no clock edge was counted, where no write falls into what the dump
covers, where the levels of all signals are unknown throughout, or where all are silent: neither side ever changes.
A dump that is cut is no comparison at all: reading it raises a `DumpError`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from typing import Any, Literal

from psgmodel.comparison.exact import ExactResult, late
from psgmodel.comparison.plain import plain
from psgmodel.comparison.reads import ReadsResult
from psgmodel.comparison.spectral import SpectralResult
from psgmodel.comparison.writes import BusResult
from psgmodel.dump.observe import Kind

Judge = Literal["exact", "spectrum"]


class Status(Enum):
    """Outcome of a comparison."""

    AGREE = "agree"
    DIFFER = "differ"
    NOTHING = "nothing compared"

    @property
    def exit_status(self) -> int:
        """Exit status of a command that reports it: 0, 1 or 3 (2 is unusable input)."""
        return {Status.AGREE: 0, Status.DIFFER: 1, Status.NOTHING: 3}[self]


@dataclass(frozen=True, slots=True)
class Coverage:
    """How much of the register log the dump covers.

    Attributes
    ----------
    cycles, of_cycles : int, clock cycles
        Cycles of the log whose edge the dump holds, and all.
    writes, of_writes : int or None
        Writes among them, and all; None where the log is not known.
    compared_end : int, clock cycles
        First cycle whose level was not compared; the level of the last cycle of a dump is sampled by no edge.
    """

    cycles: int
    of_cycles: int
    writes: int | None
    of_writes: int | None
    compared_end: int

    @property
    def complete(self) -> bool:
        """Whether the dump covers the log from its first to its last cycle."""
        return self.cycles >= self.of_cycles and self.writes == self.of_writes

    def __str__(self) -> str:
        share = 100 * self.cycles / self.of_cycles if self.of_cycles else 0.0
        text = f"{self.cycles} of {self.of_cycles} cycles ({share:.4g} %)"
        return text if self.writes is None else f"{text} and {self.writes} of {self.of_writes} writes of the log"


@dataclass(frozen=True, slots=True)
class SignalResult:
    """One signal of the dump with all that was found about it.

    Attributes
    ----------
    name : str
        Channel or output of the chip.
    side : str
        "channel level", "output code", "one-bit pin" or "recording".
    path : str
        Signal of the dump, or file of the recording.
    judged_by : "exact" or "spectrum"
        Which result decides. Pins and recordings are always judged by the spectrum.
    exact : ExactResult or None
        None for pins and recordings.
    spectral : SpectralResult or None
        None where no spectrum could be made, and for a signal that agrees to the cycle where that decides.
    """

    name: str
    side: str
    path: str
    judged_by: Judge
    exact: ExactResult | None
    spectral: SpectralResult | None

    @property
    def nothing(self) -> bool:
        """Whether there was nothing to compare: no cycle, all unknown, or a silent side where audio decides."""
        if self.judged_by == "spectrum":
            return self.spectral is None or bool(self.spectral.nothing)
        return self.exact is None or self.exact.end <= self.exact.start or self.exact.unknown_throughout

    @property
    def agrees(self) -> bool:
        """Whether the result that decides agrees."""
        result = self.exact if self.judged_by == "exact" else self.spectral
        return result is not None and (result.agrees or self.silent)

    @property
    def silent(self) -> bool:
        """Whether neither side ever changes."""
        if self.judged_by == "spectrum":
            return self.spectral is not None and self.spectral.model_silent and self.spectral.dump_silent
        return self.exact is not None and self.exact.constant and self.exact.agrees

    def reasons(self) -> tuple[str, ...]:
        """Return why the result that decides does not agree, a sentence each."""
        result = self.exact if self.judged_by == "exact" else self.spectral
        if result is None:
            return (f"{self.name}: nothing could be compared",)
        return result.reasons()


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """What a comparison found.

    Attributes
    ----------
    status : Status
    chip, file : str
        Name of the unit, and of the dump.
    judge : "exact" or "spectrum"
    clock_hz : Fraction, hertz
    rule : str
        The sampling rule, one sentence.
    latency : int, clock cycles
        Of the dump, positive where it is late.
    latency_text : str
        Whether it was declared or estimated, and how well.
    agrees_at : int or None, clock cycles
        The constant latency with which everything compared to the cycle would agree, where it is another one.
    signals : tuple of SignalResult
        In the order of the chip: channels, outputs, pins, recordings.
    not_compared : tuple of str
        Channels and outputs of the chip without a signal.
    bus : BusResult or None
        The log that was given against the bus; None where only one of them is there.
    coverage : Coverage
    whole : bool
        Less than the whole log is a failure.
    edges, skipped_edges : int
        Counted clock edges, and those before reset was released.
    nothing : tuple of str
        Why nothing was compared.
    notes, guesses : tuple of str
    reads : ReadsResult or None
        Reads on the bus; None where the map names none.
    """

    status: Status
    chip: str
    file: str
    judge: Judge
    clock_hz: Fraction
    rule: str
    latency: int
    latency_text: str
    agrees_at: int | None
    signals: tuple[SignalResult, ...]
    not_compared: tuple[str, ...]
    bus: BusResult | None
    coverage: Coverage
    whole: bool
    edges: int
    skipped_edges: int
    nothing: tuple[str, ...]
    notes: tuple[str, ...]
    guesses: tuple[str, ...]
    reads: ReadsResult | None = None

    @property
    def exit_status(self) -> int:
        """0 agree, 1 differ, 3 nothing was compared."""
        return self.status.exit_status

    @property
    def first(self) -> SignalResult | None:
        """The signal that differs first; a channel before an output, None where no signal differs to the cycle."""
        order = {Kind.CHANNEL: 0, Kind.OUTPUT: 1, Kind.PIN: 2}
        differing = [s for s in self.signals if s.exact is not None and s.exact.divergence is not None]
        return min(
            differing,
            key=lambda s: (s.exact.divergence.cycle, order[s.exact.kind]) if s.exact and s.exact.divergence else (0, 0),
            default=None,
        )

    def __getitem__(self, name: str) -> SignalResult:
        """Return the result of a channel or an output; of several kinds of signal the first."""
        for signal in self.signals:
            if signal.name == name:
                return signal
        raise KeyError(name)

    def reasons(self) -> tuple[str, ...]:
        """Return why the two sides do not agree, a sentence each, the most telling first; empty where they do."""
        if self.status is Status.AGREE:
            return ()
        told = list(self.nothing)
        if self.agrees_at is not None and self.judge == "exact":
            told.append(f"everything agrees if the dump is taken to be {late(self.agrees_at)}")
        if self.bus is not None:
            told += self.bus.reasons()
        if self.reads is not None:
            told += self.reads.reasons()
        if self.whole and not self.coverage.complete:
            told.append(f"the dump covers only {self.coverage}")
        failing = [s for s in self.signals if not s.agrees]
        failing.sort(key=lambda s: s.exact.divergence.cycle if s.exact and s.exact.divergence else -1)
        if self.status is Status.DIFFER and self.first is not None:
            first = self.first
            failing = [s for s in failing if s is first] + [s for s in failing if s is not first]
        for signal in failing:
            told += signal.reasons()
        return tuple(told)

    def to_json(self) -> dict[str, Any]:
        """Return everything as plain data: dicts, lists, texts and numbers."""
        data: Mapping[str, Any] = plain(self)
        first = self.first
        return {
            **data,
            "exit_status": self.exit_status,
            "reasons": list(self.reasons()),
            "first_to_differ": first.name if first is not None else None,
        }
