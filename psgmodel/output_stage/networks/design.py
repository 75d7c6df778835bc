"""Design of output networks by closed forms: starting values for a search, and figures to judge a candidate by.

Stage: design of output networks. Frequencies (hertz), resistances (ohm), capacitances (farad), inductances (henry),
volts and seconds in and out; no network is solved here. Every function raises `StageError` for an argument that is
not positive. Sources stand with each formula.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from psgmodel.errors import StageError
from psgmodel.output_stage.networks.ladder import Section, series, shunt
from psgmodel.output_stage.networks.records import PartKind

TWO_PI = 2 * math.pi


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (value > 0 and math.isfinite(value)):
            raise StageError(f"{name.replace('_', ' ')} is {value}; accepted is a positive number")


def rc_corner(resistance: float, capacitance: float) -> float:
    """Return the -3 dB frequency (Hz) of a resistor and a capacitor: ``1 / (2 pi R C)``. Textbook.

    The same formula gives the lower corner of a coupling capacitor into a load.
    """
    _positive(resistance=resistance, capacitance=capacitance)
    return 1 / (TWO_PI * resistance * capacitance)


def capacitance_for_corner(frequency: float, resistance: float) -> float:
    """Return the capacitance (farad) that gives an RC corner (Hz) with a resistance (ohm); inverse of `rc_corner`."""
    return rc_corner(resistance, frequency)


def resistance_for_corner(frequency: float, capacitance: float) -> float:
    """Return the resistance (ohm) that gives an RC corner (Hz) with a capacitance (farad); inverse of `rc_corner`."""
    return rc_corner(capacitance, frequency)


def coupling_capacitance(frequency: float, load: float, source: float = 0.0) -> float:
    """Return the coupling capacitance (farad) for a lower corner (Hz) from `source` into `load` (ohm). Textbook."""
    return rc_corner(load + source, frequency)


class RcRc(NamedTuple):
    """Two RC sections in cascade, unbuffered: ohm and farad."""

    r1: float
    c1: float
    r2: float
    c2: float


class LoopTerms(NamedTuple):
    """``H(s) = 1 / (1 + s first + s**2 second)``: seconds and seconds squared."""

    first: float
    second: float

    @property
    def corner(self) -> float:
        """The -3 dB frequency, Hz: the root of ``|1 - w**2 b + j w a|**2 = 2``."""
        a, b = self.first, self.second
        middle = a * a - 2 * b
        return math.sqrt(2 / (middle + math.sqrt(middle * middle + 4 * b * b))) / TWO_PI

    @property
    def natural(self) -> float:
        """Pole frequency, Hz."""
        return 1 / (TWO_PI * math.sqrt(self.second))

    @property
    def q(self) -> float:
        """Quality factor."""
        return math.sqrt(self.second) / self.first


def rc_rc_terms(parts: RcRc) -> LoopTerms:
    """Return the transfer of two RC sections: first ``R1 C1 + R1 C2 + R2 C2``, second ``R1 C1 R2 C2``. Textbook."""
    _positive(**parts._asdict())
    return LoopTerms(parts.r1 * (parts.c1 + parts.c2) + parts.r2 * parts.c2, parts.r1 * parts.c1 * parts.r2 * parts.c2)


def rc_rc_corner(parts: RcRc) -> float:
    """Return the -3 dB frequency (Hz) of two RC sections into an open output."""
    return rc_rc_terms(parts).corner


def rc_rc_for_corner(frequency: float, resistance: float, scale: float = 1.0) -> RcRc:
    """Return two RC sections with a given -3 dB frequency into an open output.

    Parameters
    ----------
    frequency : float, Hz
    resistance : float, ohm
        Of the first section.
    scale : float
        Impedance of the second section over that of the first: ``R2 = k R1``, ``C2 = C1 / k``. A large one loads the
        first section less; the load then divides more.

    Returns
    -------
    RcRc
        By ``x**4 + (u**2 - 2) x**2 - 1 = 0``, ``x = w R C``, ``u = 2 + 1 / k``; derived from the textbook transfer.
    """
    _positive(frequency=frequency, resistance=resistance, scale=scale)
    capacitance = rc_rc_corner(RcRc(resistance, 1.0, resistance * scale, 1 / scale)) / frequency
    return RcRc(resistance, capacitance, resistance * scale, capacitance / scale)


class Lc(NamedTuple):
    """A series inductor (henry) and a shunt capacitor (farad)."""

    inductance: float
    capacitance: float


def lc_butterworth(frequency: float, load: float) -> Lc:
    """Return the Butterworth LC filter from an ideal voltage into `load` (ohm), -3 dB at `frequency` (Hz).

    ``L = sqrt(2) R / w``, ``C = 1 / (sqrt(2) R w)``. A bridged output takes half the load for each half. Source: Texas
    Instruments, TPA005D02 evaluation module manual; application report SLAA701.
    """
    _positive(frequency=frequency, load=load)
    w = TWO_PI * frequency
    return Lc(math.sqrt(2) * load / w, 1 / (math.sqrt(2) * load * w))


class SallenKey(NamedTuple):
    """Parts of a unity-gain Sallen-Key low-pass, named as in `ActiveSection`: ohm and farad."""

    r1: float
    r2: float
    c1: float
    c2: float


def sallen_key_equal_resistors(frequency: float, q: float, resistance: float) -> SallenKey:
    """Return a unity-gain Sallen-Key section with equal resistors: ``C1 = 2 Q / (w R)``, ``C2 = 1 / (2 Q w R)``.

    `frequency` (Hz) is the pole frequency, which is the -3 dB frequency only for Q = 0.7071. Source: Sallen and Key,
    A practical method of designing RC active filters, 1955; in this form Texas Instruments SLOA049.
    """
    _positive(frequency=frequency, q=q, resistance=resistance)
    w = TWO_PI * frequency
    return SallenKey(resistance, resistance, 2 * q / (w * resistance), 1 / (2 * q * w * resistance))


def sallen_key_for_capacitors(frequency: float, q: float, c1: float, c2: float) -> SallenKey:
    """Return a unity-gain Sallen-Key section with given capacitors (farad); needs ``C1 >= 4 Q**2 C2``.

    Resistors: the roots of ``x**2 - x / (Q w C2) + 1 / (w**2 C1 C2) = 0``, the larger one first. Source: Texas
    Instruments SLOA049, from the same transfer. Raises `StageError` where the capacitors are too near to each other.
    """
    _positive(frequency=frequency, q=q, c1=c1, c2=c2)
    w = TWO_PI * frequency
    inside = 1 - 4 * q * q * c2 / c1
    if inside < 0:
        raise StageError(f"c1 is {c1:.4g} F; accepted for this Q is {4 * q * q * c2:.4g} F or more with this c2")
    half = 1 / (2 * q * w * c2)
    larger = half * (1 + math.sqrt(inside))
    return SallenKey(larger, 1 / (w * w * c1 * c2 * larger), c1, c2)


def sallen_key_terms(parts: SallenKey) -> LoopTerms:
    """Return the transfer of a unity-gain Sallen-Key section with an ideal op amp."""
    _positive(**parts._asdict())
    return LoopTerms(parts.c2 * (parts.r1 + parts.r2), parts.r1 * parts.r2 * parts.c1 * parts.c2)


class MultipleFeedback(NamedTuple):
    """Parts of a multiple-feedback low-pass, named as in `ActiveSection`: ohm and farad."""

    r1: float
    r2: float
    r3: float
    c1: float
    c2: float


def multiple_feedback(frequency: float, q: float, c1: float, c2: float, gain: float = 1.0) -> MultipleFeedback:
    """Return a multiple-feedback section with given capacitors (farad); needs ``C1 >= 4 Q**2 (1 + gain) C2``.

    Transfer: ``-(R2/R1) / (1 + s C2 (R2 + R3 + R2 R3 / R1) + s**2 R2 R3 C1 C2)``; `gain` is the absolute gain at DC.
    Source: Texas Instruments SLOA049. Raises `StageError` where the capacitors are too near to each other.
    """
    _positive(frequency=frequency, q=q, c1=c1, c2=c2, gain=gain)
    w = TWO_PI * frequency
    inside = 1 - 4 * q * q * (1 + gain) * c2 / c1
    if inside < 0:
        raise StageError(
            f"c1 is {c1:.4g} F; accepted for this Q and gain is {4 * q * q * (1 + gain) * c2:.4g} F or more "
            "with this c2"
        )
    r2 = (1 + math.sqrt(inside)) / (2 * q * w * c2)
    return MultipleFeedback(r2 / gain, r2, 1 / (w * w * c1 * c2 * r2), c1, c2)


def multiple_feedback_terms(parts: MultipleFeedback) -> LoopTerms:
    """Return the denominator of a multiple-feedback section with an ideal op amp; the gain at DC is -R2/R1."""
    _positive(**parts._asdict())
    r1, r2, r3, c1, c2 = parts
    return LoopTerms(c2 * (r2 + r3 + r2 * r3 / r1), r2 * r3 * c1 * c2)


def ladder_sections(
    prototype: tuple[float, ...], frequency: float, resistance: float, *, series_first: bool = True
) -> tuple[Section, ...]:
    """Return the LC sections of a prototype ladder, scaled to a -3 dB frequency (Hz) and a resistance (ohm).

    ``L = g R / w``, ``C = g / (R w)``: Matthaei, Young and Jones, 1964. The load, and for a doubly terminated ladder
    the source resistance, is `resistance`.
    """
    _positive(frequency=frequency, resistance=resistance, **{f"g{i + 1}": g for i, g in enumerate(prototype)})
    w = TWO_PI * frequency
    sections = []
    for i, g in enumerate(prototype):
        if (i % 2 == 0) == series_first:
            sections.append(series(PartKind.INDUCTOR, g * resistance / w))
        else:
            sections.append(shunt(PartKind.CAPACITOR, g / (resistance * w)))
    return tuple(sections)
