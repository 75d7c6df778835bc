"""Hand-made dumps, written with pyvcd: a bench of Linnet whose levels the test chooses.

Stage: tests. In: levels as lists of (cycle, value), writes as (cycle, address, value). Out: a VCD file laid out as the
bench of the RTL lays its own out: edge c at ``PHASE + c * PERIOD``, the level of cycle c from that time on, the bus
of cycle c from the edge before it on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from vcd import VCDWriter

PERIOD, RESET_EDGES = 162, 5
PHASE = PERIOD // 2 + PERIOD * RESET_EDGES

Changes = Sequence[tuple[int, int | str]]
WIDTHS = {"level_a": 5, "level_b": 5, "level_w": 6, "level_n": 5, "out_left": 9, "out_right": 9}


def write_dump(
    path: Path,
    signals: Mapping[str, Changes],
    writes: Iterable[tuple[int, int, int]],
    cycles: int,
    *,
    widths: Mapping[str, int] | None = None,
    clock: bool = True,
    bus: bool = True,
    reset_again: int | None = None,
) -> Path:
    """Write a dump of `cycles` counted edges; a value is an int, or "x"."""
    widths = {**WIDTHS, **(widths or {})}
    events: list[tuple[int, str, int | str]] = []
    for edge in range(-RESET_EDGES, cycles):
        if clock:
            events.append((PHASE + edge * PERIOD, "clk", 1))
            events.append((PHASE + edge * PERIOD + PERIOD // 2, "clk", 0))
    events.append((PHASE - PERIOD, "rst", 0))
    if reset_again is not None:
        events.append((PHASE + (reset_again - 1) * PERIOD, "rst", 1))
    if bus:
        for cycle, address, value in writes:
            time = PHASE + (cycle - 1) * PERIOD
            events += [(time, "wr", 1), (time, "addr", address), (time, "wdata", value), (time + PERIOD, "wr", 0)]
    for name, changes in signals.items():
        events += [(max(0, PHASE + cycle * PERIOD), name, value) for cycle, value in changes]
    events = [e for e in events if e[0] < PHASE + cycles * PERIOD - PERIOD // 2]
    # a strobe that falls for one write and rises for the next one at the same time stays up
    events.sort(key=lambda e: (e[0], e[1] == "wr" and e[2] == 1))
    with path.open("w", encoding="ascii") as stream, VCDWriter(stream, timescale="1 ns") as writer:
        wires = {}
        names = (["clk"] if clock else []) + ["rst"] + (["wr", "addr", "wdata"] if bus else []) + list(signals)
        for name in names:
            width = {"addr": 7, "wdata": 8}.get(name, widths.get(name, 1))
            init: int | str = 1 if name == "rst" else 0 if width == 1 and name not in signals else "x"
            wires[name] = writer.register_var("bench", name, "wire", size=width, init=init)
        for time, name, value in events:
            writer.change(wires[name], time, value)
        writer.close(PHASE + (cycles - 1) * PERIOD + PERIOD // 2)
    return path


def changes_of(cycles: Iterable[int], levels: Iterable[int]) -> list[tuple[int, int | str]]:
    """Return arrays of a signal as a list of changes, with the first level standing since the reset."""
    found: list[tuple[int, int | str]] = [(int(c), int(v)) for c, v in zip(cycles, levels, strict=True)]
    return [(-RESET_EDGES, found[0][1]), *found[1:]] if found else []
