"""Ideal converter: keep the top bits of a code.

Stage: modulator. In: an unsigned code of `code_bits` as `Steps`. Out: an unsigned code of `dac_bits` as `Steps`.
Level d stands for ``d / 2**dac_bits`` of the reference voltage, held until the next change.

Requantisation, with ``s = code_bits - dac_bits`` bits dropped:
  truncate : d = code >> s (in hardware: leave the low bits unconnected); mean error -(2**s - 1)/2 codes.
  round    : d = (code + 2**(s-1)) >> s, held at the top code where that would overflow (half a step up, an adder and
             a clamp). Every held change is counted in `Modulated.saturations`.
Where the converter has more bits than the code, the code is moved up by whole bits, exactly, under either rule.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from psgmodel.output_stage.modulators.signals import Modulated, check_codes, raise_problems, whole_number_problems
from psgmodel.steps import Steps, steps_from_changes

MAX_BITS = 30
"""Widest code of the ideal converter: a level and its rounding still fit 32 bits."""


class Requantise(Enum):
    """What becomes of the low bits."""

    TRUNCATE = "truncate"
    ROUND = "round"


@dataclass(frozen=True, slots=True)
class IdealDac:
    """An ideal N-bit converter.

    Attributes
    ----------
    code_bits : int
        Width of the code that comes in, 1 to 30.
    dac_bits : int
        Width of the converter, 1 to 30.
    rule : Requantise

    Raises
    ------
    StageError
        A width is out of range.
    """

    code_bits: int
    dac_bits: int
    rule: Requantise = Requantise.TRUNCATE

    def __post_init__(self) -> None:
        raise_problems(
            whole_number_problems("code width", self.code_bits, 1, MAX_BITS)
            + whole_number_problems("converter width", self.dac_bits, 1, MAX_BITS)
        )

    @property
    def top(self) -> int:
        """Largest code accepted."""
        return (1 << self.code_bits) - 1


def ideal_dac(code: Steps, dac: IdealDac) -> Modulated:
    """Return the converter's code.

    Parameters
    ----------
    code : Steps
        Unsigned, ``0..2**code_bits - 1``.
    dac : IdealDac

    Returns
    -------
    Modulated
        Levels ``0..2**dac_bits - 1``, full scale ``2**dac_bits``.

    Raises
    ------
    StageError
        A code is unknown or out of range.
    """
    check_codes(code, dac.top)
    drop = dac.code_bits - dac.dac_bits
    wide = code.level.astype(np.int64)
    full_scale = 2**dac.dac_bits
    if drop <= 0:
        return Modulated(steps_from_changes(code.cycle, wide << -drop, code.end), full_scale)
    if dac.rule is Requantise.ROUND:
        wide += 1 << (drop - 1)
    level = wide >> drop
    over = level >= full_scale
    first = int(code.cycle[int(np.argmax(over))]) if over.any() else None
    held = np.minimum(level, full_scale - 1)
    return Modulated(steps_from_changes(code.cycle, held, code.end), full_scale, int(over.sum()), first)
