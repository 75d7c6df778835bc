"""Load record: the voltage at the load over one record, by its exact lines.

Stage: output stage, measuring. In: the levels before the network and the network. Out: lines (volt) up to half the
output's clock, and the curve they draw, one point a clock.

The levels stand still between clock edges, so one transform of a record gives every line up to half the clock without
sampling and without aliasing; each is multiplied by the network's response. Where the levels do not repeat with the
record (sigma-delta, shaped) the seam is seen by lines as a small step; the tone is then measured through a Blackman-
Harris window, which does not see the ends (the tone has whole periods in the record, so none of it leaves its lobe),
and ripple leaves the ends out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.output_stage.measures import (
    LineSpectrum,
    PowerSpectrum,
    Ripple,
    ToneMeasure,
    ToneSettings,
    Window,
    line_spectrum,
    measure_tone,
    measure_tone_of_lines,
    power_of_lines,
    power_spectrum,
)
from psgmodel.output_stage.networks import Drive, Probe, StateSpace, transfer
from psgmodel.output_stage.stage.tone import TonePlan

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]

BAND_END_HZ = 20_000.0
_SEAM = 0.02
"""Part of a record left out at each end where its ends do not meet."""

_LOW_HZ = 48_000.0
"""Lines up to here make the samples for a windowed measurement."""


@dataclass(frozen=True, slots=True, eq=False)
class LoadRecord:
    """One record of the voltage at the load.

    Attributes
    ----------
    lines : LineSpectrum
        Volt, from DC to half the output's clock.
    clocks : int
        Length of the record in clocks of the output.
    clock_hz : float, Hz
    plan : TonePlan
    """

    lines: LineSpectrum
    clocks: int
    clock_hz: float
    plan: TonePlan

    def tone(self, settings: ToneSettings | None = None) -> ToneMeasure:
        """Return what the tone splits into, volt."""
        hz = float(self.plan.hz)
        if self.plan.repeats:
            return measure_tone_of_lines(self._below(BAND_END_HZ), hz, settings)
        samples, rate = self.samples_below(_LOW_HZ)
        return measure_tone(samples, rate, hz, settings or ToneSettings(window=Window.BLACKMAN_HARRIS))

    def ripple(self) -> Ripple:
        """Return everything above 20 kHz, volt: peak to peak of the curve at clock edges, and rms."""
        bins = self._bins(self.lines.hz > BAND_END_HZ)
        curve = np.fft.irfft(bins, self.clocks)
        if not self.plan.repeats:
            cut = round(_SEAM * curve.size)
            curve = curve[cut:-cut]
        return Ripple(float(curve.max() - curve.min()), float(np.sqrt(np.mean(curve**2))))

    def power(self) -> PowerSpectrum:
        """Return the power spectrum, volt squared: of exact lines, or through a window."""
        if self.plan.repeats:
            return power_of_lines(self.lines)
        curve = np.fft.irfft(self._bins(self.lines.order >= 0), self.clocks)
        return power_spectrum(curve, self.clock_hz, Window.BLACKMAN_HARRIS)

    def samples_below(self, highest_hz: float) -> tuple[Floats, float]:
        """Return the record as samples of everything up to a frequency, and their rate (Hz)."""
        part = self._below(highest_hz)
        points = 2 * (part.order.size + 1)
        bins = np.zeros(points // 2 + 1, dtype=np.complex128)
        bins[: part.order.size] = part.amplitude * (points / 2)
        bins[0] *= 2
        return np.fft.irfft(bins, points), points * part.spacing_hz

    def _below(self, highest_hz: float) -> LineSpectrum:
        count = int(np.searchsorted(self.lines.hz, highest_hz, side="right"))
        return LineSpectrum(self.lines.order[:count], self.lines.amplitude[:count], self.lines.spacing_hz)

    def _bins(self, kept: NDArray[np.bool_]) -> Complex:
        """Return the bins of a transform of one point a clock, those not kept being 0."""
        bins = np.where(kept, self.lines.amplitude * (self.clocks / 2), 0.0)
        bins[0] *= 2
        if self.clocks % 2 == 0:
            bins[-1] = 2 * bins[-1].real
        return bins


class PinLines(NamedTuple):
    """Exact lines of the levels before a network, volt; the clock in hertz; the record's length in clocks."""

    lines: LineSpectrum
    clock_hz: float
    clocks: int


def pin_lines(drive: Drive, plan: TonePlan) -> PinLines:
    """Return the lines of the levels over the record of a plan, up to half the clock."""
    clock = float(drive.clock_rate)
    pin = line_spectrum(drive.steps, clock, plan.start, plan.end)
    amplitude = pin.amplitude * drive.volts_per_level
    amplitude[0] += drive.volts_at_zero
    return PinLines(LineSpectrum(pin.order, amplitude, pin.spacing_hz), clock, plan.end - plan.start)


def load_record(space: StateSpace, drive: Drive, plan: TonePlan) -> LoadRecord:
    """Return the voltage at the load over the record of a plan, the network settled."""
    return load_record_of_lines(space, pin_lines(drive, plan), plan)


def load_record_of_lines(space: StateSpace, pin: PinLines, plan: TonePlan) -> LoadRecord:
    """Return the voltage at the load for levels whose lines are at hand already."""
    probe = space.output()
    loaded = pin.lines.amplitude * transfer_of(space, probe)(pin.lines.hz)
    loaded[0] = settled_reading(space, probe, float(pin.lines.amplitude[0].real))
    return LoadRecord(LineSpectrum(pin.lines.order, loaded, pin.lines.spacing_hz), pin.clocks, pin.clock_hz, plan)


def settled_reading(space: StateSpace, probe: Probe, volts: float) -> float:
    """Return what a probe reads once a constant voltage has settled, references included."""
    return float(probe.row @ space.settled(volts)) + probe.direct * volts + probe.constant


def transfer_of(space: StateSpace, probe: Probe) -> Callable[[ArrayLike], Complex]:
    """Return the response of a probe to the pin voltage as a function of frequency (hertz), quick for millions.

    Poles and residues of the state equations; where they are no good (poles that coincide), interpolation of the
    nodal solution over the logarithm of frequency, which is the output's whatever the probe.
    """
    if not space.states:
        return lambda hz: np.full(np.shape(hz), probe.direct, dtype=np.complex128)
    poles, vectors = np.linalg.eig(space.a)
    residues = (probe.row @ vectors) * np.linalg.solve(vectors, space.b.astype(np.complex128))

    def by_poles(hz: ArrayLike) -> Complex:
        s = 2j * np.pi * np.asarray(hz, dtype=np.float64)
        total = np.full(s.shape, probe.direct, dtype=np.complex128)
        for pole, residue in zip(poles, residues, strict=True):
            total += residue / (s - pole)
        return total

    grid = np.logspace(-1, 9, 41)
    exact = transfer(space.network, grid)
    if np.all(np.abs(by_poles(grid) - exact) <= 1e-9 * np.abs(exact).max()):
        return by_poles
    return _interpolated(space)


def _interpolated(space: StateSpace) -> Callable[[ArrayLike], Complex]:
    grid = np.logspace(-1, 9, 20_001)
    exact = transfer(space.network, grid)
    log_size, phase = np.log(np.maximum(np.abs(exact), 1e-300)), np.unwrap(np.angle(exact))

    def by_grid(hz: ArrayLike) -> Complex:
        at = np.log(np.maximum(np.asarray(hz, dtype=np.float64), grid[0]))
        return np.asarray(np.exp(np.interp(at, np.log(grid), log_size) + 1j * np.interp(at, np.log(grid), phase)))

    return by_grid
