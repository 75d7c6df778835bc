"""Concluding: from signals that were compared to the verdict on the whole.

Stage: compare. In: results of signals, an `Observation`, the logs. Out: a `Comparison`. Which log the model follows is
decided here too.
"""

from __future__ import annotations

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.comparison.exact import late
from psgmodel.comparison.reads import ReadsResult, compare_reads
from psgmodel.comparison.verdict import Comparison, Coverage, Judge, SignalResult, Status
from psgmodel.comparison.writes import BusResult, compare_logs, describe_bus_write
from psgmodel.dump.observe import Observation
from psgmodel.reglog.bus import unmirrored
from psgmodel.reglog.log import RegisterLog


def concluded(
    chip: Chip,
    dump: Observation,
    signals: tuple[SignalResult, ...],
    log: RegisterLog | None,
    followed: RegisterLog | None,
    modelled: int,
    notes: list[str],
    *,
    judge: Judge,
    whole: bool,
) -> Comparison:
    """Return the verdict where the signals are compared: bus, reads and what is covered are judged here.

    `log` was given, `followed` is what the model followed, up to cycle `modelled`; the latency is that of a comparison
    in which 0 was declared.
    """
    bus = _bus(chip, log, dump, notes)
    reads = _reads(chip, followed, dump, notes)
    coverage = _coverage(modelled, dump, log)
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
        latency=0,
        latency_text="declared: 0 cycles",
        agrees_at=None,
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
    return given if dump.log is None else owned(chip, dump.log, notes)


def owned(chip: Chip, log: RegisterLog, notes: list[str]) -> RegisterLog:
    """Return a log of the bus without the writes to addresses that nobody owns. `notes` grows."""
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


def note_past_log(dump: Observation, log: RegisterLog, notes: list[str]) -> None:
    """Note where a dump without a bus goes on past the log that the model follows."""
    if dump.log is None and dump.end > log.end:
        notes.append(f"the dump goes on for {dump.end - log.end} cycles past the log; the model does so without writes")


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


def _coverage(modelled: int, dump: Observation, given: RegisterLog | None) -> Coverage:
    """Count by the edges that the dump holds; after a second reset they count no more."""
    covered = dump.edges if dump.end == dump.edges - 1 else dump.end
    if given is not None:
        writes = int(np.searchsorted(given.cycle, covered))
        return Coverage(min(covered, given.end), given.end, writes, len(given), dump.end)
    if dump.log is not None:
        total = len(dump.log) + dump.later_writes
        return Coverage(covered, dump.edges, total if covered == dump.edges else len(dump.log), total, dump.end)
    return Coverage(min(covered, modelled), modelled, None, None, dump.end)


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
