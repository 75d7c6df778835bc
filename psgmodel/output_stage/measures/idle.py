"""Idle tones: what a modulator whistles while its code stands still.

Stage: measurement. In: a way to run a modulator at a constant code, and the codes. Out: the largest line in the band
for each.

Conventions: dBFS with the full-scale sine at half of `full_scale` peak (a pin between 0 and 1 has 0.5). Level of a
line: its lobe. Rest: everything else of the band. The spectrum is that of one level a clock (held; its droop at 20
kHz is below 0.001 dB from a 3 MHz clock on), with a Blackman-Harris window. The band begins at `low_hz` or where the
lobe of DC ends, whichever is higher; `from_hz` says which.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from psgmodel.errors import StageError
from psgmodel.output_stage.measures.checks import check_band, check_positive
from psgmodel.output_stage.measures.decibels import rms_to_dbfs
from psgmodel.output_stage.measures.spectrum import power_spectrum
from psgmodel.output_stage.measures.windows import Window
from psgmodel.output_stage.modulators.signals import samples_of_steps
from psgmodel.steps import Steps

MAX_CLOCKS = 2**24
"""Longest record, in clock cycles."""


@dataclass(frozen=True, slots=True)
class IdleTone:
    """Largest line for one code.

    Attributes
    ----------
    code : int
    hz : float, Hz
    tone_dbfs, rest_dbfs : float, dBFS
        The line, and everything else in the band.
    from_hz : float, Hz
        Where the band begins.
    """

    code: int
    hz: float
    tone_dbfs: float
    rest_dbfs: float
    from_hz: float


def idle_tones(
    run: Callable[[int], Steps],
    codes: Iterable[int],
    clock_hz: float | Fraction,
    *,
    full_scale: float = 1.0,
    low_hz: float = 20.0,
    high_hz: float = 20_000.0,
) -> tuple[IdleTone, ...]:
    """Return the largest line in the band for each code.

    Parameters
    ----------
    run : callable
        Constant code in, what the modulator then gives out, at least 64 clocks, at most 2**24. Leave the start-up out.
    codes : iterable of int
    clock_hz : float or Fraction, Hz
    full_scale : float
        Level that stands for the reference.
    low_hz, high_hz : float, Hz
        Ends of the band.

    Returns
    -------
    tuple of IdleTone, in the order of `codes`

    Raises
    ------
    StageError
        A record is too long or too short, or the band is empty.
    """
    clock = check_positive("clock", clock_hz, "Hz")
    check_band(low_hz, high_hz, clock / 2)
    return tuple(_idle_tone(run(code), code, clock, full_scale / 2, low_hz, high_hz) for code in codes)


def _idle_tone(signal: Steps, code: int, clock: float, peak: float, low_hz: float, high_hz: float) -> IdleTone:
    clocks = signal.end - signal.start
    if not 64 <= clocks <= MAX_CLOCKS:
        raise StageError(f"a record of {clocks} clocks for code {code}", hint=f"accepted: 64 to {MAX_CLOCKS}")
    spectrum = power_spectrum(samples_of_steps(signal), clock, Window.BLACKMAN_HARRIS)
    lobe = spectrum.half_lobe
    start = max(lobe + 1, int(np.ceil(low_hz / spectrum.spacing_hz)))
    inside = spectrum.power.copy()
    inside[:start] = 0
    inside[spectrum.hz > high_hz] = 0
    if start >= inside.size or spectrum.hz[start] > high_hz:
        raise StageError(
            f"a record of {clocks} clocks tells nothing below {high_hz:g} Hz",
            hint=f"accepted: more than {int(2 * (lobe + 1) * clock / high_hz)} clocks",
        )
    place = int(np.argmax(inside))
    part = slice(max(place - lobe, 0), place + lobe + 1)
    tone = float(inside[part].sum())
    inside[part] = 0
    return IdleTone(
        code,
        float(spectrum.hz[place]),
        rms_to_dbfs(tone**0.5, peak),
        rms_to_dbfs(float(inside.sum()) ** 0.5, peak),
        float(spectrum.hz[start]),
    )
