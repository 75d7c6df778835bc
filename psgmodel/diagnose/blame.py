"""Blame: the block in which the first divergence arises.

Stage: diagnose. In: a first divergence, what single changes explain of it. Out: the name of a block, and why. In turn:

1. a single change that explains whatever differs, in a window from the first divergence on: its block;
2. one that explains most of it;
3. what happens at the edge of the first divergence, and what sort of difference it is (module `evidence`);
4. one that explains anything.

A write that would have to be lost names no block.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from psgmodel.chip.records import Chip
from psgmodel.comparison.exact import ExactResult
from psgmodel.diagnose.blocks import block_of_field
from psgmodel.diagnose.changes import Change
from psgmodel.diagnose.evidence import Evidence
from psgmodel.diagnose.suspects import find_suspects
from psgmodel.diagnose.suspicion import Suspect, Suspicion
from psgmodel.dump.observe import Observation
from psgmodel.reglog.log import RegisterLog

WINDOW = 1 << 22
"""Cycles from the first divergence on that are looked at."""
MOST_WORK = 10**11
"""Cycles that are run to screen changes, all together: some ten seconds."""
MOST = 0.5

_OF_CHANNEL = {
    "position_on_start": "phase",
    "start_delay": "start",
    "gate": "start",
    "at_reset": "start",
    "patterns": "pattern",
    "volume_bits": "envelope",
    "volume_table": "loudness",
    "levels": "loudness",
    "idle_level": "loudness",
}
"""Block of an option of the channel itself; the others are records that are blocks."""


@dataclass(frozen=True, slots=True)
class Blame:
    """A block.

    Attributes
    ----------
    block : str
        One of `psgmodel.diagnose.blocks.NAMES`.
    suspect : Suspect or None
        The change that says so.
    why : str
        A sentence, where it is no change that says so.
    until : int, clock cycles
        End of the window that was looked at.
    """

    block: str
    suspect: Suspect | None
    why: str
    until: int


def block_of(change: Change, chip: Chip) -> str:
    """Return the block that a change is of; a write is of none."""
    if not change.edits:
        return ""
    if change.wording:
        return "wiring"
    path = change.edits[0].path
    if path[0] == "channels":
        return _OF_CHANNEL.get(str(path[2]), str(path[2]))
    if path[0] == "fields":  # a constant
        channel, _, field = str(path[1]).partition(".")
        return block_of_field(chip.channels[channel], field) if channel in chip.channels else "mixer"
    return {"dividers": "ticks"}.get(str(path[0]), str(path[0]))


def blame(
    exact: ExactResult,
    evidence: Evidence | None,
    observation: Observation,
    chip: Chip,
    log: RegisterLog,
    found: Suspicion | None = None,
) -> Blame | None:
    """Say which block a divergence arises in.

    Parameters
    ----------
    exact : ExactResult
        Of the signal that differs first.
    evidence : Evidence or None
        What stands there says.
    observation : Observation
        What it says up to the end of the window is enough, and if nothing differs before, from where on it says it.
    chip : Chip
    log : RegisterLog
        What the unit was told, as the model follows it.
    found : Suspicion, optional
        Of a search that was made already; else one is made in the window.

    Returns
    -------
    Blame or None
        None: nothing says anything.
    """
    assert exact.divergence is not None
    until = observation.end
    if found is None:
        until = min(until, exact.divergence.cycle + WINDOW)
        found = _searched(exact, observation, chip, log, until)
    blamed = [s for s in found.ranked if not s.of_writes]
    best = blamed[0] if blamed else None
    if best is not None and (best.complete or best.share >= MOST):
        return Blame(block_of(best.changes[0], chip), best, "", until)
    if evidence is not None:
        return Blame(evidence.block, None, evidence.why, until)
    return Blame(block_of(best.changes[0], chip), best, "", until) if best is not None else None


def _searched(exact: ExactResult, observation: Observation, chip: Chip, log: RegisterLog, until: int) -> Suspicion:
    assert exact.divergence is not None
    each = exact.divergence.cycle + 1 - min((s.steps.start for s in observation.signals), default=0)

    def go_on(tried: int, of: int) -> bool:
        return tried * each < MOST_WORK

    return find_suspects(
        chip, _up_to(observation, until), log.cut(0, until), latency=exact.latency, pairs=False, progress=go_on
    )


def _up_to(observation: Observation, until: int) -> Observation:
    """Return what a dump says up to a cycle."""
    signals = []
    for signal in observation.signals:
        if signal.steps.start < until:
            strobes = signal.strobes if signal.strobes is None else signal.strobes[signal.strobes < until]
            steps = signal.steps.cut(signal.steps.start, min(until, signal.steps.end))
            signals.append(replace(signal, steps=steps, strobes=strobes))
    return replace(observation, end=min(until, observation.end), signals=tuple(signals))
