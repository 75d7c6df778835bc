"""One tone and everything else: SNR, THD, THD+N, SINAD, SFDR, ENOB.

Stage: measurement. In: a record of one tone, or its exact lines. Out: the powers it splits into, and the usual ratios.

Conventions
  band        20 Hz to 20 kHz unless told otherwise; nothing outside counts, harmonics included
  fundamental the bins of its lobe; DC: the bins of its own lobe, never counted
  harmonics   orders 2 to 10 that lie in the band (IEEE 1241's usual choice, from memory); higher ones count as
              noise, and so do aliases
  noise       everything else; the bins that DC, fundamental and harmonics hide are filled with the mean of the rest.
              Exact lines and rectangular windows hide one bin each and are not filled
  THD_F       rms of harmonics / rms of fundamental        THD_R  the same / rms of fundamental and harmonics
  SNR         fundamental / noise                          SINAD  fundamental / (noise and harmonics)
  THD+N       (noise and harmonics) / (fundamental, noise and harmonics): relative to the total, as an analyser
              with a notch reads
  SFDR        fundamental / largest other lobe in the band, a harmonic or not
  ENOB        (SINAD - 1.76 dB) / 6.02 dB (W. Kester, MT-003); honest only for a tone near full
              scale
All decibels are 20 log10 of rms ratios; without noise or harmonics they are infinite.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from psgmodel.errors import StageError
from psgmodel.output_stage.measures.checks import check_band, check_positive
from psgmodel.output_stage.measures.decibels import to_db
from psgmodel.output_stage.measures.lines import LineSpectrum
from psgmodel.output_stage.measures.spectrum import PowerSpectrum, power_of_lines, power_spectrum
from psgmodel.output_stage.measures.windows import Window
from psgmodel.output_stage.modulators.signals import raise_problems, whole_number_problems
from psgmodel.output_stage.weighting import a_weighting_gain


@dataclass(frozen=True, slots=True)
class ToneSettings:
    """What counts.

    Attributes
    ----------
    low_hz, high_hz : float, Hz
        Ends of the band.
    highest_harmonic : int
        Highest order counted as a harmonic, 2 to 1000.
    window : Window
        For records of samples; exact lines need none.
    """

    low_hz: float = 20.0
    high_hz: float = 20_000.0
    highest_harmonic: int = 10
    window: Window = Window.KAISER_38

    def __post_init__(self) -> None:
        raise_problems(whole_number_problems("highest harmonic", self.highest_harmonic, 2, 1000))
        check_band(self.low_hz, self.high_hz, math.inf)


@dataclass(frozen=True, slots=True)
class Harmonic:
    """One harmonic: its order, frequency (Hz) and rms."""

    order: int
    hz: float
    rms: float


@dataclass(frozen=True, slots=True)
class ToneMeasure:
    """What a tone splits into; rms values in the signal's unit.

    Attributes
    ----------
    hz : float, Hz
        Of the fundamental.
    rms, noise_rms, noise_a_rms : float
        Fundamental, noise, and noise weighted by A.
    dc : float
    harmonics : tuple of Harmonic
    spur_hz, spur_rms : float
        Largest lobe beside the fundamental.
    settings : ToneSettings
    """

    hz: float
    rms: float
    noise_rms: float
    noise_a_rms: float
    dc: float
    harmonics: tuple[Harmonic, ...]
    spur_hz: float
    spur_rms: float
    settings: ToneSettings

    @property
    def distortion_rms(self) -> float:
        """All harmonics together."""
        return math.sqrt(sum(h.rms**2 for h in self.harmonics))

    @property
    def thd_f(self) -> float:
        """Harmonics over fundamental; a ratio."""
        return self.distortion_rms / self.rms

    @property
    def thd_r(self) -> float:
        """Harmonics over fundamental and harmonics; a ratio."""
        return self.distortion_rms / math.hypot(self.rms, self.distortion_rms)

    @property
    def thd_db(self) -> float:
        """THD_F in dB (negative)."""
        return to_db(self.thd_f)

    @property
    def snr_db(self) -> float:
        """Fundamental over noise."""
        return _ratio_db(self.rms, self.noise_rms)

    @property
    def snr_a_db(self) -> float:
        """Fundamental (unweighted) over A-weighted noise."""
        return _ratio_db(self.rms, self.noise_a_rms)

    @property
    def sinad_db(self) -> float:
        """Fundamental over noise and harmonics."""
        return _ratio_db(self.rms, math.hypot(self.noise_rms, self.distortion_rms))

    @property
    def thd_n(self) -> float:
        """Noise and harmonics over the total; a ratio."""
        rest = math.hypot(self.noise_rms, self.distortion_rms)
        return rest / math.hypot(self.rms, rest)

    @property
    def thd_n_db(self) -> float:
        """THD+N in dB (negative)."""
        return to_db(self.thd_n)

    @property
    def sfdr_db(self) -> float:
        """Fundamental over the largest other lobe."""
        return _ratio_db(self.rms, self.spur_rms)

    @property
    def enob_bits(self) -> float:
        """Effective bits for a tone taken as full scale."""
        return sinad_to_enob(self.sinad_db)


def sinad_to_enob(sinad_db: float) -> float:
    """Return effective bits: (SINAD - 1.76) / 6.02 (W. Kester, MT-003)."""
    return (sinad_db - 1.76) / 6.02


def snr_and_thd_to_sinad(snr_db: float, thd_db: float) -> float:
    """Return SINAD from SNR (positive) and THD (negative), in dB (W. Kester, MT-003)."""
    return float(-10 * math.log10(10 ** (-snr_db / 10) + 10 ** (thd_db / 10)))


def thd_f_to_thd_r(thd_f: float) -> float:
    """Return THD relative to the total from THD relative to the fundamental; both ratios."""
    return thd_f / math.hypot(1.0, thd_f)


def measure_tone(
    samples: ArrayLike, rate_hz: float, tone_hz: float | None = None, settings: ToneSettings | None = None
) -> ToneMeasure:
    """Measure a record of one tone.

    Parameters
    ----------
    samples : array_like of float, shape (n,)
        Long enough that fundamental and harmonics are more than two lobes apart: 27 periods for the default window.
    rate_hz : float, Hz
    tone_hz : float, optional, Hz
        The fundamental, where it is known; else the largest lobe of the band.
    settings : ToneSettings, optional

    Returns
    -------
    ToneMeasure

    Raises
    ------
    StageError
        The record is silent, too short, or does not reach the end of the band; the tone is outside the band; a
        rectangular window and a tone that is not on a bin.
    """
    chosen = settings or ToneSettings()
    return _measure(power_spectrum(samples, rate_hz, chosen.window), tone_hz, chosen)


def measure_tone_of_lines(
    lines: LineSpectrum, tone_hz: float | None = None, settings: ToneSettings | None = None
) -> ToneMeasure:
    """Measure the exact lines of one tone: no window, no lobe, no leakage; refuses as `measure_tone`, and gaps."""
    return _measure(power_of_lines(lines), tone_hz, settings or ToneSettings())


def _measure(spectrum: PowerSpectrum, tone_hz: float | None, settings: ToneSettings) -> ToneMeasure:
    check_band(settings.low_hz, settings.high_hz, float(spectrum.hz[-1]))
    power, lobe = spectrum.power, spectrum.half_lobe
    band = (spectrum.hz >= settings.low_hz) & (spectrum.hz <= settings.high_hz)
    band[: lobe + 1] = False
    place, hz = _fundamental(spectrum, band, tone_hz, settings)
    main = _lobe(place, lobe, power.size)
    noise = band.copy()
    noise[main] = False
    harmonics = []
    for order in range(2, settings.highest_harmonic + 1):
        if order * hz > settings.high_hz:
            break
        part = _lobe(round(order * hz / spectrum.spacing_hz), lobe, power.size)
        harmonics.append(Harmonic(order, order * hz, math.sqrt(float(power[part].sum()))))
        noise[part] = False
    spur_hz, spur_rms = _spur(spectrum, band, main)
    if lobe and not noise.any():
        raise StageError("no bin of the band is left for noise", hint="accepted: a longer record")
    fill = float(band.sum() / noise.sum()) if lobe else 1.0
    weight = a_weighting_gain(spectrum.hz[noise]) ** 2
    return ToneMeasure(
        hz=hz,
        rms=math.sqrt(float(power[main].sum())),
        noise_rms=math.sqrt(fill * float(power[noise].sum())),
        noise_a_rms=math.sqrt(fill * float(np.dot(power[noise], weight))),
        dc=spectrum.dc,
        harmonics=tuple(harmonics),
        spur_hz=spur_hz,
        spur_rms=spur_rms,
        settings=settings,
    )


def _fundamental(
    spectrum: PowerSpectrum, band: NDArray[np.bool_], tone_hz: float | None, settings: ToneSettings
) -> tuple[int, float]:
    """Return bin and frequency of the fundamental."""
    lobe, spacing = spectrum.half_lobe, spectrum.spacing_hz
    if tone_hz is None:
        inside = np.where(band, spectrum.power, 0.0)
        place = int(np.argmax(inside))
        part = _lobe(place, lobe, inside.size)
        total = float(inside[part].sum())
        hz = float(np.dot(inside[part], spectrum.hz[part])) / total if total else 0.0
        if total and (place <= 2 * lobe or float(spectrum.power[1 : lobe + 1].sum()) > total):
            raise StageError(
                f"the largest tone of the record has fewer than {2 * lobe + 1} periods in it",
                hint="accepted with this window: that many; make the record longer, or name the tone",
            )
    else:
        hz = check_positive("tone", tone_hz, "Hz")
        if not settings.low_hz <= hz <= settings.high_hz:
            raise StageError(
                f"a tone of {hz:g} Hz",
                hint=f"accepted: inside the band, {settings.low_hz:g} to {settings.high_hz:g} Hz",
            )
        place = round(hz / spacing)
        if not lobe and abs(hz / spacing - place) > 1e-3:
            raise StageError(
                f"a tone of {hz:g} Hz falls between the lines, which are {spacing:g} Hz apart",
                hint="accepted: a whole number of periods in the record, or another window",
            )
        total = float(spectrum.power[_lobe(place, lobe, spectrum.power.size)].sum())
    if not total:
        raise StageError("no tone was found in the band", hint="accepted: a record that is not silent there")
    if place <= 2 * lobe:  # only a named tone can still be this low
        raise StageError(
            f"the record holds {hz / spacing:.1f} periods of {hz:g} Hz",
            hint=f"accepted with this window: more than {2 * lobe} periods; make the record longer",
        )
    return place, hz


def _spur(spectrum: PowerSpectrum, band: NDArray[np.bool_], main: slice) -> tuple[float, float]:
    """Return frequency and rms of the largest lobe in the band beside the fundamental."""
    rest = np.where(band, spectrum.power, 0.0)
    rest[main] = 0.0
    place = int(np.argmax(rest))
    total = float(rest[_lobe(place, spectrum.half_lobe, rest.size)].sum())
    return float(spectrum.hz[place]), math.sqrt(total)


def _lobe(place: int, half: int, size: int) -> slice:
    return slice(max(place - half, 0), min(place + half + 1, size))


def _ratio_db(above: float, below: float) -> float:
    return to_db(above / below) if below else math.inf
