"""Story: the first divergence, told.

Stage: diagnose. In: a comparison, what was compared, the chip. Out: one record: which signal, where, both levels, what
stands around it, the state of every block just before, and what kind of difference it is.
"""

from __future__ import annotations

from dataclasses import dataclass

from psgmodel.chip.records import Chip
from psgmodel.comparison.concluding import followed_log
from psgmodel.comparison.departed import Scene
from psgmodel.comparison.exact import Divergence, ExactResult, aligned
from psgmodel.comparison.verdict import Comparison, Status
from psgmodel.diagnose.before import activity, blocks_before
from psgmodel.diagnose.blame import Blame, blame
from psgmodel.diagnose.blocks import BlockState
from psgmodel.diagnose.differing import Differing
from psgmodel.diagnose.evidence import evidence_of
from psgmodel.diagnose.kinds import DifferenceKind, kind_of
from psgmodel.diagnose.shape_kinds import one_bit
from psgmodel.diagnose.surroundings import Window, start_edges, window_around
from psgmodel.diagnose.suspicion import Suspicion
from psgmodel.dump.observe import Kind, Observation
from psgmodel.engine.run import run
from psgmodel.reglog.log import RegisterLog


@dataclass(frozen=True, slots=True)
class SignalShare:
    """How often and how long one signal differs.

    Attributes
    ----------
    name, side : str
        Channel or output; what it is in the dump.
    first, cycles, of_cycles, stretches, longest, longest_at : int, clock cycles
    follows : bool
        An output that differs only because a channel does.
    """

    name: str
    side: str
    first: int
    cycles: int
    of_cycles: int
    stretches: int
    longest: int
    longest_at: int
    follows: bool


@dataclass(frozen=True, slots=True)
class Story:
    """The first divergence.

    Attributes
    ----------
    name, side, path : str
        Channel or output; what it is; signal of the dump.
    divergence : Divergence
        Cycle, time, both levels.
    kind : DifferenceKind
    detail : str
        A sentence about the kind.
    window : Window
    before : tuple of BlockState
        Every block of the model just before the edge of the cycle.
    shares : tuple of SignalShare
        Every signal that differs.
    blame : Blame or None
        The block in which it arises; None where nothing says so, or only the spectrum is judged and agrees.
    """

    name: str
    side: str
    path: str
    divergence: Divergence
    kind: DifferenceKind
    detail: str
    window: Window
    before: tuple[BlockState, ...]
    shares: tuple[SignalShare, ...]
    blame: Blame | None


def tell(
    comparison: Comparison,
    observation: Observation | Scene,
    chip: Chip,
    given: RegisterLog | None,
    found: Suspicion | None = None,
) -> Story | None:
    """Tell the first divergence of a comparison.

    Parameters
    ----------
    comparison : Comparison
        Of this chip with this observation.
    observation : Observation or Scene
        What stands around the first difference is enough.
    chip : Chip
    given : RegisterLog or None
        The log that was compared with the dump, if one was.
    found : Suspicion, optional
        Of a search for suspects that was made already.

    Returns
    -------
    Story or None
        None where no channel and no output code differs to the cycle, or the log is not known.
    """
    first = comparison.first
    if first is None or first.exact is None or first.exact.divergence is None:
        return None
    seen = observation.observation if isinstance(observation, Scene) else observation
    log = followed_log(chip, seen, given, [])
    if log is None:
        return None
    exact, divergence, at = first.exact, first.exact.divergence, first.exact.divergence.cycle
    differing = _differing(chip, log, exact, at, observation)
    kind, detail = kind_of(differing)
    blamed = None
    if comparison.status is Status.DIFFER:
        evidence = evidence_of(chip, log, exact.name, kind, differing)
        blamed = blame(exact, evidence, seen, chip, log, found)
    window = window_around(chip, log, exact.name, (differing.model, differing.dump), at)
    shares = tuple(_share(s.exact, s.side) for s in comparison.signals if s.exact is not None and s.exact.differences)
    blocks = blocks_before(chip, log, exact.name, at)
    return Story(exact.name, first.side, exact.path, divergence, kind, detail, window, blocks, shares, blamed)


def _differing(chip: Chip, log: RegisterLog, exact: ExactResult, at: int, seen: Observation | Scene) -> Differing:
    """Return both sides of the signal that differs first, with what its channel does."""
    if isinstance(seen, Scene):
        sides, bit, end = seen.sides, seen.bit, exact.end
    else:
        observed = next(s for s in seen.signals if s.name == exact.name and s.kind is exact.kind)
        sides = aligned(run(chip, log.with_end(seen.end))[exact.name], observed, exact.latency)
        bit, end = one_bit(*sides), seen.end
    starts = start_edges(chip, log, exact.name, end)
    if exact.kind is not Kind.CHANNEL:
        return Differing(*sides, at, exact, None, 0, starts, bit)
    active = activity(chip, log, exact.name, at, sides[0].end, end)
    return Differing(*sides, at, exact, active, chip.channels[exact.name].idle_level, starts, bit)


def _share(exact: ExactResult, side: str) -> SignalShare:
    count = exact.differences
    assert count is not None
    assert exact.divergence is not None
    return SignalShare(
        exact.name,
        side,
        exact.divergence.cycle,
        count.cycles,
        exact.end - exact.start,
        count.stretches,
        count.longest,
        count.longest_at,
        exact.follows_channels,
    )
