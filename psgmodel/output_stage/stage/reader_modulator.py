"""Reader of the tables ``[modulator]`` and ``[converter]``.

Stage: reader of stage files. In: a table, the code and the clock. Out: a modulator or converter, and problems into the
shared list. Keys of ``[modulator]``:

- ``kind``: "pwm", "sigma-delta-1" or "sigma-delta-2".
- pwm: one of ``bits`` (of the counter), ``length`` (positions of the counter), ``carrier`` (hertz); ``edge``
  ("trailing", "leading", "centre"); ``shaper`` (0, 1 or 2: order of a noise shaper in front of the counter).
- sigma-delta-1: ``bits`` of the accumulator (those of the code where absent).
- sigma-delta-2: ``input-scale`` (3/4 where absent), ``dither``: a table with ``width``, ``taps``, ``bits``, ``shift``,
  ``seed`` of a shift register.

Keys of ``[converter]``: see `Converter`.
"""

from __future__ import annotations

from enum import Enum
from fractions import Fraction
from typing import Literal, cast

from psgmodel.errors import Problem, StageError
from psgmodel.output_stage.modulators import (
    FirstOrder,
    LfsrDither,
    NoiseShaper,
    Pwm,
    PwmEdge,
    SecondOrder,
    pwm_of_carrier,
    second_order_of_width,
)
from psgmodel.output_stage.parts_text import Unit
from psgmodel.output_stage.stage.records import Converter, Feed, PinModulator, ShapedPwm
from psgmodel.output_stage.stage.tables import StageTable


class ModulatorKind(Enum):
    """Kind of a pin's modulator; the enum value is the word in a file."""

    PWM = "pwm"
    SIGMA_DELTA_1 = "sigma-delta-1"
    SIGMA_DELTA_2 = "sigma-delta-2"


def read_modulator(table: StageTable, code_bits: int, clock: Fraction) -> PinModulator | None:
    """Return the modulator of a pin; None where the kind is wrong."""
    kind = table.choice("kind", ModulatorKind, None)
    if kind is None:
        return None
    try:
        if kind is ModulatorKind.PWM:
            form: PinModulator = _pwm(table, code_bits, clock)
        elif kind is ModulatorKind.SIGMA_DELTA_1:
            form = FirstOrder(table.whole("bits", code_bits, 31, code_bits))
        else:
            form = _second_order(table, code_bits)
    except StageError as error:
        for problem in error.problems:
            table.problem(None, problem.message, problem.hint)
        return None
    table.finish()
    return form


def _pwm(table: StageTable, code_bits: int, clock: Fraction) -> Pwm | ShapedPwm:
    edge = table.choice("edge", PwmEdge, PwmEdge.TRAILING) or PwmEdge.TRAILING
    given = [key for key in ("bits", "length", "carrier") if table.has(key)]
    if len(given) > 1:
        table.problem(given[1], f"{' and '.join(given)} say the same thing; accepted is one of them")
    if table.has("carrier"):
        form = _of_carrier(table, clock, edge)
    elif table.has("length"):
        form = Pwm(table.whole("length", 2, 2**24, None), edge)
    else:
        form = Pwm(2 ** table.whole("bits", 1, 24, code_bits), edge)
    for key in given[1:]:
        table.value(key, Unit.NONE, 0.0)
    order = table.whole("shaper", 0, 2, 0)
    if not order:
        return form
    return shaped_pwm(form, cast(Literal[1, 2], order), code_bits)


def shaped_pwm(form: Pwm, order: Literal[1, 2], code_bits: int) -> ShapedPwm:
    """Return a counter with a noise shaper in front of it.

    Raises
    ------
    StageError
        The counter's length is no power of two, or not below the range of the code.
    """
    step, rest = divmod(2**code_bits, form.length)
    if rest or step < 2:
        raise StageError(
            f"a shaper turns {code_bits} bits into fewer, and a counter of {form.length} positions takes no fewer",
            hint=f"accepted with a shaper: 2, 4, 8, ... up to {2 ** (code_bits - 1)} positions",
        )
    return ShapedPwm(form, NoiseShaper(order, step, form.length))


def _of_carrier(table: StageTable, clock: Fraction, edge: PwmEdge) -> Pwm:
    carrier = table.clock("carrier", None)
    try:
        return pwm_of_carrier(clock, carrier, edge)
    except StageError as error:
        for problem in error.problems:
            table.problem("carrier", problem.message, problem.hint)
        return Pwm(256, edge)


def _second_order(table: StageTable, code_bits: int) -> SecondOrder:
    scale = table.ratio("input-scale", Fraction(3, 4))
    dither: LfsrDither | None = None
    if table.has("dither"):
        inner = table.table("dither")
        width = inner.whole("width", 2, 32, None)
        taps = inner.whole_list("taps", 1, 32, (width, 1))
        bits, shift = inner.whole("bits", 1, 32, None), inner.whole("shift", 0, 40, 0)
        seed = inner.whole("seed", 1, 2**32 - 1, 1)
        inner.finish()
        dither = LfsrDither(width, taps, bits, shift, seed)
    return second_order_of_width(code_bits, scale, dither)


def read_converter(table: StageTable) -> Converter:
    """Return the converter; problems go to the shared list."""
    rate = table.clock("rate", None)
    if rate.denominator != 1 or not 8_000 <= rate <= 192_000:
        table.problem("rate", f"rate is {float(rate):g} Hz; accepted is a whole number from 8000 to 192000")
        rate = Fraction(48_000)
    pass_band = table.number("pass-band", 0.05, 0.5, 0.4535)
    stop_band = table.number("stop-band", 0.4, 1.0, 0.5465)
    if not pass_band < stop_band:
        table.problem("stop-band", f"the stop band begins at {stop_band:g} of the rate, inside the pass band")
        stop_band = pass_band + 0.1
    converter = Converter(
        bits=table.whole("bits", 4, 24, None),
        rate=int(rate),
        feed=table.choice("feed", Feed, Feed.SAMPLED) or Feed.SAMPLED,
        full_scale=table.number("full-scale", 1e-3, 100.0, None, Unit.VOLT),
        input_scale=table.number("input-scale", 0.01, 1.0, 1.0),
        bias=table.number("bias", -100.0, 100.0, 0.0, Unit.VOLT),
        resistance=table.number("resistance", 0.0, 1e6, 0.0, Unit.OHM),
        pass_band=pass_band,
        stop_band=stop_band,
        stop_attenuation=table.number("stop-attenuation", 20.0, 140.0, 60.0),
        snr_a=table.optional("snr-a", 0.0, 160.0),
        thd=table.optional("thd", -160.0, 0.0),
        rating=table.optional("rating", 1e-6, 100.0, Unit.AMPERE),
    )
    table.finish()
    return converter


def problems_under(problems: tuple[Problem, ...], place_of: StageTable) -> list[Problem]:
    """Return problems, those without a place put at a table."""
    return [p if p.place else Problem(p.message, place_of.place(), p.hint) for p in problems]
