"""Every signal of a dump against the model: to the cycle, and as audio.

Stage: compare. In: a trace, an observation, the latency, who judges. Out: one `SignalResult` a signal.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from psgmodel.comparison.exact import ExactResult, aligned, compare_exact
from psgmodel.comparison.options import SpectralOptions
from psgmodel.comparison.remix import remixed
from psgmodel.comparison.sides import AudioPair, level_pair, pin_pair, recording_pair
from psgmodel.comparison.spectral import SpectralResult, compare_spectra
from psgmodel.comparison.streams import first_difference, overlap
from psgmodel.comparison.verdict import Judge, SignalResult
from psgmodel.dump.observe import Kind, Observation, Observed
from psgmodel.engine.trace import Trace
from psgmodel.reglog.log import RegisterLog


@dataclass(frozen=True, slots=True, eq=False)
class Sides:
    """What is compared: the model's trace, the dump, the log both followed (None: not known), and how."""

    trace: Trace
    observation: Observation
    log: RegisterLog | None
    latency: int
    judge: Judge
    options: SpectralOptions

    def levels(self) -> list[Observed]:
        """Return the signals that can be compared to the cycle."""
        return [s for s in self.observation.signals if s.kind is not Kind.PIN]


def compare_signals(sides: Sides) -> tuple[SignalResult, ...]:
    """Compare every signal of the observation, and the recordings of its map."""
    exact = {id(s): _exact(sides, s) for s in sides.levels()}
    found = []
    for s in sides.observation.signals:
        result = exact.get(id(s))
        judged: Judge = "spectrum" if s.kind is Kind.PIN else sides.judge
        settled = judged == "exact" and result is not None and result.agrees  # equal signals sound the same
        pair = None if settled else _pair(sides, s, result)
        spectral = None if pair is None else _spectral(sides, pair, s.kind.value)
        found.append(SignalResult(s.name, s.kind.value, s.path, judged, result, spectral))
    for name, entry in (sides.observation.map.recordings or {}).items():
        pair = recording_pair(sides.trace.chip, name, sides.trace[name], entry, sides.options)
        spectral = _spectral(sides, pair, "recording")
        found.append(SignalResult(name, "recording", entry.file, "spectrum", None, spectral))
    return tuple(found)


def _exact(sides: Sides, observed: Observed) -> ExactResult:
    chip, model = sides.trace.chip, sides.trace[observed.name]
    result = compare_exact(chip, model, observed, sides.observation, log=sides.log, latency=sides.latency)
    if result.divergence is None or observed.kind is not Kind.OUTPUT or sides.log is None:
        return result
    channels = {n: overlap(sides.trace[n], s, sides.latency)[1] for n, s in sides.observation.channels().items()}
    mixed = remixed(chip, sides.log, channels, observed.name)
    if mixed is None:
        return result
    ours, theirs = aligned(mixed, observed, sides.latency)
    return replace(result, follows_channels=first_difference(ours, theirs) is None)


def _pair(sides: Sides, observed: Observed, exact: ExactResult | None) -> AudioPair | None:
    """Return both sides as audio, or None where the dump's side has no known level to begin with."""
    chip, model = sides.trace.chip, sides.trace[observed.name]
    if exact is not None:
        if exact.end <= exact.start or exact.unknown_throughout:
            return None
        return level_pair(chip, model, observed, sides.latency, sides.options)
    mask = observed.steps.unknown_mask()
    if not len(observed.steps) or mask.all():
        return None
    return pin_pair(chip, model, observed, sides.latency, sides.options)


def _spectral(sides: Sides, pair: AudioPair, side: str) -> SpectralResult:
    own = frozenset(s.name for s in sides.observation.signals if s.kind is Kind.CHANNEL)
    return compare_spectra(
        sides.trace.chip,
        pair,
        side,
        sides.options,
        log=sides.log,
        channels=sides.trace.channels,
        elsewhere=own,
    )
