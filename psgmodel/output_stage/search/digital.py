"""Digital sides that a search tries, and what formulas say of them.

Stage: output stage, searching. In: goals. Out: every modulator that can be built, each with estimates: noise and
distortion in the band, and the lines and noise above it, before the network.

Estimates, for a sine at the level of the test tone; the simulation of the finalists replaces them
  counters     step**2/12 spread evenly up to half the carrier; shaped: times |2 sin(pi f / carrier)|**(2 order),
               and 10 dB more for order 2, whose noise the pulses fold back into the band (measured here, no source)
  sigma-delta  swing**2/12 shaped likewise from the clock; second order 6 dB more (one-bit loops miss the formula by
               about that much: their error is neither white nor independent)
  harmonics    2 and 3 of a pulse taken once a carrier period: D. G. Holmes, T. A. Lipo, Pulse Width Modulation for
               Power Converters, 2003, chapter 3 (from memory): (2/(pi k)) J_n(k pi M) for one moving edge,
               (4/(pi k)) J_n(k pi M / 2) sin((k + n) pi / 2) for two, k = n f0 / fc
  carrier      lines of a pulse at half duty: (2 V / (k pi)) |sin(k pi / 2)|, the largest a carrier can be
  the code     measured once for each clock
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from psgmodel.errors import StageError
from psgmodel.output_stage.modulators import (
    FirstOrder,
    Pwm,
    PwmEdge,
    SecondOrder,
    in_band_gain_db,
    second_order_of_width,
)
from psgmodel.output_stage.search.records import Goals, ModulatorWord
from psgmodel.output_stage.stage import Converter, Pin, PinModulator, ShapedPwm, ToneRequest
from psgmodel.output_stage.stage.reader_modulator import shaped_pwm

FloatArray = NDArray[np.float64]

BAND_HZ = 20_000.0
CARRIER_MULTIPLES = (1, 3, 5)
"""Lines of a carrier at half duty that the estimate counts; the even ones are not there."""

SECOND_ORDER_EXTRA_DB = 6.0
SHAPED_2_EXTRA_DB = 10.0
_LEAST_CARRIER_HZ = 2 * BAND_HZ


@dataclass(frozen=True, slots=True)
class DigitalSide:
    """One modulator at one clock, or the converter.

    Attributes
    ----------
    word : ModulatorWord
    output : Pin or Converter
    modulator : PinModulator or None
    carrier : float or None, Hz
    scale : float
        Full-scale sine that comes out over that of the pin: below 1 for a scaled second-order loop.
    """

    word: ModulatorWord
    output: Pin | Converter
    modulator: PinModulator | None
    carrier: float | None
    scale: float

    @property
    def swing(self) -> float:
        """Largest difference of levels, volt."""
        if isinstance(self.output, Converter):
            return self.output.full_scale * 2 * math.sqrt(2)
        return self.output.supply

    @property
    def clock(self) -> float:
        """Clock of the modulator, hertz; the rate of a converter."""
        return float(self.output.rate if isinstance(self.output, Converter) else self.output.clock)

    @property
    def label(self) -> str:
        """Short name in tables."""
        form = self.modulator
        if isinstance(form, ShapedPwm):
            return f"{self.word.value}, {form.pwm.length.bit_length() - 1} bit, {_short_hertz(self.carrier or 0)}"
        if isinstance(form, Pwm):
            bits = form.length.bit_length() - 1 + (form.edge is PwmEdge.CENTRE)
            return f"{self.word.value}, {bits} bit, {_short_hertz(self.carrier or 0)}"
        return f"{self.word.value}, {_short_hertz(self.clock)}"


def digital_sides(goals: Goals) -> tuple[DigitalSide, ...]:
    """Return every digital side that the goals allow.

    Carriers below 40 kHz are left out: their sidebands reach into the band. A counter longer than the code adds
    nothing and is left out; a shaped one must be shorter.
    """
    sides = []
    for word in goals.modulators:
        if word is ModulatorWord.CONVERTER:
            if goals.converter is not None:
                sides.append(DigitalSide(word, goals.converter, None, None, goals.converter.input_scale))
            continue
        for clock in goals.clocks:
            pin = Pin(goals.supply, goals.resistance, goals.rating, clock)
            for form in _forms(word, goals, clock):
                sides.append(_side(word, pin, form))
    return tuple(sides)


def _forms(word: ModulatorWord, goals: Goals, clock: Fraction) -> list[PinModulator]:
    bits = goals.code.bits
    if word is ModulatorWord.SIGMA_DELTA_1:
        return [FirstOrder(bits)]
    if word is ModulatorWord.SIGMA_DELTA_2:
        return [second_order_of_width(bits)]
    forms: list[PinModulator] = []
    for counter in goals.counters:
        edge = PwmEdge.CENTRE if word is ModulatorWord.PWM_CENTRE else PwmEdge.TRAILING
        if counter > bits or clock / Pwm(2**counter, edge).period < _LEAST_CARRIER_HZ:
            continue
        if word in (ModulatorWord.PWM, ModulatorWord.PWM_CENTRE):
            forms.append(Pwm(2**counter, edge))
            continue
        order: Literal[1, 2] = 1 if word is ModulatorWord.PWM_SHAPED_1 else 2
        try:
            forms.append(shaped_pwm(Pwm(2**counter), order, bits))
        except StageError:  # as long as the code: nothing to shape
            continue
    return forms


def _side(word: ModulatorWord, pin: Pin, form: PinModulator) -> DigitalSide:
    counter = form.pwm if isinstance(form, ShapedPwm) else form
    carrier = float(counter.carrier_hz(pin.clock)) if isinstance(counter, Pwm) else None
    scale = float(form.input_scale) if isinstance(form, SecondOrder) else 1.0
    return DigitalSide(word, pin, form, carrier, scale)


@dataclass(frozen=True, slots=True, eq=False)
class BandEstimate:
    """What formulas say of a digital side, before the network.

    Attributes
    ----------
    tone, noise, distortion : float, V rms
        In the band, at the level of the test tone.
    line_hz, line_peak : ndarray of float64
        Lines above the band: hertz, peak volts.
    noise_hz, noise_power : ndarray of float64
        Noise above the band: centre of each slice, its power in V squared.
    """

    tone: float
    noise: float
    distortion: float
    line_hz: FloatArray
    line_peak: FloatArray
    noise_hz: FloatArray
    noise_power: FloatArray


def estimate_band(side: DigitalSide, tone: ToneRequest, code_bits: int, code_sinad_db: float) -> BandEstimate:
    """Return the estimates of a digital side.

    Parameters
    ----------
    side : DigitalSide
    tone : ToneRequest
    code_bits : int
    code_sinad_db : float
        What the code itself allows.

    Returns
    -------
    BandEstimate
    """
    ratio = 10 ** (tone.dbfs / 20)
    rms = side.swing / 2 * side.scale * ratio / math.sqrt(2)
    of_code = rms * 10 ** (-code_sinad_db / 20)
    none = np.zeros(0)
    if isinstance(side.output, Converter):
        return _converter_estimate(side.output, side.swing, rms, of_code)
    form, clock = side.modulator, side.clock
    if isinstance(form, FirstOrder | SecondOrder):
        order: Literal[1, 2] = 1 if isinstance(form, FirstOrder) else 2
        power = side.swing**2 / 12 * (10 ** (SECOND_ORDER_EXTRA_DB / 10) if order == 2 else 1.0)
        noise = math.sqrt(power * 10 ** (in_band_gain_db(order, clock / (2 * BAND_HZ)) / 10))
        hz, slices = _shaped_noise(side.swing**2 / 12, clock, order)
        return BandEstimate(rms, math.hypot(noise, of_code), 0.0, none, none, hz, slices)
    counter = form.pwm if isinstance(form, ShapedPwm) else form
    assert isinstance(counter, Pwm)  # every other form was seen above
    assert side.carrier is not None
    carrier = side.carrier
    multiples = np.asarray(CARRIER_MULTIPLES, dtype=np.float64)
    peaks = 2 * side.swing / (multiples * math.pi)
    distortion = rms * _harmonics(tone.hz / carrier, ratio, counter.edge is PwmEdge.CENTRE)
    power = (side.swing / min(counter.length, 2**code_bits)) ** 2 / 12
    if isinstance(form, ShapedPwm):
        extra = SHAPED_2_EXTRA_DB if form.shaper.order == 2 else 0.0
        noise = math.sqrt(power * 10 ** ((in_band_gain_db(form.shaper.order, carrier / (2 * BAND_HZ)) + extra) / 10))
        hz, slices = _shaped_noise(power, carrier, form.shaper.order)
    else:
        noise = math.sqrt(power * min(1.0, 2 * BAND_HZ / carrier))
        hz, slices = none, none
    return BandEstimate(rms, math.hypot(noise, of_code), distortion, multiples * carrier, peaks, hz, slices)


def _converter_estimate(converter: Converter, swing: float, rms: float, of_code: float) -> BandEstimate:
    step = swing / 2**converter.bits
    noise = math.sqrt(step**2 / 12 * min(1.0, 2 * BAND_HZ / converter.rate))
    sheet = 0.0 if converter.snr_a is None else converter.full_scale * 10 ** ((2.3 - converter.snr_a) / 20)
    distortion = 0.0 if converter.thd is None else rms * 10 ** (converter.thd / 20)
    image = swing / 2 * 10 ** (-converter.stop_attenuation / 20)
    none = np.zeros(0)
    return BandEstimate(
        rms,
        math.sqrt(noise**2 + of_code**2 + sheet**2),
        distortion,
        np.array([float(converter.rate)]),
        np.array([image]),
        none,
        none,
    )


def _shaped_noise(power: float, rate: float, order: int) -> tuple[FloatArray, FloatArray]:
    """Return shaped noise from 20 kHz to half the rate in slices of log frequency: centre (Hz) and power."""
    edges = np.geomspace(BAND_HZ, rate / 2, 41)
    hz = np.sqrt(edges[1:] * edges[:-1])
    density = power * 2 / rate * (2 * np.sin(np.pi * hz / rate)) ** (2 * order)
    return hz, density * np.diff(edges)


def _harmonics(ratio: float, depth: float, both_edges: bool) -> float:
    """Return harmonics 2 and 3 over the fundamental of a pulse taken once a carrier period."""
    from scipy.special import jv

    total = 0.0
    for n in (2, 3):
        k = n * ratio
        if both_edges:
            size = abs(4 / (math.pi * k) * float(jv(n, k * math.pi * depth / 2)) * math.sin((k + n) * math.pi / 2))
        else:
            size = abs(2 / (math.pi * k) * float(jv(n, k * math.pi * depth)))
        total += (size / depth) ** 2
    return math.sqrt(total)


def _short_hertz(value: float) -> str:
    return f"{value / 1e6:.4g} MHz" if value >= 1e6 else f"{value / 1e3:.4g} kHz"
