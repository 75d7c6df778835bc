"""Path: from the code to the levels before the network, piece by piece.

Stage: output stage, digital side. In: an unsigned code as `Steps` on the code's clock, from cycle 0 on. Out: `Steps` of
the pin (0, 1) or of the converter, on the clock of the output, and how many volts a level is.

What stands between code and modulator
  clock   a change of the code shows from the first edge of the output's clock that is not before it
  PWM     duty = floor(code * length / 2**bits), taken once a carrier period: a counter shorter than the code drops bits
  shaped  the code is sampled once a carrier period and shaped to the counter's length
  first order   the code is moved up by whole bits where the accumulator is wider
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from psgmodel.output_stage.modulators import (
    FirstOrder,
    FirstOrderState,
    Pwm,
    PwmState,
    Rounding,
    SecondOrder,
    SecondOrderState,
    ShaperState,
    first_order_part,
    pwm_part,
    second_order_part,
    shape_noise_part,
    steps_to_clock,
)
from psgmodel.output_stage.modulators.signals import check_codes
from psgmodel.output_stage.networks import Drive
from psgmodel.output_stage.stage.converter import LEVEL_UNIT, ConverterState
from psgmodel.output_stage.stage.records import Converter, ShapedPwm, Stage
from psgmodel.steps import Steps, empty_steps, steps_from_changes


class PathState:
    """The digital side of a stage, fed piece by piece.

    Attributes
    ----------
    saturations : int
        Clocks, updates or samples at which something was held at its limit.
    first_saturation : int or None
        Where the first of them was: a cycle of the output's clock, an update, a sample.
    """

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self.saturations = 0
        self.first_saturation: int | None = None
        self._pwm = PwmState()
        self._shaper, self._coarse = ShaperState(), 0
        self._first = FirstOrderState()
        self._second = SecondOrderState()
        output = stage.output
        self._converter = ConverterState(output, stage.code) if isinstance(output, Converter) else None

    def push(self, code: Steps) -> Steps:
        """Return what a further piece of code makes; pieces follow one another from cycle 0 on.

        Raises
        ------
        StageError
            A code is unknown or out of range.
        """
        check_codes(code, self.stage.code.top)
        if self._converter is not None:
            made = self._converter.push(code)
            self.saturations, self.first_saturation = self._converter.saturations, self._converter.first_saturation
            return made
        held = on_clock(code, self.stage.code.clock, self.stage.clock)
        return self._modulated(held) if len(held) else held

    def finish(self) -> Steps:
        """Return what is still on its way."""
        return empty_steps(0) if self._converter is None else self._converter.finish()

    def _modulated(self, code: Steps) -> Steps:
        form, bits = self.stage.modulator, self.stage.code.bits
        if isinstance(form, Pwm):
            duty = code.level.astype(np.int64) * form.length >> bits
            pin, self._pwm = pwm_part(steps_from_changes(code.cycle, duty, code.end), form, self._pwm)
        elif isinstance(form, ShapedPwm):
            pin, self._pwm = pwm_part(self._shaped(code, form), form.pwm, self._pwm)
        elif isinstance(form, FirstOrder):
            wide = Steps(code.cycle, code.level << (form.bits - bits), code.end)
            pin, self._first = first_order_part(wide, form, self._first)
        else:
            assert isinstance(form, SecondOrder)  # a pin has a modulator: the reader saw to it
            pin, self._second, over = second_order_part(code, form, self._second)
            self._note(over.clamped, over.first)
        return pin

    def _shaped(self, code: Steps, form: ShapedPwm) -> Steps:
        period = form.pwm.period
        starts = np.arange(-(-code.start // period) * period, code.end, period, dtype=np.int64)
        if not starts.size:
            return steps_from_changes([code.start], [self._coarse], code.end)
        shaped, self._shaper = shape_noise_part(code.at(starts).astype(np.int64), form.shaper, self._shaper)
        first = shaped.first_saturation
        self._note(shaped.saturations, None if first is None else int(starts[first]))
        cycle, level = np.append(code.start, starts), np.append(self._coarse, shaped.samples)
        self._coarse = int(level[-1])
        return steps_from_changes(cycle, level, code.end)

    def _note(self, count: int, first: int | None) -> None:
        if count and self.first_saturation is None:
            self.first_saturation = first
        self.saturations += count


def on_clock(code: Steps, source: Fraction, target: Fraction) -> Steps:
    """Return a code on another clock, as a register there sees it."""
    return code if source == target else steps_to_clock(code, source, target, Rounding.UP)


def drive_of(stage: Stage, steps: Steps) -> Drive:
    """Return levels of the path in volts."""
    if isinstance(stage.output, Converter):
        return Drive(steps, stage.clock, stage.full_scale_peak / LEVEL_UNIT, stage.output.bias)
    return Drive(steps, stage.clock, stage.output.supply)


def carrier_hz(stage: Stage) -> Fraction | None:
    """Return the carrier of a pulse-width modulator, or None."""
    form = stage.modulator.pwm if isinstance(stage.modulator, ShapedPwm) else stage.modulator
    return form.carrier_hz(stage.clock) if isinstance(form, Pwm) else None


def output_levels(stage: Stage, code: Steps) -> tuple[Steps, PathState]:
    """Return the levels that a whole code makes, and the path with its counts."""
    state = PathState(stage)
    made = state.push(code)
    rest = state.finish()
    return (made.then(rest) if len(rest) else made), state
