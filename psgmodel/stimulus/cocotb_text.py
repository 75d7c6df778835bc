"""cocotb: the Python text of a coroutine that replays a log.

Stage: stimulus. In: a `Bench`. Out: the text of a module for cocotb 2, whose coroutine drives clock, reset, write
strobe, address and data of the unit, from a log as CSV.
"""

from __future__ import annotations

from psgmodel.stimulus.bench import Bench
from psgmodel.stimulus.verilog import PERIOD, RESET_EDGES


def cocotb_driver(bench: Bench, *, log: str = "stimulus.csv") -> str:
    """Return the module; it is the same for every log, `log` is what its comment calls the file."""
    ties = "".join(f"    dut.{port}.value = {level}\n" for port, level in bench.ties.items())
    return _MODULE.format(
        unit=bench.unit,
        log=log,
        clock=bench.clock,
        reset=bench.reset,
        write=bench.write,
        address=bench.address,
        data=bench.data,
        active=bench.reset_level,
        idle=1 - bench.reset_level,
        ties=ties,
        period=PERIOD,
        reset_edges=RESET_EDGES,
    )


_MODULE = '''\
"""Replays a register log on {unit} with cocotb 2: clock, reset, write strobe, address and data.

Cycle 0 is the first rising edge that samples the reset inactive; a write at cycle c is sampled by the edge of c.
As a test of its own, with the unit as top: +stimulus={log}, and +cycles=N where not the whole log is wanted.
From a test of yours: ``await drive(dut, read_log("{log}"))``.

With Icarus Verilog, and stimulus_dump.v as a second top module that writes the dump::

    from cocotb_tools.runner import get_runner

    runner = get_runner("icarus")
    sources = ["stimulus_dump.v", "YOUR_FILES.v"]
    runner.build(sources=sources, hdl_toplevel="{unit}", build_args=["-s", "stimulus_dump"])
    runner.test(
        test_module="stimulus_cocotb", hdl_toplevel="{unit}", test_dir=".",
        plusargs=["+stimulus={log}", "+dump=bench.vcd"],
    )

The runner forbids dumps unless the environment has SIM_CMD_SUFFIX=-vcd.
"""

import csv

import cocotb
from cocotb.clock import Clock
from cocotb.triggers import RisingEdge, Timer

PERIOD = {period}  # ns; nominal, for edges are counted
RESET_EDGES = {reset_edges}  # rising edges with the reset active, before cycle 0


def read_log(path):
    """Return the writes (cycle, address, value) and the end of a log."""
    with open(path, encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(line for line in stream if not line.startswith("#")))
    last = rows.pop()
    if last["address"] or last["value"]:
        raise ValueError(f"{{path}}: the last row must be the cycle at which the log ends")
    return [tuple(int(row[key], 0) for key in ("cycle", "address", "value")) for row in rows], int(last["cycle"])


async def drive(dut, log, cycles=0):
    """Drive the unit; with `cycles` 0 to the end of the log. Returns just after the last edge."""
    writes, end = log
    end = cycles or end
    dut.{reset}.value = {active}
    dut.{write}.value = 0
    dut.{address}.value = 0
    dut.{data}.value = 0
{ties}    Clock(dut.{clock}, PERIOD, unit="ns").start(start_high=False)
    now = -RESET_EDGES  # cycle of the latest edge

    await RisingEdge(dut.{clock})

    async def after(cycle):
        """Wait until just after the edge of a cycle."""
        nonlocal now
        if cycle > now:
            await Timer((cycle - now) * PERIOD - PERIOD // 2, unit="ns")
            await RisingEdge(dut.{clock})
            now = cycle

    await after(-1)
    dut.{reset}.value = {idle}
    for cycle, address, value in writes:
        if cycle >= end:
            break
        await after(cycle - 1)
        dut.{write}.value = 1
        dut.{address}.value = address
        dut.{data}.value = value
        await after(cycle)
        dut.{write}.value = 0
    await after(end)
    await Timer(1, unit="ns")


@cocotb.test()
async def replay(dut):
    """Replay the log that +stimulus names."""
    await drive(dut, read_log(cocotb.plusargs["stimulus"]), int(cocotb.plusargs.get("cycles", 0)))
'''
