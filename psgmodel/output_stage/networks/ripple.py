"""Ripple of a pulse-width signal behind one RC, by closed forms.

Stage: design of output networks. Volts, duty (ratio), period and time constant (seconds) in; peak-to-peak volts or
seconds out. Any other network: `run_periodic` and `AnalogRun.extremes`.
"""

from __future__ import annotations

import math

from psgmodel.errors import StageError


def _check(duty: float, period: float, time_constant: float) -> None:
    if not 0 <= duty <= 1:
        raise StageError(f"duty is {duty}; accepted is 0 to 1")
    if not (period > 0 and time_constant > 0):
        raise StageError(f"period {period} s and time constant {time_constant} s; accepted are positive numbers")


def rc_ripple(volts: float, duty: float, period: float, time_constant: float) -> float:
    """Return the exact peak-to-peak ripple (volt) of a two-level signal behind one RC.

    ``V (1 - exp(-dT/RC)) (1 - exp(-(1-d)T/RC)) / (1 - exp(-T/RC))``; derived from the exponential between the edges.

    Parameters
    ----------
    volts : float, volt
        Difference of the two levels.
    duty : float, ratio, 0 to 1
    period, time_constant : float, seconds

    Returns
    -------
    float, volt

    Raises
    ------
    StageError
        The duty is outside 0 to 1, or a time is not positive.
    """
    _check(duty, period, time_constant)
    x = period / time_constant
    return volts * math.expm1(-duty * x) * math.expm1(-(1 - duty) * x) / -math.expm1(-x)


def rc_ripple_small(volts: float, duty: float, period: float, time_constant: float) -> float:
    """Return the usual approximation of `rc_ripple` for a period well below RC: ``V d (1 - d) T / RC``."""
    _check(duty, period, time_constant)
    return volts * duty * (1 - duty) * period / time_constant


def time_constant_for_ripple(ratio: float, period: float) -> float:
    """Return the RC (seconds) at which the largest ripple, at half duty, is `ratio` of the swing. Exact.

    ``ratio = tanh(T / (4 RC))``. One step of an 8-bit converter, 1/256, needs RC of 64 periods; source: A. Levido, PWM
    DAC Ripple Reduction, Circuit Cellar, 2022. Raises `StageError` where the ratio is not between 0 and 1.
    """
    if not 0 < ratio < 1:
        raise StageError(f"the ripple is {ratio} of the swing; accepted is above 0 and below 1")
    _check(0.5, period, 1.0)
    return period / (4 * math.atanh(ratio))


def settling_time(ratio: float, time_constant: float) -> float:
    """Return the time (seconds) after which one RC is within `ratio` of a step's end: ``RC ln(1 / ratio)``."""
    if not 0 < ratio < 1:
        raise StageError(f"the ratio is {ratio}; accepted is above 0 and below 1")
    _check(0.5, 1.0, time_constant)
    return time_constant * math.log(1 / ratio)
