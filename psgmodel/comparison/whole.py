"""Comparing in one go: everything that a dump says, against a trace.

Stage: compare. In: a chip or a trace, an `Observation`, how to compare. Out: a `Comparison`. Steps 2 to 4 of
`psgmodel.comparison.comparing`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from psgmodel.chip.records import Chip
from psgmodel.comparison.alignment import EARLIEST, LATEST, LatencyEstimate, estimate_latency
from psgmodel.comparison.concluding import concluded, followed_log, note_past_log
from psgmodel.comparison.exact import late
from psgmodel.comparison.options import SpectralOptions
from psgmodel.comparison.signals import Sides, compare_signals
from psgmodel.comparison.verdict import Comparison, Judge, SignalResult
from psgmodel.dump.observe import Kind, Observation
from psgmodel.engine.run import run
from psgmodel.engine.trace import Trace
from psgmodel.errors import CompareError
from psgmodel.reglog.log import RegisterLog

Latency = int | Literal["auto"]


def compare_whole(
    chip: Chip,
    model: Trace | Chip,
    dump: Observation,
    log: RegisterLog | None,
    judge: Judge,
    latency: Latency,
    whole: bool,
    options: SpectralOptions,
) -> Comparison:
    """Compare; parameters and errors are those of `psgmodel.comparison.compare`."""
    notes = [str(note) for note in dump.notes]
    followed = followed_log(chip, dump, log, notes)
    trace = model if isinstance(model, Trace) else _run(chip, dump, followed, notes)
    late_notes: list[str] = []
    number, text = _latency(latency, _estimate(trace, dump) if latency == "auto" else None, late_notes)
    sides = Sides(trace, dump, followed, number, judge, options)
    signals = compare_signals(sides) if dump.end or dump.map.recordings else ()
    found = concluded(chip, dump, signals, log, followed, trace.end, notes, judge=judge, whole=whole)
    agrees_at = _agrees_at(sides, signals) if latency != "auto" else None
    every_note = (*found.notes, *late_notes)
    return replace(found, latency=number, latency_text=text, agrees_at=agrees_at, notes=every_note)


def _run(chip: Chip, dump: Observation, log: RegisterLog | None, notes: list[str]) -> Trace:
    """Run the chip as far as the dump goes; to the end of the log for a recording."""
    if log is None:
        raise CompareError("there is neither a register log nor a bus in the dump to recover it from")
    end = max(dump.end, log.end) if dump.map.recordings else dump.end
    note_past_log(dump, log, notes)
    return run(chip, log.with_end(end))


def _agrees_at(sides: Sides, signals: tuple[SignalResult, ...]) -> int | None:
    """Return the latency with which everything would agree, where a signal differs now."""
    if all(s.exact is None or s.exact.agrees for s in signals):
        return None
    found = _estimate(sides.trace, sides.observation)
    return found.latency if found is not None and found.everywhere and found.latency != sides.latency else None


def _estimate(trace: Trace, dump: Observation) -> LatencyEstimate | None:
    usable = [s for s in dump.signals if s.kind is not Kind.PIN and s.strobes is None and len(s.steps)]
    return estimate_latency([(trace[s.name], s.steps) for s in usable])


def _latency(latency: Latency, estimate: LatencyEstimate | None, notes: list[str]) -> tuple[int, str]:
    """Return the latency to compare with, and what the report says about it."""
    if latency != "auto":
        return latency, f"declared: {latency} cycles"
    if estimate is None:
        return 0, "estimated: no change to estimate it from; taken as 0 cycles"
    if estimate.latency:
        notes.append(f"the dump is {late(estimate.latency)}; that was estimated, and is allowed")
    share = f"{estimate.agreeing_changes} of {estimate.changes} changes agree before the first difference"
    return estimate.latency, f"estimated from {EARLIEST} to {LATEST} cycles: {estimate.latency} ({share})"
