"""Pareto front: stages that no other one beats in everything.

Stage: output stage, searching. In: figures of stages. Out: which of them stand on the front.
"""

from __future__ import annotations

from collections.abc import Sequence

from psgmodel.output_stage.stage import Figure


def pareto_front(rows: Sequence[dict[Figure, float]], figures: Sequence[Figure]) -> tuple[int, ...]:
    """Return the indices of the rows that no other row beats, figures taken as reports print them.

    That is decibels to a tenth, volts and amperes to three digits: finer differences are no reason to build. A row
    beats another where it is no worse in every figure and better in one. Of equal rows all stand.

    Parameters
    ----------
    rows : sequence of dict of Figure to float
    figures : sequence of Figure
        What counts; more is better for figures that are wanted "at least", less for the others.

    Returns
    -------
    tuple of int, rising
    """
    keys = [tuple(_smaller_is_better(f, row[f]) for f in figures) for row in rows]
    return tuple(i for i, key in enumerate(keys) if not any(_beats(other, key) for other in keys))


def _smaller_is_better(figure: Figure, value: float) -> float:
    printed = round(value, 1) if figure.unit in ("dB", "dBV") else float(f"{value:.3g}")
    return -printed if figure.sense == "at-least" else printed


def _beats(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return one != other and all(a <= b for a, b in zip(one, other, strict=True))
