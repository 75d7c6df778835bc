"""Loads: what hangs on the output.

Stage: the analog side of the output stage. A kind, or resistance and capacitance, in; a frozen `Load` out
(ohm, farad). The resistances are round figures of common practice, no source; the data sheet of what is
really connected goes first.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class LoadKind(Enum):
    """What is connected to the output; the enum value is the word in a file."""

    LINE_INPUT = "line-input"
    HEADPHONE = "headphone"
    AMPLIFIER_INPUT = "amplifier-input"
    OWN = "own"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class Load:
    """A resistor and, optionally, a capacitor beside it, from the output to ground.

    Attributes
    ----------
    kind : LoadKind
    resistance : float or None, ohm
        None: nothing connected (`LoadKind.OPEN`), or a capacitor alone.
    capacitance : float, farad
        0 for none. Cable capacitance belongs here: about 100 pF per metre of screened cable (common practice).
    """

    kind: LoadKind
    resistance: float | None
    capacitance: float = 0.0


LINE_INPUT = Load(LoadKind.LINE_INPUT, 10e3)
"""A line input, 10 kΩ: the low end of common practice, so that a stage that drives it drives others."""

HEADPHONE = Load(LoadKind.HEADPHONE, 32.0)
"""A headphone of 32 Ω, taken as a resistor. A pin alone cannot drive it: see its data sheet, and use a buffer."""

AMPLIFIER_INPUT = Load(LoadKind.AMPLIFIER_INPUT, 22e3, 220e-12)
"""The input of a power amplifier with its filter capacitor: 22 kΩ beside 220 pF."""

OPEN = Load(LoadKind.OPEN, None)
"""Nothing connected."""

LOADS: dict[LoadKind, Load] = {v.kind: v for v in (LINE_INPUT, HEADPHONE, AMPLIFIER_INPUT, OPEN)}
"""The loads known by name; `LoadKind.OWN` has values of the user's own."""
