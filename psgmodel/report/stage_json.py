"""Stage: one measured output stage as plain values for JSON.

Stage: report. In: a `StageMeasure` and remarks. Out: dictionaries of numbers and text. Volts, amperes, watts, hertz,
seconds; decibels as the key says; a figure without a value is null.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from psgmodel.output_stage.measures import volt_to_dbv
from psgmodel.output_stage.stage import HeardSound, Remark, StageMeasure, Verdict, carrier_hz
from psgmodel.report.stage import load_text, modulator_text, network_text


def measured_json(m: StageMeasure, remarks: Sequence[Remark]) -> dict[str, Any]:
    """Return one measured stage."""
    plan = m.plan
    return {
        "file": m.stage.file,
        "title": m.stage.title,
        "makes": modulator_text(m.stage),
        "network": network_text(m.stage.network),
        "load": load_text(m.stage),
        "meets_limits": m.passes,
        "limits": [verdict_json(v) for v in m.verdicts()],
        "figures": {f.word: finite(v) for f, v in m.figures().items()},
        "tone": {
            "hz": float(plan.hz),
            "dbfs": plan.dbfs,
            "periods": plan.periods,
            "seconds": float(plan.seconds),
            "clocks_simulated": plan.end,
            "exact_lines": plan.repeats,
        },
        "response": {
            "low_3db_hz": m.response.low_hz,
            "high_3db_hz": m.response.high_hz,
            "droop_20khz_db": finite(m.response.droop_db),
            "droop_20hz_db": finite(m.response.bass_droop_db),
        },
        **_levels_json(m),
        **_rest_json(m),
        "rating_a": m.stage.rating,
        "saturations": m.saturations,
        "remarks": [remark_json(r) for r in remarks],
    }


def _levels_json(m: StageMeasure) -> dict[str, Any]:
    t, carrier = m.tone, carrier_hz(m.stage)
    return {
        "level": {
            "full_scale_v_rms": m.full_scale_rms,
            "full_scale_dbv": finite(volt_to_dbv(m.full_scale_rms)),
            "tone_v_rms": t.rms,
            "dc_v": m.dc,
        },
        "band_20hz_20khz": {
            "snr_db": finite(t.snr_db),
            "snr_a_weighted_db": finite(t.snr_a_db),
            "noise_a_weighted_v_rms": t.noise_a_rms,
            "thd_db": finite(t.thd_db),
            "thd_n_db": finite(t.thd_n_db),
            "sinad_db": finite(t.sinad_db),
            "enob_bits": finite(t.enob_bits),
            "sfdr_db": finite(t.sfdr_db),
            "sfdr_at_hz": t.spur_hz,
            "code_sinad_db": None if m.code_tone is None else finite(m.code_tone.sinad_db),
        },
        "above_20khz": {
            "ripple_v_peak_to_peak": m.ripple.peak_to_peak,
            "ripple_v_rms": m.ripple.rms,
            "ripple_at_rest_v_peak_to_peak": m.rest_ripple,
            "carrier_hz": None if carrier is None else float(carrier),
            "carrier_lines_v_rms": [{"hz": c.hz, "v_rms": c.rms} for c in m.carrier],
        },
    }


def _rest_json(m: StageMeasure) -> dict[str, Any]:
    up = m.power_up
    idle = None
    if m.idle is not None:
        idle = [{"code": i.code, "hz": i.hz, "dbfs": finite(i.tone_dbfs), "from_hz": i.from_hz} for i in m.idle.tones]
    return {
        "idle_tones": idle,
        "power_up": {
            "peak_v": up.peak,
            "rests_at_v": up.rests_at,
            "settles_after_s": up.settles_after,
            "pin_peak_a": up.pin_peak,
            "ramp_s": up.ramp,
        },
        "burdens": [
            {"part": b.name, "peak_a": b.peak, "rms_a": b.rms, "mean_a": b.mean, "power_w": b.power} for b in m.burdens
        ],
    }


def verdict_json(verdict: Verdict) -> dict[str, Any]:
    """Return a limit held against a value."""
    limit = verdict.limit
    return {
        "figure": limit.figure.word,
        "unit": limit.figure.unit,
        "at_least": limit.low,
        "at_most": limit.high,
        "value": finite(verdict.value),
        "met": verdict.met,
        "missed_by": finite(verdict.missed_by),
    }


def remark_json(remark: Remark) -> dict[str, Any]:
    """Return a remark."""
    line = None if remark.place is None else remark.place.line
    return {
        "kind": remark.kind.value,
        "serious": remark.serious,
        "text": remark.text,
        "hint": remark.hint,
        "line": line,
    }


def heard_json(sound: HeardSound, source: str) -> dict[str, Any]:
    """Return what the load heard."""
    return {
        "source": source,
        "seconds": sound.seconds,
        "v_rms": sound.levels.ac_rms,
        "dbv": finite(sound.dbv),
        "peak_v": sound.levels.peak,
        "dc_v": sound.levels.dc,
        "loudness_lkfs": finite(sound.loudness),
        "follows_code_db": None if sound.follows_db is None else finite(sound.follows_db),
    }


def finite(value: float) -> float | None:
    """Return a number that JSON can hold."""
    return value if math.isfinite(value) else None
