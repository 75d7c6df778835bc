"""What linear theory promises of a noise-shaping modulator: a yardstick, not a measurement.

Stage: beside the modulators. In: order and oversampling ratio. Out: decibels and bits.

Conventions: OSR = update rate / (2 * end of the band). The gain is that from the power of the quantiser's error to the
power of its shaped form inside the band. One-bit loops miss it by several dB (their error is neither white nor
independent); loops of many levels with triangular dither meet it.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from psgmodel.errors import StageError
from psgmodel.output_stage.modulators.signals import raise_problems, whole_number_problems


def in_band_gain_db(order: Literal[1, 2], osr: float) -> float:
    """Return the in-band gain of (1 - z**-1)**order, without the small-angle step.

    It is the mean of |2 sin(pi f)|**(2 order) for f up to 1/(2 OSR), divided by OSR (R. Schreier, G. C. Temes,
    Understanding Delta-Sigma Data Converters, chapters 2 and 3, from memory).

    Parameters
    ----------
    order : 1 or 2
    osr : float
        1 to 1e6.

    Returns
    -------
    float, dB
        Negative; -9 dB an octave for order 1, -15 for order 2.

    Raises
    ------
    StageError
        Order or ratio out of range.
    """
    _check(order, osr)
    places, weights = np.polynomial.legendre.leggauss(24)
    f = (places + 1) / (4 * osr)
    mean = float(np.dot(weights, (2 * np.sin(np.pi * f)) ** (2 * order))) / 2
    return 10 * math.log10(mean / osr)


def oversampled_bits(quantiser_bits: float, order: Literal[1, 2], osr: float) -> float:
    """Return the bits of a plain converter with the same in-band noise, by the small-angle formula.

    Source: L. Tan, Digital Signal Processing, equations 12.37 and 12.38:
    bits + (2 L + 1)/2 log2 OSR - log2(pi**L / sqrt(2 L + 1)).

    Parameters
    ----------
    quantiser_bits : float
    order : 1 or 2
    osr : float
        1 to 1e6.

    Returns
    -------
    float, bits

    Raises
    ------
    StageError
        Order or ratio out of range.
    """
    _check(order, osr)
    return quantiser_bits + (2 * order + 1) / 2 * math.log2(osr) - math.log2(math.pi**order / math.sqrt(2 * order + 1))


def _check(order: int, osr: float) -> None:
    raise_problems(whole_number_problems("order", order, 1, 2))
    if not 1 <= osr <= 1e6:
        raise StageError(f"an oversampling ratio of {osr}", hint="accepted: 1 to 1000000")
