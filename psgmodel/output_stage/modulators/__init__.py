"""Modulators: an unsigned code as `Steps` in, the pin or the converter's code as `Steps` out, register-true.

Contents, in the order of the data: clocks and samples (`signals`), noise shaping (`shaper`), the modulators (`dac`,
`pulse_width`, `sigma_delta_1`, `sigma_delta_2` with its dither in `lfsr`), and the volts of a resistor ladder
(`ladder`). What linear theory promises stands in `theory`. `modulate` takes any modulator.
"""

from psgmodel.output_stage.modulators.dac import IdealDac, Requantise, ideal_dac
from psgmodel.output_stage.modulators.ladder import (
    Ladder,
    LadderTable,
    Spread,
    WorstCase,
    ladder_monte_carlo,
    ladder_table,
    ladder_worst_case,
)
from psgmodel.output_stage.modulators.lfsr import LfsrDither, dither_words, lfsr_bits
from psgmodel.output_stage.modulators.pulse_width import (
    Pwm,
    PwmEdge,
    PwmState,
    pwm,
    pwm_of_carrier,
    pwm_of_width,
    pwm_part,
)
from psgmodel.output_stage.modulators.shaper import (
    NoiseShaper,
    Shaped,
    ShaperState,
    shape_noise,
    shape_noise_part,
    tpdf_dither,
)
from psgmodel.output_stage.modulators.sigma_delta_1 import FirstOrder, FirstOrderState, first_order, first_order_part
from psgmodel.output_stage.modulators.sigma_delta_2 import (
    Overloads,
    SecondOrder,
    SecondOrderState,
    constant_input_bound,
    second_order,
    second_order_batch,
    second_order_of_width,
    second_order_part,
)
from psgmodel.output_stage.modulators.signals import (
    Hertz,
    Modulated,
    Rounding,
    samples_of_steps,
    steps_of_samples,
    steps_to_clock,
)
from psgmodel.output_stage.modulators.theory import in_band_gain_db, oversampled_bits
from psgmodel.steps import Steps

Modulator = IdealDac | Pwm | FirstOrder | SecondOrder
"""Any modulator; each has `top`, the largest code it accepts."""


def modulate(code: Steps, form: Modulator) -> Modulated:
    """Return what any modulator makes of a code from reset on.

    Parameters
    ----------
    code : Steps
        Unsigned, ``0..form.top``, on the modulator's clock.
    form : IdealDac, Pwm, FirstOrder or SecondOrder

    Returns
    -------
    Modulated

    Raises
    ------
    StageError
        A code is unknown or out of range.
    """
    if isinstance(form, IdealDac):
        return ideal_dac(code, form)
    if isinstance(form, Pwm):
        return pwm(code, form)
    if isinstance(form, FirstOrder):
        return first_order(code, form)
    return second_order(code, form)


__all__ = [
    "FirstOrder",
    "FirstOrderState",
    "Hertz",
    "IdealDac",
    "Ladder",
    "LadderTable",
    "LfsrDither",
    "Modulated",
    "Modulator",
    "NoiseShaper",
    "Overloads",
    "Pwm",
    "PwmEdge",
    "PwmState",
    "Requantise",
    "Rounding",
    "SecondOrder",
    "SecondOrderState",
    "Shaped",
    "ShaperState",
    "Spread",
    "WorstCase",
    "constant_input_bound",
    "dither_words",
    "first_order",
    "first_order_part",
    "ideal_dac",
    "in_band_gain_db",
    "ladder_monte_carlo",
    "ladder_table",
    "ladder_worst_case",
    "lfsr_bits",
    "modulate",
    "oversampled_bits",
    "pwm",
    "pwm_of_carrier",
    "pwm_of_width",
    "pwm_part",
    "samples_of_steps",
    "second_order",
    "second_order_batch",
    "second_order_of_width",
    "second_order_part",
    "shape_noise",
    "shape_noise_part",
    "steps_of_samples",
    "steps_to_clock",
    "tpdf_dither",
]
