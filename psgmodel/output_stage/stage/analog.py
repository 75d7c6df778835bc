"""Analog side: response, currents, heat, power-up and the ripple at rest.

Stage: output stage, measuring. In: a stage and the levels before its network. Out: hertz, decibels, amperes, watts,
volts and seconds, exact between the edges of the pin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.output_stage.measures import cutoffs, droop_db
from psgmodel.output_stage.networks import (
    Burden,
    Drive,
    StateSpace,
    burdens,
    frequency_response,
    pin_burden,
    run_from,
    run_periodic,
)
from psgmodel.output_stage.stage.path import drive_of, output_levels
from psgmodel.output_stage.stage.records import Pin, Stage
from psgmodel.output_stage.stage.spectral import settled_reading
from psgmodel.output_stage.stage.tone import TonePlan, update_rate
from psgmodel.steps import constant_steps, steps_from_changes

FloatArray = NDArray[np.float64]

POP_LIMIT_V = 0.02
"""What counts as no pop, volt at the load: a round figure of careful hobby practice, no source."""

RESPONSE_HZ = tuple(float(f) for f in np.logspace(0, 7, 351))
"""Frequencies of the response: 1 Hz to 10 MHz, fifty a decade."""

_LONGEST_RAMP_S = 600.0
_MOST_EDGES = 30_000
_MICROSECONDS = 1_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """From the ideal pin voltage to the load, the network alone.

    Attributes
    ----------
    hz : ndarray of float64, Hz
    gain : ndarray of complex128, V per V
    low_hz, high_hz : float or None, Hz
        Half power below and above the largest gain; None: not between 1 Hz and 10 MHz.
    droop_db, bass_droop_db : float, dB
        Loss at 20 kHz and at 20 Hz against 1 kHz.
    gain_1k : float
        Gain at 1 kHz, a ratio.
    """

    hz: FloatArray
    gain: NDArray[np.complex128]
    low_hz: float | None
    high_hz: float | None
    droop_db: float
    bass_droop_db: float
    gain_1k: float


def response_of(space: StateSpace) -> Response:
    """Return the response of a stage's network."""
    hz = np.asarray(RESPONSE_HZ)
    gain = frequency_response(space.network, hz).output()
    ends = cutoffs(hz, gain)
    exact = np.abs(frequency_response(space.network, [20.0, 1000.0, 20_000.0]).output())
    if not exact.all():
        return Response(hz, gain, ends.low_hz, ends.high_hz, np.inf, np.inf, float(exact[1]))
    return Response(
        hz,
        gain,
        ends.low_hz,
        ends.high_hz,
        -droop_db([1000.0, 20_000.0], exact[1:], 20_000.0),
        -droop_db([20.0, 1000.0], exact[:2], 20.0),
        float(exact[1]),
    )


def playing_burdens(space: StateSpace, drive: Drive, plan: TonePlan, *, pin_only: bool = False) -> tuple[Burden, ...]:
    """Return what pin and parts carry over the last whole tone periods of a record, the pin first.

    As many periods as some 30 000 edges hold, at least one; before them the network runs as long again from its
    settled mean, so that nothing but the tone is left of its past.
    """
    period = (plan.end - plan.start) / plan.periods
    edges = np.searchsorted(drive.steps.cycle, [plan.start, plan.end])
    per_period = max(1.0, float(edges[1] - edges[0]) / plan.periods)
    count = int(min(plan.periods // 2, max(1, _MOST_EDGES // per_period)))
    begin = round(plan.end - count * period)
    before = max(plan.start, round(begin - max(1, count) * period))
    mean = float(np.dot(drive.volts(), drive.seconds()) / drive.seconds().sum())
    lead = Drive(drive.steps.cut(before, begin), drive.clock_rate, drive.volts_per_level, drive.volts_at_zero)
    part = Drive(drive.steps.cut(begin, plan.end), drive.clock_rate, drive.volts_per_level, drive.volts_at_zero)
    settled = run_from(space, lead, space.settled(mean))
    run = run_from(space, part, settled.end_state())
    return (pin_burden(run),) if pin_only else burdens(run)


@dataclass(frozen=True, slots=True)
class PowerUp:
    """What happens when everything is switched on at once, all capacitors empty.

    Attributes
    ----------
    peak : float, volt
        Largest voltage at the load, without its sign, while the mean level of silence arrives as one step.
    rests_at : float, volt
        Voltage at the load in the end.
    settles_after : float, s
        From then on the load stays within 20 mV of that.
    pin_peak : float, ampere
        Largest current when the pin goes to its highest level and stays there.
    ramp : float or None, s
        Time over which the code must rise to that of silence so that the load never passes 20 mV; None where the step
        alone does not pass it, or where no ramp helps because DC reaches the load.
    """

    peak: float
    rests_at: float
    settles_after: float
    pin_peak: float
    ramp: float | None


def power_up(stage: Stage, space: StateSpace, *, ramps: bool = True) -> PowerUp:
    """Return the transient at power-up of a stage; `ramps`: look for a ramp that avoids a pop."""
    slowest = slowest_time(space)
    probe = space.output()
    lasting = constant_steps(1, 0, max(1, round(16 * slowest * _MICROSECONDS)))
    step = run_from(space, Drive(lasting, _MICROSECONDS, stage.silence_volts))
    ends = step.extremes(probe)
    final = settled_reading(space, probe, stage.silence_volts)
    seconds = np.concatenate([[0.0], np.geomspace(1e-7, 0.999 * lasting.end / _MICROSECONDS, 4000)])
    away = np.abs(step.at(probe, seconds) - final) > POP_LIMIT_V
    settles = float(seconds[int(np.flatnonzero(away)[-1])]) if away.any() else 0.0
    highest = stage.output.supply if isinstance(stage.output, Pin) else stage.output.bias + stage.full_scale_peak
    first = run_from(space, Drive(lasting, _MICROSECONDS, highest))
    peak = max(abs(ends.low), abs(ends.high))
    ramp = None
    if ramps and peak > POP_LIMIT_V and abs(final) < POP_LIMIT_V / 2 and stage.code.silence > 1:
        ramp = _ramp_time(stage, space, slowest)
    return PowerUp(peak, final, settles, first.extremes(space.pin_current()).peak, ramp)


def ramp_peak(stage: Stage, space: StateSpace, seconds: float) -> float:
    """Return the largest voltage at the load, without its sign, while the code rises to that of silence evenly.

    The code passes every value on its way; each stands for its mean level.
    """
    steps = stage.code.silence
    cycles = max(steps, round(seconds * _MICROSECONDS))
    at = np.arange(steps, dtype=np.int64) * cycles // steps
    hold = round(4 * slowest_time(space) * _MICROSECONDS)
    rise = steps_from_changes(at, np.arange(1, steps + 1), cycles + max(1, hold))
    run = run_from(space, Drive(rise, _MICROSECONDS, stage.silence_volts / steps))
    ends = run.extremes(space.output())
    return max(abs(ends.low), abs(ends.high))


def _ramp_time(stage: Stage, space: StateSpace, slowest: float) -> float | None:
    """Return the shortest ramp, to within a twentieth, that keeps the load below the limit."""
    seconds = slowest
    for _ in range(16):
        if ramp_peak(stage, space, seconds) <= POP_LIMIT_V:
            break
        seconds *= 2
    else:
        return None
    low, high = seconds / 2, seconds
    while high / low > 1.05:
        middle = (low * high) ** 0.5
        low, high = (low, middle) if ramp_peak(stage, space, middle) <= POP_LIMIT_V else (middle, high)
    return high if high < _LONGEST_RAMP_S else None


def slowest_time(space: StateSpace) -> float:
    """Return the longest time constant of a network, seconds; a microsecond where it has no memory."""
    if not space.states:
        return 1e-6
    return max(1e-6, float(1 / np.min(-np.linalg.eigvals(space.a).real)))


def rest_ripple(stage: Stage, space: StateSpace) -> float:
    """Return the peak-to-peak voltage at the load while the code stands at the middle of its range, volt.

    A carrier in its steady state, exact between the edges; a sigma-delta modulator over two milliseconds once settled.
    """
    rate = update_rate(stage)
    period = stage.clock / rate
    code_cycles = max(1, round(4 * stage.code.clock / 1000))
    code = constant_steps(stage.code.middle, 0, code_cycles)
    levels, _ = output_levels(stage, code)
    if period.denominator == 1 and isinstance(stage.output, Pin) and period > 1:
        start = int(period) * (levels.end // (2 * int(period)))
        one = levels.cut(start, start + int(period)).shifted(-start)
        return run_periodic(space, drive_of(stage, one)).extremes(space.output()).peak_to_peak
    middle = levels.end // 2
    lead, part = drive_of(stage, levels.cut(0, middle)), drive_of(stage, levels.cut(middle, levels.end))
    mean = float(np.dot(lead.volts(), lead.seconds()) / lead.seconds().sum())
    before = run_from(space, lead, space.settled(mean))
    return run_from(space, part, before.end_state()).extremes(space.output()).peak_to_peak
