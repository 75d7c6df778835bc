"""Comparing: from a chip (or a trace) and a dump to the verdict.

Stage: compare, the front door. In: what the unit should do, what a dump says it did. Out: a `Comparison`.

1. The dump is read once (`psgmodel.dump.observe`), its register log recovered from the bus.
2. A register log that was given is first compared with the bus; the model then follows the bus, which is what the
   unit was told. Without a bus the model follows the log.
3. The latency is the declared one, 0 where none is. With "auto" it is estimated over all signals together, allowed, and
   noted. Where a comparison fails, the constant latency with which it would not is told.
4. Every signal is compared to the cycle (pins and recordings cannot be) and as audio; the judge says which decides.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal, cast

from psgmodel.chip.records import Chip
from psgmodel.comparison.alignment import EARLIEST, LATEST, LatencyEstimate, estimate_latency
from psgmodel.comparison.concluding import concluded, followed_log, note_past_log
from psgmodel.comparison.exact import late
from psgmodel.comparison.options import SpectralOptions
from psgmodel.comparison.pieces import compare_in_pieces, is_large
from psgmodel.comparison.recorded import is_recording, observe_recording
from psgmodel.comparison.signals import Sides, compare_signals
from psgmodel.comparison.verdict import Comparison, Judge, SignalResult
from psgmodel.dump.observe import Kind, Observation, observe
from psgmodel.dump.signal_map import SignalMap
from psgmodel.dump.source import DumpSource
from psgmodel.engine.run import run
from psgmodel.engine.trace import Trace
from psgmodel.errors import CompareError
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import MAX_CYCLE

Latency = int | Literal["auto"]


def compare(
    model: Trace | Chip,
    dump: DumpSource | Observation,
    *,
    log: RegisterLog | None = None,
    signal_map: SignalMap | None = None,
    judge: Judge = "exact",
    latency: Latency = 0,
    whole: bool = False,
    options: SpectralOptions | None = None,
) -> Comparison:
    """Compare what a unit should do with what a dump says it did.

    Parameters
    ----------
    model : Trace or Chip
        A chip is run on the register log. A trace is compared as it is.
    dump : path, str, binary stream or Observation
        A path that ends in .wav or .flac is a recording with one channel for each output; `log` says what it plays.
    log : RegisterLog, optional
        What the bench was given. None: the log is recovered from the bus in the dump.
    signal_map : SignalMap, optional
        As read by `load_map`; what it leaves out is guessed from names. Not with an `Observation`, which has its own.
    judge : "exact" or "spectrum"
        What decides for channels and output codes. Pins and recordings are always judged by the spectrum.
    latency : int or "auto", clock cycles
        How late the dump is; "auto" estimates it from -64 to 4096.
    whole : bool
        True: a dump that covers less than the whole log differs.
    options : SpectralOptions, optional

    Returns
    -------
    Comparison

    Raises
    ------
    DumpError
        The dump cannot be read or is cut.
    MapError
        A signal that is needed can neither be found nor guessed.
    RegisterLogError
        The log does not fit the chip.
    AudioError
        A recording cannot be read.
    CompareError
        An option that cannot be used, or neither a log nor a bus.
    """
    chip = model.chip if isinstance(model, Trace) else model
    if judge not in ("exact", "spectrum"):
        raise CompareError(f'judge "{judge}", accepted: exact, spectrum')
    if latency != "auto" and not -MAX_CYCLE < latency < MAX_CYCLE:
        raise CompareError(f"latency {latency} is no number of cycles")
    if is_recording(dump):
        if signal_map is not None:
            raise CompareError("a recording has no signals to map", hint="name it in the map, and give a dump")
        dump = observe_recording(cast(str, dump), chip)
    if isinstance(model, Chip) and judge == "exact" and latency == 0 and is_large(dump):
        source = cast(DumpSource, dump)
        found = compare_in_pieces(model, source, log=log, signal_map=signal_map, whole=whole)
        if found is not None:
            return found
    if not isinstance(dump, Observation):
        need_bus = log is None and not isinstance(model, Trace)
        dump = observe(dump, chip, signal_map, need_bus=need_bus)
    elif signal_map is not None:
        raise CompareError("an observation has its own signal map", hint="give the map when observing the dump")
    return _compared(chip, model, dump, log, judge, latency, whole, options or SpectralOptions())


def _compared(
    chip: Chip,
    model: Trace | Chip,
    dump: Observation,
    log: RegisterLog | None,
    judge: Judge,
    latency: Latency,
    whole: bool,
    options: SpectralOptions,
) -> Comparison:
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
