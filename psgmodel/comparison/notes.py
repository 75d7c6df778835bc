"""Notes: the pitch of each, on both sides, in cents.

Stage: compare. In: chip and log (which say when notes start), the model's channels, audio of both sides. Out: a
`NoteResult`. A note begins where a start acts or where the channel's period is written, and ends where the next one
begins, a stop acts, or the model's channel falls silent. Its pitch is measured on the rendered audio of both sides, on
the same samples, over its first `LONGEST_SECONDS`. Notes of less than ten periods are not judged (from there on the
measurement is within one cent). Noise channels have no notes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.frequency import estimate_pitch
from psgmodel.audio.pitch import hertz_to_cents, hertz_to_note
from psgmodel.chip.records import Chip
from psgmodel.comparison.sides import AudioPair
from psgmodel.reglog.bus import register_writes
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps

LONGEST_SECONDS = 2.0
LEAST_PERIODS = 10
_TOGETHER_SECONDS = 0.001
_SHORT_SECONDS = 0.01


class Note(NamedTuple):
    """A note of the log: channel, its number there (from 1), first cycle, and the cycle after its last."""

    channel: str
    number: int
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class NotePitch:
    """One measured note.

    Attributes
    ----------
    note : Note
    seconds : float, seconds
        When it begins.
    model_hz : float, hertz
    dump_hz : float or None, hertz
        None: no pitch on the dump's side.
    cents : float or None, cents
        Dump above model.
    """

    note: Note
    seconds: float
    model_hz: float
    dump_hz: float | None
    cents: float | None

    def __str__(self) -> str:
        n = self.note
        found = "no pitch" if self.cents is None else f"{self.cents:+.2f} cents"
        near = hertz_to_note(self.model_hz).name
        return f"note {n.number} of {n.channel} at {self.seconds:.6f} s ({near}, {self.model_hz:.2f} Hz): {found}"


@dataclass(frozen=True, slots=True)
class NoteResult:
    """The notes of one pair of sides.

    Attributes
    ----------
    notes : tuple of NotePitch
    worst : NotePitch or None
        One without pitch on the dump's side before the largest difference; None where no note was measured.
    left_out : mapping of str to int
        Why how many notes were not measured.
    """

    notes: tuple[NotePitch, ...]
    worst: NotePitch | None
    left_out: Mapping[str, int]


def notes_of(chip: Chip, log: RegisterLog, channel: str, model: Steps) -> list[Note]:
    """Return the notes of a pitched channel, in order; see the module for where they begin and end."""
    if chip.channels[channel].kind == "noise":
        return []
    begins = _boundaries(chip, log, channel)
    together = max(1, int(_TOGETHER_SECONDS * chip.clock_hz))
    last_of_bunch = np.append(np.diff(begins) > together, True)[: begins.size]
    starts = [int(c) for c in begins[last_of_bunch] if model.start <= c < model.end]
    found: list[Note] = []
    for start, end in pairwise([*starts, model.end]):
        part = model.cut(start, end)
        if len(part) < 3:
            continue
        sounding = int(part.cycle[-1]) if _falls_silent(part) else end
        found.append(Note(channel, len(found) + 1, start, sounding))
    return found


def _falls_silent(part: Steps) -> bool:
    """Tell whether the last stretch is longer than any of the waveform before it."""
    lengths = part.durations()
    return bool(lengths[-1] > 2 * lengths[:-1].max())


def _boundaries(chip: Chip, log: RegisterLog, channel: str) -> NDArray[np.int64]:
    """Return the cycles at which starts and stops act and periods change, sorted."""
    latency, delay = chip.bus.write_latency, chip.channels[channel].start_delay
    writes, _ = register_writes(chip, log)
    events = (f"{channel}.start", f"{channel}.stop")
    cycles = [np.zeros(0, dtype=np.int64)]
    for address, register in chip.registers.items():
        here = writes.address == address
        if any(event in register.on_write for event in events):
            cycles.append(writes.cycle[here] + latency + delay)
        for field in register.fields:
            if field.role == "strobes" and field.target in events:
                cycles.append(writes.cycle[here & ((writes.value >> field.low & 1) == 1)] + latency + delay)
            elif field.role == "drives" and field.target.partition("[")[0] == f"{channel}.period":
                cycles.append(writes.cycle[here] + latency)
    return np.unique(np.concatenate(cycles))


def compare_notes(
    chip: Chip, notes: Sequence[Note], pair: AudioPair, others: Mapping[str, Steps] | None = None
) -> NoteResult:
    """Measure notes on both sides.

    Parameters
    ----------
    chip : Chip
    notes : sequence of Note
    pair : AudioPair
        Of the channel itself, or of a mix.
    others : mapping of str to Steps, optional
        The model's channels, where `pair` is a mix: notes that do not sound alone are left out.
    """
    measured: list[NotePitch] = []
    left_out: Counter[str] = Counter()
    for note in notes:
        found = _measured(chip, note, pair, others)
        if isinstance(found, str):
            left_out[found] += 1
        else:
            measured.append(found)
    worst = max(measured, key=lambda n: np.inf if n.cents is None else abs(n.cents), default=None)
    return NoteResult(tuple(measured), worst, dict(left_out))


def _measured(chip: Chip, note: Note, pair: AudioPair, others: Mapping[str, Steps] | None) -> NotePitch | str:
    """Return the pitches of a note, or why it cannot be measured."""
    if others is not None and not _alone(note, others):
        return "sounds together with another channel"
    per_cycle = pair.rate / chip.clock_hz
    first = int((note.start - pair.origin) * per_cycle) - pair.skipped + 1
    last = int((note.end - pair.origin) * per_cycle) - pair.skipped
    last = min(last, first + int(LONGEST_SECONDS * pair.rate), pair.model.size)
    first = max(first, 0)
    if last - first < _SHORT_SECONDS * pair.rate:
        return f"shorter than {_SHORT_SECONDS * 1000:g} ms"
    ours = estimate_pitch(pair.model[first:last], pair.rate)
    if ours is None:
        return "no clear pitch in the model"
    if (last - first) * ours.hertz / pair.rate < LEAST_PERIODS:
        return f"shorter than {LEAST_PERIODS} periods"
    theirs = ours if pair.same else estimate_pitch(pair.dump[first:last], pair.rate)
    seconds = float(note.start / chip.clock_hz)
    if theirs is None:
        return NotePitch(note, seconds, ours.hertz, None, None)
    return NotePitch(note, seconds, ours.hertz, theirs.hertz, hertz_to_cents(theirs.hertz, ours.hertz))


def _alone(note: Note, channels: Mapping[str, Steps]) -> bool:
    return all(len(steps.cut(note.start, note.end)) <= 1 for name, steps in channels.items() if name != note.channel)
