"""Shrinking: the log that was found, write by write, in words or as plain data; and what it took.

Stage: report. In: a `ShrinkResult`. Out: text, or a dict for JSON. Cycles are written plain.
"""

from __future__ import annotations

from typing import Any

from psgmodel.chip.records import Chip
from psgmodel.comparison.writes import describe_bus_write
from psgmodel.diagnose.shrinking.search import ShrinkResult
from psgmodel.reglog.log import RegisterLog
from psgmodel.report.layout import counted, paragraph

_MOST_WRITES = 40


def shrink_text(result: ShrinkResult, chip: Chip, output: str, simulating: float, seconds: float) -> str:
    """Return the report.

    Parameters
    ----------
    result : ShrinkResult
    chip : Chip
    output : str
        File that holds the log.
    simulating, seconds : float, seconds
        In the simulator, and altogether.
    """
    given, log = result.given, result.log
    text = (
        f"SHRUNK  {counted(len(given), 'write')} to {len(log)}, "
        f"{counted(given.end, 'cycle')} to {log.end}: {output}\n\n"
    )
    rows = _rows(chip, log)
    text += "".join(f"  cycle {row['cycle']}  {row['text']}\n" for row in rows[:_MOST_WRITES])
    if len(rows) > _MOST_WRITES:
        text += f"  and {counted(len(rows) - _MOST_WRITES, 'write')} more\n"
    text += f"  ends at cycle {log.end}\n\n"
    text += paragraph(f"fails: {result.verdict.text}", indent="         ", first="  ")
    if result.given_verdict.text != result.verdict.text:
        text += paragraph(f"before: {result.given_verdict.text}", indent="          ", first="  ")
    known = f", {result.known} known from before" if result.known else ""
    text += f"  {counted(result.runs, 'run')} of the simulator{known}; {result.repeated} answered from memory\n"
    text += f"  {simulating:.1f} s in the simulator, {max(seconds - simulating, 0.0):.1f} s beside it\n"
    if not result.minimal:
        text += "  stopped before the end: the budget is spent; --resume goes on\n"
    return text


def shrink_json(result: ShrinkResult, chip: Chip, output: str, simulating: float, seconds: float) -> dict[str, Any]:
    """Return the same as plain data; parameters as for `shrink_text`."""
    return {
        "output": output,
        "minimal": result.minimal,
        "writes_before": len(result.given),
        "writes": _rows(chip, result.log),
        "end_before": result.given.end,
        "end": result.log.end,
        "failure_before": {"cycle": result.given_verdict.cycle, "text": result.given_verdict.text},
        "failure": {"cycle": result.verdict.cycle, "text": result.verdict.text},
        "runs": result.runs,
        "runs_known": result.known,
        "answered_from_memory": result.repeated,
        "not_legal": result.illegal,
        "simulator_seconds": simulating,
        "seconds": seconds,
    }


def _rows(chip: Chip, log: RegisterLog) -> list[dict[str, Any]]:
    table = zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True)
    return [{"cycle": c, "address": a, "value": v, "text": describe_bus_write(chip, a, v)} for c, a, v in table]
