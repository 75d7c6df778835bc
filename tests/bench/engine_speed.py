"""How fast the event engine is, as ratios in one run: real time, its twin, Icarus Verilog, Verilator, log to sound.

Run by hand: ``python tests/bench/engine_speed.py [SECONDS]``. Logs come from `busy_logs` (seeded). Simulators run a
short stretch of the same log, and their time is scaled to the same length. Times are processor seconds, the simulators'
included, so that what else the machine does counts little.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))

from psgmodel.audio import render_channels, write_audio
from psgmodel.chip import load_chip
from psgmodel.engine import run
from psgmodel.engine.kernel.library import find_kernel
from psgmodel.reglog import RegisterLog, load_log
from tests.bench.busy_logs import CLOCK_HZ, busy_log
from tests.rtl.against_model import one_write_a_cycle
from tests.rtl.simulate import LINNET, build_icarus, build_verilator, simulate

PATCHES = Path(__file__).parents[2] / "patches"


def processor_seconds() -> float:
    """Return what this process and those that it has waited for have used."""
    others = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + others.ru_utime + others.ru_stime


def best_of(count: int, act: Callable[[], object]) -> float:
    """Return the shortest of some times, processor seconds of this process and of those that it waits for."""
    times = []
    for _ in range(count):
        begin = processor_seconds()
        act()
        times.append(processor_seconds() - begin)
    return min(times)


def simulated_cost(kind: str, log: RegisterLog, seconds: float, dump: bool, folder: Path) -> float:
    """Return the processor seconds that a simulator takes for one second of a log."""
    build = build_icarus if kind == "icarus" else build_verilator
    bench = build(LINNET, folder)
    part = one_write_a_cycle(log, round(seconds * CLOCK_HZ))
    actions = [(c, "w", a, v) for c, a, v in zip(part.cycle, part.address, part.value, strict=True)]
    out = folder / "dump.vcd" if dump else None
    simulate(bench, [], 1000, out, clock=False)  # compiles what is compiled at first use
    return best_of(1, lambda: simulate(bench, actions, part.end, out, clock=False)) / seconds


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    chip = load_chip(PATCHES / "linnet.toml")
    print(f"compiled kernel: {'in use' if find_kernel().library is not None else 'not there'}")
    with tempfile.TemporaryDirectory() as work:
        folder = Path(work)
        jingle = load_log(PATCHES / "jingle.csv")
        length = jingle.end / CLOCK_HZ
        for name, log, span in [
            ("jingle", jingle, length),
            ("2,000 writes/s", busy_log(seconds, 2_000), seconds),
            ("20,000 writes/s", busy_log(seconds / 4, 20_000), seconds / 4),
        ]:
            cost = best_of(3, lambda log=log: run(chip, log)) / span
            twin = best_of(2, lambda log=log: run(chip, log, engine="twin")) / span
            trace = run(chip, log)
            changes = ", ".join(f"{n} {len(s) / span:,.0f}" for n, s in (trace.channels | trace.outputs).items())
            icarus = simulated_cost("icarus", log, 0.25, True, folder)
            verilator = simulated_cost("verilator", log, 1.0, False, folder)

            def to_float(log: RegisterLog = log) -> NDArray[np.float64]:
                done = run(chip, log)
                return render_channels(list(done.outputs.values()), CLOCK_HZ, 48_000, full_scale=511)

            def to_wav(log: RegisterLog = log) -> None:
                write_audio(folder / "out.wav", to_float(log), 48_000, overload="scale")

            sound, wav = best_of(2, to_float) / span, best_of(2, to_wav) / span
            print(f"{name}: {span:.1f} s; changes/s: {changes}")
            print(f"  event engine        {1 / cost:8.0f} x real time")
            print(f"  its twin in Python  {1 / twin:8.0f} x real time")
            print(f"  than Icarus + dump  {icarus / cost:8.0f} x faster")
            print(f"  than Verilator bare {verilator / cost:8.0f} x faster")
            print(f"  log to 48 kHz float {1 / sound:8.0f} x real time")
            print(f"  log to 48 kHz WAV   {1 / wav:8.0f} x real time", flush=True)


if __name__ == "__main__":
    main()
