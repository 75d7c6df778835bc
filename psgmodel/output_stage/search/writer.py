"""Writer: a stage found by a search as a stage file.

Stage: output stage, searching. In: a `Stage` whose network is a ladder of parts. Out: TOML text that
`psgmodel.output_stage.stage.parse_stage` reads back to the same stage.
"""

from __future__ import annotations

import math
from fractions import Fraction

from psgmodel.output_stage.loads import Load
from psgmodel.output_stage.modulators import FirstOrder, Pwm, SecondOrder
from psgmodel.output_stage.networks import GROUND, PartKind
from psgmodel.output_stage.parts_text import Unit, format_value
from psgmodel.output_stage.stage import Converter, Figure, Limit, Pin, PinModulator, PriceList, ShapedPwm, Stage
from psgmodel.output_stage.stage.prices import bought_parts


def stage_toml(stage: Stage) -> str:
    """Return a stage as the text of a stage file.

    Parameters
    ----------
    stage : Stage
        Of a search: parts in a ladder, no op amps, no dither.

    Returns
    -------
    str
    """
    lines = ["format = 1", f'title = "{stage.title}"', "", "[code]", f"bits = {stage.code.bits}"]
    lines += [f"clock = {_clock(stage.code.clock)}", f"silence = {stage.code.silence}", ""]
    if isinstance(stage.output, Pin):
        lines += _pin(stage.output)
        assert stage.modulator is not None  # a pin has a modulator
        lines += ["", "[modulator]", *_modulator(stage.modulator)]
    else:
        lines += _converter(stage.output)
    for part in bought_parts(stage.network):
        position = "shunt" if GROUND in (part.first, part.second) else "series"
        lines += ["", "[[network.ladder]]", f'part = "{part.kind.value}"', f'position = "{position}"']
        lines += [f'name = "{part.name}"', f'value = "{_value(part.value, part.kind.unit)}"']
    if stage.network.load is not None:
        lines += ["", "[network.load]", *_load(stage.network.load)]
    if stage.limits:
        lines += ["", "[limits]", *(_limit(limit) for limit in stage.limits)]
    if stage.prices is not None:
        lines += ["", "[prices]", *_prices(stage.prices)]
    return "\n".join(lines) + "\n"


def _clock(clock: Fraction) -> str:
    return str(clock.numerator) if clock.denominator == 1 else f'"{clock.numerator} / {clock.denominator}"'


def _value(value: float, unit: Unit) -> str:
    return format_value(value, unit, digits=6)


def _pin(pin: Pin) -> list[str]:
    lines = ["[pin]", f"supply = {pin.supply!r}", f"clock = {_clock(pin.clock)}", f"resistance = {pin.resistance!r}"]
    return lines if pin.rating is None else [*lines, f"rating = {pin.rating!r}"]


def _modulator(form: PinModulator) -> list[str]:
    if isinstance(form, ShapedPwm):
        return [*_modulator(form.pwm), f"shaper = {form.shaper.order}"]
    if isinstance(form, Pwm):
        return ['kind = "pwm"', f'edge = "{form.edge.value}"', f"length = {form.length}"]
    if isinstance(form, FirstOrder):
        return ['kind = "sigma-delta-1"', f"bits = {form.bits}"]
    assert isinstance(form, SecondOrder)
    return ['kind = "sigma-delta-2"', f'input-scale = "{form.input_scale}"']


def _converter(converter: Converter) -> list[str]:
    lines = ["[converter]", f"bits = {converter.bits}", f"rate = {converter.rate}"]
    lines += [
        f'feed = "{converter.feed.value}"',
        f"full-scale = {converter.full_scale!r}",
        f"bias = {converter.bias!r}",
        f"input-scale = {converter.input_scale!r}",
    ]
    lines += [f"resistance = {converter.resistance!r}", f"pass-band = {converter.pass_band!r}"]
    lines += [f"stop-band = {converter.stop_band!r}", f"stop-attenuation = {converter.stop_attenuation!r}"]
    extra = {"snr-a": converter.snr_a, "thd": converter.thd, "rating": converter.rating}
    return [*lines, *(f"{key} = {value!r}" for key, value in extra.items() if value is not None)]


def _load(load: Load) -> list[str]:
    lines = [f'kind = "{load.kind.value}"']
    if load.resistance is not None:
        lines.append(f"resistance = {load.resistance!r}")
    return [*lines, f"capacitance = {load.capacitance!r}"] if load.capacitance else lines


def _limit(limit: Limit) -> str:
    if limit.figure.sense == "between":
        return f"{limit.figure.word} = [{limit.low!r}, {limit.high!r}]"
    end = limit.low if limit.figure.sense == "at-least" else limit.high
    number = int(end) if limit.figure is Figure.PARTS and end is not None else end
    return f"{limit.figure.word} = {number!r}"


def _prices(prices: PriceList) -> list[str]:
    lines = []
    for kind, steps in prices.parts.items():
        unit = PartKind(kind).unit
        entries = [
            f"{{ price = {s.price!r} }}"
            if math.isinf(s.up_to)
            else f'{{ up-to = "{_value(s.up_to, unit)}", price = {s.price!r} }}'
            for s in steps
        ]
        lines.append(f"{kind} = [{', '.join(entries)}]")
    return [*lines, f"op-amp = {prices.op_amp!r}", f"converter = {prices.converter!r}"]
