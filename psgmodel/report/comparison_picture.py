"""Comparison picture: spectrogram and spectrum of model, dump and their difference, on one page.

Stage: report. In: spectrograms of both sides, made from the same cycles with the same settings. Out: a PNG or SVG.
Spectra are the mean power of the columns. Differences are levels of the dump minus levels of the model in dB, 0 where
both are below the floor.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.spectra import Spectrogram
from psgmodel.report.plots import (
    BLUE,
    GREY,
    INK,
    LEVEL_FLOOR_DB,
    VERMILLION,
    check_picture_name,
    difference_colours,
    draw_levels,
    draw_rows,
    log_hertz,
    log_rows,
    mark_frequencies,
    picture_settings,
    save_figure,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

_MOST_DB = 12.0
_ROOM_DB = 10.0


def comparison_picture(
    path: str,
    model: Spectrogram,
    dump: Spectrogram,
    *,
    title: str,
    verdict: str,
    start_s: float = 0.0,
    first_difference_s: float | None = None,
) -> None:
    """Write the picture of a comparison.

    Parameters
    ----------
    path : str
        Ends in .png or .svg.
    model, dump : Spectrogram
    title : str
        What was compared.
    verdict : str
        One line under the title.
    start_s : float, seconds
        Time of sample 0 on the axis.
    first_difference_s : float, seconds, optional
        Where a mark is drawn.

    Raises
    ------
    OutputError
        The name says no kind of picture, or the file cannot be written.
    """
    check_picture_name(path)
    from matplotlib.figure import Figure

    with picture_settings():
        figure = Figure(figsize=(9.0, 10.4), layout="constrained")
        over_time, spectrum, difference = _rooms(figure)
        figure.suptitle(f"{title}\n", x=0.008, ha="left", fontsize=11, fontweight="bold")
        figure.text(0.008, 0.966, verdict, ha="left", va="center", fontsize=9.5)
        _draw_over_time(figure, over_time, model, dump, start_s)
        if first_difference_s is not None:
            _mark(over_time, first_difference_s)
        _draw_spectra(spectrum, difference, model, dump)
        save_figure(figure, path)


def level_difference(model: FloatArray, dump: FloatArray, floor_db: float = LEVEL_FLOOR_DB) -> FloatArray:
    """Return levels of the dump minus levels of the model in dB; 0 where both are below `floor_db`."""
    return np.maximum(dump, floor_db) - np.maximum(model, floor_db)


def mean_levels(spectrogram: Spectrogram) -> FloatArray:
    """Return the level of the mean power of each line over all columns. Shape (lines,), dB."""
    return np.asarray(10 * np.log10(np.mean(10 ** (spectrogram.dbfs / 10), axis=0)), dtype=np.float64)


def _rooms(figure: Figure) -> tuple[list[Axes], Axes, Axes]:
    grid = figure.add_gridspec(5, 1, height_ratios=(2.0, 2.0, 2.0, 2.0, 1.0))
    first = figure.add_subplot(grid[0])
    over_time = [first, *(figure.add_subplot(grid[row], sharex=first) for row in (1, 2))]
    spectrum = figure.add_subplot(grid[3])
    return over_time, spectrum, figure.add_subplot(grid[4], sharex=spectrum)


def _draw_over_time(figure: Figure, axes: list[Axes], model: Spectrogram, dump: Spectrogram, start_s: float) -> None:
    for at, side, name in zip(axes, (model, dump), ("model", "dump"), strict=False):
        image = draw_levels(at, side, start_s)
        at.set_title(name)
        at.tick_params(labelbottom=False)
    bar = figure.colorbar(image, ax=axes[:2], pad=0.012, aspect=30, extend="both")
    bar.set_label("level in dB\n0 dB is a full-scale sine")
    high = float(min(20_000.0, model.hertz[-1]))
    frames = min(model.dbfs.shape[0], dump.dbfs.shape[0])
    ours, theirs = (log_rows(side.hertz, side.dbfs[:frames], high) for side in (model, dump))
    image = draw_rows(axes[2], model.seconds[:frames] + start_s, level_difference(ours, theirs), high)
    image.set_cmap(difference_colours())
    image.set_clim(-_MOST_DB, _MOST_DB)
    equal = np.array_equal(ours, theirs)
    axes[2].set_title("difference: none" if equal else "difference")
    axes[2].set_xlabel("time in s")
    figure.colorbar(image, ax=axes[2], pad=0.012, aspect=15, extend="both").set_label("dump above model\nin dB")


def _mark(axes: list[Axes], at_s: float) -> None:
    for at in axes:
        at.axvline(at_s, color=VERMILLION, linewidth=1.2, linestyle=(0, (4, 2)))
    axes[2].annotate(
        " first difference",
        (at_s, 0.03),
        xycoords=("data", "axes fraction"),
        color=INK,
        fontsize=8.5,
        bbox={"boxstyle": "square,pad=0.15", "facecolor": "white", "edgecolor": "none"},
    )


def _draw_spectra(at: Axes, below: Axes, model: Spectrogram, dump: Spectrogram) -> None:
    high = float(min(20_000.0, model.hertz[-1]))
    hertz = log_hertz(high)
    ours, theirs = (log_rows(side.hertz, mean_levels(side)[None, :], high)[0] for side in (model, dump))
    at.plot(hertz, ours, color=BLUE, linewidth=2.2, label="model")
    at.plot(hertz, theirs, color=VERMILLION, linewidth=0.9, linestyle=(0, (5, 1.5)), label="dump")
    top = float(max(ours.max(), theirs.max()))
    at.set_ylim(LEVEL_FLOOR_DB - _ROOM_DB, max(top, LEVEL_FLOOR_DB) + _ROOM_DB)
    at.set_ylabel("level in dB")
    at.set_title("spectrum of the whole stretch")
    at.legend(loc="upper right", frameon=False, ncols=2)
    below.axhline(0, color=GREY, linewidth=0.7)
    difference = level_difference(ours, theirs, LEVEL_FLOOR_DB - _ROOM_DB)
    below.fill_between(hertz, difference, color=VERMILLION, alpha=0.35, linewidth=0)
    below.plot(hertz, difference, color=VERMILLION, linewidth=0.9)
    most = max(1.0, float(np.abs(difference).max()) * 1.1)
    below.set_ylim(-most, most)
    below.set_ylabel("dump above\nmodel in dB")
    below.set_xlabel("frequency in Hz")
    for axes in (at, below):
        axes.grid(visible=True, color="#d9d9d9", linewidth=0.5)
        axes.set_axisbelow(True)
        mark_frequencies(axes, high)
    at.tick_params(labelbottom=False)
