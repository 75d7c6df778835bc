"""Test tone: a record that holds whole periods of everything that repeats.

Stage: output stage, measuring. In: a stage and the wanted tone. Out: the code of the tone and where its record lies.

Conventions: 0 dBFS is the sine whose peak is half of the code range, so its positive peak would be one step past the
top code and is held there. The tone is rounded to whole codes at every edge of the code's clock, without dither. The
record is a whole number of tone periods, carrier periods (updates of a converter) and clocks of code and output where
these have a common measure; the number of tone periods shares no factor with that of the carrier periods, so that no
two of them are alike. Where the clocks have no such measure the record is cut where it is and a window is used.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from psgmodel.output_stage.modulators import Pwm, steps_of_samples
from psgmodel.output_stage.stage.converter import filter_delay
from psgmodel.output_stage.stage.path import carrier_hz
from psgmodel.output_stage.stage.records import Converter, Stage
from psgmodel.steps import Steps

MOST_CLOCKS = 2**22
"""Longest record, in clocks of the output or of the code."""

_SETTLE_S = Fraction(2, 1000)
_LEAST_PERIODS = {True: 2, False: 24}
"""Tone periods of a record: exact lines need few; a window needs so many to keep tone, harmonics and DC apart."""


@dataclass(frozen=True, slots=True)
class TonePlan:
    """A test tone and its record.

    Attributes
    ----------
    hz : Fraction, Hz
        Exact.
    dbfs : float
    periods : int
        Of the tone in the record.
    seconds : Fraction, s
        Length of the record.
    start, end : int
        The record, in clocks of the output.
    repeats : bool
        What comes out repeats with the record, so that its lines are exact.
    code_start, code_end : int
        The record, in clocks of the code; rounded where the clocks do not fit.
    """

    hz: Fraction
    dbfs: float
    periods: int
    seconds: Fraction
    start: int
    end: int
    repeats: bool
    code_start: int
    code_end: int


def plan_tone(stage: Stage) -> TonePlan:
    """Choose tone and record for a stage."""
    wanted, rate = stage.tone, update_rate(stage)
    common = _common(_common(stage.code.clock, stage.clock), rate)
    fastest = max(stage.clock, stage.code.clock)
    longest = Fraction(MOST_CLOCKS) / fastest
    seconds = min(Fraction(str(wanted.seconds)), longest)
    fits = 1 / common <= min(2 * seconds, longest)
    count = max(1, round(seconds * common)) if fits else 0
    length = count / common if fits else Fraction(round(seconds * rate)) / rate
    updates = round(length * rate)
    repeats = fits and (isinstance(stage.output, Converter) or isinstance(stage.modulator, Pwm))
    hz = max(wanted.hz, _LEAST_PERIODS[repeats] / float(length))
    periods = _coprime(max(1, round(Fraction(hz) * length)), updates)
    settle = _settle_updates(stage, rate) / rate
    if fits:
        settle = Fraction(math.ceil(settle * common)) / common
    return TonePlan(
        hz=periods / length,
        dbfs=wanted.dbfs,
        periods=periods,
        seconds=length,
        start=round(settle * stage.clock),
        end=round((settle + length) * stage.clock),
        repeats=repeats,
        code_start=round(settle * stage.code.clock),
        code_end=round((settle + length) * stage.code.clock),
    )


def update_rate(stage: Stage) -> Fraction:
    """Return how often a second the code is taken: by the carrier, the converter, or the modulator's clock."""
    if isinstance(stage.output, Converter):
        return Fraction(stage.output.rate)
    return carrier_hz(stage) or min(stage.clock, stage.code.clock)


def tone_code(stage: Stage, plan: TonePlan) -> Steps:
    """Return the code of the tone from cycle 0 to the end of the record, on the code's clock, and a little more.

    The extra lets an output that lags behind its code reach the end of the record.
    """
    extra = 0
    if isinstance(stage.output, Converter):
        extra = math.ceil(Fraction(stage.code.clock * 64, stage.output.rate))
    return tone_part(stage, plan, 0, plan.code_end + extra)


def tone_part(stage: Stage, plan: TonePlan, start: int, end: int) -> Steps:
    """Return the code of the tone in ``start <= c < end``, clocks of the code; the tone begins at cycle 0."""
    turns = plan.hz / stage.code.clock
    first = start * turns.numerator % turns.denominator
    phase = (first + np.arange(end - start, dtype=np.int64) * (turns.numerator % turns.denominator)) % turns.denominator
    angle = phase * (2 * math.pi / turns.denominator)
    peak = stage.code.middle * 10 ** (plan.dbfs / 20)
    codes = np.rint(stage.code.middle + peak * np.sin(angle)).astype(np.int64)
    return steps_of_samples(np.clip(codes, 0, stage.code.top), 1, start)


def _settle_updates(stage: Stage, rate: Fraction) -> int:
    if isinstance(stage.output, Converter):
        return math.ceil(Fraction(2 * filter_delay(stage.output), stage.output.oversampling)) + 128
    if isinstance(stage.modulator, Pwm):
        return 1
    return math.ceil(_SETTLE_S * rate)


def _common(a: Fraction, b: Fraction) -> Fraction:
    """Return the largest frequency of which both are whole multiples."""
    return Fraction(math.gcd(a.numerator * b.denominator, b.numerator * a.denominator), a.denominator * b.denominator)


def _coprime(wanted: int, updates: int) -> int:
    """Return the number nearest to `wanted` that shares no factor with `updates`."""
    for distance in range(wanted + 1):
        for tried in (wanted + distance, wanted - distance):
            if tried >= 1 and math.gcd(tried, updates) == 1:
                return tried
    return 1
