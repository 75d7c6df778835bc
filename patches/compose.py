"""Writes the register logs of the marble-race scoreboard: jingle, field walk and the tiny one.

Run from any folder: ``python patches/compose.py``. Uses nothing but the register table of linnet.md, so that the
logs do not depend on the code that they try out. The same script gives the same bytes.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

HERE = Path(__file__).parent
CLOCK_HZ = 6_144_000
BUS_GAP = 16  # cycles between two writes: a small processor's pace
BASE = {"a": 0x08, "b": 0x10, "w": 0x18, "n": 0x20}
STEP_CYCLES = {"a": 16 * 2, "b": 16 * 2, "w": 64}  # cycles of one wave per unit of (period + 1)
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


class Score:
    """Collects writes; the bus takes one at a time."""

    def __init__(self, title: str) -> None:
        self.title = title
        self.rows: list[tuple[int, int, int]] = []

    def write(self, cycle: int, address: int, value: int) -> None:
        """Note a write; it is made at this cycle, or as soon after as the bus is free."""
        self.rows.append((cycle, address, value))

    def save(self, name: str, end: int) -> None:
        """Write the log beside this script."""
        rows = sorted(self.rows, key=lambda row: row[0])
        free = 0
        with open(HERE / name, "w", newline="") as stream:
            stream.write(f"# {self.title}\n")
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(["cycle", "address", "value"])
            for cycle, address, value in rows:
                free = max(cycle, free)
                writer.writerow([free, f"0x{address:02X}", f"0x{value:02X}"])
                free += BUS_GAP
            writer.writerow([end, "", ""])
        assert free <= end


def period_of(channel: str, note: str) -> int:
    """Return the period nearest to a note such as "A4" (equal temperament, A4 = 440 Hz)."""
    number = SEMITONES[note[0]] + (note[1] == "#") + 12 * (int(note[-1]) + 1)
    hertz = 440 * 2 ** ((number - 69) / 12)
    return round(CLOCK_HZ / (STEP_CYCLES[channel] * hertz)) - 1


def play(
    score: Score,
    at: int,
    channel: str,
    note: str,
    volume: int,
    *,
    pattern: int = 0,
    fade: int = 0,
    louder: bool = False,
    length: int = 0,
    bend: int | None = None,
) -> None:
    """Set up a note and start it."""
    base = BASE[channel]
    period = period_of(channel, note)
    score.write(at, base, period & 0xFF)
    score.write(at, base + 1, period >> 8 | pattern << 4)
    voice(score, at, channel, volume, fade, louder, length)
    if channel == "a":
        score.write(at, base + 5, bend or 0)
    score.write(at, base + 6, 1)


def hit(
    score: Score, at: int, divisor: int, shift: int, volume: int, fade: int, length: int, short: bool = False
) -> None:
    """Set up a noise and start it."""
    score.write(at, BASE["n"], divisor << 4 | shift)
    score.write(at, BASE["n"] + 1, int(short))
    voice(score, at, "n", volume, fade, False, length)
    score.write(at, BASE["n"] + 6, 1)


def voice(score: Score, at: int, channel: str, volume: int, fade: int, louder: bool, length: int) -> None:
    """Set volume, length and envelope."""
    base = BASE[channel]
    score.write(at, base + 2, volume | (length >> 8) << 6 | (0x80 if length else 0))
    score.write(at, base + 3, length & 0xFF)
    score.write(at, base + 4, fade | (0x80 if louder else 0))


def load_wave(score: Score, at: int, samples: list[int]) -> None:
    """Fill the wave memory."""
    for index, sample in enumerate(samples):
        score.write(at, 0x40 + index, sample)


def notes(text: str) -> list[str]:
    """Return the notes of a text, "-" for a rest."""
    return text.split()


def mellow(odd: float) -> list[int]:
    """Return 64 samples of a sine with a little third harmonic."""
    turn = [2 * math.pi * (k + 0.5) / 64 for k in range(64)]
    shape = [math.sin(t) + odd * math.sin(3 * t) for t in turn]
    peak = max(map(abs, shape))
    return [round(31.5 + 31 * s / peak) for s in shape]


def jingle() -> None:
    """Ten seconds for the winner: the marble rolls, a tune, the finish bell."""
    score = Score("Jingle for the winner of a marble race, for Linnet at 6.144 MHz")
    eighth = CLOCK_HZ * 60 // 152 // 2
    load_wave(score, 100, mellow(0.25))
    score.write(3000, 0x00, 0b11_11_10_01)  # A left, B right, wave and noise in the middle
    score.write(3100, 0x01, 0x00)
    # The marble drops onto the rail: a falling sweep and a rattle that slows down.
    play(score, 20_000, "a", "C7", 26, pattern=1, fade=3, length=90, bend=2 << 4 | 4)
    for knock in range(9):
        at = 300_000 + eighth * knock // 4 + knock * knock * 12_000
        hit(score, at, 2 + knock // 3, 5, 24 - 2 * knock, 1, 12, short=knock % 2 == 1)
    tune = notes(
        "E5 G5 C6 G5 E5 G5 C6 -  A5 C6 E6 C6 A5 E5 A5 -  F5 A5 C6 A5 F5 C6 A5 F5 "
        "G5 B5 D6 B5 G5 A5 B5 D6 E6 -  C6 -  G5 E5 G5 B5 C6 -  -  -"
    )
    chords = [
        ("C4", "E4", "G4"),
        ("A3", "C4", "E4"),
        ("F3", "A3", "C4"),
        ("G3", "B3", "D4"),
        ("C4", "E4", "G4"),
        ("C4", "G4", "C5"),
    ]
    basses = ["C2", "A2", "F2", "G2", "C3", "C2"]
    begin = 8 * eighth
    for step, note in enumerate(tune):
        at, bar, beat = begin + step * eighth, step // 8, step % 8
        if note != "-":
            last = step == len(tune) - 4
            play(score, at, "a", note, 27, pattern=2, fade=9 if last else 3, length=420 if last else 70)
        if step < 40 or beat < 2:
            play(score, at + 900, "b", chords[bar][beat % 3], 16, pattern=1 if bar % 2 else 3, fade=2, length=50)
        if beat in (0, 3, 4, 6) and step < 40:
            play(score, at + 1800, "w", basses[bar], 30, fade=4, length=100)
        if beat % 4 == 2:
            hit(score, at + 2700, 3, 4, 22, 1, 30)
        elif beat % 2 == 0:
            hit(score, at + 2700, 7, 7, 25, 1, 14)
        else:
            hit(score, at + 2700, 0, 3, 9, 1, 8, short=beat == 7)
        if beat == 7 and step < 40:  # a new wave for every bar, while the bass sounds
            load_wave(score, at + 40_000, mellow(0.05 + 0.1 * bar))
    final = begin + 40 * eighth
    play(score, final + 2000, "w", "C3", 31, fade=10, length=300)
    play(score, final + 2 * eighth, "b", "G5", 12, pattern=2, fade=4, louder=True, length=130)
    # The bell: a rising sweep that runs over the top and stops by itself, and the crowd.
    play(score, final + 5 * eighth, "a", "C5", 20, pattern=0, fade=5, length=0, bend=3 << 4 | 3)
    hit(score, final + 5 * eighth + 2000, 1, 3, 2, 2, 200)
    score.write(final + 5 * eighth + 3000, 0x24, 0x83)  # the crowd grows louder
    score.write(final + 6 * eighth, 0x01, 0x11)
    score.write(final + 7 * eighth, 0x01, 0x22)
    score.write(final + 8 * eighth, 0x01, 0x33)
    score.write(final + 9 * eighth, 0x26, 2)
    score.save("jingle.csv", final + 10 * eighth)


FIELDS = {
    "a": {
        0: [0xFF],
        1: [0x0F, 0x30],
        2: [0x1F, 0x40, 0x80],
        3: [0xFF],
        4: [0x0F, 0x80],
        5: [0x07, 0x08, 0xF0],
        6: [1, 2],
    },
    "b": {0: [0xFF], 1: [0x0F, 0x30], 2: [0x1F, 0x40, 0x80], 3: [0xFF], 4: [0x0F, 0x80], 6: [1, 2]},
    "w": {0: [0xFF], 1: [0x0F], 2: [0x1F, 0x40, 0x80], 3: [0xFF], 4: [0x0F, 0x80], 6: [1, 2]},
    "n": {0: [0x0F, 0x70], 1: [0x01], 2: [0x1F, 0x40, 0x80], 3: [0xFF], 4: [0x0F, 0x80], 6: [1, 2]},
}
RESTING = {
    "a": [0x40, 0x10, 0x9F, 0x20, 0x03, 0x12],
    "b": [0x30, 0x20, 0x9E, 0x30, 0x04],
    "w": [0x20, 0, 0x9F, 0x28, 0x05],
    "n": [0x12, 0, 0x9D, 0x18, 0x02],
}


def walk() -> None:
    """Every field through none, each single bit and all ones, its channel sounding before and after."""
    score = Score("Every field of Linnet through 0, each single bit and all ones, with the channel sounding")
    at = 200
    load_wave(score, at, [(k * 11 + k * k) % 64 for k in range(64)])
    at += 70 * BUS_GAP
    for channel, offsets in FIELDS.items():
        base = BASE[channel]
        for offset, masks in offsets.items():
            for mask in masks:
                bits = [1 << k for k in range(8) if mask >> k & 1]
                for part in dict.fromkeys([0, *bits, mask]):
                    for other, value in enumerate(RESTING[channel]):
                        score.write(at, base + other, value)
                    score.write(at, base + 6, 1)
                    kept = RESTING[channel][offset] & ~mask if offset < 6 else 0
                    score.write(at + 9000, base + offset, kept | part)
                    score.write(at + 9100, base + 6, 1)
                    at += 24_007
    for address, masks in {0x00: [1 << k for k in range(8)], 0x01: [1, 2, 3, 0x10, 0x20, 0x30]}.items():
        for mask in masks:
            for channel in BASE:
                score.write(at, BASE[channel] + 6, 1)
            score.write(at + 3000, address, mask if address else 0xFF ^ mask)
            at += 12_011
        score.write(at, address, 0xFF if address == 0 else 0)
    for index in range(64):
        score.write(at, 0x40 + index, 63 - index)
        at += 555
    score.save("walk.csv", at + 60_000)


def tiny() -> None:
    """One note on A with a fading envelope, cut off by its timer."""
    score = Score("One note: A4 on channel A, four ticks long")
    score.write(10, 0x00, 0xFF)
    play(score, 40, "a", "A4", 31, pattern=2, fade=1, length=4)
    score.save("tiny.csv", 100_000)


if __name__ == "__main__":
    jingle()
    walk()
    tiny()
