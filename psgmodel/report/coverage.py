"""Coverage: which behaviours logs have shown, in words and as plain data.

Stage: report. In: a `Coverage`. Out: text, JSON values.
"""

from __future__ import annotations

from typing import Any

from psgmodel.coverage.bins import Bin
from psgmodel.coverage.results import Coverage
from psgmodel.report.layout import counted, paragraph, table

SHORT_LIST = 8
"""Missing bins that are named where no whole list is asked for."""


def percent(share: float) -> str:
    """Return a share in percent, 100 only where nothing is missing."""
    return "100 %" if share == 1 else f"{min(100 * share, 99.9):.1f} %"


def coverage_summary(coverage: Coverage) -> str:
    """Return one line: how many of the reachable behaviours were hit."""
    reachable = len(coverage.reachable)
    hit = reachable - len(coverage.missing)
    text = f"{percent(coverage.share)} of what {coverage.chip} can be made to do: {hit} of {reachable} behaviours"
    return f"{text}, by {counted(len(coverage.logs), 'log')} with {coverage.writes:,} writes\n"


def coverage_text(coverage: Coverage, *, whole: bool = False) -> str:
    """Return the report; `whole` lists everything that is missing or out of reach."""
    text = coverage_summary(coverage) + "\n" + _parts(coverage)
    missing, out = coverage.missing, coverage.unreachable
    if missing:
        shown = missing if whole else missing[:SHORT_LIST]
        text += f"\nmissing, {counted(len(missing), 'behaviour')}:\n" + "".join(_missing(b) for b in shown)
        if len(shown) < len(missing):
            text += f"  and {len(missing) - len(shown)} more (--missing lists all)\n"
    if out and whole:
        text += (
            f"\nout of reach, {counted(len(out), 'behaviour')}, at least {coverage.spacing} cycles between writes:\n"
        )
        text += "".join(_out_of_reach(b) for b in out)
    elif out:
        text += f"\n{counted(len(out), 'behaviour')} out of reach (--missing says why)\n"
    if wrong := coverage.against_reason:
        names = ", ".join(b.name for b in wrong[:SHORT_LIST])
        text += "\n" + paragraph(
            f"note  {counted(len(wrong), 'behaviour')} out of reach of writes {coverage.spacing} cycles apart, but hit "
            f"by closer ones: {names}",
            indent="      ",
            first="",
        )
    return text


def _parts(coverage: Coverage) -> str:
    rows = []
    for part, bins in by_part(coverage).items():
        reachable = [b for b in bins if not b.unreachable]
        hit = sum(1 for b in reachable if coverage.count(b))
        share = percent(hit / len(reachable)) if reachable else "-"
        rows.append((part, str(hit), str(len(reachable)), share, str(len(bins) - len(reachable))))
    return table(("part", "hit", "of", "share", "out of reach"), rows, right=(1, 2, 3, 4))


def by_part(coverage: Coverage) -> dict[str, list[Bin]]:
    """Return the bins by channel or part of the unit, in the order of the bins."""
    found: dict[str, list[Bin]] = {}
    for b in coverage.bins:
        found.setdefault(b.part, []).append(b)
    return found


def _missing(b: Bin) -> str:
    text = paragraph(f"{b.name}: {b.text}", indent="      ", first="  ")
    return text + (paragraph(b.how, indent="      ") if b.how else "")


def _out_of_reach(b: Bin) -> str:
    return paragraph(f"{b.name}: {b.unreachable}", indent="      ", first="  ")


def coverage_json(coverage: Coverage) -> dict[str, Any]:
    """Return the result as plain data."""
    return {
        "chip": coverage.chip,
        "spacing": coverage.spacing,
        "share": coverage.share,
        "reachable": len(coverage.reachable),
        "hit": len(coverage.reachable) - len(coverage.missing),
        "unreachable": len(coverage.unreachable),
        "logs": [{"name": log.name, "digest": log.digest, "writes": log.writes} for log in coverage.logs],
        "bins": [
            {
                "name": b.name,
                "text": b.text,
                "count": coverage.count(b),
                "how": b.how or None,
                "unreachable": b.unreachable or None,
            }
            for b in coverage.bins
        ],
    }
