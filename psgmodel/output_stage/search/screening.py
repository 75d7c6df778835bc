"""Screening: every candidate stage judged by formulas, all at once.

Stage: output stage, searching. In: digital sides with their estimates, and many networks. Out: the figures of every
pair as arrays. The network is solved exactly at a few frequencies (`screen_ladder`); noise and distortion are the
estimates of `digital`. Ripple is that at half duty: peak to peak the sum of its lines' peaks, which is exact behind
one RC and an upper bound elsewhere; of noise, 6.6 times its rms (common practice).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.output_stage.networks import compile_ladder, screen_ladder
from psgmodel.output_stage.search.digital import BandEstimate, DigitalSide
from psgmodel.output_stage.search.records import Goals
from psgmodel.output_stage.search.topologies import COUPLING, NetworkSet
from psgmodel.output_stage.stage import Converter, Figure

FloatArray = NDArray[np.float64]

PEAK_TO_PEAK_OF_NOISE = 6.6
_DC_HZ = 1e-3
_CHUNK = 4096
_AUDIO = (_DC_HZ, 20.0, 1000.0, 20_000.0)


@dataclass(frozen=True, slots=True, eq=False)
class Screen:
    """Figures of every network of a set behind every digital side.

    Attributes
    ----------
    networks : NetworkSet
    sides : tuple of DigitalSide
    values : dict of Figure to ndarray of float64, shape (sides, candidates)
    """

    networks: NetworkSet
    sides: tuple[DigitalSide, ...]
    values: dict[Figure, FloatArray]


def screen_set(
    networks: NetworkSet, sides: Sequence[DigitalSide], estimates: Sequence[BandEstimate], goals: Goals
) -> Screen:
    """Judge every network of a set behind every digital side."""
    hz = _frequencies(estimates)
    parts = [
        _screen_chunk(networks, slice(at, at + _CHUNK), hz, sides, estimates, goals)
        for at in range(0, len(networks.values), _CHUNK)
    ]
    values = {figure: np.concatenate([p[figure] for p in parts], axis=1) for figure in parts[0]}
    return Screen(networks, tuple(sides), values)


def _frequencies(estimates: Sequence[BandEstimate]) -> FloatArray:
    wanted = [np.asarray(_AUDIO), *(e.line_hz for e in estimates), *(e.noise_hz for e in estimates)]
    return np.unique(np.concatenate(wanted))


def _screen_chunk(
    networks: NetworkSet,
    part: slice,
    hz: FloatArray,
    sides: Sequence[DigitalSide],
    estimates: Sequence[BandEstimate],
    goals: Goals,
) -> dict[Figure, FloatArray]:
    values = networks.values[part]
    columns = {name: values[:, i] for i, name in enumerate(networks.names)}
    if not columns:  # nothing but the load: give it as the one value that does not change
        load = next(e for e in compile_ladder(networks.ladder).elements if e.name in ("R_load", "C_load"))
        columns = {load.name: np.full(len(values), load.value)}
    found = screen_ladder(networks.ladder, hz, columns)
    gain = np.abs(found.transfer)
    dc, bass, middle, treble = (gain[:, int(np.searchsorted(hz, f))] for f in _AUDIO)
    with np.errstate(divide="ignore"):
        shared = {
            Figure.DROOP: 20 * np.log10(middle / treble),
            Figure.BASS_DROOP: 20 * np.log10(middle / bass),
        }
    rows: dict[Figure, list[FloatArray]] = {}
    for side, estimate in zip(sides, estimates, strict=True):
        own = _side_figures(side, estimate, gain, hz, middle, goals)
        reaches_dc = 0.0 if networks.coupled else 1.0
        mean = side.output.bias if isinstance(side.output, Converter) else side.output.supply / 2
        own[Figure.DC] = np.abs(mean) * dc * reaches_dc
        own[Figure.POP] = np.abs(_silence_volts(side, goals)) * middle
        own[Figure.PIN_CURRENT] = _first_current(side, networks, values, goals)
        own[Figure.PARTS] = np.full(len(values), float(len(networks.names)))
        own[Figure.COST] = _cost(side, networks, values, goals)
        for figure, column in {**shared, **own}.items():
            rows.setdefault(figure, []).append(column)
    return {figure: np.stack(columns) for figure, columns in rows.items()}


def _side_figures(
    side: DigitalSide, estimate: BandEstimate, gain: FloatArray, hz: FloatArray, middle: FloatArray, goals: Goals
) -> dict[Figure, FloatArray]:
    lines = gain[:, np.searchsorted(hz, estimate.line_hz)] * estimate.line_peak
    noise = gain[:, np.searchsorted(hz, estimate.noise_hz)] ** 2 * estimate.noise_power
    line_power, noise_power = np.sum(lines**2, axis=1) / 2, np.sum(noise, axis=1)
    one = np.ones_like(middle)
    with np.errstate(divide="ignore"):
        level = 20 * np.log10(side.swing / 2 * side.scale / math.sqrt(2) * middle)
    return {
        Figure.SNR: one * _ratio_db(estimate.tone, estimate.noise),
        Figure.THD: -one * _ratio_db(estimate.tone, estimate.distortion),
        Figure.SINAD: one * _ratio_db(estimate.tone, math.hypot(estimate.noise, estimate.distortion)),
        Figure.LEVEL: level,
        Figure.RIPPLE: 2 * np.sum(lines, axis=1) + PEAK_TO_PEAK_OF_NOISE * np.sqrt(noise_power),
        Figure.RIPPLE_RMS: np.sqrt(line_power + noise_power),
    }


def _ratio_db(above: float, below: float) -> float:
    return 20 * math.log10(above / below) if below > 0 else 200.0


def _silence_volts(side: DigitalSide, goals: Goals) -> float:
    share = goals.code.silence / (1 << goals.code.bits) - 0.5
    mean = side.output.bias if isinstance(side.output, Converter) else side.output.supply / 2
    return mean + share * side.swing * side.scale


def _first_current(side: DigitalSide, networks: NetworkSet, values: FloatArray, goals: Goals) -> FloatArray:
    """Return the current into empty capacitors: the highest level over the resistance ahead of the first of them."""
    highest = side.output.bias + side.swing / 2 if isinstance(side.output, Converter) else side.output.supply
    ahead = np.full(len(values), side.output.resistance)
    if "R1" in networks.names:
        ahead = ahead + values[:, networks.names.index("R1")]
    elif networks.names in ((), (COUPLING,)):
        ahead = ahead + (goals.load.resistance or 0.0)
    return np.asarray(highest / np.maximum(ahead, 1e-3), dtype=np.float64)


def _cost(side: DigitalSide, networks: NetworkSet, values: FloatArray, goals: Goals) -> FloatArray:
    total = np.zeros(len(values))
    prices = goals.prices
    if prices is None:
        return total
    for column, kind in enumerate(networks.kinds):
        steps = prices.parts.get(kind.value, ())
        if not steps:
            continue
        ends = np.asarray([step.up_to for step in steps])
        each = np.asarray([step.price for step in steps])
        total += each[np.searchsorted(ends, values[:, column], side="left")]
    return total + (prices.converter if isinstance(side.output, Converter) else 0.0)
