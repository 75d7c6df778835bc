"""Records of a search: goals, what may be built, and what was found.

Stage: output stage, searching. In: nothing. Out: the records that the reader of goals fills and the search takes.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from psgmodel.output_stage.loads import Load
from psgmodel.output_stage.modulators import Spread
from psgmodel.output_stage.networks import PartKind
from psgmodel.output_stage.parts import Series
from psgmodel.output_stage.stage import CodeSource, Converter, Figure, Limit, PriceList


class Topology(Enum):
    """What may stand between pin and load; the enum value is the word in a file."""

    RC = "rc"
    """R1 in series, C1 to ground."""
    RC_DIVIDER = "rc-divider"
    """R1 in series, R2 and C1 to ground: the level comes down too."""
    RC_RC = "rc-rc"
    """R1, C1, R2, C2."""
    RC_RC_DIVIDER = "rc-rc-divider"
    """R1, C1, R2, then R3 and C2 to ground."""
    LC = "lc"
    """R1 and L1 in series, C1 to ground."""
    NONE = "none"
    """Nothing but the coupling capacitor: for a converter that has its own filter."""


class ModulatorWord(Enum):
    """Kinds of modulator a search may try; the enum value is the word in a file."""

    PWM = "pwm"
    PWM_CENTRE = "pwm-centre"
    PWM_SHAPED_1 = "pwm-shaped-1"
    PWM_SHAPED_2 = "pwm-shaped-2"
    SIGMA_DELTA_1 = "sigma-delta-1"
    SIGMA_DELTA_2 = "sigma-delta-2"
    CONVERTER = "converter"


@dataclass(frozen=True, slots=True)
class Drawer:
    """The values of one kind of part that may be used.

    Attributes
    ----------
    series : Series
    values : tuple of float
        Rising, ohm, farad or henry.
    """

    series: Series
    values: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Tolerances:
    """How far parts stray from their values, and how that is tried.

    Attributes
    ----------
    parts : dict of PartKind to float
        Ratio: 0.01 is one per cent.
    supply, load : float, ratio
    draws : int
        Of the Monte Carlo analysis.
    seed : int
    spread : Spread
    """

    parts: dict[PartKind, float]
    supply: float
    load: float
    draws: int
    seed: int
    spread: Spread


@dataclass(frozen=True, slots=True)
class Goals:
    """What is wanted and what it may be made of.

    Attributes
    ----------
    title, file : str
    code : CodeSource
    supply, resistance : float, volt, ohm
    rating : float or None, ampere
    clocks : tuple of Fraction, Hz
        Clocks that the board can give the modulator.
    converter : Converter or None
        A converter to be tried beside the pin.
    load : Load
    limits : tuple of Limit
        The goals.
    modulators : tuple of ModulatorWord
    counters : tuple of int
        Bits of the counters tried.
    topologies : tuple of Topology
    coupling : tuple of float, farad
        Coupling capacitors tried; empty: none.
    drawers : dict of PartKind to Drawer
    prices : PriceList or None
    tolerances : Tolerances
    most : int
        Most networks tried; more are thinned out evenly.
    finalists : int
        Stages simulated in the first round.
    rank_by : tuple of Figure
    """

    title: str
    file: str
    code: CodeSource
    supply: float
    resistance: float
    rating: float | None
    clocks: tuple[Fraction, ...]
    converter: Converter | None
    load: Load
    limits: tuple[Limit, ...]
    modulators: tuple[ModulatorWord, ...]
    counters: tuple[int, ...]
    topologies: tuple[Topology, ...]
    coupling: tuple[float, ...]
    drawers: dict[PartKind, Drawer]
    prices: PriceList | None
    tolerances: Tolerances
    most: int
    finalists: int
    rank_by: tuple[Figure, ...]
