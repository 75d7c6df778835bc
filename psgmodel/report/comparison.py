"""Comparison: the verdict on a dump in words; the verdict first, then why, then what it rests on.

Stage: report. In: a `Comparison`. Out: text. Cycles are written plain, so that they can be looked up in a wave viewer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from psgmodel.comparison.exact import ExactResult, late
from psgmodel.comparison.verdict import Comparison, SignalResult, Status
from psgmodel.comparison.writes import SeenWrite
from psgmodel.report.layout import counted, paragraph, seconds_text, table

if TYPE_CHECKING:
    from psgmodel.diagnose.story import Story

_WORDS = {Status.AGREE: "AGREE", Status.DIFFER: "DIFFER", Status.NOTHING: "NOTHING COMPARED"}
_MOST_GUESSES = 24


def verdict_word(comparison: Comparison) -> str:
    """Return the word that the report begins with."""
    return _WORDS[comparison.status]


def verdict_line(comparison: Comparison) -> str:
    """Return the verdict in one line, without the word."""
    c = comparison
    if c.status is Status.AGREE:
        how = "to the cycle" if c.judge == "exact" else "within the limits of the spectrum"
        return f"{c.file} does what {c.chip} says, {how}"
    if c.status is Status.NOTHING:
        return f"{c.file} with {c.chip}"
    first = c.first
    if c.judge == "exact" and first is not None and first.exact is not None and first.exact.divergence is not None:
        at = first.exact.divergence
        return f"{c.file} departs from {c.chip}: {first.name} first, at cycle {at.cycle} ({seconds_text(at.seconds)})"
    failing = list(dict.fromkeys(s.name for s in c.signals if not s.agrees))
    if failing:
        return f"{c.file} departs from {c.chip} as audio: {', '.join(failing)}"
    if c.bus is not None and not c.bus.agrees:
        return f"{c.file} departs from {c.chip}: the register log"
    if c.reads is not None and not c.reads.agrees:
        return f"{c.file} departs from {c.chip}: what reads return"
    return f"{c.file} departs from {c.chip}: less than the whole log"


def comparison_text(comparison: Comparison, story: Story | None = None) -> str:
    """Return the whole report; it begins with `verdict_word`. `story` tells the first difference at length."""
    text = f"{verdict_word(comparison)}  {verdict_line(comparison)}\n"
    if comparison.status is Status.NOTHING:
        text += "\n" + "".join(paragraph(reason, indent="  ") for reason in comparison.nothing)
    text += _first_difference(comparison)
    if story is not None:
        from psgmodel.report.story import story_text  # loads the diagnosis, which an agreement does not need

        text += story_text(story)
    text += _other_reasons(comparison)
    text += _signals(comparison)
    text += _as_audio(comparison)
    return text + _facts(comparison)


def comparison_summary(comparison: Comparison) -> str:
    """Return the verdict and what it rests on most, in a few lines; it begins with `verdict_word`."""
    text = f"{verdict_word(comparison)}  {verdict_line(comparison)}\n"
    if comparison.status is not Status.AGREE:
        return text + _first_difference(comparison)
    names = ", ".join(s.name for s in comparison.signals)
    return text + paragraph(f"{names}: {comparison.coverage}", indent="  ")


def _first_difference(c: Comparison) -> str:
    first = c.first
    if first is None or first.exact is None or first.exact.divergence is None:
        return ""
    at = first.exact.divergence
    found = "an unknown level" if at.dump_level is None else str(at.dump_level)
    dump_time = "" if at.dump_time is None else f", dump time {at.dump_time}"
    title = "first difference" if c.judge == "exact" else "first difference to the cycle"
    text = f"\n{title}: {first.name}, {first.path}\n"
    text += f"  cycle {at.cycle}, {at.seconds:.9f} s{dump_time}\n"
    text += f"  expected {at.model_level}, found {found}\n"
    for reason in first.exact.reasons()[1:]:
        text += paragraph(reason.removeprefix(f"{first.name}: "), indent="  ")
    return text + _writes(first.exact, f"last writes that concern {first.name}")


def _writes(exact: ExactResult, title: str) -> str:
    return f"  {title}:\n" + _write_rows(exact.writes) if exact.writes else ""


def _write_rows(writes: tuple[SeenWrite, ...]) -> str:
    width = max(len(str(w.cycle)) for w in writes)
    return "".join(f"    cycle {w.cycle:>{width}}  {w.text}\n" for w in writes)


def _other_reasons(c: Comparison) -> str:
    """Return what is not told with the first difference nor in the table: bus, coverage, another latency."""
    of_signals = {reason for s in c.signals for reason in s.reasons()}
    told = [reason for reason in c.reasons() if reason not in of_signals and reason not in c.nothing]
    return "\n" + "".join(paragraph(reason, indent="  ") for reason in told) if told else ""


def _signals(c: Comparison) -> str:
    if not c.signals:
        return ""
    rows = [[s.name, s.side, s.path, _covered(s), _result(s)] for s in c.signals]
    return "\n" + table(("signal", "is a", "in the dump", "cycles", "result"), rows, right=(3,))


def _covered(s: SignalResult) -> str:
    return "" if s.exact is None else str(s.exact.end - s.exact.start)


def _result(s: SignalResult) -> str:
    if s.nothing and not s.silent:
        return "nothing compared"
    if s.agrees and s.silent:
        return "agrees, silent"
    told = "agrees" if s.agrees else "differs"
    if s.judged_by == "spectrum":
        told += " as audio"
    exact = s.exact
    if exact is None:
        return told
    if exact.divergence is None or exact.differences is None:
        return "agrees" if exact.agrees else told
    if s.judged_by == "spectrum":
        return f"{told}; to the cycle differs from {exact.divergence.cycle}"
    share = 100 * exact.differences.cycles / (exact.end - exact.start)
    told += f" from {exact.divergence.cycle}, {share:.3g} % of cycles"
    if exact.agrees_at is not None:
        return f"{told}; agrees {late(exact.agrees_at)}"
    return f"{told}, as a channel does" if exact.follows_channels else told


def _as_audio(c: Comparison) -> str:
    """Return what the spectra say about signals that differ, or that only the spectrum can judge."""
    text = ""
    for s in c.signals:
        spectral = s.spectral
        settled = s.exact is not None and s.exact.agrees
        if spectral is None or settled or (s.agrees and s.judged_by == "exact"):
            continue
        name = f"{s.name}, {spectral.where}" if spectral.where else s.name
        if spectral.nothing:
            text += paragraph(f"{name}: {spectral.nothing}", indent="    ", first="  ")
            continue
        beyond = spectral.reasons()
        told = [reason.removeprefix(f"{s.name}: ") for reason in beyond] or [
            f"within the limits ({'; '.join(spectral.summary()) or 'nothing to measure'})"
        ]
        text += paragraph(f"{name}: {'; '.join(told)}", indent="    ", first="  ")
    return f"\nas audio\n{text}" if text else ""


def _facts(c: Comparison) -> str:
    rows = [("covers", str(c.coverage)), ("sampled", c.rule.removeprefix("sampled ")), ("latency", c.latency_text)]
    if c.bus is not None and c.bus.agrees:
        rows.append(("log", f"{counted(c.bus.log_writes, 'write')}, all on the bus"))
    if c.reads is not None and c.reads.agrees:
        rows.append(("reads", f"{c.reads.compared} of {c.reads.reads} compared, all as they should be"))
    if c.skipped_edges:
        rows.append(("skipped", f"{counted(c.skipped_edges, 'edge')} before cycle 0"))
    if c.not_compared:
        rows.append(("left out", f"{', '.join(c.not_compared)}: no signal in the dump"))
    rows += [("note", note) for note in c.notes]
    rows += [("guessed", guess) for guess in c.guesses[:_MOST_GUESSES]]
    width = max(len(name) for name, _ in rows) + 2
    return "\n" + "".join(paragraph(text, indent=" " * width, first=name.ljust(width)) for name, text in rows)
