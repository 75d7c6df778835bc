"""Spectral comparison of one signal: third-octave bands, short-time spectra, notes.

Stage: compare. In: an `AudioPair`, chip and log, limits. Out: a `SpectralResult` that names the worst band, moment
and note.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

from psgmodel.chip.records import Chip
from psgmodel.comparison.bands import BandResult, compare_bands
from psgmodel.comparison.moments import MomentResult, compare_moments
from psgmodel.comparison.notes import NoteResult, compare_notes, notes_of
from psgmodel.comparison.options import SpectralOptions
from psgmodel.comparison.sides import AudioPair
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps

LEAST_SAMPLES = 256
"""Fewer samples than this make no spectrum (5.3 ms at 48 kHz)."""


@dataclass(frozen=True, slots=True)
class SpectralResult:
    """One signal, compared as audio.

    Attributes
    ----------
    name : str
        Channel or output of the chip.
    side : str
        What the dump's side was: "channel level", "output code", "one-bit pin" or "recording".
    nothing : str
        Why nothing was compared; empty where something was.
    model_silent, dump_silent : bool
    seconds : float, seconds
        How much was compared.
    rate : int, hertz
    delay_seconds : float, seconds
        Taken out of the dump's side, beyond the latency in cycles.
    gain_db : float or None, dB
        Taken out of the dump's side; None where the gain is known.
    inverted : bool
    options : SpectralOptions
    bands : BandResult or None
    moments : MomentResult or None
    notes : NoteResult or None
        None where the log is not known.
    """

    name: str
    side: str
    nothing: str
    model_silent: bool
    dump_silent: bool
    seconds: float
    rate: int
    delay_seconds: float
    gain_db: float | None
    inverted: bool
    options: SpectralOptions
    bands: BandResult | None = None
    moments: MomentResult | None = None
    notes: NoteResult | None = None

    @property
    def where(self) -> str:
        """What was compared, in words; empty for the whole."""
        return ""

    @property
    def agrees(self) -> bool:
        """Whether something was compared and everything is within its limit."""
        return not self.nothing and not self.reasons()

    def reasons(self) -> tuple[str, ...]:
        """Return what is beyond its limit, a sentence each, or why nothing was compared."""
        if self.nothing:
            return (f"{self.name}: {self.nothing}",)
        limits = self.options
        told = []
        bands = self.bands
        if bands is not None and abs(bands.worst_db) > limits.band_limit_db + bands.worst_allowance_db:
            chance = f" and {bands.worst_allowance_db:.2f} dB of chance" if bands.worst_allowance_db >= 0.005 else ""
            told.append(
                f"{self.name}: the band at {bands.worst_hz:g} Hz is {bands.worst_db:+.2f} dB off "
                f"(limit {limits.band_limit_db:g} dB{chance})"
            )
        worst = self.moments.worst if self.moments is not None else None
        if worst is not None and worst.distance_db > limits.moment_limit_db:
            told.append(
                f"{self.name}: the spectrum at {worst.seconds:.6f} s is {worst.distance_db:.2f} dB off "
                f"(limit {limits.moment_limit_db:g} dB)"
            )
        note = self.notes.worst if self.notes is not None else None
        if note is not None and (note.cents is None or abs(note.cents) > limits.note_limit_cents):
            told.append(f"{self.name}: {note} (limit {limits.note_limit_cents:g} cents)")
        return tuple(told)

    def summary(self) -> tuple[str, ...]:
        """Return the worst band, moment and note, a sentence each, within their limits or not."""
        told = []
        if self.bands is not None and self.bands.worst_hz is not None:
            told.append(f"worst band: {self.bands.worst_hz:g} Hz, {self.bands.worst_db:+.2f} dB")
        if self.moments is not None and self.moments.worst is not None:
            worst = self.moments.worst
            told.append(f"worst moment: {worst.seconds:.6f} s, {worst.distance_db:.2f} dB")
        if self.notes is not None and self.notes.worst is not None:
            told.append(f"worst note: {self.notes.worst}")
        return tuple(told)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpectralPart(SpectralResult):
    """A part of one signal, compared as audio, where the dump is too large for the whole.

    Attributes
    ----------
    start, end : int, clock cycles
    """

    start: int
    end: int

    @property
    def where(self) -> str:
        """What was compared, in words."""
        return f"cycles {self.start} to {self.end}"

    @classmethod
    def of(cls, result: SpectralResult, start: int, end: int) -> SpectralPart:
        """Return a result that is of a part."""
        values = {f.name: getattr(result, f.name) for f in fields(result)}
        return cls(**values, start=start, end=end)


def compare_spectra(
    chip: Chip,
    pair: AudioPair,
    side: str,
    options: SpectralOptions,
    *,
    log: RegisterLog | None = None,
    channels: Mapping[str, Steps] | None = None,
    elsewhere: frozenset[str] = frozenset(),
) -> SpectralResult:
    """Compare one signal as audio.

    Parameters
    ----------
    chip : Chip
    pair : AudioPair
    side : str
        What the dump's side was.
    options : SpectralOptions
    log : RegisterLog, optional
        With `channels`, says where notes are.
    channels : mapping of str to Steps, optional
        The model's channels.
    elsewhere : frozenset of str
        Channels whose notes are measured on a signal of their own.

    Returns
    -------
    SpectralResult
    """
    silent = pair.silent_sides()
    seconds = pair.model.size / pair.rate
    facts = (*silent, seconds, pair.rate, pair.delay_seconds, pair.gain_db, pair.inverted, options)
    if pair.model.size < LEAST_SAMPLES:
        nothing = f"{pair.model.size} samples are too few for a spectrum, {LEAST_SAMPLES} are needed"
        return SpectralResult(pair.name, side, nothing, *facts)
    if True in silent:
        which = "both sides are" if all(silent) else "the model's side is" if silent[0] else "the dump's side is"
        return SpectralResult(pair.name, side, f"{which} silent", *facts)
    notes = None
    if log is not None and channels is not None:
        notes = _notes(chip, pair, log, channels, elsewhere)
    moments = compare_moments(pair, chip.clock_hz, options)
    return SpectralResult(pair.name, side, "", *facts, compare_bands(pair, options), moments, notes)


def _notes(
    chip: Chip, pair: AudioPair, log: RegisterLog, channels: Mapping[str, Steps], elsewhere: frozenset[str]
) -> NoteResult:
    if pair.name in channels:
        return compare_notes(chip, notes_of(chip, log, pair.name, channels[pair.name]), pair)
    wanted = [n for n in channels if n not in elsewhere]
    notes = [note for n in wanted for note in notes_of(chip, log, n, channels[n])]
    return compare_notes(chip, sorted(notes, key=lambda n: (n.start, n.channel)), pair, channels)
