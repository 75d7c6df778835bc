"""Notes: equal temperament between note names, hertz and cents.

Stage: audio. In and out: note names (scientific pitch notation, A4), note numbers (69 is A4, one per semitone, as in
MIDI 1.0), frequencies in hertz, intervals in cents. A4 is 440 Hz (ISO 16:1975); a semitone is a factor of
2 ** (1 / 12), a cent a hundredth of it (H. von Helmholtz, A. J. Ellis, *On the Sensations of Tone*, 1885).
"""

from __future__ import annotations

import math
import re
from typing import NamedTuple

from psgmodel.errors import AudioError

A4_HZ = 440.0
A4_NUMBER = 69

_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SIGNS = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}
_NOTE = re.compile(r"([A-Ga-g])([#♯b♭]?)(-?\d+)")


class NearNote(NamedTuple):
    """A frequency told as the nearest note.

    Attributes
    ----------
    name : str
        Like "A4" or "C#5".
    number : int
    cents : float
        How far the frequency lies above the note, -50 to 50.
    """

    name: str
    number: int
    cents: float

    def __str__(self) -> str:
        return f"{self.name} {self.cents:+.1f} cents"


def note_to_number(name: str) -> int:
    """Return the number of a note name, 69 for "A4" and 60 for "C4". Sharps are ``#``, flats ``b``.

    Raises
    ------
    AudioError
        Not a note name.
    """
    match = _NOTE.fullmatch(name.strip())
    if match is None:
        raise AudioError(f'"{name}" is not a note name', hint="a letter A to G, # or b, and an octave: A4, C#5, Bb3")
    letter, sign, octave = match.groups()
    return _LETTERS[letter.upper()] + _SIGNS[sign] + 12 * (int(octave) + 1)


def number_to_note(number: int) -> str:
    """Return the name of a note number, with sharps; inverse of `note_to_number`."""
    octave, step = divmod(number, 12)
    return f"{_NAMES[step]}{octave - 1}"


def number_to_hertz(number: float) -> float:
    """Return the frequency of a note number, which may lie between notes."""
    return A4_HZ * float(2 ** ((number - A4_NUMBER) / 12))


def hertz_to_number(hertz: float) -> float:
    """Return the note number of a frequency, with its fraction; inverse of `number_to_hertz`.

    Raises
    ------
    AudioError
        The frequency is not above 0.
    """
    return A4_NUMBER + hertz_to_cents(hertz, A4_HZ) / 100


def note_to_hertz(name: str) -> float:
    """Return the frequency of a note name.

    Raises
    ------
    AudioError
        Not a note name.
    """
    return number_to_hertz(note_to_number(name))


def hertz_to_note(hertz: float) -> NearNote:
    """Return the nearest note and how far above it a frequency lies.

    Raises
    ------
    AudioError
        The frequency is not above 0.
    """
    exact = hertz_to_number(hertz)
    number = round(exact)
    return NearNote(number_to_note(number), number, 100 * (exact - number))


def hertz_to_cents(hertz: float, reference_hz: float) -> float:
    """Return how many cents a frequency lies above another.

    Raises
    ------
    AudioError
        One of them is not above 0.
    """
    for value in (hertz, reference_hz):
        if not (math.isfinite(value) and value > 0):
            raise AudioError(f"{value} Hz has no pitch: a frequency above 0 is needed")
    return 1200 * math.log2(hertz / reference_hz)


def cents_to_ratio(cents: float) -> float:
    """Return the frequency ratio of an interval; inverse of `hertz_to_cents`."""
    return float(2 ** (cents / 1200))
