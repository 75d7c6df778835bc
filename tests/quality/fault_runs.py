"""Every fault of the library, simulated and searched for: the table of how good the diagnosis is.

Stage: tests. A command: ``python -m tests.quality.fault_runs [NAME ...] [--pairs] [--keep FOLDER]``. For each fault the
RTL is changed, a log is played in Verilator (in Icarus Verilog where unknown values are the fault), the dump is
compared with the right description, and suspects are searched for. Printed: whether the fault was detected, whether the
signal that differs first is one of those where it is, the kind of difference, whether the first suspect names its
block, the rank of the true cause, how sure the search was, how many changes it tried, and its seconds.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from psgmodel.chip import load_chip
from psgmodel.comparison import compare
from psgmodel.diagnose.changes import Change
from psgmodel.diagnose.story import tell
from psgmodel.diagnose.suspects import find_suspects
from psgmodel.diagnose.suspicion import Certainty, Suspicion
from psgmodel.dump.observe import Observation, observe
from psgmodel.dump.signal_map import load_map
from psgmodel.reglog import RegisterLog
from tests.quality.fault_library import Fault, load_faults
from tests.quality.fault_logs import provoking_log
from tests.rtl.simulate import build_icarus, build_verilator, simulate

CHIP = load_chip("patches/linnet.toml")
MAP = load_map("patches/linnet-bench.toml", CHIP)
CYCLES = 1_500_000
FOUR_STATE = frozenset({"wave-sample-unknown"})
"""Faults that only a simulator with unknown values shows."""

BLOCKS = {
    "position_on_start": "phase",
    "start_delay": "start",
    "patterns": "pattern",
    "volume_bits": "envelope",
}
"""Block of an option of the channel itself."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came out for one fault.

    Attributes
    ----------
    first : str
        Signal that differs first; empty where the fault was not detected.
    kind : str
    block : str
        Of the first suspect.
    rank : int
        Of the true cause; 0: not found. Values of one option that explain as much as one another share a rank.
    exact : bool
        The true cause is named with its value, not as one of several that explain as much.
    certainty : Certainty
    seconds : float
    tried : int
    """

    fault: Fault
    first: str
    kind: str
    block: str
    rank: int
    exact: bool
    certainty: Certainty
    seconds: float
    tried: int

    @property
    def confident(self) -> bool:
        """Whether the search was sure of what it says."""
        return self.certainty is Certainty.SURE

    def row(self) -> str:
        """Return the line of the table."""
        where = "yes" if self.first in self.fault.signals else f"NO ({self.first or 'not detected'})"
        block = "yes" if self.block == self.fault.block else f"no ({self.block or 'none'})"
        rank = (
            "not expressible"
            if not self.fault.expressible
            else f"{self.rank or 'NOT FOUND'}{'' if self.exact else ' ='}"
        )
        return (
            f"{self.fault.name:32}{where:12}{self.kind:24}{block:16}{rank:17}{self.certainty.name.lower():12}"
            f"{self.tried:6}{self.seconds:7.1f}"
        )


def dump_of(fault: Fault | None, text: str, folder: Path, log: RegisterLog, *, icarus: bool = False) -> Path:
    """Simulate some RTL over a log."""
    folder.mkdir(parents=True, exist_ok=True)
    name = fault.name if fault is not None else "whole"
    rtl, dump = folder / f"{name}.v", folder / f"{name}.vcd"
    rtl.write_text(text, encoding="utf-8")
    built = (build_icarus if icarus else build_verilator)(rtl, folder / "built")
    rows = zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True)
    simulate(built, [(cycle, "w", address, value) for cycle, address, value in rows], log.end, dump, clock=False)
    return dump


def observed(dump: Path) -> Observation:
    """Read a dump of Linnet's bench."""
    return observe(str(dump), CHIP, MAP)


def searched(fault: Fault, observation: Observation, *, pairs: bool = False) -> Outcome:
    """Compare a dump, search for suspects, and hold them against the true cause."""
    assert observation.log is not None
    comparison = compare(CHIP, observation)
    story = tell(comparison, observation, CHIP, None)
    begin = time.perf_counter()
    found = find_suspects(CHIP, observation, observation.log, pairs=pairs)
    seconds = time.perf_counter() - begin
    rank, exact = rank_of(fault, found)
    return Outcome(
        fault,
        comparison.first.name if comparison.first is not None else "",
        story.kind.value if story is not None else "",
        block_of(found.ranked[0].changes[0]) if found.ranked else "",
        rank,
        exact,
        found.certainty,
        seconds,
        found.singles + found.pairs,
    )


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


def block_of(change: Change) -> str:
    """Return the block that a change is of, as the library names blocks."""
    if change.wording or not change.edits:
        return "wiring" if change.edits else "writes"
    path = change.edits[0].path
    if path[0] != "channels":
        return {"dividers": "ticks"}.get(str(path[0]), str(path[0]))
    return BLOCKS.get(str(path[2]), str(path[2]))


def outcome_of(
    fault: Fault, folder: Path, cycles: int = CYCLES, *, icarus: bool = False, pairs: bool = False
) -> Outcome:
    """Simulate a fault and search for it; a dump that stands in the folder is taken as it is."""
    dump = folder / f"{fault.name}.vcd"
    if not dump.exists():
        log = provoking_log(fault.seed, CYCLES).with_end(cycles)
        dump = dump_of(fault, fault.rtl(), folder, log, icarus=icarus or fault.name in FOUR_STATE)
    return searched(fault, observed(dump), pairs=pairs)


def summary(outcomes: list[Outcome]) -> str:
    """Return the shares that the project promises."""
    known = [o for o in outcomes if o.fault.expressible]
    unknown = [o for o in outcomes if not o.fault.expressible]
    first, three = (sum(0 < o.rank <= most for o in known) for most in (1, 3))
    named = sum(o.rank == 1 and o.exact for o in known)
    lines = [f"detected {sum(bool(o.first) for o in outcomes)} of {len(outcomes)}"]
    lines.append(f"in a right signal {sum(o.first in o.fault.signals for o in outcomes)} of {len(outcomes)}")
    if known:
        lines.append(f"true cause first {first} of {len(known)} ({100 * first / len(known):.1f} %)")
        lines.append(f"of these with its very value {named}; the log cannot tell the others from their equals")
        lines.append(f"among the first three {three} of {len(known)} ({100 * three / len(known):.1f} %)")
        lines.append(f"a wrong cause named for sure {sum(o.confident and o.rank != 1 for o in known)} of {len(known)}")
    if unknown:
        lines.append(
            f"not expressible, and a cause named for sure {sum(o.confident for o in unknown)} of {len(unknown)}"
        )
    return "\n".join(lines)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", help="faults (all)")
    parser.add_argument("--pairs", action="store_true", help="also try two changes at once")
    parser.add_argument("--keep", metavar="FOLDER", help="where dumps are kept and found again")
    arguments = parser.parse_args()
    faults = load_faults()
    header = ("fault", "in signal", "kind", "block", "rank", "certainty")
    print(f"{header[0]:32}{header[1]:12}{header[2]:24}{header[3]:16}{header[4]:17}{header[5]:12} tried      s")
    outcomes = []
    with tempfile.TemporaryDirectory() as work:
        for name in arguments.names or faults:
            outcome = outcome_of(faults[name], Path(arguments.keep or work), pairs=arguments.pairs)
            outcomes.append(outcome)
            print(outcome.row(), flush=True)
    print(summary(outcomes))


if __name__ == "__main__":
    main()
