"""Departed: the verdict on a dump that was compared in pieces, and what is kept to tell of its first difference.

Stage: compare. In: what was followed and kept (`psgmodel.comparison.pieces`). Out: the `Comparison`; around it what a
diagnosis needs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from psgmodel.chip.records import Chip
from psgmodel.comparison.alignment import Pair
from psgmodel.comparison.concluding import concluded, followed_log, note_past_log
from psgmodel.comparison.exact import ExactResult
from psgmodel.comparison.following import SignalState
from psgmodel.comparison.kept import Bounds, StretchState
from psgmodel.comparison.options import SpectralOptions
from psgmodel.comparison.sides import level_pair
from psgmodel.comparison.spectral import SpectralPart, compare_spectra
from psgmodel.comparison.verdict import Comparison, SignalResult
from psgmodel.comparison.whole import compare_whole
from psgmodel.dump.levels import Kind, Observed
from psgmodel.dump.observe import Observation
from psgmodel.engine.run import run
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps


@dataclass(frozen=True, slots=True, eq=False)
class FollowedDump:
    """A dump that was followed to its end.

    Attributes
    ----------
    dump : Observation
        Without its levels.
    signals : mapping of str to SignalState
        In the order of the chip.
    opening : StretchState or None
        Both sides from cycle 0 on; None where the first difference lies behind.
    around : StretchState or None
        Both sides from before the first difference on; None where there is none.
    agrees_at : int or None, clock cycles
        The latency with which everything would agree, as far as the opening is complete.
    following : frozenset of str
        Outputs that are what the mixer makes of the dump's channels.
    """

    dump: Observation
    signals: Mapping[str, SignalState]
    opening: StretchState | None
    around: StretchState | None
    agrees_at: int | None
    following: frozenset[str]


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """What stands around the first difference of a dump that is not in memory.

    Attributes
    ----------
    observation : Observation
        The levels of all signals up to its end, which is not that of the dump; from cycle 0 on, or from just before
        the first difference where that lies too far from the start.
    sides : (Steps, Steps)
        Model and dump of the signal that differs first.
    bit : (int, bool) or None
        The bit in which they differ alone, all over the dump; see `BitState.found`.
    """

    observation: Observation
    sides: Pair
    bit: tuple[int, bool] | None


class InPieces(NamedTuple):
    """What comparing in pieces found.

    Attributes
    ----------
    comparison : Comparison
    seen : Observation, Scene or None
        What `psgmodel.diagnose.story.tell` needs: the dump, where all of it was kept. None where nothing differs.
    """

    comparison: Comparison
    seen: Observation | Scene | None


def concluded_in_pieces(
    chip: Chip,
    log: RegisterLog | None,
    found: FollowedDump,
    bounds: Bounds,
    options: SpectralOptions,
    *,
    whole: bool,
) -> InPieces:
    """Return the verdict; `log` was given, the other parameters are those of `compare_in_pieces`."""
    dump = found.dump
    if found.around is not None and found.opening is not None and not found.opening.full:
        seen = replace(dump, signals=tuple(_observed(s, found.opening.pairs()[n][1]) for n, s in found.signals.items()))
        return InPieces(compare_whole(chip, chip, seen, log, "exact", 0, whole, options), seen)
    notes = [str(note) for note in dump.notes]
    followed = followed_log(chip, dump, log, notes)
    assert followed is not None  # or nothing could have been followed
    note_past_log(dump, followed, notes)
    signals = []
    for name, state in found.signals.items():
        exact = state.concluded(chip, followed, dump, follows=name in found.following and state.at is not None)
        spectral = _spectral(chip, followed, found, exact, bounds, options)
        signals.append(SignalResult(name, exact.kind.value, exact.path, "exact", exact, spectral))
    verdict = concluded(chip, dump, tuple(signals), log, followed, dump.end, notes, judge="exact", whole=whole)
    if found.around is None or verdict.first is None:
        return InPieces(verdict, None)
    state = found.signals[verdict.first.name]
    assert state.kept is not None
    scene = Scene(_seen(found), state.kept.sides(), state.bits.found())
    begin, end = scene.sides[0].start, scene.sides[0].end
    note = (
        f"the dump is large: all of its cycles were compared, but the kind of the difference was told from cycles "
        f"{begin} to {end} of {verdict.first.name}, and the sound from the cycles named beside it"
    )
    return InPieces(replace(verdict, agrees_at=found.agrees_at, notes=(*verdict.notes, note)), scene)


def _observed(state: SignalState, steps: Steps) -> Observed:
    assert state.result is not None
    return Observed(state.result.name, state.result.kind, state.result.path, steps)


def _seen(found: FollowedDump) -> Observation:
    """Return what the dump says up to a while after the first difference, from its start if that is not too far."""
    assert found.around is not None
    around = found.around.pairs()
    opening = found.opening.pairs() if found.opening is not None else {}
    signals = []
    for name, state in found.signals.items():
        steps = around[name][1]
        if steps.start and opening:
            steps = opening[name][1].cut(0, steps.start).then(steps)
        signals.append(_observed(state, steps))
    return replace(found.dump, signals=tuple(signals), end=found.around.end)


def _spectral(
    chip: Chip, log: RegisterLog, found: FollowedDump, exact: ExactResult, bounds: Bounds, options: SpectralOptions
) -> SpectralPart | None:
    """Compare a signal that differs as audio, over a stretch around its first difference."""
    state = found.signals[exact.name]
    if state.at is None or state.kept is None:
        return None
    _, dump = state.kept.sides()
    second = int(chip.clock_hz)
    since = 0 if state.since is None else state.since.cycle
    begin = max(dump.start, since, state.at - second)
    end = min(dump.end, begin + bounds.audio_seconds * second)
    part = dump.cut(begin, end)
    if part.unknown_mask().all():
        return None
    trace = run(chip, log.with_end(max(end, log.end)), state=state.since, end=end)
    channels = {name: steps.cut(begin, end) for name, steps in trace.channels.items()}
    observed = _observed(state, part)
    pair = level_pair(chip, trace[exact.name], observed, 0, options)
    own = frozenset(n for n, s in found.signals.items() if s.result is not None and s.result.kind is Kind.CHANNEL)
    result = compare_spectra(chip, pair, exact.kind.value, options, log=log, channels=channels, elsewhere=own)
    return SpectralPart.of(result, begin, end)
