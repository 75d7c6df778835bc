"""One fault, judged: detected, located, named, shrunk.

Stage: tests. In: a fault, a log. Out: an `Outcome`. The RTL with the fault is simulated over the log; ``psgmodel
compare`` says whether it is detected, in which signal first, and in which block; a search for suspects is held against
the true cause; the log up to the first difference is shrunk, with a simulator run for every question.
"""

from __future__ import annotations

import time
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

from psgmodel.diagnose.changes import Change
from psgmodel.diagnose.shrinking import Outcome as Answer
from psgmodel.diagnose.shrinking import SimulatorState, parse_command, shrink
from psgmodel.diagnose.suspects import find_suspects
from psgmodel.diagnose.suspicion import Suspicion
from psgmodel.reglog import RegisterLog
from tests.cli.commands import run_here
from tests.quality.fault_benches import ROW, Bench, bench_of
from tests.quality.fault_library import Fault
from tests.quality.fault_windows import windows

FOUR_STATE = frozenset({"linnet/wave-sample-unknown"})
"""Faults that only a simulator with unknown values shows."""
MOST_RUNS = 500
"""Of the simulator, to shrink one log; what `psgmodel shrink` allows by itself."""
PARTS = (1 << 20, 1 << 22, 1 << 24)
"""Ends of the parts of a log that are simulated in turn, in clock cycles."""
AFTER = 1 << 21
"""In clock cycles."""
AHEAD = 1 << 12
"""What a log that is shrunk goes on after the first difference, in clock cycles."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came out for one fault.

    Attributes
    ----------
    name : str
    status : int
        Exit status of ``psgmodel compare``.
    first, kind, block : str
        Signal that differs first, the kind of difference, the block that is told.
    cycle : int, clock cycles
        Of the first difference.
    rank : int
        Of the true cause; 0: not found. Values of one option that explain as much as one another share a rank.
    exact : bool
        The true cause is named with its value, not as one of several that explain as much.
    certainty : str
    tried : int
        Changes.
    seconds : float
        Of the search.
    writes : int
        On the bus, left after shrinking; -1 where that was not asked for.
    runs : int
        Of the simulator.
    minimal : bool
        Nothing simpler was found within the most runs.
    shrink_seconds : float
    """

    name: str
    status: int
    first: str
    kind: str
    block: str
    cycle: int
    rank: int = 0
    exact: bool = True
    certainty: str = ""
    tried: int = 0
    seconds: float = 0.0
    writes: int = -1
    runs: int = 0
    minimal: bool = True
    shrink_seconds: float = 0.0

    def plain(self) -> dict[str, Any]:
        """Return the outcome as JSON values."""
        return asdict(self)

    @classmethod
    def from_plain(cls, values: dict[str, Any]) -> Outcome:
        """Return what `plain` made plain."""
        return cls(**{f.name: values[f.name] for f in fields(cls)})


def dump_of(fault: Fault, log: RegisterLog, folder: Path, *, icarus: bool = False) -> Path:
    """Simulate a fault."""
    bench = bench_of(fault.unit)
    name = f"{fault.unit}-{fault.name}"
    rtl = bench.write_rtl(fault.rtl(), folder, name)
    return bench.dump(rtl, log, folder / f"{name}.vcd", icarus=icarus or fault.full_name in FOUR_STATE)


def detected(fault: Fault, log: RegisterLog, folder: Path) -> tuple[Outcome, Path]:
    """Simulate a fault over a log and compare; begin with a part of the log: the whole differs where a part does.

    What comes after the first difference is simulated for `AFTER` cycles at least.
    """
    end = 0
    for part in (*PARTS, log.end):
        end = min(part, log.end)
        dump = dump_of(fault, log.with_end(end), folder)
        outcome = compared(fault, dump)
        if outcome.status != 0 or end == log.end:
            break
    wanted = min(outcome.cycle + AFTER, log.end)
    if outcome.status == 1 and wanted > end:
        dump = dump_of(fault, log.with_end(wanted), folder)
        outcome = compared(fault, dump)
    return outcome, dump


def compared(fault: Fault, dump: Path) -> Outcome:
    """Run the command ``compare`` on a dump of a fault."""
    bench = bench_of(fault.unit)
    chart = dump.with_name(f"{bench.name}-map.toml")
    chart.write_text(bench.map_text, encoding="utf-8")
    words = ["compare", dump.name, "--chip", str(bench.chip_file), "--map", chart.name, "--json"]
    said = run_here(words, dump.parent)
    first = said.document["result"]["first_divergence"] if said.status == 1 else None
    if first is None:
        return Outcome(fault.full_name, said.status, "", "", "", -1)
    block = first["blame"]["block"] if first["blame"] is not None else ""
    return Outcome(fault.full_name, said.status, first["name"], first["kind"], block, first["divergence"]["cycle"])


def searched(fault: Fault, dump: Path, so_far: Outcome, *, pairs: bool = True) -> Outcome:
    """Search for suspects and hold them against the true cause."""
    bench = bench_of(fault.unit)
    observation = bench.observed(dump)
    assert observation.log is not None
    begin = time.perf_counter()
    found = find_suspects(bench.chip, observation, observation.log, pairs=pairs)
    seconds = time.perf_counter() - begin
    rank, exact = rank_of(fault, found)
    certainty = found.certainty.name.lower().replace("_", " ")
    tried = found.singles + found.pairs
    return replace(so_far, rank=rank, exact=exact, certainty=certainty, tried=tried, seconds=seconds)


def shrunk(fault: Fault, log: RegisterLog, folder: Path, so_far: Outcome) -> Outcome:
    """Shrink the log up to soon after the first difference; begin with a window where that fails alike, or at all."""
    bench = bench_of(fault.unit)
    rtl = bench.write_rtl(fault.rtl(), folder, f"{fault.unit}-{fault.name}")
    begin = time.perf_counter()
    failing = log.cut(0, min(so_far.cycle + bench.chip.mixer.latency + AHEAD, log.end))
    others = []
    tried = 0
    for window in windows(bench.chip, failing, so_far.cycle):
        tried += 1
        run = simulator(bench, rtl, icarus=fault.full_name in FOUR_STATE)
        if run(window).outcome is Answer.FAILS and run.failure is not None:
            if run.failure.signal == so_far.first:
                failing = window
                break
            others.append(window)
    else:
        failing = others[0] if others else failing
    run = simulator(bench, rtl, icarus=fault.full_name in FOUR_STATE)
    found = shrink(bench.chip, failing, run, max_runs=MOST_RUNS - tried)
    seconds = time.perf_counter() - begin
    return replace(
        so_far, writes=len(found.log), runs=tried + found.runs, minimal=found.minimal, shrink_seconds=seconds
    )


def simulator(bench: Bench, rtl: Path, *, icarus: bool = False) -> SimulatorState:
    """Return the question whether some RTL fails a log, which runs a simulator as a designer's own command would."""
    return SimulatorState(parse_command(bench.command(rtl, icarus=icarus)), bench.chip, bench.signal_map(), row=ROW)


def rank_of(fault: Fault, found: Suspicion) -> tuple[int, bool]:
    """Return the rank of the true cause, and whether it is named there as the first of its equals.

    A change that was found in fewer channels than the fault is in counts: the others did not show it.
    """
    for rank, suspect in enumerate(found.ranked, 1):
        if len(suspect.changes) == 1 and texts_of(suspect.changes[0]) <= fault.wanted():
            return rank, True
        if any(set(other.split(" and ")) <= fault.wanted() for other in suspect.alternatives):
            return rank, False
    return 0, True


def texts_of(change: Change) -> frozenset[str]:
    """Return what a change says, without a number that a choice forces."""
    if change.wording:
        return frozenset([change.wording])
    return frozenset(str(edit) for edit in change.edits if not edit.key.endswith(".step.top"))
