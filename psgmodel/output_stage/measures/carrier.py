"""What the carrier leaves behind a filter: ripple and carrier lines.

Stage: measurement. In: samples of a filtered pin or its exact lines. Out: levels in the signal's unit.

Conventions
  ripple   everything above `above_hz` (20 kHz unless told otherwise), and nothing else: a sharp cut in frequency
           over a whole number of periods. Peak-to-peak is that of the samples, or for lines of a curve drawn at eight
           points a period of the highest line: what lies above the spectrum's last line is missing from it
  carrier  rms of the line at exactly m times the carrier, m = 1, 2, ...; sidebands are not counted with it
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from psgmodel.errors import StageError
from psgmodel.output_stage.measures.checks import Floats, check_positive, check_record
from psgmodel.output_stage.measures.lines import LineSpectrum
from psgmodel.output_stage.measures.windows import Window, window_samples
from psgmodel.output_stage.modulators.signals import raise_problems, whole_number_problems

AUDIO_END_HZ = 20_000.0
"""Where ripple begins unless told otherwise."""

MAX_POINTS = 2**26


class Ripple(NamedTuple):
    """Ripple: peak_to_peak and rms, in the signal's unit."""

    peak_to_peak: float
    rms: float


class CarrierLine(NamedTuple):
    """One line: multiple of the carrier, frequency (Hz), rms in the signal's unit."""

    multiple: int
    hz: float
    rms: float


def ripple(samples: ArrayLike, rate_hz: float, above_hz: float = AUDIO_END_HZ) -> Ripple:
    """Return the ripple of a record that holds a whole number of periods.

    Parameters
    ----------
    samples : array_like of float, shape (n,)
    rate_hz, above_hz : float, Hz

    Returns
    -------
    Ripple

    Raises
    ------
    StageError
        A sample is not finite, or the record ends (in frequency) below `above_hz`.
    """
    row = check_record(samples, 8)
    spacing = check_positive("sample rate", rate_hz, "Hz") / row.size
    _check_above(above_hz, spacing * (row.size // 2))
    bins = np.fft.rfft(row)
    bins[np.arange(bins.size) * spacing <= above_hz] = 0
    return _ripple(np.fft.irfft(bins, row.size))


def ripple_of_lines(lines: LineSpectrum, above_hz: float = AUDIO_END_HZ) -> Ripple:
    """Return the ripple of exact lines: rms from the lines, peak-to-peak from the curve they draw.

    Raises
    ------
    StageError
        There is no line above `above_hz`, or the curve would need more than 2**26 points.
    """
    _check_above(above_hz, float(lines.hz[-1]))
    kept = lines.hz > above_hz
    highest = int(lines.order[-1])
    points = 1 << (8 * highest - 1).bit_length()
    if points > MAX_POINTS:
        raise StageError(
            f"a curve of {points} points", hint=f"accepted: up to {MAX_POINTS}; fewer lines or a shorter period"
        )
    bins = np.zeros(points // 2 + 1, dtype=np.complex128)
    bins[lines.order[kept]] = lines.amplitude[kept] * (points / 2)
    curve = np.fft.irfft(bins, points)
    return Ripple(float(curve.max() - curve.min()), math.sqrt(float(np.sum(lines.rms[kept] ** 2))))


def carrier_of_lines(lines: LineSpectrum, carrier_hz: float, multiples: int = 3) -> tuple[CarrierLine, ...]:
    """Return the lines at the carrier and its multiples.

    Parameters
    ----------
    lines : LineSpectrum
    carrier_hz : float, Hz
        A whole number of the lines' spacing.
    multiples : int
        How many, 1 to 1000.

    Raises
    ------
    StageError
        The carrier is between lines, or a multiple is not in the spectrum.
    """
    raise_problems(whole_number_problems("multiples of the carrier", multiples, 1, 1000))
    order = check_positive("carrier", carrier_hz, "Hz") / lines.spacing_hz
    if round(order) < 1 or abs(order - round(order)) > 1e-6 * order:
        raise StageError(
            f"a carrier of {carrier_hz:g} Hz falls between the lines, which are {lines.spacing_hz:g} Hz apart",
            hint="measure a whole number of carrier periods",
        )
    rows = [m * round(order) for m in range(1, multiples + 1)]
    return tuple(
        CarrierLine(m, k * lines.spacing_hz, abs(lines.at(k)) / math.sqrt(2)) for m, k in enumerate(rows, start=1)
    )


def carrier_of_record(
    samples: ArrayLike, rate_hz: float, carrier_hz: float, multiples: int = 3, window: Window = Window.KAISER_38
) -> tuple[CarrierLine, ...]:
    """Return the level at exactly the carrier and its multiples in a record, by a windowed sum at that frequency.

    Raises
    ------
    StageError
        A sample is not finite, or a multiple lies above half the rate.
    """
    raise_problems(whole_number_problems("multiples of the carrier", multiples, 1, 1000))
    row = check_record(samples, 8)
    rate, carrier = check_positive("sample rate", rate_hz, "Hz"), check_positive("carrier", carrier_hz, "Hz")
    if carrier * multiples >= rate / 2:
        raise StageError(
            f"{multiples} times {carrier:g} Hz at a rate of {rate:g} Hz", hint=f"accepted: below {rate / 2:g} Hz"
        )
    shape = window_samples(window, row.size)
    weighted = (row - row.mean()) * shape
    scale = math.sqrt(2) / float(shape.sum())
    found = []
    for m in range(1, multiples + 1):
        turn = np.arange(row.size) * (m * carrier / rate) % 1.0
        level = abs(complex(np.dot(weighted, np.exp(-2j * np.pi * turn)))) * scale
        found.append(CarrierLine(m, m * carrier, level))
    return tuple(found)


def _ripple(curve: Floats) -> Ripple:
    return Ripple(float(curve.max() - curve.min()), float(np.sqrt(np.mean(curve**2))))


def _check_above(above_hz: float, highest_hz: float) -> None:
    if not 0 <= above_hz < highest_hz:
        raise StageError(
            f"ripple above {above_hz:g} Hz", hint=f"accepted: 0 to below {highest_hz:g} Hz, where the data end"
        )
