"""Suspects: what a search for them found, in words and as plain data.

Stage: report. In: a `Suspicion`, the `Story` of the first divergence. Out: text; JSON values.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from psgmodel.comparison.exact import late
from psgmodel.comparison.plain import plain
from psgmodel.comparison.verdict import Comparison
from psgmodel.diagnose.changes import Change
from psgmodel.diagnose.story import Story
from psgmodel.diagnose.suspicion import Certainty, Suspect, Suspicion
from psgmodel.report.changes import change_text, share_text, suspect_text
from psgmodel.report.layout import counted, paragraph
from psgmodel.report.story import blame_text, story_json

MOST_LISTED = 10


def other_reasons(comparison: Comparison) -> tuple[str, ...]:
    """Return what differs besides known levels, a sentence each: nothing is tried to explain that."""
    told = []
    if comparison.agrees_at is not None:
        told.append(f"everything agrees if the dump is taken to be {late(comparison.agrees_at)} (--latency)")
    unknown = sum(s.exact.differences.unknown_cycles for s in comparison.signals if s.exact and s.exact.differences)
    if unknown:
        told.append(f"levels are unknown (X or Z) in {unknown:,} cycles, which no description explains")
    for result in (comparison.bus, comparison.reads):
        told += result.reasons() if result is not None else ()
    return tuple(told)


def suspects_text(found: Suspicion, story: Story | None, notes: Sequence[str] = ()) -> str:
    """Return the whole report; `notes` are what differs besides."""
    text = _headline(found) + "".join(paragraph(note, indent="      ", first="note  ") for note in notes)
    if story is not None:
        at = story.divergence
        text += "\n" + paragraph(
            f"first difference: {story.name}, cycle {at.cycle}, expected {at.model_level}, "
            f"found {'unknown' if at.dump_level is None else at.dump_level}",
            indent="  ",
        )
        text += paragraph(f"{story.kind.value}: {story.detail}", indent="  ", first="  kind  ")
        text += blame_text(story) if found.certainty in (Certainty.NOTHING, Certainty.PARTLY) else ""
    if found.ranked:
        text += "\n" + "".join(_row(number, s) for number, s in enumerate(found.ranked[:MOST_LISTED], 1))
    if len(found.ranked) > MOST_LISTED:
        text += f"    and {len(found.ranked) - MOST_LISTED} more that explain less\n"
    return text + "\n" + _tried(found)


def _row(number: int, suspect: Suspect) -> str:
    text = paragraph(f"{share_text(suspect)}: {suspect_text(suspect)}", indent="      ", first=f"  {number:>2}  ")
    if suspect.alternatives:
        shown = "; ".join(suspect.alternatives[:4])
        more = f" and {len(suspect.alternatives) - 4} more" if len(suspect.alternatives) > 4 else ""
        text += paragraph(f"exactly as well: {shown}{more}", indent="      ")
    return text


def _headline(found: Suspicion) -> str:
    """Return what the search comes to, in a sentence or two."""
    c = found.certainty
    if c is Certainty.AGREES:
        return paragraph("Nothing to explain: every known level agrees to the cycle.")
    if c is Certainty.NOTHING:
        return paragraph(
            "Nothing in the description language explains this: no change of an option, of the wiring or of the "
            "writes moves the first difference away. It is something that the language does not describe."
        )
    best = found.ranked[0]
    told = f"The dump behaves as if {suspect_text(best)}: {share_text(best)}."
    if c is Certainty.SURE:
        return paragraph(f"{told} Nothing else that was tried explains all of them.")
    if c is Certainty.PARTLY:
        return paragraph(
            f"Nothing that was tried explains everything. The nearest: as if {suspect_text(best)}, which "
            f"{share_text(best)}; most likely something else, or something that the description language cannot say."
        )
    notes = {
        Certainty.FEW_PLACES: f"But that is in {counted(found.stretches, 'stretch', 'stretches')} only, so take it as "
        "a hint: a log that provokes the difference more often would tell.",
        Certainty.SEVERAL: "Others explain exactly as much; a log that tells them apart is needed.",
        Certainty.TWO_AT_ONCE: "No single change does.",
        Certainty.WRITES: "No change of the description does, so either the unit was told something else, or it does "
        "something here that the language does not describe.",
    }
    return paragraph(f"{told} {notes[c]}")


def _tried(found: Suspicion) -> str:
    text = f"{counted(found.singles, 'single change')} tried"
    if found.pairs:
        text += f", and {found.pairs} on top of another"
    if found.stopped:
        text += "; stopped before the end, so more may be found (--seconds)"
    return paragraph(text + ".")


def suspects_json(found: Suspicion, story: Story | None) -> dict[str, Any]:
    """Return the result as plain data."""
    return {
        "certainty": found.certainty.name.lower().replace("_", " "),
        "differing_cycles": found.cycles,
        "stretches": found.stretches,
        "signals": {name: plain(s) for name, s in found.standings.items()},
        "suspects": [
            {
                "as_if": suspect_text(s),
                "changes": [change_json(change) for change in s.changes],
                "explained_cycles": s.explained,
                "left_cycles": s.left,
                "share": s.share,
                "signals": list(s.signals),
                "first_left": s.first_left,
                "as_well": list(s.alternatives),
            }
            for s in found.ranked
        ],
        "tried": {"single": found.singles, "on_top_of_another": found.pairs, "stopped": found.stopped},
        "divergence": None if story is None else story_json(story),
    }


def change_json(change: Change) -> dict[str, Any]:
    """Return a change as plain data: what stands where, or a sentence where keys and values do not tell it."""
    edits = [dict(zip(("key", "new", "old"), edit.told(), strict=True)) for edit in change.edits]
    return {"edits": [] if change.wording else edits, "text": change_text(change), "move": change.move.value}
