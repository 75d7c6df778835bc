"""Remarks on the digital side: counters, carriers, edges, lost bits, overload, folding.

Stage: output stage, judging. In: a `StageMeasure`. Out: remarks. Claims about other counters are measured, not argued:
the same stage is run with them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from psgmodel.output_stage.modulators import Pwm, PwmEdge, SecondOrder
from psgmodel.output_stage.networks import state_space
from psgmodel.output_stage.parts_text import Unit, format_value
from psgmodel.output_stage.stage.measuring import StageMeasure, play_tone
from psgmodel.output_stage.stage.path import carrier_hz
from psgmodel.output_stage.stage.records import Converter, Feed, PinModulator, ShapedPwm, Stage
from psgmodel.output_stage.stage.remarks import Remark, RemarkKind
from psgmodel.output_stage.stage.spectral import load_record

BETTER_DB = 1.0
"""A better SINAD by this much is worth a remark."""

_AUDIBLE_HZ = 24_000.0


def digital_remarks(measure: StageMeasure) -> Iterator[Remark]:
    """Return what there is to say about code, clock and modulator."""
    yield from _overload(measure)
    yield from _clocks(measure)
    form = measure.stage.modulator
    if isinstance(form, Pwm):
        yield from _counter(measure, form)
    carrier = carrier_hz(measure.stage)
    if carrier is not None and carrier < _AUDIBLE_HZ:
        arrives = f": {_volt(measure.carrier[0].rms)} rms of it reach the load" if measure.carrier else ""
        yield Remark(
            RemarkKind.CARRIER_IN_BAND,
            f"the carrier of {_hertz(float(carrier))} is audible{arrives}",
            "a shorter counter with a noise shaper, or a faster clock",
            measure.stage.places.get("modulator"),
        )
    output = measure.stage.output
    if isinstance(output, Converter) and output.feed is Feed.SAMPLED:
        yield Remark(
            RemarkKind.FOLDED,
            f"the converter takes the code as it stands {output.rate} times a second: everything in it above "
            f"{output.rate // 2} Hz, the edges of square waves too, folds down into the band",
            'put a decimation filter in front (feed = "band-limited" shows what that gives)',
            measure.stage.places.get("converter"),
        )


class Trial(NamedTuple):
    """The same stage with another modulator: its SINAD and THD (dB) at the load, its carrier (Hz)."""

    sinad_db: float
    thd_db: float
    carrier_hz: float


def try_modulator(stage: Stage, form: PinModulator) -> Trial:
    """Measure a stage with another modulator."""
    other = replace(stage, modulator=form)
    played = play_tone(other)
    tone = load_record(state_space(stage.network), played.drive, played.plan).tone()
    return Trial(tone.sinad_db, tone.thd_db, float(carrier_hz(other) or 0))


def _counter(measure: StageMeasure, form: Pwm) -> Iterator[Remark]:
    stage, place = measure.stage, measure.stage.places.get("modulator")
    best, trial = _shorter(stage, form, measure.tone.sinad_db)
    if best is not None and trial is not None:
        fewer = (form.length // best.length).bit_length() - 1
        yield Remark(
            RemarkKind.MORE_BITS_WORSE,
            f"at a clock of {_hertz(float(stage.clock))} every bit of the counter halves the carrier: {form.length} "
            f"positions give {_hertz(float(form.carrier_hz(stage.clock)))} and a SINAD of "
            f"{measure.tone.sinad_db:.1f} dB at the load, {best.length} positions {_hertz(trial.carrier_hz)} and "
            f"{trial.sinad_db:.1f} dB",
            f"a counter {fewer} bit{'s' * (fewer > 1)} shorter, with a noise shaper in front for the bits it drops",
            place,
        )
    if form.edge is not PwmEdge.CENTRE and measure.tone.thd_db > -measure.tone.snr_db and form.length >= 4:
        both = try_modulator(stage, Pwm(form.length // 2, PwmEdge.CENTRE))
        if both.thd_db < measure.tone.thd_db - BETTER_DB:
            yield Remark(
                RemarkKind.ONE_EDGE,
                f"a pulse with one moving edge, its width taken once a carrier period, makes harmonics: THD "
                f"{measure.tone.thd_db:.1f} dB; with both edges moving around the middle, same carrier, "
                f"{both.thd_db:.1f} dB",
                f'edge = "centre" with length = {form.length // 2}, or a faster carrier',
                place,
            )
    dropped = stage.code.bits - (form.length.bit_length() - 1)
    if dropped > 0:
        yield Remark(
            RemarkKind.BITS_DROPPED,
            f"a counter of {form.length} positions takes {stage.code.bits - dropped} of the {stage.code.bits} bits of "
            f"the code and drops the rest",
            "shaper = 1 or 2 keeps them below 20 kHz",
            place,
        )


def _shorter(stage: Stage, form: Pwm, sinad_db: float) -> tuple[Pwm | None, Trial | None]:
    """Return the counter shorter by whole bits that measures best, where one is clearly better."""
    best: tuple[Pwm | None, Trial | None] = (None, None)
    to_beat, length = sinad_db + BETTER_DB, form.length
    while length % 2 == 0 and length > 8:
        length //= 2
        trial = try_modulator(stage, Pwm(length, form.edge))
        if trial.sinad_db < to_beat:
            break
        best, to_beat = (Pwm(length, form.edge), trial), trial.sinad_db
    return best


def _overload(measure: StageMeasure) -> Iterator[Remark]:
    stage = measure.stage
    if not measure.saturations:
        return
    first = f", first at {measure.first_saturation}" if measure.first_saturation is not None else ""
    if isinstance(stage.modulator, SecondOrder):
        yield Remark(
            RemarkKind.OVERLOADED,
            f"the loop of the modulator is overloaded at {stage.tone.dbfs:g} dBFS: an accumulator was held at its "
            f"limit at {measure.saturations} clocks{first}; its noise is no longer shaped as promised",
            "a smaller input-scale, such as 3/4, or a lower level",
            stage.places.get("modulator"),
            serious=True,
        )
    elif isinstance(stage.modulator, ShapedPwm):
        yield Remark(
            RemarkKind.OVERLOADED,
            f"the noise shaper wanted codes outside the counter at {measure.saturations} carrier periods{first}",
            "a lower level: a shaper needs one or two coarse codes of room at each end",
            stage.places.get("modulator"),
            serious=True,
        )
    else:
        yield Remark(
            RemarkKind.OVERLOADED,
            f"{measure.saturations} samples of the converter were held at the ends of its range{first}",
            "a lower level, or an input-scale of the converter below 1",
            stage.places.get("converter"),
            serious=True,
        )


def _clocks(measure: StageMeasure) -> Iterator[Remark]:
    stage = measure.stage
    if isinstance(stage.output, Converter):
        return
    ratio = stage.clock / stage.code.clock
    if ratio.denominator != 1:
        yield Remark(
            RemarkKind.CLOCKS_DO_NOT_FIT,
            f"the clock of the modulator is {float(ratio):.6g} times that of the code: each change of the code moves "
            "to the next edge, by up to a clock, in a pattern",
            "clocks in a whole ratio, or an asynchronous hand-over designed for it",
            stage.places.get("code"),
        )


def _hertz(value: float) -> str:
    return format_value(value, Unit.HERTZ, digits=5)


def _volt(value: float) -> str:
    return format_value(value, Unit.VOLT, digits=3)
