"""The two demo chips under their simulators, as the library of faults needs them.

Stage: tests. In: RTL as text, a log. Out: a dump without its clock; the command that makes one, for shrinking. Linnet
runs in Verilator (in Icarus Verilog where unknown values are the fault, or a run is short), Siskin in GHDL.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from psgmodel.chip import Chip, load_chip
from psgmodel.dump.observe import Observation, observe
from psgmodel.dump.signal_map import SignalMap, parse_map
from psgmodel.reglog import RegisterLog
from tests.quality.fault_library import RTL
from tests.rtl.simulate import build_icarus, build_verilator, simulate, verilator_program
from tests.rtl.simulate_vhdl import SIGNALS, build_ghdl, simulate_ghdl

PATCHES = Path(__file__).parents[2] / "patches"
ROW = "{cycle} w {address} {value}"
"""What both benches read."""
GHDL_CLOCK = "period = 83_333_334\nphase = 41_666_667"
"""Clock of Siskin's bench in femtoseconds (tests/rtl/siskin_bench.vhd)."""


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """A demo chip with its bench."""

    name: str
    chip: Chip
    map_text: str

    @property
    def chip_file(self) -> Path:
        """The description."""
        return PATCHES / f"{self.name}.toml"

    def signal_map(self) -> SignalMap:
        """Return what each signal of the dump is."""
        return parse_map(self.map_text, self.chip)

    def write_rtl(self, text: str, folder: Path, name: str) -> Path:
        """Write RTL to a file of its own."""
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / f"{name}{RTL[self.name].suffix}"
        path.write_text(text, encoding="utf-8")
        return path

    def dump(self, rtl: Path, log: RegisterLog, dump: Path, *, icarus: bool = False) -> Path:
        """Simulate some RTL over a log; what is built stays beside the RTL."""
        columns = (log.cycle.tolist(), log.address.tolist(), log.value.tolist())
        rows = [(cycle, "w", address, value) for cycle, address, value in zip(*columns, strict=True)]
        if self.name == "siskin":
            simulate_ghdl(build_ghdl(rtl, rtl.parent / "built"), rows, log.end, dump, clock=False)
        else:
            built = (build_icarus if icarus else build_verilator)(rtl, rtl.parent / "built")
            simulate(built, rows, log.end, dump, clock=False)
        return dump

    def command(self, rtl: Path, *, icarus: bool = False) -> str:
        """Return a command template that simulates some RTL, as a designer gives it to ``psgmodel shrink``."""
        if self.name == "siskin":
            folder = build_ghdl(rtl, rtl.parent / "built").folder
            signals = folder / "signals.opt"
            signals.write_text("".join(["$ version 1.1\n", *(f"/bench/{n}\n" for n in SIGNALS)]), encoding="ascii")
            command = f"ghdl -r --std=08 --workdir={folder} bench -glog_name={{log}} -gcycles={{cycles}}"
            return f"{command} --vcd-nodate --read-wave-opt={signals} --vcd={{dump}}"
        arguments = "+reset_edges=5 +log={log} +dump={dump} +cycles={cycles}"
        if icarus:
            return f"vvp -N {build_icarus(rtl, rtl.parent / 'built')} +noclk {arguments}"
        return f"{verilator_program(build_verilator(rtl, rtl.parent / 'built'), False, False)} {arguments}"

    def observed(self, dump: Path) -> Observation:
        """Read a dump."""
        return observe(str(dump), self.chip, self.signal_map())


@cache
def bench_of(name: str) -> Bench:
    """Return the bench of a demo chip."""
    text = (PATCHES / f"{name}-bench.toml").read_text(encoding="utf-8").replace('signal = "bench.clk"', GHDL_CLOCK)
    return Bench(name, load_chip(PATCHES / f"{name}.toml"), text)
