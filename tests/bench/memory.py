"""How much memory the commands take from end to end: a long log rendered, a large dump compared.

Run by hand: ``python tests/bench/memory.py [MINUTES [MEGABYTES]]`` (60 and 2000); ``TMPDIR`` needs room. Peaks
are what the system reports of the finished process (`resource`, ru_maxrss). The log is a busy one of 200 writes per
second; the dump is that log played by Linnet's RTL under Verilator, without the clock.

Files are made by processes of their own: what a process starts with counts as its peak, so this one stays small.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))
WRITES_PER_SECOND = 200


def make_log(minutes: float, path: str) -> None:
    """Write a busy log."""
    from psgmodel.reglog import save_log
    from tests.bench.busy_logs import busy_log

    save_log(busy_log(60 * minutes, WRITES_PER_SECOND), path)


def make_dump(megabytes: float, path: str) -> None:
    """Simulate as long as a dump of about that size takes."""
    from tests.bench.busy_logs import CLOCK_HZ, busy_log
    from tests.rtl.against_model import one_write_a_cycle
    from tests.rtl.simulate import LINNET, build_verilator, simulate

    with tempfile.TemporaryDirectory() as folder:
        built = build_verilator(LINNET, Path(folder))
        seconds = 1.0
        for _ in range(2):
            log = one_write_a_cycle(busy_log(seconds, WRITES_PER_SECOND), round(seconds * CLOCK_HZ))
            rows = zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True)
            simulate(built, [(c, "w", a, v) for c, a, v in rows], log.end, Path(path), clock=False)
            seconds *= megabytes * 1e6 / os.path.getsize(path)


def peak_of(*words: str) -> str:
    """Run a command and return its peak of memory and its time in words."""
    begin = time.perf_counter()
    child = os.fork()
    if child == 0:
        os.execv(sys.executable, [sys.executable, *words])
    _, status, usage = os.wait4(child, 0)
    assert os.waitstatus_to_exitcode(status) == 0, words
    return f"peak {usage.ru_maxrss / 1024:.0f} MiB, {time.perf_counter() - begin:.0f} s"


def main() -> None:
    """Make the files, run the commands, print the peaks."""
    minutes = sys.argv[1] if len(sys.argv) > 1 else "60"
    megabytes = sys.argv[2] if len(sys.argv) > 2 else "2000"
    chip, signals = str(ROOT / "patches" / "linnet.toml"), str(ROOT / "patches" / "linnet-bench.toml")
    with tempfile.TemporaryDirectory() as folder:
        log, sound, dump = (str(Path(folder) / name) for name in ("log.csv", "log.wav", "dump.vcd"))
        if float(minutes):
            peak_of(__file__, "--log", minutes, log)
            peak = peak_of("-m", "psgmodel", "render", log, "--chip", chip, "-o", sound, "--overload", "scale")
            print(f"render, {minutes} minutes, {os.path.getsize(sound) / 1e6:.0f} MB of sound: {peak}", flush=True)
            os.unlink(sound)
        if float(megabytes):
            peak_of(__file__, "--dump", megabytes, dump)
            peak = peak_of("-m", "psgmodel", "compare", dump, "--chip", chip, "--map", signals)
            print(f"compare, {os.path.getsize(dump) / 1e6:.0f} MB of dump: {peak}", flush=True)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--log"]:
        make_log(float(sys.argv[2]), sys.argv[3])
    elif sys.argv[1:2] == ["--dump"]:
        make_dump(float(sys.argv[2]), sys.argv[3])
    else:
        main()
