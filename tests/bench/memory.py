"""How much memory the commands take from end to end: a long log rendered, a large dump compared.

Run by hand: ``python tests/bench/memory.py [MINUTES [MEGABYTES]]`` (60 and 2000); ``TMPDIR`` needs room. Peaks
are what the system reports of the finished process (`resource`, ru_maxrss). The log is a busy one of 200 writes per
second; the dump is that log played by Linnet's RTL under Verilator, without the clock. It is compared as it is; with
one level of the noise wrong near the start, or near the end; and with one wrong in every 20 kB.

Files are made by processes of their own: what a process starts with counts as its peak, so this one stays small.
"""

from __future__ import annotations

import mmap
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


def flip_levels(path: str, share: float, every: int) -> None:
    """Turn the lowest bit of a level of the noise, in place, at a share of the dump, and then of one in so many bytes.

    `every` 0: of that one alone. Doing so again makes the dump what it was.
    """
    with open(path, "r+b") as file, mmap.mmap(file.fileno(), 0) as dump:
        code = bytes(dump[:4096]).split(b" level_n")[0].split()[-1]
        at = dump.find(b" " + code + b"\n", int(len(dump) * share))
        while at >= 0:
            dump[at - 1] ^= 1  # "0" and "1" differ in their lowest bit
            at = dump.find(b" " + code + b"\n", at + every) if every else -1


def peak_of(*words: str, status: int = 0) -> tuple[str, float]:
    """Run a command that exits as expected; return its peak of memory and its time in words, and processor seconds."""
    begin = time.perf_counter()
    child = os.fork()
    if child == 0:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        os.execv(sys.executable, [sys.executable, *words])
    _, ended, usage = os.wait4(child, 0)
    assert os.waitstatus_to_exitcode(ended) == status, words
    took = usage.ru_utime + usage.ru_stime
    peak = f"peak {usage.ru_maxrss} kB ({usage.ru_maxrss / 1024:.0f} MiB)"
    return f"{peak}, {time.perf_counter() - begin:.0f} s, of a processor {took:.0f} s", took


def compare_dump(megabytes: str, dump: str) -> None:
    """Make a dump; compare it, then with one wrong level, then with many; print the peaks."""
    chip, signals = str(ROOT / "patches" / "linnet.toml"), str(ROOT / "patches" / "linnet-bench.toml")
    command = ("-m", "psgmodel", "compare", dump, "--chip", chip, "--map", signals)
    peak_of(__file__, "--dump", megabytes, dump)
    size = os.path.getsize(dump) / 1e6
    peak, agreeing = peak_of(*command)
    print(f"compare, {size:.0f} MB of dump that agrees: {peak}", flush=True)
    for told, share, every in (
        ("once, early", "0.02", "0"),
        ("once, late", "0.9", "0"),
        ("all along", "0.02", "20000"),
    ):
        peak_of(__file__, "--flip", dump, share, every)
        peak, took = peak_of(*command, status=1)
        print(f"compare, one that differs {told}: {peak}, {took / agreeing:.2f} times that of agreeing", flush=True)
        peak_of(__file__, "--flip", dump, share, every)


def main() -> None:
    """Make the files, run the commands, print the peaks."""
    minutes = sys.argv[1] if len(sys.argv) > 1 else "60"
    megabytes = sys.argv[2] if len(sys.argv) > 2 else "2000"
    chip = str(ROOT / "patches" / "linnet.toml")
    with tempfile.TemporaryDirectory() as folder:
        log, sound, dump = (str(Path(folder) / name) for name in ("log.csv", "log.wav", "dump.vcd"))
        if float(minutes):
            peak_of(__file__, "--log", minutes, log)
            peak, _ = peak_of("-m", "psgmodel", "render", log, "--chip", chip, "-o", sound, "--overload", "scale")
            print(f"render, {minutes} minutes, {os.path.getsize(sound) / 1e6:.0f} MB of sound: {peak}", flush=True)
            os.unlink(sound)
        if float(megabytes):
            compare_dump(megabytes, dump)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--log"]:
        make_log(float(sys.argv[2]), sys.argv[3])
    elif sys.argv[1:2] == ["--dump"]:
        make_dump(float(sys.argv[2]), sys.argv[3])
    elif sys.argv[1:2] == ["--flip"]:
        flip_levels(sys.argv[2], float(sys.argv[3]), int(sys.argv[4]))
    else:
        main()
