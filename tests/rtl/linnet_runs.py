"""Run Linnet's bench and read its dump with pyvcd, a reader that is none of this project's.

Stage: tests. What goes in: register writes and reads in clock cycles. What comes out: for each bench signal the list of
``(cycle, value)`` where it changes, beginning with cycle 0; the value of cycle c stands between edge c and edge c + 1.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from vcd.reader import TokenKind, tokenize

from tests.rtl.simulate import LINNET, EdgeTimes, build_icarus, build_verilator, simulate

ROUTE, TRIM, STATE = 0x00, 0x01, 0x02
A_PITCH, A_TONE, A_NOTE, A_LENGTH, A_SHAPE, A_BEND, A_GO = range(0x08, 0x0F)
B_PITCH, B_TONE, B_NOTE, B_LENGTH, B_SHAPE, B_GO = 0x10, 0x11, 0x12, 0x13, 0x14, 0x16
W_PITCH, W_TONE, W_NOTE, W_LENGTH, W_SHAPE, W_GO = 0x18, 0x19, 0x1A, 0x1B, 0x1C, 0x1E
N_CLOCK, N_TONE, N_NOTE, N_LENGTH, N_SHAPE, N_GO = 0x20, 0x21, 0x22, 0x23, 0x24, 0x26
W_MEMORY = 0x40
START, STOP, BOTH = 1, 2, 3

BUILDERS = {"icarus": build_icarus, "verilator": build_verilator}

Changes = list[tuple[int, int]]


class RawDump(NamedTuple):
    """A dump as it stands: (time, value as text) of every named signal, and the last time stamp."""

    signals: dict[str, list[tuple[int, str]]]
    last_time: int


def read_raw(dump: Path) -> RawDump:
    """Read every signal of the bench by its name below ``bench`` (``level_a``, ``dut.noise.bits``)."""
    names: dict[str, str] = {}
    signals: dict[str, list[tuple[int, str]]] = {}
    scope: list[str] = []
    time = 0
    with dump.open("rb") as stream:
        for token in tokenize(stream):
            if token.kind is TokenKind.SCOPE:
                scope.append(token.scope.ident)
            elif token.kind is TokenKind.UPSCOPE:
                scope.pop()
            elif token.kind is TokenKind.VAR:
                below_bench = scope[scope.index("bench") + 1 :]
                names.setdefault(token.var.id_code, ".".join([*below_bench, token.var.reference]))
            elif token.kind is TokenKind.CHANGE_TIME:
                time = token.time_change
            elif token.kind is TokenKind.CHANGE_VECTOR:
                vector = token.vector_change
                text = vector.value if isinstance(vector.value, str) else format(vector.value, "b")
                signals.setdefault(names[vector.id_code], []).append((time, text))
            elif token.kind is TokenKind.CHANGE_SCALAR:
                signals.setdefault(names[token.scalar_change.id_code], []).append((time, token.scalar_change.value))
    return RawDump(signals, time)


def changes_by_cycle(raw: list[tuple[int, str]], edges: EdgeTimes) -> Changes:
    """Turn time stamps into cycles; every change from cycle 0 on must stand at a rising edge and be known.

    Of several values at one time the last one counts, and a value that is no change is dropped.
    """
    settled: dict[int, int] = {}
    for time, text in raw:
        cycle, rest = divmod(time - edges.phase, edges.period)
        assert cycle < 0 or rest == 0, f"a change at {time} is not at a rising edge"
        known = set(text) <= {"0", "1"}
        assert cycle < 0 or known, f"unknown value {text} at {time}"
        settled[max(cycle, -1)] = int(text, 2) if known else -1
    first = settled.pop(-1, -1)
    found: Changes = [(0, settled.pop(0, first))]
    for cycle, value in settled.items():
        if value != found[-1][1]:
            found.append((cycle, value))
    return found


class Run:
    """One finished simulation; ``run["level_a"]`` is the list of its changes."""

    def __init__(self, raw: RawDump, edges: EdgeTimes) -> None:
        self.raw = raw
        self.edges = edges

    def __getitem__(self, name: str) -> Changes:
        return changes_by_cycle(self.raw.signals[name], self.edges)


class Linnet:
    """A built bench and a folder for its dumps; calling it runs a log."""

    def __init__(self, built: Path, folder: Path) -> None:
        self.built = built
        self.folder = folder

    def __call__(
        self,
        setup: Iterable[tuple[int, int]],
        then: Iterable[tuple[int, int, int]] = (),
        *,
        reads: Iterable[tuple[int, int]] = (),
        cycles: int,
        clock: bool = False,
        full: bool = False,
    ) -> Run:
        """Write `setup` (address, value) from cycle 0 on and `then` (cycle, address, value); read (cycle, address)."""
        log = [(n, "w", address, value) for n, (address, value) in enumerate(setup)]
        log += [(cycle, "w", address, value) for cycle, address, value in then]
        log += [(cycle, "r", address, 0) for cycle, address in reads]
        dump = self.folder / "linnet.vcd"
        edges = simulate(self.built, sorted(log), cycles, dump, clock=clock, full=full)
        return Run(read_raw(dump), edges)


def linnet_in(simulator: str, folder: Path) -> Linnet:
    """Build the RTL for one of `BUILDERS`; a second call with the same folder finds what the first one compiled."""
    return Linnet(BUILDERS[simulator](LINNET, folder / "linnet"), folder / "linnet")


def value_at(changes: Changes, cycle: int) -> int:
    """Return the value that stands in a cycle."""
    return next(value for start, value in reversed(changes) if start <= cycle)
