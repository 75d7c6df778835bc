"""Prototype filters: pole pairs and ladder elements, normalised to 1 rad/s and 1 ohm.

Stage: design of output networks. Order in; pole frequency (ratio to the -3 dB frequency) and Q, or element values, out.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from psgmodel.errors import StageError


class PoleSection(NamedTuple):
    """A factor of a low-pass.

    Attributes
    ----------
    frequency : float
        Pole frequency over the -3 dB frequency of the whole.
    q : float or None
        Quality factor of a pair; None for a single real pole.
    """

    frequency: float
    q: float | None


def _check_order(order: int) -> None:
    if order < 1:
        raise StageError(f"a filter of order {order} does not exist; accepted is 1 or more")


def butterworth_sections(order: int) -> tuple[PoleSection, ...]:
    """Return the factors of a Butterworth low-pass, highest Q first, a real pole last.

    ``Q = 1 / (2 cos(angle))`` with pole angles spread evenly over the half circle. Source: S. Butterworth, On the
    theory of filter amplifiers, 1930; in this form any filter handbook. Raises `StageError` for an order below 1.
    """
    _check_order(order)
    pairs = [PoleSection(1.0, 1 / (2 * math.sin((2 * k + 1) * math.pi / (2 * order)))) for k in range(order // 2)]
    return (*pairs, *([PoleSection(1.0, None)] if order % 2 else []))


def bessel_sections(order: int) -> tuple[PoleSection, ...]:
    """Return the factors of a Bessel low-pass that is 3 dB down at 1, highest Q first, a real pole last.

    From the poles of `scipy.signal.besselap` with ``norm="mag"`` (W. E. Thomson, Delay networks having maximally flat
    frequency characteristics, 1949). Raises `StageError` for an order below 1 or above 25.
    """
    _check_order(order)
    if order > 25:
        raise StageError(f"a Bessel low-pass of order {order} is not computed; accepted is 1 to 25")
    from scipy.signal import besselap

    poles = [complex(p) for p in besselap(order, norm="mag")[1]]
    pairs = [PoleSection(abs(p), abs(p) / (-2 * p.real)) for p in poles if p.imag > 1e-9]
    real = [PoleSection(abs(p), None) for p in poles if abs(p.imag) <= 1e-9]
    return (*sorted(pairs, key=lambda s: -(s.q or 0.0)), *real)


def butterworth_doubly_terminated(order: int) -> tuple[float, ...]:
    """Return the element values g1 ... gn of a Butterworth ladder between equal resistances of 1 ohm.

    ``g[k] = 2 sin((2k - 1) pi / 2n)``; henry for series, farad for shunt elements, alternating; either may come first.
    Source: Matthaei, Young and Jones, Microwave Filters, Impedance-Matching Networks and Coupling Structures, 1964.
    """
    _check_order(order)
    return tuple(2 * math.sin((2 * k - 1) * math.pi / (2 * order)) for k in range(1, order + 1))


def butterworth_singly_terminated(order: int) -> tuple[float, ...]:
    """Return the element values of a Butterworth ladder from an ideal voltage into 1 ohm, source side first.

    The first is a series inductor (henry), then shunt capacitor (farad), alternating. ``g[1] = a[1]``,
    ``g[k] = a[k] a[k-1] / (c[k-1] g[k-1])`` from the load side, ``a[k] = sin((2k - 1) pi / 2n)``,
    ``c[k] = cos(k pi / 2n)**2``. Source: Matthaei, Young and Jones, 1964, from memory; values in A. I. Zverev,
    Handbook of Filter Synthesis, 1967.
    """
    _check_order(order)
    a = [math.sin((2 * k - 1) * math.pi / (2 * order)) for k in range(1, order + 1)]
    g = [a[0]]
    for k in range(1, order):
        g.append(a[k] * a[k - 1] / (math.cos(k * math.pi / (2 * order)) ** 2 * g[-1]))
    return tuple(reversed(g))


def overshoot(q: float) -> float:
    """Return the overshoot of a second-order low-pass after a step, as a ratio of the step.

    ``exp(-pi z / sqrt(1 - z**2))``, ``z = 1 / 2Q``; 0 up to Q = 0.5. Source: any textbook of control.
    Raises `StageError` where `q` is not positive.
    """
    if not q > 0:
        raise StageError(f"a Q of {q} does not exist; accepted is a positive number")
    z = 1 / (2 * q)
    return 0.0 if z >= 1 else math.exp(-math.pi * z / math.sqrt(1 - z * z))


def butterworth_attenuation(order: int, ratio: float) -> float:
    """Return the attenuation (dB) of a Butterworth low-pass at `ratio` times its -3 dB frequency.

    ``10 log10(1 + ratio**2n)``: Butterworth, 1930.
    """
    _check_order(order)
    return 10 * math.log10(1 + ratio ** (2 * order))
