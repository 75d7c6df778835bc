"""R-2R ladder converter: the voltage of every code, with resistors that are not all equal.

Stage: between a digital code and a voltage. In: width, resistance, tolerance. Out: a table of volts a code.

The ladder (voltage mode): a chain of N nodes joined by N - 1 resistors R; from each node a leg 2R to its pin, which is
at 0 or at the reference; from the last node a termination 2R to ground; the output is the first node, unloaded. Each
pin's own resistance stands in series with its leg. Bit N - 1 (the highest) drives the first node.

Ideal: code D gives D * reference / 2**N, output resistance R (textbook). Errors: one LSB is the end-point step, (last
level - first level) / (2**N - 1); INL is the level less the end-point line, DNL is a step less one LSB, both in LSB.
DNL[i] belongs to the step from code i to code i + 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.errors import Problem, StageError
from psgmodel.output_stage.modulators.signals import raise_problems, whole_number_problems

Volts = NDArray[np.float64]


class Spread(Enum):
    """How resistors are drawn within their tolerance."""

    UNIFORM = "uniform"
    """Even between the limits."""
    NORMAL = "normal"
    """Normal, the limits at three standard deviations, draws beyond them moved to them."""


@dataclass(frozen=True, slots=True)
class Ladder:
    """An R-2R ladder.

    Attributes
    ----------
    bits : int
        Width N of the code, 1 to 14.
    ohm : float, ohm
        Resistance R, 1 to 1e9.
    reference_volt : float, V
        High level of the pins, above 0, at most 1000.
    tolerance : float
        Relative limit of every resistor: 0.01 is one per cent. 0 to 0.5.
    pin_ohm : float, ohm
        Resistance of a pin, in series with its leg, 0 to 1e6; it has no tolerance.

    Raises
    ------
    StageError
        A value is out of range; all of them are told together.
    """

    bits: int
    ohm: float
    reference_volt: float
    tolerance: float = 0.0
    pin_ohm: float = 0.0

    def __post_init__(self) -> None:
        problems = whole_number_problems("ladder width", self.bits, 1, 14)
        problems += _range_problems("ladder resistance in ohm", self.ohm, 1.0, 1e9)
        problems += _range_problems("reference voltage", self.reference_volt, 1e-6, 1000.0)
        problems += _range_problems("resistor tolerance", self.tolerance, 0.0, 0.5)
        problems += _range_problems("pin resistance in ohm", self.pin_ohm, 0.0, 1e6)
        raise_problems(problems)

    @property
    def lsb_volt(self) -> float:
        """Ideal step: reference / 2**N. Unit: V."""
        return float(self.reference_volt / (1 << self.bits))

    @property
    def resistors(self) -> int:
        """Number of resistors: N legs (highest bit first), N - 1 of the chain, the termination last."""
        return 2 * self.bits


class LadderTable(NamedTuple):
    """Voltage of every code, and its errors.

    volts: shape (2**N,), V; inl: shape (2**N,), LSB; dnl: shape (2**N - 1,), LSB; output_ohm: resistance of the output.
    """

    volts: Volts
    inl: Volts
    dnl: Volts
    output_ohm: float


class WorstCase(NamedTuple):
    """Largest magnitude of each error over all resistors within tolerance, in LSB, and where."""

    inl: float
    inl_code: int
    dnl: float
    dnl_code: int


def ladder_table(ladder: Ladder, deviations: NDArray[np.float64] | None = None) -> LadderTable:
    """Return the table of a ladder.

    Parameters
    ----------
    ladder : Ladder
    deviations : ndarray of float64, shape (2 N,), optional
        Relative deviation of each resistor (legs, chain, termination), each above -1. None: all nominal.

    Returns
    -------
    LadderTable

    Raises
    ------
    StageError
        Deviations of another shape, or that leave no resistance.
    """
    off = np.zeros(ladder.resistors) if deviations is None else np.asarray(deviations, dtype=np.float64)
    if off.shape != (ladder.resistors,) or not bool(np.all(np.isfinite(off) & (off > -1))):
        raise StageError(
            f"resistor deviations of shape {off.shape}",
            hint=f"accepted: {ladder.resistors} numbers above -1 (legs from the highest bit, chain, termination)",
        )
    weights, output_ohm = _weights(ladder, off[np.newaxis, :])
    volts = _codes(ladder.bits) @ weights[0]
    inl, dnl = _errors(volts)
    return LadderTable(volts, inl, dnl, float(output_ohm[0]))


def ladder_monte_carlo(
    ladder: Ladder, count: int, seed: int, spread: Spread = Spread.UNIFORM
) -> tuple[LadderTable, ...]:
    """Return the tables of `count` ladders whose resistors are drawn at random; the same seed gives the same ones.

    Raises
    ------
    StageError
        Count (1 to 100000) or seed (0 to 2**63 - 1) out of range.
    """
    raise_problems(
        whole_number_problems("number of ladders", count, 1, 100_000)
        + whole_number_problems("seed", seed, 0, 2**63 - 1)
    )
    source = np.random.Generator(np.random.PCG64(seed))
    shape = (count, ladder.resistors)
    if spread is Spread.UNIFORM:
        off = source.uniform(-1.0, 1.0, shape)
    else:
        off = np.clip(source.standard_normal(shape) / 3, -1.0, 1.0)
    return tuple(ladder_table(ladder, row) for row in off * ladder.tolerance)


def ladder_worst_case(ladder: Ladder) -> WorstCase:
    """Return the largest INL and DNL over all resistors within tolerance.

    Each error is taken at the corner where every resistor stands at the limit that its sensitivity at nominal asks for
    (extreme-value analysis, common practice): exact wherever no sensitivity changes sign within the tolerance.
    """
    patterns = _codes(ladder.bits)
    carries = 2 ** np.arange(ladder.bits) - 1  # a step only depends on how many low bits are ones
    inl, inl_row = _worst_row(ladder, patterns)
    dnl, dnl_row = _worst_row(ladder, patterns[carries + 1] - patterns[carries])
    return WorstCase(inl, inl_row, dnl, int(carries[dnl_row]))


def _worst_row(ladder: Ladder, patterns: NDArray[np.float64]) -> tuple[float, int]:
    """Return the largest error over all rows of `patterns`, sums of bit weights in LSB, each at its own two corners."""

    def in_lsb(off: NDArray[np.float64], rows: NDArray[np.float64]) -> NDArray[np.float64]:
        weights, _ = _weights(ladder, off)
        per_lsb = ((1 << ladder.bits) - 1) / weights.sum(axis=1)
        return np.asarray((rows * weights).sum(axis=1) * per_lsb, dtype=np.float64)

    bump = 1e-6
    rates = np.empty((patterns.shape[0], ladder.resistors))
    for place in range(ladder.resistors):
        off = np.zeros((1, ladder.resistors))
        off[0, place] = bump
        up, down = (np.repeat(sign * off, patterns.shape[0], axis=0) for sign in (1.0, -1.0))
        rates[:, place] = (in_lsb(up, patterns) - in_lsb(down, patterns)) / (2 * bump)
    # Noise of the differences must not look like a sign.
    corner = np.where(np.abs(rates) < 1e-6, 0.0, np.sign(rates)) * ladder.tolerance
    ideal = patterns @ 2.0 ** np.arange(ladder.bits)
    errors = np.maximum(np.abs(in_lsb(corner, patterns) - ideal), np.abs(in_lsb(-corner, patterns) - ideal))
    return float(errors.max()), int(errors.argmax())


def _weights(ladder: Ladder, off: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the volts each bit adds (lowest bit first) and the output resistance, one row a ladder."""
    n = ladder.bits
    ohm = ladder.ohm * (1 + off)
    legs = 2 * ohm[:, :n] + ladder.pin_ohm
    chain = ohm[:, n : 2 * n - 1]
    source = 2 * ohm[:, 2 * n - 1]
    weights = np.zeros((off.shape[0], n))
    # Invariant: everything behind the node reached so far is a source of `weights` volts behind `source` ohm.
    for bit in range(n):
        leg = legs[:, n - 1 - bit]
        weights[:, :bit] *= (leg / (leg + source))[:, np.newaxis]
        weights[:, bit] = ladder.reference_volt * source / (leg + source)
        source = leg * source / (leg + source)
        if bit < n - 1:
            source = source + chain[:, n - 2 - bit]
    return weights, source


def _codes(bits: int) -> NDArray[np.float64]:
    """Return the bits of every code, lowest first. Shape (2**bits, bits)."""
    return ((np.arange(2**bits)[:, np.newaxis] >> np.arange(bits)) & 1).astype(np.float64)


def _errors(volts: Volts) -> tuple[Volts, Volts]:
    lsb = (volts[-1] - volts[0]) / (volts.size - 1)
    return (volts - volts[0]) / lsb - np.arange(volts.size), np.diff(volts) / lsb - 1


def _range_problems(name: str, value: float, low: float, high: float) -> list[Problem]:
    number = isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
    if number and low <= value <= high:
        return []
    return [Problem(f"{name} is {value!r}", hint=f"accepted: {low:g} to {high:g}")]
