"""Memory does not grow with the dump: only what is asked for is kept, and of the clock nothing."""

from __future__ import annotations

import io
import subprocess
import sys
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

from psgmodel.dump import ClockRule, Samples, sample
from tests.dump.dump_text import header

TEXT = header("wire 1 ! clk", 'wire 8 " slow [7:0]', "wire 16 # fast [15:0]", "wire 200 % wide [199:0]")


class Generated(io.BytesIO):
    """A dump of `cycles` clock cycles that is made while it is read."""

    def __init__(self, cycles: int) -> None:
        super().__init__()
        self._parts = self._lines(cycles)
        self._rest = b""
        self.made = 0

    @staticmethod
    def _lines(cycles: int) -> Iterator[bytes]:
        yield TEXT.encode() + b"#0\n0!\n"
        for first in range(0, cycles, 1000):
            lines = [f'b{first // 1000 % 256:b} "\nb{"10" * 100} %\n']
            for c in range(first, first + 1000):
                lines.append(f"#{10 * c + 5}\n1!\nb{c & 65535:b} #\n#{10 * c + 10}\n0!\n")
            yield "".join(lines).encode()

    def read(self, size: int | None = -1) -> bytes:
        self._rest = self._rest or next(self._parts, b"")
        taken, self._rest = self._rest[:size], self._rest[size:]
        self.made += len(taken)
        return taken


def peak(cycles: int) -> tuple[float, int, Samples]:
    """Return the peak of memory in megabytes, the bytes read, and the samples."""
    stream = Generated(cycles)
    tracemalloc.start()
    found = sample(stream, ["slow"], ClockRule("clk"), chunk_bytes=2**16)
    high = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return high / 1e6, stream.made, found


def test_sampling_a_dump_four_times_as_long_takes_no_more_memory() -> None:
    short, short_bytes, _ = peak(20_000)
    long, long_bytes, found = peak(80_000)
    assert long_bytes > 3.9 * short_bytes > 2_000_000
    assert long < short + 0.2
    assert long < 10
    assert found.edges == 80_000
    assert len(found.steps("slow")) == 80


def test_standard_input_is_read_as_a_stream(tmp_path: Path) -> None:
    script = (
        "from psgmodel.dump import ClockRule, sample\n"
        "found = sample('-', ['slow'], ClockRule('clk'))\n"
        "print(found.file, found.edges, found.steps('slow').level.tolist())\n"
    )
    data = b"".join(Generated._lines(3000))
    done = subprocess.run([sys.executable, "-c", script], input=data, capture_output=True, check=False)
    assert (done.stdout.decode(), done.stderr.decode()) == ("- 3000 [0, 1, 2]\n", "")
