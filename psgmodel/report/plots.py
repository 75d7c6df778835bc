"""Plots: spectra and spectrograms as PNG or SVG.

Stage: report. In: spectra and spectrograms. Out: picture files, the same bytes for the same input, written whole or
not at all. Colours are told apart by people of every colour vision and on grey paper: lines after M. Okabe and K. Ito,
"Color Universal Design" (2008); level maps grow steadily darker.
"""

from __future__ import annotations

import errno
import io
import logging
import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.spectra import Spectrogram
from psgmodel.errors import OutputError
from psgmodel.output import output_error, write_bytes_whole

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import Colormap
    from matplotlib.figure import Figure
    from matplotlib.image import AxesImage

FloatArray = NDArray[np.float64]

BLUE, VERMILLION, GREEN, INK, GREY = "#0072B2", "#D55E00", "#009E73", "#222222", "#8a8a8a"
LEVEL_FLOOR_DB, LEVEL_TOP_DB = -90.0, -10.0

_ROWS = 360
_LOW_HZ = 40.0
_TICKS_HZ = (50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000, 100_000)
_SETTINGS: dict[str, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.titlesize": 9.5,
    "axes.titlelocation": "left",
    "axes.titleweight": "bold",
    "axes.linewidth": 0.7,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "svg.hashsalt": "psgmodel",
    "savefig.dpi": 150,
}


def check_picture_name(path: str) -> None:
    """Raise where a picture's name does not say which kind it is, or its folder is missing.

    Called before long work too, so that nobody waits for a picture that cannot be written.

    Raises
    ------
    OutputError
        The name ends neither in .png nor in .svg, or there is no such folder.
    """
    if Path(path).suffix.lower() not in (".png", ".svg"):
        raise OutputError(f'"{path}" does not say which kind of picture it is', hint="end it in .png or .svg")
    if not Path(path).parent.is_dir():
        raise output_error(path, FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT)))


def spectrogram_picture(
    path: str, panels: Sequence[tuple[str, Spectrogram]], *, title: str, start_s: float = 0.0
) -> None:
    """Write spectrograms one below the other, on one scale.

    Parameters
    ----------
    path : str
        Ends in .png or .svg.
    panels : sequence of (str, Spectrogram)
        Name and spectrogram of each signal.
    title : str
    start_s : float, seconds
        Time of sample 0 on the axis.

    Raises
    ------
    OutputError
        The name says no kind of picture, or the file cannot be written.
    """
    check_picture_name(path)
    with picture_settings():
        figure, axes = _stacked(len(panels), title)
        image = None
        for at, (name, spectrogram) in zip(axes, panels, strict=True):
            image = draw_levels(at, spectrogram, start_s)
            at.set_title(name)
        axes[-1].set_xlabel("time in s")
        if image is not None:
            bar = figure.colorbar(image, ax=axes, pad=0.015, aspect=40, extend="both")
            bar.set_label("level in dB, 0 dB is a full-scale sine")
        save_figure(figure, path)


def draw_levels(at: Axes, spectrogram: Spectrogram, start_s: float = 0.0) -> AxesImage:
    """Draw one spectrogram on a logarithmic frequency axis; return the image for a colour bar."""
    high = float(min(20_000.0, spectrogram.hertz[-1]))
    rows = log_rows(spectrogram.hertz, spectrogram.dbfs, high)
    image = draw_rows(at, spectrogram.seconds + start_s, rows, high)
    image.set_cmap(_level_colours())
    image.set_clim(LEVEL_FLOOR_DB, LEVEL_TOP_DB)
    at.set_xlim(left=start_s)
    return image


def draw_rows(at: Axes, seconds: FloatArray, rows: FloatArray, high: float) -> AxesImage:
    """Show an array of shape (frames, rows), as `log_rows` makes it, over time and logarithmic frequency."""
    step = (seconds[-1] - seconds[0]) / max(1, seconds.size - 1) if seconds.size > 1 else 0.02
    extent = (float(seconds[0] - step / 2), float(seconds[-1] + step / 2), 0.0, 1.0)
    image = at.imshow(rows.T, origin="lower", aspect="auto", extent=extent, interpolation="nearest")
    ticks = _ticks(high)
    at.set_yticks([float(np.log(f / _LOW_HZ) / np.log(high / _LOW_HZ)) for f in ticks], labels=map(_tick_text, ticks))
    at.set_ylabel("frequency in Hz")
    return image


def log_rows(hertz: FloatArray, values: FloatArray, high: float, rows: int = _ROWS) -> FloatArray:
    """Return values on rows of equal width in log frequency: the largest of the lines that a row covers.

    Parameters
    ----------
    hertz : ndarray of float64, shape (lines,)
    values : ndarray of float64, shape (frames, lines)
    high : float, hertz
        Upper end of the last row; the first row begins at 40 Hz.

    Returns
    -------
    ndarray of float64, shape (frames, rows)
        Where lines are farther apart than rows, the value of the nearest line.
    """
    edges = _LOW_HZ * (high / _LOW_HZ) ** (np.arange(rows + 1) / rows)
    first = np.searchsorted(hertz, edges[:-1])
    past = np.searchsorted(hertz, edges[1:])
    middle = np.sqrt(edges[:-1] * edges[1:])
    nearest = np.abs(hertz[None, :] - middle[:, None]).argmin(axis=1)
    first, past = np.where(past > first, first, nearest), np.where(past > first, past, nearest + 1)
    return np.stack([values[:, a:b].max(axis=1) for a, b in zip(first, past, strict=True)], axis=1)


def log_hertz(high: float, rows: int = _ROWS) -> FloatArray:
    """Return the middle of each row of `log_rows`. Shape (rows,), hertz."""
    return np.asarray(_LOW_HZ * (high / _LOW_HZ) ** ((np.arange(rows) + 0.5) / rows), dtype=np.float64)


def mark_frequencies(at: Axes, high: float) -> None:
    """Make the x axis a logarithmic frequency axis up to `high` hertz."""
    at.set_xscale("log")
    at.set_xlim(_LOW_HZ, high)
    at.set_xticks(_ticks(high), labels=map(_tick_text, _ticks(high)))
    at.minorticks_off()


def _ticks(high: float) -> list[int]:
    return [f for f in _TICKS_HZ if _LOW_HZ <= f <= high]


def _tick_text(hertz: int) -> str:
    return f"{hertz // 1000} k" if hertz >= 1000 else str(hertz)


def save_figure(figure: Figure, path: str) -> None:
    """Write a figure in the kind that its name says, without a time or a program version in it."""
    kind = Path(path).suffix.lower()[1:]
    data = io.BytesIO()
    metadata: dict[str, Any] = {"Software": None} if kind == "png" else {"Date": None, "Creator": None}
    figure.savefig(data, format=kind, metadata=metadata)
    write_bytes_whole(path, data.getvalue())


def picture_settings() -> Any:
    """Return the context in which all pictures are drawn: matplotlib's own defaults and the settings above."""
    logging.getLogger("matplotlib").setLevel(logging.ERROR)  # it tells of its font cache as a warning
    from matplotlib import style

    return style.context(["default", _SETTINGS])


def _stacked(count: int, title: str) -> tuple[Figure, list[Axes]]:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 0.8 + 2.1 * count), layout="constrained")
    figure.suptitle(title, x=0.01, ha="left", fontsize=11, fontweight="bold")
    axes = figure.subplots(count, 1, sharex=True, squeeze=False)
    return figure, [row[0] for row in axes]


def _level_colours() -> Colormap:
    """White for silence to nearly black for loud, through blue."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("levels", ["#ffffff", "#cfe6f5", "#56B4E9", "#0072B2", "#0b2a4a"])


def difference_colours() -> Colormap:
    """Blue below zero, white at zero, orange above."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("differences", [BLUE, "#9fcbe6", "#ffffff", "#f2b27f", VERMILLION])
