"""Measuring: one stage, one test tone, every figure.

Stage: output stage, measuring. In: a `Stage`. Out: a `StageMeasure` with every figure of the bench, the response and
the spectrum at the load. Conventions stand with each figure (`figures`, `tone`, `analog`, `psgmodel.output_stage.
measures`); the band is 20 Hz to 20 kHz throughout.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from psgmodel.errors import StageError
from psgmodel.output_stage.measures import (
    CarrierLine,
    Harmonic,
    PowerSpectrum,
    Ripple,
    ToneMeasure,
    carrier_of_lines,
    line_spectrum,
    measure_tone_of_lines,
    volt_to_dbv,
)
from psgmodel.output_stage.networks import Burden, Drive, StateSpace, state_space
from psgmodel.output_stage.stage.analog import (
    PowerUp,
    Response,
    playing_burdens,
    power_up,
    response_of,
    rest_ripple,
)
from psgmodel.output_stage.stage.figures import Figure, Limit, Verdict, judge
from psgmodel.output_stage.stage.idle import IdleSweep, idle_sweep
from psgmodel.output_stage.stage.path import carrier_hz, drive_of, output_levels
from psgmodel.output_stage.stage.prices import cost_of, count_parts
from psgmodel.output_stage.stage.records import Converter, Stage
from psgmodel.output_stage.stage.spectral import LoadRecord, load_record, settled_reading
from psgmodel.output_stage.stage.tone import TonePlan, plan_tone, tone_code
from psgmodel.output_stage.weighting import a_weighting_gain
from psgmodel.steps import Steps

Step = Callable[[str, float], None]
"""Told what is being done and which part (0 to 1) of the whole is done."""


@dataclass(frozen=True, slots=True, eq=False)
class StageMeasure:
    """What a stage does to a test tone.

    Attributes
    ----------
    stage : Stage
    plan : TonePlan
    tone : ToneMeasure
        At the load, volt.
    code_tone : ToneMeasure or None
        The same tone before any modulator, in codes: what the code itself allows. None where the clocks do not fit.
    ripple : Ripple
        Above 20 kHz while the tone plays, volt.
    rest_ripple : float, volt
        Peak to peak at the middle code.
    carrier : tuple of CarrierLine
        At the load, volt rms; empty where there is no carrier.
    idle : IdleSweep or None
    response : Response
    dc : float, volt
        At the load while the tone plays.
    power_up : PowerUp
    burdens : tuple of Burden
        While the tone plays; the pin first.
    saturations : int
        Clocks, updates or samples at which a register was held at its limit.
    first_saturation : int or None
    spectrum : PowerSpectrum
        At the load, volt squared.
    """

    stage: Stage
    plan: TonePlan
    tone: ToneMeasure
    code_tone: ToneMeasure | None
    ripple: Ripple
    rest_ripple: float
    carrier: tuple[CarrierLine, ...]
    idle: IdleSweep | None
    response: Response
    dc: float
    power_up: PowerUp
    burdens: tuple[Burden, ...]
    saturations: int
    first_saturation: int | None
    spectrum: PowerSpectrum

    @property
    def full_scale_rms(self) -> float:
        """Level of the tone at the load were it at 0 dBFS, V rms."""
        return float(self.tone.rms * 10 ** (-self.plan.dbfs / 20))

    @property
    def pin_peak(self) -> float:
        """Largest pin current, playing or at power-up, ampere."""
        return max(self.burdens[0].peak, self.power_up.pin_peak)

    def figures(self) -> dict[Figure, float]:
        """Return every figure a limit can be held against."""
        stage = self.stage
        values = {
            Figure.SNR: self.tone.snr_db,
            Figure.SINAD: self.tone.sinad_db,
            Figure.THD: self.tone.thd_db,
            Figure.RIPPLE: self.ripple.peak_to_peak,
            Figure.RIPPLE_RMS: self.ripple.rms,
            Figure.DROOP: self.response.droop_db,
            Figure.BASS_DROOP: self.response.bass_droop_db,
            Figure.LEVEL: volt_to_dbv(self.full_scale_rms),
            Figure.PIN_CURRENT: self.pin_peak,
            Figure.DC: abs(self.dc),
            Figure.POP: self.power_up.peak,
            Figure.PARTS: float(count_parts(stage.network)),
        }
        if stage.prices is not None:
            values[Figure.COST] = cost_of(stage.network, stage.prices, converter=isinstance(stage.output, Converter))
        return values

    def verdicts(self) -> tuple[Verdict, ...]:
        """Return the user's limits, and the rating of the pin, held against the figures."""
        limits = self.stage.limits
        if self.stage.rating is not None:
            limits = (*limits, Limit(Figure.PIN_CURRENT, None, self.stage.rating, self.stage.places.get("pin")))
        return judge(limits, self.figures())

    @property
    def passes(self) -> bool:
        """Whether every limit is met."""
        return all(verdict.met for verdict in self.verdicts())


@dataclass(frozen=True, slots=True, eq=False)
class PlayedTone:
    """A test tone behind the digital side of a stage; any network can follow.

    Attributes
    ----------
    plan : TonePlan
    drive : Drive
    code : Steps
    saturations : int
    first_saturation : int or None
    """

    plan: TonePlan
    drive: Drive
    code: Steps
    saturations: int
    first_saturation: int | None


def play_tone(stage: Stage) -> PlayedTone:
    """Run the test tone through the digital side of a stage."""
    plan = plan_tone(stage)
    code = tone_code(stage, plan)
    levels, state = output_levels(stage, code)
    return PlayedTone(plan, drive_of(stage, levels), code, state.saturations, state.first_saturation)


def measure_stage(stage: Stage, step: Step | None = None) -> StageMeasure:
    """Measure a stage with its test tone.

    Parameters
    ----------
    stage : Stage
    step : callable, optional
        Told of progress.

    Returns
    -------
    StageMeasure

    Raises
    ------
    StageError
        The network has no steady state, or the tone is lost in it.
    """
    told = step or _untold
    told("network", 0.0)
    space = state_space(stage.network)
    response = response_of(space)
    if not response.gain_1k:
        raise StageError(
            "nothing of the pin reaches the load",
            place=stage.places.get("network"),
            hint="node names are compared letter by letter",
        )
    told("modulator", 0.05)
    played = play_tone(stage)
    told("spectrum", 0.35)
    record = load_record(space, played.drive, played.plan)
    tone = loaded_tone(stage, record)
    told("currents", 0.5)
    carried = playing_burdens(space, played.drive, played.plan)
    told("idle tones", 0.65)
    idle = idle_sweep(stage)
    told("power-up", 0.95)
    return StageMeasure(
        stage=stage,
        plan=played.plan,
        tone=tone,
        code_tone=code_tone(stage, played),
        ripple=record.ripple(),
        rest_ripple=rest_ripple(stage, space),
        carrier=carrier_lines(stage, record),
        idle=idle,
        response=response,
        dc=settled_reading(space, space.output(), stage.middle_volts),
        power_up=power_up(stage, space),
        burdens=carried,
        saturations=played.saturations,
        first_saturation=played.first_saturation,
        spectrum=record.power(),
    )


def loaded_tone(stage: Stage, record: LoadRecord) -> ToneMeasure:
    """Return the tone at the load; what a converter's data sheet says of noise and distortion is added as power.

    White noise from 20 Hz to 20 kHz that is as strong under A-weighting as the data sheet says; its distortion counts
    as second harmonic.
    """
    tone = record.tone()
    output = stage.output
    if not isinstance(output, Converter):
        return tone
    full_scale = tone.rms * 10 ** (-record.plan.dbfs / 20)
    if output.snr_a is not None:
        weighted = full_scale * 10 ** (-output.snr_a / 20)
        hz = np.linspace(20.0, 20_000.0, 2000)
        plain = weighted / math.sqrt(float(np.mean(a_weighting_gain(hz) ** 2)))
        tone = replace(
            tone, noise_rms=math.hypot(tone.noise_rms, plain), noise_a_rms=math.hypot(tone.noise_a_rms, weighted)
        )
    if output.thd is not None and tone.harmonics:
        added = tone.rms * 10 ** (output.thd / 20)
        second = tone.harmonics[0]
        louder = Harmonic(second.order, second.hz, math.hypot(second.rms, added))
        spur = (second.hz, louder.rms) if louder.rms > tone.spur_rms else (tone.spur_hz, tone.spur_rms)
        tone = replace(tone, harmonics=(louder, *tone.harmonics[1:]), spur_hz=spur[0], spur_rms=spur[1])
    return tone


def code_tone(stage: Stage, played: PlayedTone) -> ToneMeasure | None:
    """Return the tone as the code holds it, in codes."""
    plan = played.plan
    periods = plan.hz * (plan.code_end - plan.code_start) / stage.code.clock
    if periods.denominator != 1:
        return None
    lines = line_spectrum(played.code, stage.code.clock, plan.code_start, plan.code_end, highest_hz=20_000.0)
    return measure_tone_of_lines(lines, float(plan.hz))


def carrier_lines(stage: Stage, record: LoadRecord) -> tuple[CarrierLine, ...]:
    """Return the carrier and its next two multiples at the load, as far as the record reaches."""
    carrier = carrier_hz(stage)
    if carrier is None:
        return ()
    order = carrier * record.plan.seconds
    reach = int(record.lines.order[-1]) // max(1, round(order))
    if order.denominator != 1 or reach < 1:
        return ()
    return carrier_of_lines(record.lines, float(carrier), min(3, reach))


def stage_space(stage: Stage) -> StateSpace:
    """Return the state equations of a stage's network."""
    return state_space(stage.network)


def _untold(what: str, part: float) -> None:
    """Take progress and tell nobody."""
