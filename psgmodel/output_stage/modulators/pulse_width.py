"""Pulse-width modulation from a counter, its duty taken once a carrier period.

Stage: modulator. In: an unsigned duty code ``0..length`` as `Steps` on the counter's clock. Out: the pin, 0 or 1.

Registers (this text is what the Verilog twin is written from; all take their new value at each rising edge):
  duty  : holds the code of the running carrier period; reset value 0.
  count : position of the counter; `down`: direction, used by the centre-aligned form only.
Trailing and leading edge, period of `length` clocks; `count` is reset to length - 1:
  1. if count == length - 1: count <= 0 and duty <= code (the code that this edge samples); else count <= count + 1.
  2. pin = (count < duty)            trailing edge: the pulse begins with the period, its end moves
     pin = (count >= length - duty)  leading edge: the pulse ends with the period, its begin moves
Centre-aligned, period of 2 * length clocks, the counter runs 0 .. length-1, length-1 .. 0; reset: count 0, down 1:
  1. if not down: if count == length - 1 then down <= 1 (count stays), else count <= count + 1
     if down:     if count == 0 then down <= 0 (count stays) and duty <= code, else count <= count - 1
  2. pin = (count >= length - duty): high for 2 * duty clocks around the middle of the period
The pin is decoded from registers, so it shows the new period in the very cycle whose edge sampled the code.

0 % is code 0: the pin is never high. 100 % is code `length`: the pin is never low, across period ends too. The duty
register is therefore one bit wider than the counter wherever `length` is a power of two; a design that keeps the code
as wide as the counter stops one step short of 100 %.

The code is sampled once a period at its start (uniform or regular sampling): the pin has baseband harmonics that the
textbook formulas for natural sampling do not show (D. G. Holmes, T. A. Lipo, Pulse Width Modulation for Power
Converters, 2003, chapter 3).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

import numpy as np

from psgmodel.errors import StageError
from psgmodel.output_stage.modulators.signals import (
    CodeArray,
    Hertz,
    Modulated,
    check_codes,
    check_hertz,
    raise_problems,
    whole_number_problems,
)
from psgmodel.steps import Steps, steps_from_changes

MAX_LENGTH = 2**24
"""Longest counter accepted."""


class PwmEdge(Enum):
    """Which edge of the pulse moves."""

    TRAILING = "trailing"
    LEADING = "leading"
    CENTRE = "centre"


@dataclass(frozen=True, slots=True)
class Pwm:
    """A pulse-width modulator.

    Attributes
    ----------
    length : int
        Number of counter positions, 1 to 2**24; an N-bit counter that wraps by itself has 2**N.
    edge : PwmEdge

    Raises
    ------
    StageError
        The length is out of range.
    """

    length: int
    edge: PwmEdge = PwmEdge.TRAILING

    def __post_init__(self) -> None:
        raise_problems(whole_number_problems("counter length", self.length, 1, MAX_LENGTH))

    @property
    def top(self) -> int:
        """Largest code accepted: 100 %."""
        return self.length

    @property
    def period(self) -> int:
        """Clock cycles of one carrier period."""
        return 2 * self.length if self.edge is PwmEdge.CENTRE else self.length

    def carrier_hz(self, clock_hz: Hertz) -> Fraction:
        """Return the carrier frequency at a clock, exactly."""
        return check_hertz("clock", clock_hz) / self.period


def pwm_of_width(bits: int, edge: PwmEdge = PwmEdge.TRAILING) -> Pwm:
    """Return the modulator with a counter of `bits` bits, 1 to 24, that wraps by itself.

    Raises
    ------
    StageError
        The width is out of range.
    """
    raise_problems(whole_number_problems("counter width", bits, 1, 24))
    return Pwm(2**bits, edge)


def pwm_of_carrier(clock_hz: Hertz, carrier_hz: Hertz, edge: PwmEdge = PwmEdge.TRAILING) -> Pwm:
    """Return the modulator whose carrier is exactly `carrier_hz`.

    Raises
    ------
    StageError
        The clock cannot make that carrier; the message names the nearest carriers it can make.
    """
    clock, carrier = check_hertz("clock", clock_hz), check_hertz("carrier", carrier_hz)
    clocks_per_step = 2 if edge is PwmEdge.CENTRE else 1
    length = clock / (carrier * clocks_per_step)
    if length.denominator == 1 and 1 <= length <= MAX_LENGTH:
        return Pwm(int(length), edge)
    below = min(max(int(length), 1), MAX_LENGTH)
    options = sorted({below, min(below + 1, MAX_LENGTH)})
    near = " or ".join(f"{float(clock / (clocks_per_step * n)):.10g} Hz (length {n})" for n in options)
    raise StageError(
        f"a {edge.value} carrier of {float(carrier):.10g} Hz from a clock of {float(clock):.10g} Hz needs a counter of "
        f"{float(length):.10g} positions",
        hint=f"accepted: a whole number from 1 to {MAX_LENGTH}; nearest carriers: {near}",
    )


@dataclass(frozen=True, slots=True)
class PwmState:
    """Where a run stopped: clocks already spent in the running period, and the duty it holds."""

    phase: int = 0
    duty: int = 0


def pwm(code: Steps, form: Pwm) -> Modulated:
    """Return the pin of a modulator that leaves reset at the first cycle of `code`.

    Parameters
    ----------
    code : Steps
        Duty, ``0..length``; sampled at the first cycle and every carrier period from there.
    form : Pwm

    Returns
    -------
    Modulated
        Pin, 0 or 1, over the same cycles.

    Raises
    ------
    StageError
        A code is unknown or out of range.
    """
    return Modulated(pwm_part(code, form, PwmState())[0], 1)


def pwm_part(code: Steps, form: Pwm, state: PwmState) -> tuple[Steps, PwmState]:
    """Return the pin from a saved state on, and the state at the end: a run can be cut at any cycle.

    Parameters
    ----------
    code : Steps
    form : Pwm
    state : PwmState
        ``PwmState()`` is a modulator just out of reset.

    Returns
    -------
    steps : Steps
    state : PwmState

    Raises
    ------
    StageError
        A code is unknown or out of range.
    """
    check_codes(code, form.top)
    starts = np.arange(code.start + (-state.phase) % form.period, code.end, form.period, dtype=np.int64)
    duties = code.at(starts).astype(np.int64)
    if state.phase:
        starts = np.append(np.int64(code.start - state.phase), starts)
        duties = np.append(np.int64(state.duty), duties)
    cycle, level = _pulse_edges(starts, duties, form)
    kept = cycle < code.end
    pin = steps_from_changes(cycle[kept], level[kept], code.end).cut(code.start, code.end)
    phase = (code.end - int(starts[-1])) % form.period
    return pin, PwmState(phase, int(duties[-1]) if phase else 0)


def _pulse_edges(starts: CodeArray, duties: CodeArray, form: Pwm) -> tuple[CodeArray, CodeArray]:
    """Return the changes of each period in order; of several in one cycle the last one counts."""
    if form.edge is PwmEdge.TRAILING:
        cycle, level = [starts, starts + duties], [1, 0]
    elif form.edge is PwmEdge.LEADING:
        cycle, level = [starts, starts + form.length - duties], [0, 1]
    else:
        cycle, level = [starts, starts + form.length - duties, starts + form.length + duties], [0, 1, 0]
    return np.stack(cycle, axis=1).ravel(), np.tile(np.asarray(level, dtype=np.int64), starts.size)
