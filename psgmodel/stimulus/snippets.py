"""Snippets: the dump that a comparison needs and no more, for each simulator.

Stage: stimulus. In: a `Bench`. Out: a text that names bus, levels and outputs of a test bench, and says how the clock
is left out. The bus, the levels and the outputs change seldom; the clock alone is most of a dump.
"""

from __future__ import annotations

from typing import Literal

from psgmodel.stimulus.bench import Bench

Simulator = Literal["icarus", "verilator", "ghdl"]
SIMULATORS: tuple[Simulator, ...] = ("icarus", "verilator", "ghdl")


def dump_snippet(bench: Bench, simulator: Simulator, *, clock: bool = True, scope: str = "bench") -> str:
    """Return the smallest dump that can be compared.

    Parameters
    ----------
    bench : Bench
    simulator : "icarus", "verilator" or "ghdl"
    clock : bool, optional
        Whether the clock is in it.
    scope : str, optional
        The test bench: a module, or an entity for GHDL.
    """
    if simulator == "ghdl":
        return ghdl_options(bench, clock=clock, scope=scope)
    return _icarus(bench, clock, scope) if simulator == "icarus" else _verilator(bench, clock, scope)


def ghdl_options(bench: Bench, *, clock: bool = True, scope: str = "bench", ended: bool = False) -> str:
    """Return a file for GHDL's ``--read-wave-opt``; `ended` is a signal that exported benches have besides."""
    names = [bench.clock] * clock + [*bench.driven, *(w.signal for w in bench.watched)] + ["ended"] * ended
    return "\n".join(["$ version 1.1", *(f"/{scope}/{name}".lower() for name in names)]) + "\n"


def dump_module(bench: Bench, *, clock: bool = True) -> str:
    """Return a second top module, for benches whose top is the unit itself, as with cocotb in Icarus Verilog."""
    names = [bench.clock] * clock + [*bench.driven, *(w.signal for w in bench.watched)]
    listed = ",\n            ".join(f"{bench.unit}.{name}" for name in names)
    return _MODULE.format(clock="" if clock else " The clock is left out.", unit=bench.unit, listed=listed)


def _icarus(bench: Bench, clock: bool, scope: str) -> str:
    watched = ", ".join(w.signal for w in bench.watched)
    lines = [f"// In Icarus Verilog: into the module {scope}", "initial begin", '    $dumpfile("bench.vcd");']
    if clock:
        lines.append(f"    $dumpvars(0, {bench.clock});  // without this line the clock is left out: {_TELL}")
    lines.append(f"    $dumpvars(0, {', '.join(bench.driven)});")
    lines += [f"    $dumpvars(0, {watched});"] * bool(watched)
    lines += ["end"] if clock else ["end", f"// The clock is left out: {_TELL}"]
    return "\n".join(lines) + "\n"


def _verilator(bench: Bench, clock: bool, scope: str) -> str:
    declared = f"reg {bench.clock};"
    if clock:
        first = [f"// {declared} between two comments leaves the clock out: {_TELL}"]
        first += ["//     /* verilator tracing_off */", f"//     {declared}", "//     /* verilator tracing_on */"]
    else:
        first = [
            f"// The clock is left out: {_TELL}",
            "/* verilator tracing_off */",
            declared,
            "/* verilator tracing_on */",
        ]
    named = ", ".join([*bench.driven, *(w.signal for w in bench.watched)])
    lines = [
        f"// In Verilator: into the module {scope}, whose own signals are {named};",
        "// it takes no names here, so put what should stay out between such comments, and build with",
        "//     $ verilator --binary --timing --trace --trace-depth 1",
        *first,
        "initial begin",
        '    $dumpfile("bench.vcd");',
        f"    $dumpvars(0, {scope});",
        "end",
    ]
    return "\n".join(lines) + "\n"


_TELL = "then compare with --period and --phase, in time units of the dump"

_MODULE = """\
// The dump of a bench whose top is {unit} itself: a second top module, for Icarus Verilog.{clock}
//   $ iverilog ... -s {unit} -s stimulus_dump
`timescale 1ns / 1ns

module stimulus_dump;

    reg [8*1024-1:0] dump;

    initial if ($value$plusargs("dump=%s", dump)) begin
        $dumpfile(dump);
        $dumpvars(0,
            {listed});
    end

endmodule
"""
