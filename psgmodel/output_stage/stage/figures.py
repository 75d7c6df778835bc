"""Figures: the numbers that a stage is judged by, with unit, direction and convention; limits on them.

Stage: output stage, assembling. In: a value and a limit. Out: by how much the limit is missed. One closed list serves
limits of a stage, goals of a search, reports and JSON.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from typing import Literal, NamedTuple

from psgmodel.errors import Place
from psgmodel.output_stage.parts_text import Unit, format_value

Sense = Literal["at-least", "at-most", "between"]


class FigureText(NamedTuple):
    """What a figure is: word in a file, name in a report, unit ("dB", "dBV", "V", "A", ""), sense, convention."""

    word: str
    name: str
    unit: str
    sense: Sense
    convention: str


class Figure(Enum):
    """A number that a stage is judged by."""

    SNR = FigureText("snr", "SNR", "dB", "at-least", "tone over noise, 20 Hz to 20 kHz, harmonics left out")
    SINAD = FigureText("sinad", "SINAD", "dB", "at-least", "tone over noise and harmonics, 20 Hz to 20 kHz")
    THD = FigureText("thd", "THD", "dB", "at-most", "harmonics 2 to 10 up to 20 kHz over the tone")
    RIPPLE = FigureText("ripple", "ripple", "V", "at-most", "peak to peak above 20 kHz while the tone plays")
    RIPPLE_RMS = FigureText("ripple-rms", "ripple rms", "V", "at-most", "rms above 20 kHz while the tone plays")
    DROOP = FigureText("droop", "droop", "dB", "at-most", "loss at 20 kHz against 1 kHz")
    BASS_DROOP = FigureText("bass-droop", "bass droop", "dB", "at-most", "loss at 20 Hz against 1 kHz")
    LEVEL = FigureText("level", "level", "dBV", "between", "full-scale sine of 1 kHz at the load")
    PIN_CURRENT = FigureText("pin-current", "pin current", "A", "at-most", "peak, playing or at power-up")
    DC = FigureText("dc", "DC", "V", "at-most", "mean at the load, playing, without its sign")
    POP = FigureText("pop", "pop", "V", "at-most", "peak at the load when all is switched on at once")
    PARTS = FigureText("parts", "parts", "", "at-most", "number of parts, load and pin not counted")
    COST = FigureText("cost", "cost", "", "at-most", "by your own price list")

    @property
    def word(self) -> str:
        """Word in a file."""
        return self.value.word

    @property
    def label(self) -> str:
        """Name in a report."""
        return self.value.name

    @property
    def unit(self) -> str:
        """Unit of the value."""
        return self.value.unit

    @property
    def sense(self) -> Sense:
        """Whether more is better, less, or a range."""
        return self.value.sense

    @property
    def convention(self) -> str:
        """How the figure is taken."""
        return self.value.convention

    @property
    def parse_unit(self) -> Unit:
        """Unit in which a file gives it: volts and amperes may carry a prefix, decibels are plain numbers."""
        return {"V": Unit.VOLT, "A": Unit.AMPERE}.get(self.unit, Unit.NONE)


FIGURES = {figure.word: figure for figure in Figure}
"""Figures by their word."""


@dataclass(frozen=True, slots=True)
class Limit:
    """What is demanded of a figure.

    Attributes
    ----------
    figure : Figure
    low, high : float or None
        In the figure's unit; None: no such end.
    place : Place or None
    """

    figure: Figure
    low: float | None
    high: float | None
    place: Place | None = None

    def missed_by(self, value: float) -> float:
        """Return by how much a value misses the limit, in the figure's unit; 0 where it is met."""
        if math.isnan(value):
            return math.inf
        below = 0.0 if self.low is None else max(0.0, self.low - value)
        above = 0.0 if self.high is None else max(0.0, value - self.high)
        return max(below, above)

    def wanted(self) -> str:
        """Return what is demanded, in words: ``at least 60 dB``."""
        if self.low is not None and self.high is not None:
            return f"{figure_number(self.figure, self.low)} to {figure_text(self.figure, self.high)}"
        if self.low is not None:
            return f"at least {figure_text(self.figure, self.low)}"
        return f"at most {figure_text(self.figure, self.high or 0.0)}"


@dataclass(frozen=True, slots=True)
class Verdict:
    """A limit held against a value.

    Attributes
    ----------
    limit : Limit
    value : float
    missed_by : float
        0 where it is met.
    """

    limit: Limit
    value: float
    missed_by: float

    @property
    def met(self) -> bool:
        """Whether the limit is met."""
        return self.missed_by == 0

    def __str__(self) -> str:
        figure = self.limit.figure
        text = f"{figure.label} {figure_text(figure, self.value)}, wanted {self.limit.wanted()}"
        return text if self.met else f"{text}: missed by {_difference_text(figure, self.missed_by)}"


def judge(limits: tuple[Limit, ...], values: dict[Figure, float]) -> tuple[Verdict, ...]:
    """Hold limits against values; a figure without a value counts as met, for nothing was there to miss it."""
    return tuple(
        Verdict(limit, values[limit.figure], limit.missed_by(values[limit.figure]))
        for limit in limits
        if limit.figure in values
    )


def figure_text(figure: Figure, value: float) -> str:
    """Return a value with its unit: ``60 dB``, ``5 mV``, ``3``."""
    number = figure_number(figure, value)
    return number if figure.unit in ("", "V", "A") else f"{number} {figure.unit}"


def figure_number(figure: Figure, value: float) -> str:
    """Return a value as `figure_text`, decibels without their unit."""
    if not math.isfinite(value):
        return "unlimited" if value > 0 else "none"
    if figure.unit in ("V", "A"):
        return format_value(value, figure.parse_unit, digits=3)
    if figure is Figure.PARTS:
        return f"{value:.0f}"
    return f"{value:.3g}" if figure is Figure.COST else f"{value:.1f}".removesuffix(".0")


def _difference_text(figure: Figure, value: float) -> str:
    if figure.unit == "dBV":
        return f"{value:.1f} dB"
    if figure.unit == "dB" and 0 < value < 0.05:
        return f"{value:.2g} dB"
    return figure_text(figure, value)
