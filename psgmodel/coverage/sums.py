"""Sums: what the mixer adds up.

Stage: coverage. In: channel levels of a run, mixer fields over time. Out: what is seen of the sums of an output. The
compiled kernel looks at them as it mixes; where it is not there, NumPy does, piece by piece.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.coverage.columns import Ints, Mask
from psgmodel.coverage.moments import Moments
from psgmodel.engine.kernel.library import Library
from psgmodel.engine.kernel.outputs import see_compiled
from psgmodel.steps import Steps, constant_steps, merged_cycles, steps_from_changes

PIECE = 1 << 18
"""Cycles that are looked at in one go."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What is seen of an output.

    Attributes
    ----------
    over, under : bool
        Whether a code passes the top, or falls below 0, before it is fitted to its width.
    fraction : bool
        Whether the shift rounds a product of sum and trim down.
    alone : frozenset of str
        Channels that are alone at some time: the only ones that are not 0 in it.
    together : int
        Most channels at one time.
    """

    over: bool = False
    under: bool = False
    fraction: bool = False
    alone: frozenset[str] = frozenset()
    together: int = 0


def seen_sums(
    chip: Chip,
    levels: Mapping[str, Steps],
    fields: Mapping[str, Steps],
    library: Library | None,
) -> dict[str, Seen]:
    """Return what is seen of each output; `fields` are the mixer's. Without a library in Python."""
    outputs = chip.unit.outputs
    if not next(iter(levels.values())):
        return dict.fromkeys(outputs, Seen())
    if library is None:
        return {output: _seen_in_python(chip, output, levels, fields) for output in outputs}
    return {
        output: Seen(
            found["over"] != 0,
            found["under"] != 0,
            found["fraction"] != 0,
            frozenset(name for i, name in enumerate(chip.channels) if found["alone"] >> i & 1),
            found["together"],
        )
        for output, found in see_compiled(library, chip, outputs, levels, fields).items()
    }


def _seen_in_python(chip: Chip, output: str, levels: Mapping[str, Steps], fields: Mapping[str, Steps]) -> Seen:
    cycles = merged_cycles([s.cycle for s in [*levels.values(), *fields.values()]])
    parts = [_part(chip, output, levels, fields, cycles[at : at + PIECE]) for at in range(0, cycles.size, PIECE)]
    return Seen(
        any(p.over for p in parts),
        any(p.under for p in parts),
        any(p.fraction for p in parts),
        frozenset().union(*(p.alone for p in parts)),
        max(p.together for p in parts),
    )


def _part(chip: Chip, output: str, levels: Mapping[str, Steps], fields: Mapping[str, Steps], cycles: Ints) -> Seen:
    """Return what is seen in some cycles."""
    m = chip.mixer
    routes = np.array(m.routes, dtype=np.int64)
    trim = fields.get(f"mixer.{output}.trim", constant_steps(0, 0, int(cycles[-1]) + 1))
    trims = np.array(m.trims, dtype=np.int64)[trim.at(cycles)]
    total, count = np.zeros(cycles.size, np.int64), np.zeros(cycles.size, np.int64)
    shown: dict[str, Mask] = {}
    for name, level in levels.items():
        part = level.at(cycles) * m.gains[name] * routes[fields[f"mixer.{output}.{name}"].at(cycles)]
        shown[name] = (part != 0) & (trims > 0)
        total, count = total + part, count + shown[name]
    products = total * trims
    codes = (products >> m.trim_shift) + m.offset
    over, under = bool(np.any(codes > (1 << m.bits) - 1)), bool(np.any(codes < 0))
    alone = frozenset(name for name, there in shown.items() if np.any(there & (count == 1)))
    odd = bool(np.any(products % (1 << m.trim_shift)))
    return Seen(over, under, odd, alone, int(count.max()))


def over_time(m: Moments, before: Ints, after: Ints, end: int) -> Steps:
    """Return what stood before the first edge that was shown, and what stands after each of them."""
    if not m.edge.size:
        return constant_steps(0, 0, end)
    first = [] if m.edge[0] == 0 else [0]
    return steps_from_changes(np.append(np.array(first, np.int64), m.edge), np.append(before[: len(first)], after), end)
