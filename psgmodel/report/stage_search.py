"""Search: the stages that meet goals, or what stands in their way, in words and as plain values.

Stage: report. In: a `Search`. Out: text of at most 100 columns, and dictionaries for JSON.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath
from typing import Any

from psgmodel.output_stage.parts_text import format_value
from psgmodel.output_stage.search import Search, Simulated, Strayed
from psgmodel.output_stage.stage import Figure, figure_text
from psgmodel.output_stage.stage.figures import figure_number
from psgmodel.output_stage.stage.prices import bought_parts
from psgmodel.report.layout import counted, paragraph, table
from psgmodel.report.stage import load_text
from psgmodel.report.stage_json import finite, verdict_json

SHOWN = (Figure.SINAD, Figure.RIPPLE, Figure.LEVEL, Figure.DROOP, Figure.PIN_CURRENT, Figure.PARTS, Figure.COST)
_TRIED_SHOWN = 12


def search_text(found: Search, kept: Sequence[str] = ()) -> str:
    """Return the report of a search; the verdict first.

    Parameters
    ----------
    found : Search
    kept : sequence of str
        Files that the stages found were written to, in rank.
    """
    goals = found.goals
    good = found.found
    head = f"FOUND {counted(len(good), 'stage')}" if good else "NOTHING MEETS THE GOALS"
    text = f"{head}  {goals.title}  ({PurePath(goals.file).name})\n"
    text += _effort(found) + _goals_text(found)
    if good:
        order = ", ".join(f.label for f in goals.rank_by)
        text += f"\nstages that meet the goals, simulated, ranked by {order}\n"
        text += "  SINAD and droop in dB, level in dBV, pin: peak current; * stands on the Pareto front\n\n"
        text += _ranking(found) + _tolerance_text(found)
        text += _front_text(found)
    text += _others(found)
    if kept:
        text += "\nwritten, to be measured with psgmodel stage\n" + "".join(f"  {path}\n" for path in kept)
    return text


def _effort(found: Search) -> str:
    thinned = "" if found.listed == found.screened else f" of {found.listed:,} listed (evenly thinned)"
    text = (
        f"{found.screened:,} stages judged by formulas{thinned}, {found.hopeful:,} of them hopeful; "
        f"{counted(len(found.simulated), 'stage')} simulated behind {counted(found.sides_simulated, 'modulator')}. "
        "Formulas may err by 6 dB in SINAD and a factor of 2 in ripple; the figures below are simulated."
    )
    return paragraph(text, indent="  ")


def _goals_text(found: Search) -> str:
    rows = []
    for limit in found.goals.limits:
        best = found.best.get(limit.figure)
        value = "-" if best is None else figure_text(limit.figure, best)
        rows.append([limit.figure.label, limit.wanted(), value, limit.figure.convention])
    return "\n" + _indented(table(("goal", "wanted", "best by itself", "how it is taken"), rows))


def _ranking(found: Search) -> str:
    shown = [f for f in SHOWN if f in found.simulated[0].figures]
    header = ["", "modulator", *(_SHORT.get(f, f.label) for f in shown), "yield"]
    rows = []
    for index, one in enumerate(found.simulated):
        if one.meets:
            share = f"{100 * found.tolerances[index].yield_share:.0f} %"
            values = [figure_number(f, one.figures[f]) for f in shown]
            mark = "*" if index in found.front else " "
            rows.append([f"{index + 1:>2}{mark}", one.candidate.side.label, *values, share])
    lines = table(header, rows, right=tuple(range(2, 3 + len(shown)))).splitlines()
    text = f"  {lines[0]}\n"
    for line, index in zip(lines[1:], (i for i, s in enumerate(found.simulated) if s.meets), strict=True):
        text += f"  {line}\n       {parts_text(found.simulated[index])}\n"
    return text


_SHORT = {Figure.PIN_CURRENT: "pin"}
"""Names that would make a column too wide."""


def parts_text(one: Simulated) -> str:
    """Return topology and parts of a stage on one line."""
    parts = [f"{_short(p.name)} {format_value(p.value, p.kind.unit)}" for p in bought_parts(one.stage.network)]
    return f"{one.candidate.networks.topology.value}: {', '.join(parts)}"


def _short(name: str) -> str:
    return "coupling" if name == "C_couple" else name


def _tolerance_text(found: Search) -> str:
    goals = found.goals
    spans = ", ".join(
        f"{kind.value}s {100 * t:g} %" for kind, t in goals.tolerances.parts.items() if _used(found, kind)
    )
    more = [
        f"{n} {100 * t:g} %" for n, t in (("supply", goals.tolerances.supply), ("load", goals.tolerances.load)) if t
    ]
    first = next(iter(found.tolerances.values()))
    text = "\n" + paragraph(
        f"worst case over up to {first.corners} corners ({', '.join([spans, *more])}); yield of {first.draws} draws, "
        f"{goals.tolerances.spread.value}, seed {goals.tolerances.seed}",
        indent="  ",
    )
    rows = []
    for index, one in found.tolerances.items():
        cells = [f"{figure_number(f, one.worst[f].low)} to {figure_text(f, one.worst[f].high)}" for f in _STRAYED]
        rows.append([str(index + 1), *cells])
    return text + _indented(table(["", *(f.label for f in _STRAYED)], rows))


_STRAYED = (Figure.LEVEL, Figure.DROOP, Figure.BASS_DROOP, Figure.RIPPLE)


def _used(found: Search, kind: object) -> bool:
    return any(p.kind is kind for s in found.simulated for p in bought_parts(s.stage.network))


def _front_text(found: Search) -> str:
    names = ", ".join(f.label for f in found.front_figures)
    rows = []
    for index in found.front:
        one = found.simulated[index]
        cells = [figure_text(f, one.figures[f]) for f in found.front_figures]
        rows.append([str(index + 1), one.candidate.side.label, one.candidate.networks.topology.value, *cells])
    header = ["", "modulator", "topology", *(f.label for f in found.front_figures)]
    text = "\n" + paragraph(
        f"Pareto front over {names}, as printed: no other simulated stage that meets the goals is as good in all "
        "three and better in one"
    )
    return text + _indented(table(header, rows, right=(3, 4, 5)))


def _others(found: Search) -> str:
    missed = [(i, s) for i, s in enumerate(found.simulated) if not s.meets]
    if not missed:
        return ""
    text = "\nsimulated, and missing a goal\n"
    for index, one in missed[:_TRIED_SHOWN]:
        text += paragraph(f"{index + 1}  {one.candidate.side.label}; {parts_text(one)}", indent="      ", first="  ")
        for verdict in one.verdicts:
            if not verdict.met:
                text += f"      {verdict}\n"
    if len(missed) > _TRIED_SHOWN:
        text += f"  and {len(missed) - _TRIED_SHOWN} more\n"
    return text


def _indented(text: str) -> str:
    return "".join(f"  {line}".rstrip() + "\n" for line in text.splitlines())


def search_json(found: Search, kept: Sequence[str] = ()) -> dict[str, Any]:
    """Return a search as plain values; parameters as `search_text`."""
    return {
        "goals": found.goals.file,
        "title": found.goals.title,
        "load": load_text(found.simulated[0].stage) if found.simulated else None,
        "screened": found.screened,
        "listed": found.listed,
        "hopeful": found.hopeful,
        "simulated": len(found.simulated),
        "modulators_simulated": found.sides_simulated,
        "met": len(found.found),
        "best_by_itself": {figure.word: finite(value) for figure, value in found.best.items()},
        "pareto_front": {
            "figures": [f.word for f in found.front_figures],
            "ranks": [i + 1 for i in found.front],
        },
        "stages": [_stage_json(found, index) for index in range(len(found.simulated))],
        "kept": list(kept),
    }


def _stage_json(found: Search, index: int) -> dict[str, Any]:
    one = found.simulated[index]
    parts = [{"name": p.name, "kind": p.kind.value, "value": p.value} for p in bought_parts(one.stage.network)]
    return {
        "rank": index + 1,
        "meets_goals": one.meets,
        "modulator": one.candidate.side.label,
        "topology": one.candidate.networks.topology.value,
        "parts": parts,
        "figures": {f.word: finite(v) for f, v in one.figures.items()},
        "estimates": {f.word: finite(v) for f, v in one.candidate.estimates.items()},
        "goals": [verdict_json(v) for v in one.verdicts],
        "tolerance": _strayed_json(found.tolerances.get(index)),
        "saturations": one.saturations,
    }


def _strayed_json(strayed: Strayed | None) -> dict[str, Any] | None:
    if strayed is None:
        return None
    return {
        "yield": strayed.yield_share,
        "corners": strayed.corners,
        "draws": strayed.draws,
        "worst": {f.word: [finite(r.low), finite(r.high)] for f, r in strayed.worst.items()},
        "drawn_99_percent": {f.word: [finite(r.low), finite(r.high)] for f, r in strayed.drawn.items()},
    }
