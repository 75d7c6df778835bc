"""Story: the first divergence in words: what kind, what stands around it, what the model was about to do.

Stage: report. In: a `Story`. Out: text, JSON values. Cycles are written plain, so that they can be looked up in a wave
viewer; cycles with a sign count from the first difference.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from psgmodel.comparison.plain import plain
from psgmodel.diagnose.blocks import NAMES
from psgmodel.diagnose.story import Story
from psgmodel.diagnose.surroundings import Window
from psgmodel.report.changes import share_text, suspect_text
from psgmodel.report.layout import WIDTH, paragraph, table

_UNKNOWN = "?"


def story_text(story: Story) -> str:
    """Return the story; it begins with an empty line."""
    text = "\n" + paragraph(f"{story.kind.value}: {story.detail}", indent="  ", first="  kind  ")
    text += blame_text(story)
    text += excerpt(story.window, story.divergence.cycle)
    text += _events(story)
    text += _before(story)
    return text + _shares(story)


def blame_text(story: Story) -> str:
    """Return the block in which the divergence arises, and why; empty where nothing says so."""
    found = story.blame
    if found is None:
        return ""
    text = f"perhaps {NAMES[found.block]}: {found.why}"
    if found.suspect is not None:
        share = f"{share_text(found.suspect)} up to cycle {found.until}"
        text = f"{NAMES[found.block]}: as if {suspect_text(found.suspect)}, which {share}"
    return paragraph(text, indent="  ", first="  block  ")


def story_json(story: Story) -> dict[str, Any]:
    """Return a story as plain data."""
    found = story.blame
    blame = None
    if found is not None:
        as_if = "" if found.suspect is None else suspect_text(found.suspect)
        blame = {"block": found.block, "as_if": as_if, "why": found.why, "until": found.until}
    return {**plain(replace(story, blame=None)), "blame": blame}


def excerpt(window: Window, cycle: int) -> str:
    """Return both sides around a cycle, a column for each stretch in which neither changes; a bar stands before it."""
    rows: list[list[str]] = [["cycle"], ["model"], ["dump"]]
    for stretch in window.stretches:
        if stretch.cycle == cycle:
            for row in rows:
                row.append("|")
        rows[0].append(str(stretch.cycle))
        rows[1].append(_UNKNOWN if stretch.model is None else str(stretch.model))
        rows[2].append(_UNKNOWN if stretch.dump is None else str(stretch.dump))
    while len(rows[0]) > 2 and _width(rows) > WIDTH - 2:  # far from the difference first
        bar = rows[0].index("|")
        drop = 1 if bar - 1 >= len(rows[0]) - bar - 1 else len(rows[0]) - 1
        for row in rows:
            del row[drop]
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = [
        "  " + "  ".join(cell.rjust(w) if i else cell.ljust(w) for i, (cell, w) in _cells(r, widths)) for r in rows
    ]
    return "\n" + "".join(line + "\n" for line in lines)


def _cells(row: list[str], widths: list[int]) -> list[tuple[int, tuple[str, int]]]:
    return list(enumerate(zip(row, widths, strict=True)))


def _width(rows: list[list[str]]) -> int:
    return sum(2 + max(len(row[i]) for row in rows) for i in range(len(rows[0])))


def _events(story: Story) -> str:
    window, cycle = story.window, story.divergence.cycle
    events = [(w.cycle, f"write {w.text}") for w in window.writes]
    events += [(t.cycle, f"{t.name} tick") for t in window.ticks]
    if not events:
        return "\n  no write to it and no tick of it in these cycles\n"
    width = max(len(f"{at - cycle:+d}") for at, _ in events)
    lines = [f"    {at - cycle:>+{width}d}  {text}\n" for at, text in sorted(events)]
    more = [f"{n} more {what}" for n, what in ((window.more_writes, "writes"), (window.more_ticks, "ticks")) if n]
    rest = f"    {' '.rjust(width)}  and {' and '.join(more)}\n" if more else ""
    return f"\n  cycles {window.start} to {window.end - 1}, counted from the first difference\n" + "".join(lines) + rest


def _before(story: Story) -> str:
    rows = [(b.block, ", ".join(f"{name} {value}" for name, value in b.values)) for b in story.before]
    width = max(len(block) for block, _ in rows) + 2
    text = "\n  the model just before\n"
    return text + "".join(
        paragraph(values, indent=" " * (4 + width), first="    " + block.ljust(width)) for block, values in rows
    )


def _shares(story: Story) -> str:
    rows = []
    for s in story.shares:
        share = f"{s.cycles} ({100 * s.cycles / s.of_cycles:.3g} %)"
        why = "because a channel does" if s.follows else ""
        rows.append([s.name, str(s.first), share, str(s.stretches), f"{s.longest} at {s.longest_at}", why])
    header = ("differs", "from cycle", "for cycles", "in stretches", "the longest", "")
    return "\n" + "".join("  " + line for line in table(header, rows, right=(1, 2, 3)).splitlines(keepends=True))
