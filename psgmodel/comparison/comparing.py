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

from typing import Literal, cast

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.comparison.alignment import EARLIEST, LATEST, LatencyEstimate, estimate_latency
from psgmodel.comparison.exact import late
from psgmodel.comparison.options import SpectralOptions
from psgmodel.comparison.reads import ReadsResult, compare_reads
from psgmodel.comparison.recorded import is_recording, observe_recording
from psgmodel.comparison.signals import Sides, compare_signals
from psgmodel.comparison.verdict import Comparison, Coverage, Judge, SignalResult, Status
from psgmodel.comparison.writes import BusResult, compare_logs, describe_bus_write
from psgmodel.dump.observe import Kind, Observation, observe
from psgmodel.dump.signal_map import SignalMap
from psgmodel.dump.source import DumpSource
from psgmodel.engine.run import run
from psgmodel.engine.trace import Trace
from psgmodel.errors import CompareError
from psgmodel.reglog.bus import unmirrored
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
    bus = _bus(chip, log, dump, notes)
    reads = _reads(chip, followed, dump, notes)
    estimate = _estimate(trace, dump) if latency == "auto" else None
    number, text = _latency(latency, estimate, notes)
    sides = Sides(trace, dump, followed, number, judge, options)
    signals = compare_signals(sides) if dump.end or dump.map.recordings else ()
    coverage = _coverage(trace, dump, log)
    nothing = _nothing(dump, signals, coverage)
    fails = not all(s.agrees for s in signals) or (bus is not None and not bus.agrees)
    fails |= (reads is not None and not reads.agrees) or (whole and not coverage.complete)
    return Comparison(
        status=Status.NOTHING if nothing else Status.DIFFER if fails else Status.AGREE,
        chip=chip.unit.name,
        file=dump.file,
        judge=judge,
        clock_hz=chip.clock_hz,
        rule=dump.rule,
        latency=number,
        latency_text=text,
        agrees_at=_agrees_at(sides, signals) if latency != "auto" else None,
        signals=signals,
        not_compared=dump.map.absent,
        bus=bus,
        reads=reads,
        coverage=coverage,
        whole=whole,
        edges=dump.edges,
        skipped_edges=dump.skipped_edges,
        nothing=nothing,
        notes=tuple(notes),
        guesses=tuple(str(guess) for guess in dump.map.guesses),
    )


def followed_log(chip: Chip, dump: Observation, given: RegisterLog | None, notes: list[str]) -> RegisterLog | None:
    """Return the log that the model follows: the bus's, without what nobody owns; or the one given. `notes` grows."""
    log = dump.log
    if log is None:
        return given
    reached = unmirrored(chip, log.address)
    if chip.bus.access == "direct":
        owned = [a for a in np.unique(reached).tolist() if a in chip.registers or chip.memory_at(a) is not None]
    else:
        owned = [chip.bus.index_address, chip.bus.data_address]
    keep = np.isin(reached, np.array(owned, dtype=np.int64))
    if not keep.all():
        i = int(np.argmin(keep))
        first = describe_bus_write(chip, int(log.address[i]), int(log.value[i]))
        count = int(np.count_nonzero(~keep))
        notes.append(
            f"{count} writes on the bus to addresses that nobody owns do nothing in the model; the first, "
            f"at cycle {int(log.cycle[i])}, is {first}"
        )
    return RegisterLog(log.cycle[keep], log.address[keep], log.value[keep], log.end, log.source)


def _run(chip: Chip, dump: Observation, log: RegisterLog | None, notes: list[str]) -> Trace:
    """Run the chip as far as the dump goes; to the end of the log for a recording."""
    if log is None:
        raise CompareError("there is neither a register log nor a bus in the dump to recover it from")
    end = max(dump.end, log.end) if dump.map.recordings else dump.end
    if dump.log is None and dump.end > log.end:
        notes.append(f"the dump goes on for {dump.end - log.end} cycles past the log; the model does so without writes")
    return run(chip, log.with_end(end))


def _bus(chip: Chip, log: RegisterLog | None, dump: Observation, notes: list[str]) -> BusResult | None:
    if log is None or dump.log is None:
        return None
    bus = compare_logs(chip, log, dump.log)
    if bus.agrees and bus.shift:
        notes.append(f"the bus carries the log {late(bus.shift)}")
    return bus


def _reads(chip: Chip, log: RegisterLog | None, dump: Observation, notes: list[str]) -> ReadsResult | None:
    if dump.reads is None or log is None:
        return None
    reads = compare_reads(chip, log, dump.reads, dump.end)
    if reads.compared < reads.reads:
        notes.append(f"{reads.compared} of {reads.reads} reads on the bus were compared")
    return reads


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


def _coverage(trace: Trace, dump: Observation, given: RegisterLog | None) -> Coverage:
    """Count by the edges that the dump holds; after a second reset they count no more."""
    covered = dump.edges if dump.end == dump.edges - 1 else dump.end
    if given is not None:
        writes = int(np.searchsorted(given.cycle, covered))
        return Coverage(min(covered, given.end), given.end, writes, len(given), dump.end)
    if dump.log is not None:
        total = len(dump.log) + dump.later_writes
        return Coverage(covered, dump.edges, total if covered == dump.edges else len(dump.log), total, dump.end)
    return Coverage(min(covered, trace.end), trace.end, None, None, dump.end)


def _nothing(dump: Observation, signals: tuple[SignalResult, ...], coverage: Coverage) -> tuple[str, ...]:
    """Return why nothing was compared; empty where something was."""
    if dump.nothing and not dump.map.recordings:
        return (dump.nothing,)
    if coverage.writes == 0:
        where = "on the bus" if dump.log is not None else "of the log in the cycles that the dump covers"
        return (f"no write {where}",)
    if all(s.nothing or s.silent for s in signals):
        reasons = tuple(reason for s in signals if not s.silent for reason in s.reasons())
        return reasons or ("all signals are silent: neither side ever changes",)
    return ()
