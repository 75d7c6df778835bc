"""Idle tones of a stage: what it whistles while its code stands still.

Stage: output stage, measuring. In: a stage. Out: the largest line in the audio band for each of some constant codes.
A plain pulse-width modulator and a converter repeat one period for ever: they have no line below the carrier, and
nothing is measured.
"""

from __future__ import annotations

from dataclasses import dataclass

from psgmodel.output_stage.measures import IdleTone, idle_tones
from psgmodel.output_stage.modulators import Pwm, SecondOrder
from psgmodel.output_stage.stage.path import output_levels
from psgmodel.output_stage.stage.records import Converter, Stage
from psgmodel.steps import Steps, constant_steps

RECORD_S = 0.02
"""Wanted record for one code."""

_MOST_CLOCKS = {False: 2**20, True: 2**19}
"""Longest record; shorter for the second-order loop, which costs about 0.2 us a clock."""


@dataclass(frozen=True, slots=True)
class IdleSweep:
    """Idle tones over a sweep of DC levels, at the pin, before the network.

    Attributes
    ----------
    tones : tuple of IdleTone
        One for each code; dBFS against the full-scale sine.
    clocks : int
        Length of each record.
    """

    tones: tuple[IdleTone, ...]
    clocks: int

    @property
    def worst(self) -> IdleTone:
        """The loudest of them."""
        return max(self.tones, key=lambda tone: tone.tone_dbfs)


def idle_codes(stage: Stage) -> tuple[int, ...]:
    """Return the codes of the sweep: evenly spread over the range, ends left out."""
    count = stage.tone.idle_levels
    return tuple(dict.fromkeys(round((i + 1) * 2**stage.code.bits / (count + 1)) for i in range(count)))


def idle_sweep(stage: Stage) -> IdleSweep | None:
    """Measure idle tones; None where none was asked for, or where there can be none below the carrier."""
    if isinstance(stage.output, Converter) or isinstance(stage.modulator, Pwm) or not stage.tone.idle_levels:
        return None
    most = _MOST_CLOCKS[isinstance(stage.modulator, SecondOrder)]
    clocks = min(most, 1 << round(RECORD_S * stage.clock).bit_length() - 1)
    lead = clocks // 16

    def run(code: int) -> Steps:
        cycles = -(-(clocks + lead) * stage.code.clock // stage.clock)
        levels, _ = output_levels(stage, constant_steps(code, 0, int(cycles)))
        return levels.cut(lead, lead + clocks)

    return IdleSweep(idle_tones(run, idle_codes(stage), stage.clock), clocks)
