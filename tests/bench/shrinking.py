"""How small logs get, how many runs that takes, and what shrinking itself costs: faults of Linnet's RTL under Icarus.

Run: ``python tests/bench/shrinking.py [FAULT ...]`` (all of the fault library without names). Each fault gets the first
provoking log that it fails; the runs of that search are not counted. Prints, a line a fault: writes before and after,
cycles before and after, runs, seconds in the simulator, and the rest as share of them.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from psgmodel.chip import load_chip
from psgmodel.diagnose.shrinking import Outcome, SimulatorState, parse_command, shrink
from psgmodel.dump.signal_map import load_map
from tests.quality.fault_library import Fault, load_faults
from tests.quality.fault_logs import provoking_log
from tests.rtl.simulate import build_icarus

MOST_RUNS = 500
CYCLES = (60_000, 60_000, 60_000, 150_000, 150_000, 400_000)
CHIP = load_chip("patches/linnet.toml")
MAP = load_map("patches/linnet-bench.toml", CHIP)
ROW = "{cycle} w {address} {value}"


def simulator(fault: Fault, folder: Path) -> SimulatorState:
    """Build the bench with one fault."""
    rtl = folder / "faulty.v"
    rtl.write_text(fault.rtl(), encoding="utf-8")
    built = build_icarus(rtl, folder / "built")
    words = parse_command(f"vvp -N {built} +noclk +reset_edges=5 +log={{log}} +dump={{dump}} +cycles={{cycles}}")
    return SimulatorState(words, CHIP, MAP, row=ROW, clock=time.perf_counter)


def main(names: list[str]) -> None:
    """Measure and print."""
    faults = load_faults()
    sizes = []
    for name in names or [name for name in faults if not name.startswith("siskin")]:
        with tempfile.TemporaryDirectory() as folder:
            run = simulator(faults[name], Path(folder))
            for seed, cycles in enumerate(CYCLES):
                log = provoking_log(seed, cycles)
                if run(log).outcome is Outcome.FAILS:
                    break
            else:
                print(f"{name:36}  no provoking log fails", flush=True)
                continue
            run.simulating_seconds, begin = 0.0, time.perf_counter()
            found = shrink(CHIP, log, run, max_runs=MOST_RUNS)
            took, simulated = time.perf_counter() - begin, run.simulating_seconds
        share = 100 * (took - simulated) / simulated
        sizes.append(len(found.log))
        print(
            f"{name:36}{len(log):4} -> {len(found.log):2} writes {log.end:6} -> {found.log.end:6} cycles "
            f"{found.runs:4} runs{'' if found.minimal else ' (all)':6} {simulated:6.1f} s + {share:4.1f} %",
            flush=True,
        )
    print(f"{len(sizes)} faults: median {median(sizes)} writes, worst {max(sizes)}")


if __name__ == "__main__":
    main(sys.argv[1:])
