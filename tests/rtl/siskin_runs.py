"""Run Siskin's bench in GHDL; its dump is read as Linnet's is, with pyvcd, a reader that is none of this project's.

Stage: tests. What goes in: register writes and looks at registers in clock cycles. What comes out: for each signal of
the bench the list of ``(cycle, value)`` where it changes, beginning with cycle 0; the value of cycle c stands between
edge c and edge c + 1. ``level_v`` is given as its 8 bits stand in the dump, unsigned.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from tests.rtl.linnet_runs import Run, read_raw, value_at
from tests.rtl.simulate_vhdl import SISKIN, Built, build_ghdl, simulate_ghdl

CONTROL, BEAT, ROUTE, STATUS = range(0x00, 0x04)
P_TUNE, P_LEVEL, P_TIME, P_SLIDE, P_KEY = range(0x10, 0x15)
Q_TUNE, Q_LEVEL, Q_TIME, Q_SLIDE, Q_KEY = range(0x18, 0x1D)
U_TUNE, U_LEVEL, U_TIME, U_KEY = 0x20, 0x21, 0x22, 0x24
V_TUNE, V_TIME, V_KEY = 0x28, 0x2A, 0x2C
X_TUNE, X_LEVEL, X_TIME, X_KEY = 0x30, 0x31, 0x32, 0x34
Y_TUNE, Y_TIME, Y_KEY = 0x38, 0x3A, 0x3C
U_MEMORY, V_MEMORY = 0x40, 0x50
START, STOP, BOTH = 1, 2, 3
ON = 1
"""Power bit of CONTROL."""

Write = tuple[int, int, int]
"""(edge at which the write takes place, index, value)"""


class Siskin:
    """A built bench and a folder for its dumps; calling it runs a log."""

    def __init__(self, built: Built, folder: Path) -> None:
        self.built = built
        self.folder = folder

    def __call__(
        self,
        setup: Iterable[tuple[int, int]],
        then: Iterable[Write] = (),
        *,
        cycles: int,
        watch: tuple[int, int] | None = None,
        looks: Iterable[tuple[int, int]] = (),
        bus: Iterable[tuple[int, str, int, int]] = (),
        clock: bool = False,
    ) -> Run:
        """Write registers and look at them.

        `setup` holds (index, value), which take place at edges 2, 4, 6 and so on; `then` has writes that take place at
        a given edge. A register takes two bus actions: the index, two edges before the write takes place, and the data,
        one edge before. `watch` (cycle, index) makes ``dout`` show a register from that cycle on, until something else
        moves the index; `looks` are several of these. `bus` are bare bus actions.
        """
        log = list(bus)
        for edge, index, value in (*((2 * n + 2, i, v) for n, (i, v) in enumerate(setup)), *then):
            log += [(edge - 2, "w", 0, index), (edge - 1, "w", 1, value)]
        for cycle, index in (*looks, *([watch] if watch else [])):
            log += [(cycle - 1, "w", 0, index), (cycle, "r", 1, 0)]
        dump = self.folder / "siskin.vcd"
        edges = simulate_ghdl(self.built, sorted(log), cycles, dump, clock=clock)
        return Run(read_raw(dump), edges)

    def read(self, setup: Iterable[tuple[int, int]], then: Iterable[Write], index: int, cycle: int) -> int:
        """Return what a register reads in a cycle; `then` must end two edges before it."""
        return value_at(self(setup, then, cycles=cycle + 1, watch=(cycle, index))["dout"], cycle)


def siskin_in(folder: Path) -> Siskin:
    """Analyse the RTL; a second call with the same folder finds what the first one made."""
    return Siskin(build_ghdl(SISKIN, folder / "siskin"), folder / "siskin")


def channel_bits(run: Run, cycle: int) -> str:
    """Name the active channels, where ``dout`` shows STATUS in that cycle (section 4)."""
    status = value_at(run["dout"], cycle)
    assert status & 0xFFC0 == 0x8000, f"{status:#06x} is no STATUS"
    return "".join(name for bit, name in enumerate("PQUVXY") if status >> bit & 1)
