"""Exact comparison of one signal: to the cycle, with the reasons only where it differs.

Stage: compare. In: a signal of the model, the same of the dump, the latency. Out: an `ExactResult`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from psgmodel.chip.records import Chip
from psgmodel.comparison.alignment import OffsetChange, find_offset_change
from psgmodel.comparison.streams import Differences, count_differences, first_difference, held, levels_at, overlap
from psgmodel.comparison.writes import SeenWrite, last_writes
from psgmodel.dump.observe import Kind, Observation, Observed
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps


@dataclass(frozen=True, slots=True)
class Divergence:
    """Where two signals first differ.

    Attributes
    ----------
    cycle : int, clock cycles
        Cycle of the model.
    seconds : float, seconds
        Time of that cycle.
    dump_time : int or None, dump time units
        Time of the edge after which the dump's level stands.
    model_level : int
    dump_level : int or None
        None: unknown.
    """

    cycle: int
    seconds: float
    dump_time: int | None
    model_level: int
    dump_level: int | None

    def __str__(self) -> str:
        found = "an unknown level" if self.dump_level is None else str(self.dump_level)
        at = "" if self.dump_time is None else f", dump time {self.dump_time}"
        return f"cycle {self.cycle} ({self.seconds:.9f} s{at}): expected {self.model_level}, found {found}"


@dataclass(frozen=True, slots=True)
class ExactResult:
    """One signal, compared to the cycle.

    Attributes
    ----------
    name : str
        Channel or output of the chip.
    kind : Kind
    path : str
        Of the signal in the dump.
    latency : int, clock cycles
        The dump was taken this much later than the model.
    start, end : int, clock cycles
        What was compared, in cycles of the model.
    strobed : bool
        Compared in the cycles that the strobe marks.
    divergence : Divergence or None
        None: the signals agree.
    differences : Differences or None
        Counted only where they do not.
    offset_change : OffsetChange or None
        Set where what follows the divergence is the model at another latency.
    writes : tuple of SeenWrite
        Last writes before the divergence that concern the signal.
    agrees_at : int or None, clock cycles
        The constant latency with which the signal would agree from start to end.
    follows_channels : bool
        An output that differs only because a channel does.
    constant : bool
        Neither side changes.
    unknown_throughout : bool
        The dump's level is unknown from start to end.
    """

    name: str
    kind: Kind
    path: str
    latency: int
    start: int
    end: int
    strobed: bool
    divergence: Divergence | None
    differences: Differences | None
    offset_change: OffsetChange | None
    writes: tuple[SeenWrite, ...]
    agrees_at: int | None
    follows_channels: bool
    constant: bool
    unknown_throughout: bool

    @property
    def agrees(self) -> bool:
        """Whether something was compared and nothing differs."""
        return self.divergence is None and self.end > self.start

    def reasons(self) -> tuple[str, ...]:
        """Return why the signals differ, a sentence each; empty where they agree."""
        if self.end <= self.start:
            return (f"{self.name}: no cycle is covered by both sides",)
        if self.divergence is None or self.differences is None:
            return ()
        count = self.differences
        told = [
            f"{self.name}: {self.divergence}",
            f"{self.name}: {count.cycles} of {self.end - self.start} cycles differ, in {count.stretches} "
            f"stretch{'es' if count.stretches > 1 else ''}, the longest of {count.longest} cycles "
            f"from cycle {count.longest_at}",
        ]
        if count.unknown_cycles:
            told.append(f"{self.name}: unknown in {count.unknown_cycles} cycles after reset was released")
        if self.agrees_at is not None:
            told.append(f"{self.name}: agrees throughout if the dump is taken to be {late(self.agrees_at)}")
        if self.offset_change is not None:
            told.append(f"{self.name}: {self.offset_change}")
        if self.follows_channels:
            told.append(f"{self.name}: differs only because a channel does")
        return tuple(told)


def late(latency: int) -> str:
    """Return a latency in words: "3 cycles late", "1 cycle early", "on time"."""
    if not latency:
        return "on time"
    return f"{abs(latency)} cycle{'' if abs(latency) == 1 else 's'} {'early' if latency < 0 else 'late'}"


def aligned(model: Steps, observed: Observed, latency: int) -> tuple[Steps, Steps]:
    """Return model and dump over the cycles that both cover, in cycles of the model.

    Where a strobe marks the valid cycles, the model is taken in these and held as the dump's register is.
    """
    if observed.strobes is None:
        return overlap(model, observed.steps, latency)
    shown = held(model, observed.strobes, observed.steps.end, latency)
    return overlap(shown.shifted(-latency), observed.steps, latency)


def agreement(observed: Observed, ours: Steps, theirs: Steps, latency: int = 0) -> ExactResult:
    """Return the result of one signal as if both sides, over the cycles that both cover, were equal."""
    return ExactResult(
        observed.name,
        observed.kind,
        observed.path,
        latency,
        ours.start,
        ours.end,
        observed.strobes is not None,
        None,
        None,
        None,
        (),
        None,
        False,
        len(ours) <= 1 and len(theirs) <= 1,
        theirs.unknown is not None and bool(theirs.unknown.all()),
    )


def first_divergence(
    chip: Chip, ours: Steps, theirs: Steps, observation: Observation, latency: int
) -> Divergence | None:
    """Return where two sides from `aligned` first differ, None where they are equal."""
    at = first_difference(ours, theirs)
    if at is None:
        return None
    seconds = float(at / chip.clock_hz)
    return Divergence(at, seconds, observation.time_of(at + latency), int(ours.at(at)), levels_at(theirs, at))


def compare_exact(
    chip: Chip,
    model: Steps,
    observed: Observed,
    observation: Observation,
    *,
    log: RegisterLog | None,
    latency: int = 0,
) -> ExactResult:
    """Compare one signal to the cycle.

    Parameters
    ----------
    chip : Chip
    model : Steps
    observed : Observed
        A channel or an output; not a pin.
    observation : Observation
        Where `observed` is from, for times.
    log : RegisterLog or None
        For the last writes before a divergence.
    latency : int, clock cycles

    Returns
    -------
    ExactResult
    """
    ours, theirs = aligned(model, observed, latency)
    result = agreement(observed, ours, theirs, latency)
    divergence = first_divergence(chip, ours, theirs, observation, latency)
    if divergence is None:
        return result
    at = divergence.cycle
    change = find_offset_change(ours, theirs, 0, at) if divergence.dump_level is not None else None
    agrees_at = None
    if change is not None:
        change = change._replace(before=latency, after=latency + change.after)
        if change.to_the_end and first_difference(*aligned(model, observed, change.after)) is None:
            agrees_at, change = change.after, None
    return replace(
        result,
        divergence=divergence,
        differences=count_differences(ours, theirs),
        offset_change=change,
        agrees_at=agrees_at,
        writes=last_writes(chip, log, observed.name, at) if log is not None else (),
    )
