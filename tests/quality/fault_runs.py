"""Every fault of the library, simulated, compared, searched for and shrunk: the table of how good the diagnosis is.

Stage: tests. A command: ``python -m tests.quality.fault_runs [NAME ...] [--keep FOLDER]``; ``--help`` tells the rest. A
name is a fault, such as siskin/mixer-wraps, or the beginning of several. With a folder, outcomes and built benches are
kept there and found again, so that a run that was interrupted goes on where it stopped; a changed fault or log is run
again.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from statistics import median

from psgmodel.diagnose.shrinking import name_of
from psgmodel.reglog import RegisterLog
from tests.quality.fault_judging import Outcome, detected, searched, shrunk
from tests.quality.fault_library import Fault, whole_library
from tests.quality.fault_logs import log_for

FAULTS = whole_library()
HEADER = (
    f"{'fault':40}{'status':>6}  {'channel':16}{'kind':24}{'block':20}{'rank':16}{'certainty':13}{'tried':>6}{'s':>7}"
    f"{'writes':>8}{'runs':>6}{'s':>7}"
)


def outcome_of(fault: Fault, log: RegisterLog, folder: Path, *, pairs: bool = True, shrinks: bool = True) -> Outcome:
    """Judge a fault, or find its outcome in the folder; shrinking may come later."""
    about = f"{fault} {name_of(log)} {pairs}"
    outcome = kept(folder, about)
    if outcome is None:
        outcome, dump = detected(fault, log, folder)
        if outcome.status == 1:
            outcome = searched(fault, dump, outcome, pairs=pairs)
        dump.unlink()
        keep(folder, about, outcome)
    if outcome.first and shrinks:
        smaller = kept(folder, f"{about} shrunk")
        if smaller is None:
            smaller = shrunk(fault, log, folder, outcome)
            keep(folder, f"{about} shrunk", smaller)
        outcome = smaller
    return outcome


def keep(folder: Path, about: str, outcome: Outcome) -> None:
    """Keep an outcome."""
    _place(folder, about).write_text(json.dumps(outcome.plain()), encoding="utf-8")


def kept(folder: Path, about: str) -> Outcome | None:
    """Return an outcome that was kept."""
    place = _place(folder, about)
    return Outcome.from_plain(json.loads(place.read_text(encoding="utf-8"))) if place.exists() else None


def _place(folder: Path, about: str) -> Path:
    return folder / f"{hashlib.sha256(about.encode()).hexdigest()[:24]}.json"


def outcomes_of(
    faults: Sequence[Fault], folder: Path, *, jobs: int = 2, pairs: bool = True, shrinks: bool = True
) -> Iterator[Outcome]:
    """Judge some faults side by side; yield them in their order."""
    logs = {unit: log_for(unit) for unit in dict.fromkeys(fault.unit for fault in faults)}
    with ProcessPoolExecutor(jobs) as pool:
        judged = [pool.submit(outcome_of, f, logs[f.unit], folder, pairs=pairs, shrinks=shrinks) for f in faults]
        for future in judged:
            yield future.result()


def row(o: Outcome) -> str:
    """Return the line of the table."""
    fault = FAULTS[o.name]
    first = o.first if o.first in fault.signals else f"NOT {o.first or 'detected'}"
    block = o.block if o.block == fault.block else f"no: {o.block or 'none'}"
    rank = f"{o.rank or 'NOT FOUND'}{'' if o.exact else ' ='}" if fault.expressible else "not expressible"
    writes = f"{o.writes if o.writes >= 0 else '-':>8}{o.runs:>5}{' ' if o.minimal else '+'}{o.shrink_seconds:>7.1f}"
    return (
        f"{o.name:40}{o.status:>6}  {first:16}{o.kind:24}{block:20}{rank:16}{o.certainty:13}"
        f"{o.tried:>6}{o.seconds:>7.1f}{writes}"
    )


def confident(o: Outcome) -> bool:
    """Return whether the search was sure of what it says."""
    return o.certainty == "sure"


def summary(outcomes: Sequence[Outcome]) -> str:
    """Return the shares that the project promises."""
    known = [o for o in outcomes if FAULTS[o.name].expressible]
    unknown = [o for o in outcomes if not FAULTS[o.name].expressible]
    shrunken = [o for o in outcomes if o.writes >= 0]
    lines = [
        f"detected, exit status 1: {share(sum(o.status == 1 for o in outcomes), len(outcomes))}",
        f"first in a right signal: {share(sum(o.first in FAULTS[o.name].signals for o in outcomes), len(outcomes))}",
        f"the right block told: {share(sum(o.block == FAULTS[o.name].block for o in outcomes), len(outcomes))}",
        f"expressible, true cause first: {share(sum(o.rank == 1 for o in known), len(known))}",
        f"of these as one of several values that explain as much: {sum(o.rank == 1 and not o.exact for o in known)}",
        f"expressible, true cause among the first three: {share(sum(0 < o.rank <= 3 for o in known), len(known))}",
        f"expressible, and a wrong cause named for sure: {sum(confident(o) and o.rank != 1 for o in known)}",
        f"not expressible, and a cause named for sure: {sum(confident(o) for o in unknown)} of {len(unknown)}",
    ]
    if shrunken:
        sizes, runs = [o.writes for o in shrunken], [o.runs for o in shrunken]
        lines.append(f"shrunk: median {median(sizes):g} writes, worst {max(sizes)}; of {len(shrunken)}")
        lines.append(f"runs of the simulator: median {median(runs):g}, most {max(runs)}")
        lines.append(f"seconds to shrink: median {median(o.shrink_seconds for o in shrunken):.1f}")
    searches = [o.seconds for o in outcomes if o.status == 1]
    if searches:
        lines.append(f"seconds to search: median {median(searches):.1f}, most {max(searches):.1f}")
    return "\n".join(lines)


def share(part: int, whole: int) -> str:
    """Return a share in words."""
    return f"{part} of {whole}{f' ({100 * part / whole:.1f} %)' if whole else ''}"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", help="faults, or beginnings of their names (all)")
    parser.add_argument("--single", action="store_true", help="try no two changes at once")
    parser.add_argument("--no-shrink", action="store_true", help="do not shrink")
    parser.add_argument("--jobs", type=int, default=2, metavar="N", help="faults judged side by side (2)")
    parser.add_argument("--keep", metavar="FOLDER", help="where outcomes and built benches are kept")
    arguments = parser.parse_args()
    wanted = [f for f in FAULTS.values() if f.full_name.startswith(tuple(arguments.names) or "")]
    print(HEADER)
    outcomes = []
    with tempfile.TemporaryDirectory() as work:
        folder = Path(arguments.keep or work)
        folder.mkdir(parents=True, exist_ok=True)
        for outcome in outcomes_of(
            wanted, folder, jobs=arguments.jobs, pairs=not arguments.single, shrinks=not arguments.no_shrink
        ):
            outcomes.append(outcome)
            print(row(outcome), flush=True)
    print(f"\n{summary(outcomes)}")


if __name__ == "__main__":
    main()
