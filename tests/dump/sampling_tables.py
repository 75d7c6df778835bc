"""Sampling a dump from memory, and the result as tables that can be worked by hand."""

from __future__ import annotations

import io
from collections.abc import Sequence

from psgmodel.dump import ClockRule, GridRule, Samples, sample
from psgmodel.steps import Steps
from tests.dump.dump_text import Levels

CLOCK = ClockRule("clk")
VARIABLES = ("wire 1 ! clk", 'wire 4 " q [3:0]')
RESET_VARIABLES = (*VARIABLES, "wire 1 % rst")


def sampled(text: str, names: Sequence[str], rule: ClockRule | GridRule = CLOCK, chunk_bytes: int = 2**18) -> Samples:
    return sample(io.BytesIO(text.encode()), names, rule, chunk_bytes=chunk_bytes)


def entries(samples: Samples, name: str) -> Levels:
    """Return (edge, value), None where unknown."""
    found = samples[name]
    columns = (found.edge.tolist(), found.value.tolist(), found.unknown.tolist())
    return [(e, None if u else v) for e, v, u in zip(*columns, strict=True)]


def table(steps: Steps) -> tuple[Levels, int]:
    """Return (cycle, level), None where unknown, and the end."""
    columns = (steps.cycle.tolist(), steps.level.tolist(), steps.unknown_mask().tolist())
    return [(c, None if u else v) for c, v, u in zip(*columns, strict=True)], steps.end
