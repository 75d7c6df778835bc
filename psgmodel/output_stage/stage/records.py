"""Records: what one output stage is, from the code to the load, as frozen facts.

Stage: output stage, assembling. In: nothing. Out: the records that the reader fills and everything else takes. Clocks
in hertz as exact fractions; volts, amperes, ohms; decibels as `psgmodel.output_stage.measures` states them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from fractions import Fraction

from psgmodel.errors import Place
from psgmodel.output_stage.modulators import FirstOrder, NoiseShaper, Pwm, SecondOrder
from psgmodel.output_stage.networks import Network
from psgmodel.output_stage.stage.figures import Limit
from psgmodel.output_stage.stage.prices import PriceList


@dataclass(frozen=True, slots=True)
class CodeSource:
    """Where the digital level comes from.

    Attributes
    ----------
    bits : int
        Width of the unsigned code; half of its range is the middle of a signal.
    clock : Fraction, Hz
        Clock at whose edges the code may change.
    silence : int
        Code while nothing sounds: the middle of the range for a signed signal, 0 for a sum of levels.
    """

    bits: int
    clock: Fraction
    silence: int

    @property
    def middle(self) -> int:
        """Middle of the range: the mean of a test tone."""
        return 1 << (self.bits - 1)

    @property
    def top(self) -> int:
        """Largest code."""
        return (1 << self.bits) - 1


@dataclass(frozen=True, slots=True)
class Pin:
    """A digital pin.

    Attributes
    ----------
    supply : float, volt
        Level of a 1; a 0 is 0 V.
    resistance : float, ohm
        Output resistance while it drives; already an element of the network.
    rating : float or None, ampere
        Largest current that its data sheet allows, peak; None: not judged.
    clock : Fraction, Hz
        Clock of the modulator.
    """

    supply: float
    resistance: float
    rating: float | None
    clock: Fraction


class Feed(Enum):
    """How a code on a fast clock becomes the samples of a converter; the enum value is the word in a file."""

    SAMPLED = "sampled"
    """The code as it stands at each sample instant: what a bare register does. All above half the rate folds down."""
    BAND_LIMITED = "band-limited"
    """Behind a good decimation filter."""


@dataclass(frozen=True, slots=True)
class Converter:
    """A converter with its own reconstruction filter, described by its data sheet.

    Attributes
    ----------
    bits : int
    rate : int, Hz
        Samples a second.
    feed : Feed
    full_scale : float, V rms
        Of a full-scale sine at its output.
    input_scale : float
        The code is multiplied by this on its way in, above 0, at most 1: room for the overshoot that a band limit
        gives a code that rests at an end of its range.
    bias : float, volt
        DC at its output.
    resistance : float, ohm
        Output resistance; already an element of the network.
    pass_band, stop_band : float, ratio to the rate
        Ends of the reconstruction filter.
    stop_attenuation : float, dB
    snr_a : float or None, dB
        Full-scale sine over A-weighted noise, as the data sheet gives it; None: no noise but that of the bits.
    thd : float or None, dB
        Harmonics over fundamental, negative; None: none but those of the bits.
    rating : float or None, ampere
        Largest output current.
    """

    bits: int
    rate: int
    feed: Feed
    full_scale: float
    input_scale: float = 1.0
    bias: float = 0.0
    resistance: float = 0.0
    pass_band: float = 0.4535
    stop_band: float = 0.5465
    stop_attenuation: float = 60.0
    snr_a: float | None = None
    thd: float | None = None
    rating: float | None = None

    @property
    def oversampling(self) -> int:
        """Levels a sample behind the reconstruction filter, as it is modelled: some 768 kHz."""
        return max(4, 768_000 // self.rate)


@dataclass(frozen=True, slots=True)
class ShapedPwm:
    """Pulse-width modulation behind a noise shaper that runs once a carrier period."""

    pwm: Pwm
    shaper: NoiseShaper


PinModulator = Pwm | ShapedPwm | FirstOrder | SecondOrder
"""What may stand between a code and a pin."""


@dataclass(frozen=True, slots=True)
class ToneRequest:
    """The test tone.

    Attributes
    ----------
    hz : float, Hz
        Wanted; the nearest tone that fits the record is used and reported.
    dbfs : float, dBFS
        0 is the sine whose peak is half of the code range.
    seconds : float, s
        Wanted length of the record.
    idle_levels : int
        Number of constant codes tried for idle tones; 0 for none.
    """

    hz: float = 997.0
    dbfs: float = -1.0
    seconds: float = 0.04
    idle_levels: int = 9


@dataclass(frozen=True, slots=True)
class Stage:
    """An output stage, complete.

    Attributes
    ----------
    title, file : str
    code : CodeSource
    output : Pin or Converter
    modulator : PinModulator or None
        None with a converter.
    network : Network
    tone : ToneRequest
    limits : tuple of Limit
        What the user demands of it.
    prices : PriceList or None
    places : dict of str to Place
        Where the tables and keys that remarks point at stand.
    """

    title: str
    file: str
    code: CodeSource
    output: Pin | Converter
    modulator: PinModulator | None
    network: Network
    tone: ToneRequest = ToneRequest()
    limits: tuple[Limit, ...] = ()
    prices: PriceList | None = None
    places: dict[str, Place] = field(default_factory=dict)

    @property
    def rating(self) -> float | None:
        """Largest current that the data sheet allows, ampere."""
        return self.output.rating

    @property
    def full_scale_peak(self) -> float:
        """Peak of a full-scale sine before the network, volt."""
        if isinstance(self.output, Converter):
            return self.output.full_scale * 2**0.5
        return self.output.supply / 2

    @property
    def swing(self) -> float:
        """Largest difference of two levels before the network, volt."""
        return 2 * self.full_scale_peak

    @property
    def middle_volts(self) -> float:
        """Mean level before the network while a tone plays, volt."""
        return self.output.bias if isinstance(self.output, Converter) else self.output.supply / 2

    @property
    def silence_volts(self) -> float:
        """Mean level before the network while nothing sounds, volt."""
        return self.code_volts(self.code.silence)

    def code_volts(self, code: int) -> float:
        """Return the mean level before the network at a constant code, volt."""
        return self.middle_volts + (code / (1 << self.code.bits) - 0.5) * self.swing * self.input_scale

    @property
    def input_scale(self) -> float:
        """Factor by which the modulator or converter makes the signal smaller."""
        if isinstance(self.output, Converter):
            return self.output.input_scale
        return float(self.modulator.input_scale) if isinstance(self.modulator, SecondOrder) else 1.0

    @property
    def clock(self) -> Fraction:
        """Clock of the levels before the network, hertz."""
        if isinstance(self.output, Converter):
            return Fraction(self.output.rate * self.output.oversampling)
        return self.output.clock
