"""Stage pictures: response and spectrum of one or several output stages.

Stage: report. In: measured stages. Out: one PNG or SVG: the response from pin to load above, the spectrum at the load
below, the audio band shaded in both.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.output_stage.measures import Window, window_figures, window_samples
from psgmodel.output_stage.stage import Converter, StageMeasure
from psgmodel.report.plots import BLUE, GREEN, GREY, INK, VERMILLION, check_picture_name, picture_settings, save_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FloatArray = NDArray[np.float64]

COLOURS = (BLUE, VERMILLION, GREEN, "#CC79A7", "#E69F00", INK)
STYLES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (1, 2)))
_LOW_HZ, _HIGH_HZ = 10.0, 10e6
_ROWS = 900
_FLOOR_DBV = -150.0


class HeardSpectrum(NamedTuple):
    """Mean power of what a load hears of a log or a sound file.

    Attributes
    ----------
    title : str
    hertz : ndarray of float64, shape (n,), hertz
    dbv : ndarray of float64, shape (n,), dBV
        V rms of a line, frames of 8192 samples behind a Hann window averaged (P. D. Welch, 1967).
    """

    title: str
    hertz: FloatArray
    dbv: FloatArray


def heard_spectrum(volts: FloatArray, rate: int, title: str) -> HeardSpectrum:
    """Return the spectrum of samples in volts at `rate` hertz, their mean taken off."""
    from psgmodel.audio import power_spectrum

    found = power_spectrum(volts - volts.mean(), rate, length=min(8192, volts.size))
    return HeardSpectrum(title, found.hertz, found.dbfs(floor_db=-200.0) - 10 * np.log10(2))


def stage_picture(path: str, measures: Sequence[StageMeasure], heard: Sequence[HeardSpectrum] = ()) -> None:
    """Write response and spectrum of some stages.

    Parameters
    ----------
    path : str
        Ends in .png or .svg.
    measures : sequence of StageMeasure
    heard : sequence of HeardSpectrum
        Drawn below, where there are any.

    Raises
    ------
    OutputError
        The name says no kind of picture, or the file cannot be written.
    """
    check_picture_name(path)
    with picture_settings():
        from matplotlib.figure import Figure

        figure = Figure(figsize=(9.0, 10.2 if heard else 7.2), layout="constrained")
        upper, lower, *more = figure.subplots(3 if heard else 2, 1, height_ratios=(2, 3, 2)[: 3 if heard else 2])
        title = measures[0].stage.title if len(measures) == 1 else "Output stages side by side"
        figure.suptitle(title, x=0.01, ha="left", fontsize=11, fontweight="bold")
        _draw_response(upper, measures)
        _draw_spectrum(lower, measures)
        if heard:
            _draw_heard(more[0], heard)
        save_figure(figure, path)


def _draw_response(at: Axes, measures: Sequence[StageMeasure]) -> None:
    at.set_title("response, pin to load, 0 dB at 1 kHz (network alone)")
    for index, m in enumerate(measures):
        with np.errstate(divide="ignore"):
            gain = 20 * np.log10(np.abs(m.response.gain) / m.response.gain_1k)
        at.plot(m.response.hz, gain, color=_colour(index), linestyle=_style(index), label=m.stage.title, linewidth=1.4)
    at.axhline(-10 * np.log10(2), color=GREY, linewidth=0.6, linestyle=":")
    at.text(_LOW_HZ * 1.1, -3.4, "half power", color=GREY, fontsize=7.5, va="top")
    at.set_ylim(-80, 6)
    at.set_ylabel("gain in dB")
    _frequency_axis(at)
    if len(measures) > 1:
        at.legend(loc="lower left", fontsize=8, frameon=False)


def _draw_spectrum(at: Axes, measures: Sequence[StageMeasure]) -> None:
    first = measures[0]
    tone = f"sine of {float(first.plan.hz):.0f} Hz at {first.plan.dbfs:g} dBFS"
    at.set_title(f"spectrum at the load, {tone}: largest line in each step of frequency")
    top = -40.0
    for index, m in enumerate(measures):
        hz, level = spectrum_rows(m)
        top = max(top, float(level.max()))
        at.plot(hz, level, color=_colour(index), linestyle="-", linewidth=0.9, alpha=0.9, label=_label(m))
    at.set_ylim(_FLOOR_DBV, 10 * np.ceil((top + 5) / 10))
    at.set_ylabel("level in dBV (V rms of a line)")
    at.set_xlabel("frequency in Hz")
    _frequency_axis(at)
    if len(measures) > 1:
        at.legend(loc="upper right", fontsize=8, frameon=False)


def _draw_heard(at: Axes, heard: Sequence[HeardSpectrum]) -> None:
    at.set_title("what the load hears, mean over all of it")
    for index, h in enumerate(heard):
        at.plot(h.hertz, h.dbv, color=_colour(index), linewidth=0.9, alpha=0.9, label=h.title)
    top = max(float(h.dbv.max()) for h in heard)
    at.set_ylim(top - 110, top + 8)
    at.set_xscale("log")
    at.set_xlim(20, 20_000)
    ticks = (20, 100, 1000, 10_000, 20_000)
    at.set_xticks(ticks, labels=("20", "100", "1 k", "10 k", "20 k"))
    at.set_ylabel("level in dBV (V rms of a line)")
    at.set_xlabel("frequency in Hz")
    at.grid(True, which="major", color="#dddddd", linewidth=0.5)
    at.legend(loc="upper right", fontsize=8, frameon=False)


def spectrum_rows(measure: StageMeasure) -> tuple[FloatArray, FloatArray]:
    """Return frequency (Hz) and level (dBV) of the largest line in each of some steps of log frequency.

    A tone behind the window is spread over its lobe: the bins are raised by the window's noise bandwidth, so that the
    top of a lobe shows its level, and noise stands that much (3 dB) higher.
    """
    spectrum = measure.spectrum
    power = spectrum.power.copy()
    power[0] = 0.0
    if spectrum.half_lobe:
        power *= window_figures(window_samples(Window.BLACKMAN_HARRIS, 4096)).enbw_bins
    keep = (spectrum.hz >= _LOW_HZ) & (spectrum.hz <= _HIGH_HZ)
    hz, power = spectrum.hz[keep], power[keep]
    row = (np.log(hz / _LOW_HZ) / np.log(_HIGH_HZ / _LOW_HZ) * _ROWS).astype(np.int64)
    first = np.flatnonzero(np.diff(row, prepend=-1))
    peak = np.maximum.reduceat(power, first)
    middle = np.array([hz[a + int(np.argmax(power[a:b]))] for a, b in zip(first, [*first[1:], hz.size], strict=True)])
    with np.errstate(divide="ignore"):
        return middle, np.maximum(10 * np.log10(peak), _FLOOR_DBV - 20)


def _label(measure: StageMeasure) -> str:
    """Return a legend; what a converter's data sheet says of noise is in the figures, not in its lines."""
    sheet = isinstance(measure.stage.output, Converter) and measure.stage.output.snr_a is not None
    return f"{measure.stage.title}{' (data-sheet noise not drawn)' if sheet else ''}"


def _frequency_axis(at: Axes) -> None:
    at.set_xscale("log")
    at.set_xlim(_LOW_HZ, _HIGH_HZ)
    ticks = (10, 100, 1000, 10_000, 100_000, 1_000_000, 10_000_000)
    at.set_xticks(ticks, labels=("10", "100", "1 k", "10 k", "100 k", "1 M", "10 M"))
    at.axvspan(20, 20_000, color="#000000", alpha=0.045, linewidth=0)
    at.grid(True, which="major", color="#dddddd", linewidth=0.5)
    at.set_axisbelow(True)


def _colour(index: int) -> str:
    return COLOURS[index % len(COLOURS)]


def _style(index: int) -> str | tuple[int, tuple[int, ...]]:
    return STYLES[index % len(STYLES)]
