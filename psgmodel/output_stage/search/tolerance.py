"""Tolerance: what strayed parts do to a stage, at the corners of their tolerances and drawn by chance.

Stage: output stage, searching. In: a simulated stage and tolerances. Out: range of each figure that parts decide, and
the share of draws that meet the goals.

Worst case: every combination of every part at either end of its tolerance (supply and load too where they have one).
Monte Carlo: parts drawn independently, even between the ends, or normal with the ends at three standard deviations and
draws beyond moved to them; the same seed gives the same draws. Ripple rms: the lines that the simulation found above
20 kHz, through each strayed network; peak to peak goes with rms. SNR, SINAD and THD keep the values simulated: strayed
parts move tone and noise alike. The level goes with the supply, and so does ripple.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.output_stage.modulators import Spread
from psgmodel.output_stage.networks import Ladder, Section, compile_ladder, screen_ladder
from psgmodel.output_stage.search.records import Goals, Tolerances
from psgmodel.output_stage.search.simulating import Simulated, all_limits
from psgmodel.output_stage.stage import Figure
from psgmodel.output_stage.stage.spectral import BAND_END_HZ, PinLines

FloatArray = NDArray[np.float64]

MOST_CORNERS = 2**14
FIGURES = (Figure.LEVEL, Figure.DROOP, Figure.BASS_DROOP, Figure.RIPPLE, Figure.RIPPLE_RMS)
"""Figures that the values of parts decide."""

_AUDIO = (20.0, 1000.0, 20_000.0)
_SLICES = 160


@dataclass(frozen=True, slots=True)
class Range:
    """Lowest and highest value of a figure, in its unit."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Strayed:
    """What tolerances do to a stage.

    Attributes
    ----------
    worst : dict of Figure to Range
        Over all corners.
    drawn : dict of Figure to Range
        The middle 99 of 100 draws.
    yield_share : float
        Share of draws that meet every goal, those on figures that parts do not move included.
    corners, draws : int
        How many were tried.
    """

    worst: dict[Figure, Range]
    drawn: dict[Figure, Range]
    yield_share: float
    corners: int
    draws: int


def strayed(simulated: Simulated, goals: Goals) -> Strayed:
    """Return what tolerances do to a simulated stage.

    Parameters
    ----------
    simulated : Simulated
    goals : Goals

    Returns
    -------
    Strayed
    """
    ladder = simulated.candidate.networks.ladder_of(simulated.candidate.row)
    names, spans = _spans(ladder, goals.tolerances)
    corners = np.asarray(list(itertools.product((-1.0, 1.0), repeat=len(names) + 1)))[:MOST_CORNERS]
    worst = figures_at(simulated, ladder, names, spans, goals.tolerances.supply, corners)
    draws = draw(goals.tolerances, len(names) + 1)
    drawn = figures_at(simulated, ladder, names, spans, goals.tolerances.supply, draws)
    good = np.ones(len(draws), dtype=np.bool_)
    for limit in all_limits(goals, simulated.stage):
        if limit.figure in drawn:
            good &= np.asarray([limit.missed_by(float(v)) == 0 for v in drawn[limit.figure]])
        elif limit.figure in simulated.figures:
            good &= limit.missed_by(simulated.figures[limit.figure]) == 0
    return Strayed(
        {f: Range(float(v.min()), float(v.max())) for f, v in worst.items()},
        {f: Range(*(float(q) for q in np.quantile(v, (0.005, 0.995)))) for f, v in drawn.items()},
        float(good.mean()),
        len(corners),
        len(draws),
    )


def draw(tolerances: Tolerances, columns: int) -> FloatArray:
    """Return draws from -1 (lower end) to 1 (upper end), shape (draws, columns)."""
    source = np.random.default_rng(tolerances.seed)
    if tolerances.spread is Spread.UNIFORM:
        return source.uniform(-1.0, 1.0, (tolerances.draws, columns))
    return np.clip(source.standard_normal((tolerances.draws, columns)) / 3.0, -1.0, 1.0)


def figures_at(
    simulated: Simulated,
    ladder: Ladder,
    names: tuple[str, ...],
    spans: tuple[float, ...],
    supply: float,
    places: FloatArray,
) -> dict[Figure, FloatArray]:
    """Return the figures with every part somewhere in its tolerance.

    Parameters
    ----------
    simulated : Simulated
    ladder : Ladder
    names : tuple of str
        Parts that stray.
    spans : tuple of float, ratio
        Tolerance of each.
    supply : float, ratio
        Tolerance of the supply: the last column.
    places : ndarray of float64, shape (n, parts + 1)
        -1 for the lower end of a tolerance, 1 for the upper.

    Returns
    -------
    dict of Figure to ndarray of float64, shape (n,)
    """
    network = compile_ladder(ladder)
    values = {
        name: network.element(name).value * (1 + span * places[:, i])
        for i, (name, span) in enumerate(zip(names, spans, strict=True))
    }
    line_hz, line_power = _slices(simulated.lines)
    hz, back = np.unique(np.concatenate([_AUDIO, line_hz]), return_inverse=True)
    gain = np.abs(screen_ladder(ladder, hz, values).transfer)[:, back]
    gain = np.broadcast_to(gain, (len(places), gain.shape[1]))
    bass, middle, treble = gain[:, 0], gain[:, 1], gain[:, 2]
    volts = 1 + supply * places[:, -1]
    nominal = abs(
        complex(screen_ladder(ladder, [1000.0], {names[0]: [network.element(names[0]).value]}).transfer[0, 0])
    )
    ripple = np.sqrt(gain[:, 3:] ** 2 @ line_power) * volts
    own = math.sqrt(float(_nominal_gain(ladder, names, line_hz) ** 2 @ line_power))
    scale = ripple / own if own else np.ones_like(ripple)
    with np.errstate(divide="ignore"):
        return {
            Figure.LEVEL: simulated.figures[Figure.LEVEL] + 20 * np.log10(middle / nominal * volts),
            Figure.DROOP: 20 * np.log10(middle / treble),
            Figure.BASS_DROOP: 20 * np.log10(middle / bass),
            Figure.RIPPLE: simulated.figures[Figure.RIPPLE] * scale,
            Figure.RIPPLE_RMS: simulated.figures[Figure.RIPPLE_RMS] * scale,
        }


def _nominal_gain(ladder: Ladder, names: tuple[str, ...], hz: FloatArray) -> FloatArray:
    value = compile_ladder(ladder).element(names[0]).value
    order, back = np.unique(hz, return_inverse=True)
    gain = np.abs(screen_ladder(ladder, order, {names[0]: [value]}).transfer[0])
    return np.asarray(gain[back], dtype=np.float64)


def _spans(ladder: Ladder, tolerances: Tolerances) -> tuple[tuple[str, ...], tuple[float, ...]]:
    """Return the parts that may stray and their tolerances; the load is one of them, with its own."""
    names = [s.name for s in ladder.sections if isinstance(s, Section)]
    spans = [tolerances.parts[s.kind] for s in ladder.sections if isinstance(s, Section)]
    if ladder.load.resistance is not None:
        names.append("R_load")
        spans.append(tolerances.load)
    return tuple(names), tuple(spans)


def _slices(pin: PinLines) -> tuple[FloatArray, FloatArray]:
    """Return the lines above 20 kHz in slices of log frequency: centre of power (Hz) and power (V squared)."""
    lines = pin.lines
    keep = lines.hz > BAND_END_HZ
    hz, power = lines.hz[keep], lines.rms[keep] ** 2
    edges = np.geomspace(BAND_END_HZ, float(hz[-1]) * 1.0001, _SLICES + 1)
    which = np.clip(np.searchsorted(edges, hz, side="right") - 1, 0, _SLICES - 1)
    total = np.bincount(which, power, _SLICES)
    centre = np.bincount(which, power * np.log(hz), _SLICES)
    used = total > 0
    return np.asarray(np.exp(centre[used] / total[used]), dtype=np.float64), np.asarray(total[used], dtype=np.float64)
