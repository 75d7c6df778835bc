"""A unit of one channel, built from the options that a test is about, and played by all engines.

Every field has a register of its own. The tick "t" is at edges 10, 20, 30 and so on.
"""

from __future__ import annotations

from functools import cache

from psgmodel.chip import Chip, parse_chip
from psgmodel.engine import Trace
from psgmodel.reglog import make_log
from tests.engine.engines import agreed
from tests.engine.linnet_plays import Table, Write, table_of

GO, VOLUME, PERIOD, PERIOD_HIGH, LENGTH, ENABLE, FADE, RISING = range(8)
GLIDE, FALLING, SHIFT, PATTERN, DIVISOR, CLOCK_SHIFT, SHORT, TRIM = range(8, 16)
MEMORY = 32
START, STOP = 1, 2

_FIELDS = {
    "timer": {"timer.length": LENGTH, "timer.enable": ENABLE},
    "envelope": {"envelope.period": FADE, "envelope.rising": RISING},
    "sweep": {"sweep.period": GLIDE, "sweep.falling": FALLING, "sweep.shift": SHIFT},
}


@cache
def unit(
    kind: str = "square",
    *,
    step: str = "bits = 4",
    options: str = "",
    patterns: str = '["10"]',
    volume_bits: int = 3,
    timer: str = "",
    envelope: str = "",
    sweep: str = "",
    table: str = "",
    register: str = "",
    bus: str = "",
    mixer: str = "bits = 16",
    wires: tuple[tuple[str, int, str], ...] = (),
) -> Chip:
    """Describe the unit; `wires` are further (field, address, bits) beside those that the blocks must have."""
    lines = [
        "format = 1",
        f"mixer = {{ {mixer} }}",
        "[unit]",
        'name = "One"',
        "clock_hz = 1_000_000",
        'outputs = ["out"]',
    ]
    lines += ["[bus]", "data_bits = 16", bus, "[ticks]", "t = { every = 10, first = 10 }", "[channel.x]"]
    lines += [f'kind = "{kind}"', f"volume_bits = {volume_bits}", f"step = {{ {step} }}", options]
    fields = {"volume": VOLUME}
    if kind == "square":
        lines += [f"patterns = {patterns}"]
    if kind != "noise" and not any(name.startswith("x.period") for name, _, _ in wires):
        fields["period"] = PERIOD
    for block, text in (("timer", timer), ("envelope", envelope), ("sweep", sweep)):
        if text:
            lines += [f'{block} = {{ ticks = "t", {text} }}']
            fields |= _FIELDS[block]
    for block, text in (("table", table), ("register", register)):
        if text:
            lines += [f"{block} = {{ {text} }}"]
    widths = {"volume": volume_bits, "period": 4, "timer.length": 3, "envelope.period": 2, "sweep.period": 2}
    widths["sweep.shift"] = 2
    for name, address in fields.items():
        lines += ["[[register]]", f'name = "R{address}"', f"address = {address}"]
        lines += [f"reset = {1 if name == 'timer.enable' else 0}"]
        high = widths.get(name, 1) - 1
        lines += [f'fields = [{{ bits = "{high}:0", drives = "x.{name}" }}]']
    for name, address, bits in wires:
        lines += ["[[register]]", f'name = "R{address}"', f"address = {address}"]
        lines += [f'fields = [{{ bits = "{bits}", drives = "{name}" }}]']
    lines += ["[[register]]", 'name = "GO"', f"address = {GO}"]
    lines += ['fields = [{ bits = "0", strobes = "x.start" }, { bits = "1", strobes = "x.stop" }]']
    if kind == "wave":
        lines += ["[[memory]]", 'name = "M"', 'channel = "x"', f"address = {MEMORY}"]
    return parse_chip("\n".join(lines))


def run_all(chip: Chip, setup: list[tuple[int, int]], then: list[Write], end: int) -> Trace:
    """Run `setup` written at edge 0 and the writes after it through all engines, which must agree."""
    rows = [(0, address, value) for address, value in setup] + then
    log = make_log(*([row[i] for row in rows] for i in range(3)), end=end)
    return agreed(chip, log)


def sounds(chip: Chip, setup: list[tuple[int, int]], then: list[Write], end: int) -> Table:
    """What the channel does, as (cycle, level) pairs."""
    return table_of(run_all(chip, setup, then, end)["x"])
