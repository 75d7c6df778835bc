"""Mixing: what the mixer can do.

Stage: coverage. In: a chip. Out: behaviours over `Happenings`.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import gcd

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.coverage.bins import Chapter
from psgmodel.coverage.columns import Mask
from psgmodel.coverage.loudest import extremes, levels
from psgmodel.coverage.reach import Reach, first_of, held_values
from psgmodel.coverage.values import MOST_VALUES

LASTING = 16
"""Cycles that a setting of the mixer has to meet a sounding channel; common practice, no source."""


def _once(found: object) -> Mask:
    return np.array([bool(found)])


def mixer(c: Chapter, chip: Chip, reaches: dict[str, Reach]) -> None:
    """Write down what the mixer does."""
    m = chip.mixer
    for output in chip.unit.outputs:
        trims = held_values(chip, f"mixer.{output}.trim")
        muted = "" if any(m.trims[t] for t in trims) else f"the trim of {output} is always 0"
        for name, reach in reaches.items():
            field = f"mixer.{output}.{name}"
            silent = first_of(reach.never_active, reach.no_volume(), "" if m.gains[name] else reach.silent)
            held = held_values(chip, field)
            for value in range(min(len(m.routes), MOST_VALUES)):
                c.add(
                    f"{output}.{name}={value}",
                    f"{name} sounds while its route to {output} is {value}",
                    lambda h, f=field, v=value, n=name, s=silent: _once(
                        not s and h.overlap(h.fields[f], v, h.loud(n)) >= LASTING
                    ),
                    silent,
                    "" if value in held else f"{field} is the constant {held[0]}",
                )
            through = any(m.routes[v] for v in held) and m.gains[name]
            c.add(
                f"{output}.{name}-alone",
                f"{name} alone in {output}",
                lambda h, o=output, n=name: _once(n in h.sums[o].alone),
                "" if any(levels(reach)) else first_of(reach.silent, f"{name} has no level but 0"),
                "" if through else f"{output} never lets {name} through",
                muted,
                _never_alone(chip, output, name, reaches),
            )
        field = f"mixer.{output}.trim"
        for value in range(len(m.trims)) if len(m.trims) > 1 else ():
            c.add(
                f"{output}.trim={value}",
                f"a channel sounds while the trim of {output} is {value}",
                lambda h, f=field, v=value: _once(h.overlap(h.fields[f], v, h.anything_loud) >= LASTING),
                "" if value in trims else f"{field} is the constant {trims[0]}",
            )
        _sums(c, chip, output, reaches, trims)


def _sums(c: Chapter, chip: Chip, output: str, reaches: dict[str, Reach], trims: Sequence[int]) -> None:
    """Write down what the sum of an output meets."""
    m = chip.mixer
    low, high = extremes(chip, output, reaches)
    factors = [m.trims[t] for t in trims]
    top = max(high * f for f in factors) >> m.trim_shift
    bottom = min(low * f for f in factors) >> m.trim_shift
    largest = (1 << m.bits) - 1
    does = "is held at the" if m.overflow == "saturate" else "wraps around past the"
    c.add(
        f"{output}.over",
        f"the code {does} top",
        lambda h, o=output: _once(h.sums[o].over),
        "" if top + m.offset > largest else f"the sum never passes {top + m.offset}, and {largest} fits",
    )
    c.add(
        f"{output}.under",
        f"the code {does} bottom",
        lambda h, o=output: _once(h.sums[o].under),
        "" if bottom + m.offset < 0 else f"the sum never falls below {bottom + m.offset}",
    )
    if m.trim_shift:
        odd = 1 << m.trim_shift
        c.add(
            f"{output}.fraction",
            "a product that the shift rounds down",
            lambda h, o=output: _once(h.sums[o].fraction),
            ""
            if any(f * _common(chip, output, reaches) % odd for f in factors)
            else f"every product is a multiple of {odd}",
        )
    together = sum(1 for name, r in reaches.items() if any(levels(r)) and _through(chip, output, name))
    for count in sorted({2, max(2, together)}):
        c.add(
            f"{output}.together-{count}",
            f"{count} channels at once in {output}",
            lambda h, o=output, k=count: _once(h.sums[o].together >= k),
            "" if together >= count > 1 else f"{output} has fewer channels",
            "" if any(factors) else f"the trim of {output} is always 0",
        )


def _never_alone(chip: Chip, output: str, name: str, reaches: dict[str, Reach]) -> str:
    """Say which other channel an output always lets through with a level that is not 0."""
    m = chip.mixer
    for other, reach in reaches.items():
        if other == name or m.gains[other] == 0 or 0 in levels(reach):
            continue
        if all(m.routes[v] for v in held_values(chip, f"mixer.{output}.{other}")):
            return f"{output} always lets {other} through, whose level is never 0"
    return ""


def _common(chip: Chip, output: str, reaches: dict[str, Reach]) -> int:
    """Return a number that every sum of an output is a multiple of."""
    m = chip.mixer
    found = 0
    for name, reach in reaches.items():
        table = reach.channel.table
        rounds = table is not None and (table.volume == "shift" or table.volume_shift > 0)
        part = m.gains[name] * (1 if rounds else gcd(*levels(reach)))
        found = gcd(found, *(part * m.routes[v] for v in held_values(chip, f"mixer.{output}.{name}")))
    return found


def _through(chip: Chip, output: str, name: str) -> bool:
    routes = [chip.mixer.routes[v] for v in held_values(chip, f"mixer.{output}.{name}")]
    return any(routes) and chip.mixer.gains[name] > 0
