"""How fast dumps are read: change lists and samples, beside pywellen in the same run.

Run by hand: ``python tests/bench/dump_read.py [megabytes]`` (200 by default). A dump of 22 signals of a made-up
counter design is written to a temporary file; eight signals are kept. Read the ratios, not the seconds.
"""

from __future__ import annotations

import argparse
import random
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pywellen

from psgmodel.dump import ClockRule, read_changes, sample

SIGNALS = [
    *(("clk", 1), ("rst", 1), ("we", 1), ("addr", 4), ("wdata", 8), ("mix", 10), ("lev0", 5), ("lev1", 5)),
    *(("lev2", 5), ("lev3", 5), ("cnt0", 12), ("cnt1", 12), ("cnt2", 12), ("pre", 9), ("lfsr", 15), ("env", 4)),
    *(("tick", 1), ("ph0", 3), ("ph1", 3), ("rdata", 8), ("busy", 1), ("wide", 96)),
]
KEPT = ["clk", "we", "addr", "wdata", "mix", "lev0", "lev1", "lev3"]
CODE = {name: chr(33 + i) for i, (name, _) in enumerate(SIGNALS)}
HALF_PERIOD = 81380


def write_dump(path: Path, size: int) -> None:
    """Write a dump of about `size` bytes."""
    rng = random.Random(1)
    width = dict(SIGNALS)

    def vector(name: str, value: int) -> str:
        return f"b{value:b} {CODE[name]}\n"

    with path.open("w") as file:
        file.write("$timescale 1ps $end\n$scope module tb $end\n")
        file.write("".join(f"$var wire {w} {CODE[n]} {n} $end\n" for n, w in SIGNALS))
        file.write("$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n0!\n")
        file.write("".join(f"bx {CODE[n]}\n" for n, w in SIGNALS if w > 1) + "$end\n")
        done, lines = 0, [""]
        while file.tell() < size:
            for cycle in range(done, done + 5000):
                lines.append(f"#{(2 * cycle + 1) * HALF_PERIOD}\n1!\n" + vector("cnt0", -cycle % 700))
                lines.append(vector("pre", cycle % 512))
                for name, every in (("cnt1", 2), ("cnt2", 3), ("lev0", 4), ("mix", 4), ("lfsr", 8), ("lev1", 16)):
                    if cycle % every == 0:
                        lines.append(vector(name, rng.getrandbits(width[name])))
                for name, every in (("lev3", 16), ("addr", 50), ("wdata", 50), ("wide", 100)):
                    if cycle % every == 1:
                        lines.append(vector(name, rng.getrandbits(width[name])))
                if cycle % 50 < 2:
                    lines.append(f"{1 - cycle % 50}{CODE['we']}\n")
                lines.append(f"#{(2 * cycle + 2) * HALF_PERIOD}\n0!\n")
            done += 5000
            file.write("".join(lines))
            lines.clear()


def pywellen_load(path: Path) -> None:
    """Load the kept signals with pywellen, without turning them into lists."""
    variables = {v.name: v for v in pywellen.Waveform(str(path)).all_vars()}
    for name in KEPT:
        variables[name].signal.value_at(0)


def pywellen_arrays(path: Path) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Load the kept signals with pywellen and turn them into arrays of times and values."""
    variables = {v.name: v for v in pywellen.Waveform(str(path)).all_vars()}
    found = {}
    for name in KEPT:
        changes = variables[name].tv
        times = np.array([t for t, _ in changes], dtype=np.int64)
        values = np.array([v if isinstance(v, int) else -1 for _, v in changes], dtype=np.int64)
        found[name] = (times, values)
    return found


def timed(run: Callable[[], object], times: int) -> tuple[float, float]:
    """Return the best elapsed and the best processor seconds of several runs."""
    elapsed, used = [], []
    for _ in range(times):
        wall, cpu = time.perf_counter(), time.process_time()
        run()
        elapsed.append(time.perf_counter() - wall)
        used.append(time.process_time() - cpu)
    return min(elapsed), min(used)


def main() -> None:
    """Write a dump, read it in every way, print speeds and ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("megabytes", nargs="?", type=int, default=200)
    parser.add_argument("--alone", action="store_true", help="sample only, and print the resident memory")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.vcd"
        write_dump(path, options.megabytes * 1_000_000)
        size = path.stat().st_size / 1e6
        rule = ClockRule("clk")
        ways: dict[str, tuple[Callable[[], object], int]] = {
            "sample at clock edges": (lambda: sample(path, KEPT[1:], rule), 1 if options.alone else 3),
        }
        if not options.alone:
            ways |= {
                "change lists": (lambda: read_changes(path, KEPT), 3),
                "pywellen, load": (lambda: pywellen_load(path), 1),
                "pywellen, load to arrays": (lambda: pywellen_arrays(path), 1),
            }
        print(f"{size:.0f} MB, {len(SIGNALS)} signals, {len(KEPT)} kept")
        results = {name: timed(*way) for name, way in ways.items()}
        for name, (elapsed, used) in results.items():
            print(f"{name:26} {elapsed:7.2f} s {size / elapsed:7.1f} MB/s   {size / used:7.1f} MB per processor second")
        if options.alone:
            print(f"peak resident memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")
        else:
            wellen = results["pywellen, load to arrays"][1]
            for name in ("change lists", "sample at clock edges"):
                print(f"{name}: {wellen / results[name][1]:.2f} times as fast as pywellen to arrays")


if __name__ == "__main__":
    main()
