"""Rows of a stage report: every figure as text, with how it is taken.

Stage: report. In: a `StageMeasure`. Out: rows of section, name, value and convention, in one order for every report.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from psgmodel.output_stage.measures import volt_to_dbv
from psgmodel.output_stage.parts_text import Unit, format_value
from psgmodel.output_stage.stage import POP_LIMIT_V, Converter, Figure, StageMeasure, figure_text
from psgmodel.output_stage.stage.analog import Response

NOTHING_DB = -150.0
"""Below this a line is rounding error of the arithmetic, not a tone."""


class Row(NamedTuple):
    """One figure: its section, its name, its value, how it is taken, and a shorter value for narrow columns."""

    section: str
    name: str
    value: str
    how: str
    brief: str = ""


def figure_rows(m: StageMeasure) -> list[Row]:
    """Return every figure of a measured stage."""
    return [*_response(m.response), *_level(m), *_tone(m), *_above(m), *_rest(m), *_current(m), *_parts(m)]


def _response(r: Response) -> list[Row]:
    low = "below 1 Hz" if r.low_hz is None else hertz(r.low_hz)
    high = "above 10 MHz" if r.high_hz is None else hertz(r.high_hz)
    return [
        Row("response", "-3 dB points", f"{low}, {high}", "half power, against the largest gain"),
        Row("response", "droop at 20 kHz", decibels(r.droop_db), "loss against 1 kHz, pin to load"),
        Row("response", "droop at 20 Hz", decibels(r.bass_droop_db), "loss against 1 kHz, pin to load"),
    ]


def _level(m: StageMeasure) -> list[Row]:
    full, tone = m.full_scale_rms, m.tone.rms
    return [
        Row(
            "level",
            "full-scale sine",
            f"{volts(full)} rms, {volt_to_dbv(full):.1f} dBV",
            "0 dBFS: peak of half the code range",
        ),
        Row("level", "this tone", f"{volts(tone)} rms, {volt_to_dbv(tone):.1f} dBV", f"{m.plan.dbfs:g} dBFS"),
        Row("level", "DC", volts(_clean(m.dc)), "at the load while the tone plays"),
    ]


def _tone(m: StageMeasure) -> list[Row]:
    t = m.tone
    where = "tone, 20 Hz to 20 kHz"
    rows = [
        Row(where, "SNR", decibels(t.snr_db), "tone over noise, harmonics left out"),
        Row(where, "SNR, A-weighted", decibels(t.snr_a_db), "tone over noise weighted by IEC 61672-1"),
        Row(where, "noise, A-weighted", f"{volts(t.noise_a_rms)} rms, {_dbv(t.noise_a_rms)}", "at the load"),
        Row(where, "THD", f"{decibels(t.thd_db)}, {100 * t.thd_f:.2g} %", "harmonics 2 to 10 over the tone"),
        Row(where, "THD+N", f"{decibels(t.thd_n_db)}, {100 * t.thd_n:.2g} %", "all but the tone over the total"),
        Row(where, "SINAD", decibels(t.sinad_db), "tone over all but the tone"),
        Row(where, "ENOB", f"{t.enob_bits:.1f} bits", "(SINAD - 1.76 dB) / 6.02 dB"),
        Row(where, "SFDR", f"{decibels(t.sfdr_db)} at {hertz(t.spur_hz)}", "tone over the largest other line"),
    ]
    if m.code_tone is not None:
        rows.append(
            Row(where, "the code allows", f"{decibels(m.code_tone.sinad_db)} SINAD", "the same tone, code only")
        )
    return rows


def _above(m: StageMeasure) -> list[Row]:
    where = "above 20 kHz, at the load"
    playing = f"{volts(m.ripple.peak_to_peak)} p-p, {volts(m.ripple.rms)} rms"
    rows = [
        Row(where, "ripple, playing", playing, "peak to peak at clock edges, and rms"),
        Row(where, "ripple, at rest", f"{volts(m.rest_ripple)} p-p", "middle code, whole band, between edges too"),
    ]
    if m.carrier:
        lines = ", ".join(f"{volts(c.rms)}" for c in m.carrier)
        times = " ".join(str(c.multiple) for c in m.carrier)
        rows.append(Row(where, "carrier residue", lines, f"rms at {times} x {hertz(m.carrier[0].hz)}"))
    else:
        rows.append(Row(where, "carrier residue", "no carrier", ""))
    return rows


def _rest(m: StageMeasure) -> list[Row]:
    rows = []
    if m.idle is None:
        rows.append(Row("at rest", "idle tones", "none possible", "nothing below the carrier repeats"))
    else:
        worst = m.idle.worst
        value, at = "none", ""
        if worst.tone_dbfs > NOTHING_DB:
            value, at = f"{worst.tone_dbfs:.1f} dBFS, {hertz(worst.hz)}", f", code {worst.code}"
        how = f"at the pin, worst of {len(m.idle.tones)} DC levels{at}"
        rows.append(Row("at rest", "idle tones", value, how))
    up = m.power_up
    rows.append(Row("at rest", "power-up", f"{volts(up.peak)} peak", "at the load, from all discharged"))
    if up.peak > POP_LIMIT_V:
        settles = f"{up.settles_after:.2g} s"
        rows.append(
            Row("at rest", "settles in", settles, f"to within {volts(POP_LIMIT_V)} of {volts(_clean(up.rests_at))}")
        )
        ramp = "none helps" if up.ramp is None else f"{up.ramp:.2g} s"
        rows.append(Row("at rest", "ramp without pop", ramp, "code up to silence, load below 20 mV"))
    return rows


def _current(m: StageMeasure) -> list[Row]:
    pin = m.burdens[0]
    name = "output" if isinstance(m.stage.output, Converter) else "pin"
    rating = "no rating given" if m.stage.rating is None else f"rated {amperes(m.stage.rating)}"
    brief = f"{amperes(pin.peak)}, {amperes(pin.rms)} rms"
    rows = [
        Row("current", f"{name}, playing", f"{amperes(pin.peak)} peak, {amperes(pin.rms)} rms", rating, brief),
        Row(
            "current",
            f"{name}, power-up",
            f"{amperes(m.power_up.pin_peak)} peak",
            "highest level into empty capacitors",
        ),
    ]
    heat = sorted((b for b in m.burdens[1:] if b.power is not None), key=lambda b: -(b.power or 0.0))
    text = ", ".join(f"{b.name} {watts(b.power or 0.0)}" for b in heat[:2])
    total = watts(sum(b.power or 0.0 for b in heat))
    rows.append(Row("current", "heat", text or "none", f"playing, mean; {total} in all", total))
    return rows


def _parts(m: StageMeasure) -> list[Row]:
    figures = m.figures()
    rows = [Row("parts", "parts", figure_text(Figure.PARTS, figures[Figure.PARTS]), Figure.PARTS.convention)]
    if Figure.COST in figures:
        rows.append(Row("parts", "cost", figure_text(Figure.COST, figures[Figure.COST]), Figure.COST.convention))
    return rows


def volts(value: float) -> str:
    """Return a voltage with its prefix, three digits."""
    return format_value(value, Unit.VOLT, digits=3)


def amperes(value: float) -> str:
    """Return a current with its prefix, three digits."""
    return format_value(value, Unit.AMPERE, digits=3)


def watts(value: float) -> str:
    """Return a power with its prefix, two digits."""
    return format_value(value, Unit.WATT, digits=2)


def hertz(value: float) -> str:
    """Return a frequency with its prefix, four digits."""
    return format_value(value, Unit.HERTZ, digits=4)


def decibels(value: float) -> str:
    """Return decibels to a tenth; "unlimited" where there is nothing below."""
    if math.isinf(value):
        return "unlimited" if value > 0 else "none"
    text = f"{value:.1f} dB"
    return "0.0 dB" if text == "-0.0 dB" else text


def _dbv(value: float) -> str:
    return f"{volt_to_dbv(value):.1f} dBV" if value > 0 else "none"


def _clean(value: float) -> float:
    """Return a voltage without the rounding error of the arithmetic."""
    return 0.0 if abs(value) < 1e-12 else value
