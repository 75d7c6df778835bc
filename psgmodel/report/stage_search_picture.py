"""Search picture: what was screened, what was simulated, and the Pareto front.

Stage: report. In: a `Search`. Out: one PNG or SVG: SINAD over ripple with the price as size, the front marked, and the
cloud of hopeful estimates behind.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from psgmodel.output_stage.parts_text import Unit, format_value
from psgmodel.output_stage.search import ModulatorWord, Search
from psgmodel.output_stage.search.choosing import misses
from psgmodel.output_stage.stage import Figure, figure_text
from psgmodel.report.plots import GREY, INK, check_picture_name, picture_settings, save_figure
from psgmodel.report.stage_picture import COLOURS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FloatArray = NDArray[np.float64]

_MOST_DOTS = 4000
_MARKS = dict(zip(ModulatorWord, ("o", "s", "^", "v", "D", "P", "X"), strict=True))
_SHADES = dict(zip(ModulatorWord, (*COLOURS, "#56B4E9"), strict=True))


def search_picture(path: str, found: Search) -> None:
    """Write the picture of a search.

    Parameters
    ----------
    path : str
        Ends in .png or .svg.
    found : Search

    Raises
    ------
    OutputError
        The name says no kind of picture, or the file cannot be written.
    """
    check_picture_name(path)
    with picture_settings():
        from matplotlib.figure import Figure as Canvas

        canvas = Canvas(figsize=(9.0, 6.4), layout="constrained")
        left, right = canvas.subplots(1, 2, sharey=True, gridspec_kw={"width_ratios": (3, 2)})
        canvas.suptitle(found.goals.title, x=0.01, ha="left", fontsize=11, fontweight="bold")
        price = found.front_figures[0]
        _draw(left, found, Figure.RIPPLE, "ripple at the load, peak to peak above 20 kHz")
        left.set_title(f"{found.screened:,} stages screened, {len(found.simulated)} simulated")
        left.set_xscale("log")
        left.xaxis.set_major_formatter(lambda value, place: format_value(value, Unit.VOLT))
        left.set_ylabel("SINAD in dB, 20 Hz to 20 kHz")
        label = "cost, your currency" if price is Figure.COST else "number of parts"
        _draw(right, found, price, label)
        right.set_title("and what they cost" if price is Figure.COST else "and how many parts they take")
        left.legend(loc="lower left", fontsize=7.5, frameon=True, framealpha=0.9)
        save_figure(canvas, path)


def _draw(at: Axes, found: Search, across: Figure, label: str) -> None:
    x, y = _cloud(found, across)
    at.scatter(x, y, s=3, color=GREY, alpha=0.25, linewidth=0, rasterized=True, label="hopeful, by formulas")
    told: set[ModulatorWord] = set()
    for index, one in enumerate(found.simulated):
        word = one.candidate.side.word
        name = word.value if word not in told else None
        told.add(word)
        at.scatter(
            [one.figures[across]],
            [one.figures[Figure.SINAD]],
            s=46,
            marker=_MARKS[word],
            facecolor=_SHADES[word] if one.meets else "none",
            edgecolor=_SHADES[word],
            linewidth=1.0,
            label=name,
            zorder=3,
        )
        if index in found.front or across is Figure.RIPPLE:
            spot = (one.figures[across], one.figures[Figure.SINAD])
            at.annotate(str(index + 1), spot, xytext=(5, 3), textcoords="offset points", fontsize=7, zorder=4)
    front = sorted((found.simulated[i].figures[across], found.simulated[i].figures[Figure.SINAD]) for i in found.front)
    at.scatter(
        [p[0] for p in front],
        [p[1] for p in front],
        s=150,
        facecolor="none",
        edgecolor=INK,
        linewidth=0.9,
        label="Pareto front",
        zorder=2,
    )
    _limits(at, found, across)
    at.set_xlabel(label)
    at.grid(True, which="major", color="#e2e2e2", linewidth=0.5)
    at.set_axisbelow(True)


def _limits(at: Axes, found: Search, across: Figure) -> None:
    for limit in found.goals.limits:
        if limit.figure is across and limit.high is not None:
            at.axvline(limit.high, color=INK, linewidth=0.7, linestyle=":")
            at.text(limit.high, 0.99, f" {figure_text(across, limit.high)}", fontsize=7, va="top", transform=_blend(at))
        if limit.figure is Figure.SINAD and limit.low is not None:
            at.axhline(limit.low, color=INK, linewidth=0.7, linestyle=":")


def _blend(at: Axes) -> object:
    return at.get_xaxis_transform()


def _cloud(found: Search, across: Figure) -> tuple[FloatArray, FloatArray]:
    """Return hopeful estimates, evenly thinned to what a picture can show."""
    pairs = []
    for screen in found.screens:
        hopeful = misses(found.goals.limits, screen.values, margin=True) == 0
        pairs.append(np.stack([screen.values[across][hopeful], screen.values[Figure.SINAD][hopeful]]))
    both = np.concatenate(pairs, axis=1)
    step = max(1, -(-both.shape[1] // _MOST_DOTS))
    return both[0, ::step], both[1, ::step]
