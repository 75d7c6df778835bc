"""Remarks on the analog side: current, load, level, DC, bass, ripple, power-up.

Stage: output stage, judging. In: a `StageMeasure`. Out: remarks. Part values that a hint names are preferred values
of IEC 60063 and have been put into the network and checked.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from psgmodel.output_stage.loads import LoadKind
from psgmodel.output_stage.measures import dbv_to_volt, volt_to_dbv
from psgmodel.output_stage.networks import (
    GROUND,
    Element,
    Network,
    PartKind,
    coupling_capacitance,
    frequency_response,
    state_space,
)
from psgmodel.output_stage.parts import Series, nearest_value, preferred_values
from psgmodel.output_stage.parts_text import Unit, format_value
from psgmodel.output_stage.stage.analog import POP_LIMIT_V, Response, response_of
from psgmodel.output_stage.stage.measuring import StageMeasure
from psgmodel.output_stage.stage.records import Stage
from psgmodel.output_stage.stage.remarks import LOW_LOAD_OHM, Remark, RemarkKind

LINE_LEVEL_DBV = -10.0
"""Nominal level of a consumer line input (common practice)."""

LINE_ROOM_DB = 10.0
"""Full scale may stand this far above nominal (common practice for programme with peaks; no source)."""

_LEAST_SHUNT_OHM = 100.0
_MOVED = 0.15
_LOST_DB = 1.5

_USUAL_PIN_A = 0.008
"""Where no rating is given, more than this is worth a remark: usual drive settings are 2 to 24 mA."""

_CUT_OFF_HZ = 10.0
"""Lower corner that a proposed coupling capacitor gives."""


def analog_remarks(measure: StageMeasure) -> Iterator[Remark]:
    """Return what there is to say about network and load."""
    yield from _pin_current(measure)
    yield from _detuned(measure)
    yield from _level(measure)
    yield from _direct(measure)
    yield from _bass(measure)
    yield from _pop(measure)
    yield from _ripple(measure)


def _pin_current(measure: StageMeasure) -> Iterator[Remark]:
    stage, peak = measure.stage, measure.pin_peak
    allowed = stage.rating or _USUAL_PIN_A
    load = stage.network.load
    bare = load is not None and load.resistance is not None and load.resistance < LOW_LOAD_OHM
    if peak <= allowed:
        return
    highest = stage.swing
    needed = next(r for r in preferred_values(Series.E24, 1.0, 1e9) if highest / r <= allowed)
    playing = measure.burdens[0]
    when = "playing" if playing.peak >= measure.power_up.pin_peak else "at power-up"
    against = f"its rating is {_ampere(allowed)}" if stage.rating else "usual drive settings are 2 to 24 mA"
    text = f"the pin carries {_ampere(peak)} {when} ({_ampere(playing.rms)} rms playing); {against}"
    if bare and load is not None:
        text = f"the pin drives {format_value(load.resistance or 0.0, Unit.OHM)} by itself: {text}"
    yield Remark(
        RemarkKind.BARE_PIN if bare else RemarkKind.PIN_CURRENT,
        text,
        f"a buffer, or at least {format_value(needed, Unit.OHM)} in series ahead of everything else",
        stage.places.get("pin"),
        serious=True,
    )


def _detuned(measure: StageMeasure) -> Iterator[Remark]:
    stage, loaded = measure.stage, measure.response
    own = {"R_load", "C_load"}
    if all(e.kind is PartKind.RESISTOR or e.name in own for e in stage.network.elements):
        return  # no filter: nothing to detune
    if not any(e.name in own for e in stage.network.elements):
        return
    lighter = tuple(
        replace(e, value=e.value * 1e6) if e.name == "R_load" else e
        for e in stage.network.elements
        if e.name != "C_load"
    )
    bare = response_of(state_space(replace(stage.network, elements=lighter)))
    if not bare.gain_1k or not loaded.gain_1k:
        return
    lost = 20 * math.log10(bare.gain_1k / loaded.gain_1k)
    moved = _moved(bare, loaded)
    if lost < _LOST_DB and not moved:
        return
    parts = [f"takes {lost:.1f} dB at 1 kHz"] if lost >= _LOST_DB else []
    yield Remark(
        RemarkKind.DETUNED,
        f"the load {' and '.join([*parts, *moved])}, against nothing connected",
        "smaller resistors with larger capacitors in the same ratio, or a buffer",
        stage.places.get("load"),
    )


def _moved(bare: Response, loaded: Response) -> list[str]:
    if bare.high_hz is None or loaded.high_hz is None:
        return []
    if abs(loaded.high_hz / bare.high_hz - 1) < _MOVED:
        return []
    return [f"moves the corner from {_hertz(bare.high_hz)} to {_hertz(loaded.high_hz)}"]


def _level(measure: StageMeasure) -> Iterator[Remark]:
    stage = measure.stage
    load = stage.network.load
    over = volt_to_dbv(measure.full_scale_rms) - LINE_LEVEL_DBV
    if load is None or load.kind is not LoadKind.LINE_INPUT or over <= LINE_ROOM_DB:
        return
    wanted = dbv_to_volt(LINE_LEVEL_DBV) / measure.full_scale_rms * measure.response.gain_1k
    resistor = _shunt_for(stage.network, wanted)
    hint = "a divider ahead of the input"
    if resistor is not None:
        after = response_of(state_space(_with_shunt(stage.network, resistor)))
        corner = f", and the corner to {_hertz(after.high_hz)}" if after.high_hz else ""
        hint = f"{format_value(resistor, Unit.OHM)} across the load brings it to {LINE_LEVEL_DBV:g} dBV{corner}"
    yield Remark(
        RemarkKind.TOO_HOT,
        f"a full-scale sine is {volt_to_dbv(measure.full_scale_rms):.1f} dBV at the load, {over:.1f} dB hotter than "
        f"the {LINE_LEVEL_DBV:g} dBV that consumer line inputs are made for",
        hint,
        stage.places.get("load"),
    )


def _with_shunt(network: Network, resistance: float) -> Network:
    shunt = Element(PartKind.RESISTOR, "R_shunt_tried", network.output, GROUND, resistance)
    return replace(network, elements=(*network.elements, shunt))


def _shunt_for(network: Network, gain: float) -> float | None:
    """Return the E24 resistor across the load that comes nearest to a gain at 1 kHz; None where none is within 1 dB."""

    def off(resistance: float) -> float:
        found = abs(frequency_response(_with_shunt(network, resistance), [1000.0]).output()[0])
        return abs(20 * math.log10(float(found) / gain))

    best = min(preferred_values(Series.E24, _LEAST_SHUNT_OHM, 100e3), key=off)
    return best if off(best) < 1.0 else None


def _direct(measure: StageMeasure) -> Iterator[Remark]:
    stage, load = measure.stage, measure.stage.network.load
    if abs(measure.dc) <= POP_LIMIT_V or load is None or load.resistance is None:
        return
    source = _source_resistance(stage)
    wanted = coupling_capacitance(_CUT_OFF_HZ, load.resistance, source)
    value = next(v for v in preferred_values(Series.E6, wanted, wanted * 10) if v >= wanted)
    heat = measure.dc**2 / load.resistance
    low = load.resistance < LOW_LOAD_OHM
    yield Remark(
        RemarkKind.DIRECT_CURRENT,
        f"no coupling capacitor: {_volt(measure.dc)} DC stand at the load while a tone plays"
        + (f" and heat it with {format_value(heat, Unit.WATT, digits=2)}" if low else ""),
        f"{format_value(value, Unit.FARAD)} in series with the load: -3 dB near {_CUT_OFF_HZ:g} Hz",
        stage.places.get("load"),
        serious=low,
    )


def _source_resistance(stage: Stage) -> float:
    """Return the resistance that the load sees at DC, by the gain with and without it."""
    load = stage.network.load
    if load is None or load.resistance is None:
        return 0.0
    halved = tuple(replace(e, value=e.value / 2) if e.name == "R_load" else e for e in stage.network.elements)
    full = abs(float(frequency_response(stage.network, [0.0]).output()[0].real))
    half = abs(float(frequency_response(replace(stage.network, elements=halved), [0.0]).output()[0].real))
    if not 0 < half < full:
        return 0.0
    ratio = full / half  # (R/2 + S) / (R/2) over (R + S) / R
    return load.resistance * (ratio - 1) / (2 - ratio) if ratio < 2 else 0.0


def _bass(measure: StageMeasure) -> Iterator[Remark]:
    low = measure.response.low_hz
    if low is None or low <= 30.0:
        return
    coupling = [
        e for e in measure.stage.network.elements if e.kind is PartKind.CAPACITOR and GROUND not in (e.first, e.second)
    ]
    hint = "a larger coupling capacitor"
    if len(coupling) == 1:
        larger = nearest_value(coupling[0].value * low / 15.0, Series.E6)
        hint = f"{coupling[0].name} about {format_value(larger, Unit.FARAD)} for a corner near 15 Hz"
    yield Remark(
        RemarkKind.BASS_LOST,
        f"the bass is 3 dB down at {_hertz(low)} already",
        hint,
        coupling[0].place if coupling else None,
    )


def _pop(measure: StageMeasure) -> Iterator[Remark]:
    up, stage = measure.power_up, measure.stage
    if up.peak <= POP_LIMIT_V:
        return
    load = stage.network.load
    hint = (
        "let the code rise slowly from 0 to that of silence before anything plays; mute or connect the load after that"
    )
    if stage.code.silence <= 1:
        hint = "the code cannot go lower: keep the load muted or unconnected so long, or take a smaller capacitor"
    if up.ramp is not None:
        hint = (
            f"let the code rise evenly from 0 to {stage.code.silence} over {up.ramp:.2g} s before anything plays: the "
            f"load then stays below {_volt(POP_LIMIT_V)}; a smaller coupling capacitor shortens it"
        )
    lasts = f"for {up.settles_after:.2g} s above {_volt(POP_LIMIT_V)}"
    if abs(up.rests_at) > POP_LIMIT_V:
        lasts = f"and leaves {_volt(up.rests_at)} there"
    yield Remark(
        RemarkKind.POP,
        f"a pop at power-up: silence is code {stage.code.silence}, {_volt(stage.silence_volts)} "
        f"at the pin, and all at once it throws {_volt(up.peak)} at the load, {lasts}",
        hint,
        stage.places.get("code"),
        serious=load is not None and load.resistance is not None and load.resistance < LOW_LOAD_OHM,
    )


def _ripple(measure: StageMeasure) -> Iterator[Remark]:
    share = measure.ripple.peak_to_peak / (2 * math.sqrt(2) * measure.full_scale_rms)
    if share <= 0.05:
        return
    yield Remark(
        RemarkKind.RIPPLE,
        f"ripple above 20 kHz is {_volt(measure.ripple.peak_to_peak)} peak to peak, "
        f"{100 * share:.0f} % of a full-scale sine: not heard by itself, but it can overload the next input",
        "a second RC section, a lower corner, or a faster carrier",
        measure.stage.places.get("network"),
    )


def _hertz(value: float) -> str:
    return format_value(value, Unit.HERTZ, digits=3)


def _ampere(value: float) -> str:
    return format_value(value, Unit.AMPERE, digits=3)


def _volt(value: float) -> str:
    return format_value(value, Unit.VOLT, digits=3)
