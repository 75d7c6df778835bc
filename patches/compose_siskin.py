"""Writes the register logs of the big scoreboard's Siskin: a fanfare, and a walk through every field.

Run from any folder: ``python patches/compose_siskin.py``. Uses nothing but the register table of siskin.md. The same
script gives the same bytes.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

HERE = Path(__file__).parent
CLOCK_HZ = 12_000_000
BUS_GAP = 8  # cycles between two writes to a port
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
P, Q, U, V, X, Y = 0x10, 0x18, 0x20, 0x28, 0x30, 0x38
CONTROL, BEAT, ROUTE, U_MEMORY, V_MEMORY = 0x00, 0x01, 0x02, 0x40, 0x50
LEVEL, TIME, SLIDE, KEY = 1, 2, 3, 4
ENABLE = 0x100


class Score:
    """Collects register writes; each is an index and a datum on the bus."""

    def __init__(self, title: str) -> None:
        self.title = title
        self.rows: list[tuple[int, int, int]] = []

    def write(self, cycle: int, index: int, value: int) -> None:
        """Note a register write."""
        self.rows.append((cycle, index, value))

    def save(self, name: str, end: int) -> None:
        """Write the log, one bus write after another."""
        free, pointer = 0, 0
        with open(HERE / name, "w", newline="") as stream:
            stream.write(f"# {self.title}\n")
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(["cycle", "address", "value"])
            for cycle, index, value in sorted(self.rows, key=lambda row: row[0]):
                free = max(cycle, free)
                if index != pointer:  # the index port counts on by itself
                    writer.writerow([free, "0x00", f"0x{index:04X}"])
                    free += BUS_GAP
                writer.writerow([free, "0x01", f"0x{value:04X}"])
                free += BUS_GAP
                pointer = (index + 1) % 128
            writer.writerow([end, "", ""])
        assert free <= end


def hertz_of(note: str) -> float:
    """Return the frequency of a note such as "A4" (equal temperament, A4 = 440 Hz)."""
    return float(440 * 2 ** ((SEMITONES[note[0]] + (note[1] == "#") + 12 * (int(note[-1]) + 1) - 69) / 12))


def square(score: Score, at: int, base: int, note: str, volume: int, pattern: int, fade: int, length: int) -> None:
    """Set up a note on P or Q and start it."""
    period = 1024 - round(CLOCK_HZ / (12 * 3 * 4 * hertz_of(note)))
    score.write(at, base, pattern << 10 | period)
    score.write(at, base + LEVEL, fade << 6 | volume)
    score.write(at, base + TIME, ENABLE | length)
    score.write(at, base + KEY, 1)


def wave_period(note: str) -> int:
    """Return the period of U and V that is nearest to a note."""
    return round(CLOCK_HZ / (32 * 2 * hertz_of(note))) - 1


def load(score: Score, at: int, memory: int, samples: list[int], low_first: bool) -> None:
    """Fill a wave memory, two samples to an index."""
    for pair in range(16):
        one, two = samples[2 * pair : 2 * pair + 2]
        score.write(at + 2 * BUS_GAP * pair, memory + pair, two << 8 | one if low_first else one << 8 | two)


def fanfare() -> None:
    """Six seconds: the race is on."""
    score = Score("Fanfare of the big scoreboard, for Siskin at 12 MHz")
    beat = CLOCK_HZ * 60 // 132 // 2
    turn = [2 * math.pi * (k + 0.5) / 32 for k in range(32)]
    load(score, 100, U_MEMORY, [round(127.5 + 110 * math.sin(t)) for t in turn], low_first=True)
    load(score, 1000, V_MEMORY, [round(128 + 70 * math.sin(t) + 40 * math.sin(2 * t)) for t in turn], low_first=False)
    score.write(3000, BEAT, 0)
    tune = "C5 C5 G5 - E5 - C5 - F5 F5 A5 - G5 - E5 - D5 E5 F5 D5 C5 - - -"
    bass = "C3 - - G2 C3 - G2 - F2 - - C3 F2 - C3 - G2 - G2 - C3 - C2 -"
    for step, (high, low) in enumerate(zip(tune.split(), bass.split(), strict=True)):
        at = 60_000 + step * beat
        if high != "-":
            square(score, at, P, high, 58, 1, 2, 90)
            square(score, at + 500, Q, high[0] + str(int(high[1]) - 1), 52, 0, 3, 70)
            score.write(at + beat // 2, P + LEVEL, 2 << 6 | 46)  # softer at once, in the middle of the note
        if low != "-":
            score.write(at + 900, U, wave_period(low))
            score.write(at + 900, U + LEVEL, 4 << 6 | 60)
            score.write(at + 900, U + TIME, ENABLE | 80)
            score.write(at + 900, U + KEY, 1)
        if step % 8 == 4:
            score.write(at + 1300, V + TIME, ENABLE | 60)
            score.write(at + 1300, V, 1 << 15 | 5 << 12 | wave_period("G4"))
        if step % 2 == 0:
            score.write(at + 1700, X, 0x40 | step % 4)
            score.write(at + 1700, X + LEVEL, 1 << 6 | 55)
            score.write(at + 1700, X + TIME, ENABLE | 30)
            score.write(at + 1700, X + KEY, 1)
        if step % 4 == 3:
            score.write(at + 2100, Y + TIME, ENABLE | 20)
            score.write(at + 2100, Y, 48 << 8 | 4 + step % 4)
        if step == 12:
            load(score, at + 40_000, U_MEMORY, [16 * (k % 16) for k in range(32)], low_first=True)
    end = 60_000 + 24 * beat
    # A rising sweep that runs over the top, a falling one that turns and so stops, and the power bit.
    square(score, end, P, "C5", 55, 2, 5, 200)
    score.write(end - 100, P + SLIDE, 2 << 3 | 4)
    square(score, end + 900, Q, "C4", 55, 0, 6, 200)
    score.write(end + 800, Q + SLIDE, 1 << 6 | 1 << 3 | 5)
    score.write(end + beat, Q + SLIDE, 1 << 3 | 5)
    score.write(end + beat + 5000, CONTROL, 0x11)
    score.write(end + 2 * beat, CONTROL, 0)
    score.write(end + 2 * beat + 1000, P + KEY, 1)
    score.save("siskin-fanfare.csv", end + 2 * beat + 200_000)


SHAPE = (0x003F, 0x01C0, 0x0200)
SPAN = (0x00FF, 0x0100)
SQUARE = {0: (0x03FF, 0x0C00), LEVEL: SHAPE, TIME: SPAN, SLIDE: (0x07, 0x38, 0x40), KEY: (3,)}
MASKS = {
    CONTROL: (0x0001, 0x0030), ROUTE: (0x003F,),
    **{P + offset: masks for offset, masks in SQUARE.items()},
    **{Q + offset: masks for offset, masks in SQUARE.items()},
    U: (0x0FFF,), U + LEVEL: SHAPE, U + TIME: SPAN, U + KEY: (3,),
    V: (0x0FFF, 0x7000, 0x8000), V + TIME: SPAN, V + KEY: (2,),
    X: (0x03, 0x70), X + LEVEL: SHAPE, X + TIME: SPAN, X + KEY: (3,),
    Y: (0x07, 0x3F00), Y + TIME: SPAN, Y + KEY: (1,),
}  # fmt: skip
RESTING = {
    CONTROL: 1, ROUTE: 0x3F,
    P: 0x07C0, P + LEVEL: 0x7E, P + TIME: ENABLE | 250, P + SLIDE: 0x0C,
    Q: 0x0380, Q + LEVEL: 0x7D, Q + TIME: ENABLE | 250, Q + SLIDE: 0x4A,
    U: 0x30, U + LEVEL: 0x7F, U + TIME: ENABLE | 240, V: 0x6040, V + TIME: ENABLE | 240,
    X: 0x11, X + LEVEL: 0x7C, X + TIME: ENABLE | 245, Y: 0x2A01, Y + TIME: ENABLE | 245,
}  # fmt: skip


def walk() -> None:
    """Every field through none, each single bit and all ones, with all channels sounding."""
    score = Score("Every field of Siskin through 0, each single bit and all ones, with the channels sounding")
    at = 200
    load(score, at, U_MEMORY, [(k * 37 + k * k) % 256 for k in range(32)], low_first=True)
    load(score, at + 600, V_MEMORY, [(k * 91 + 7) % 256 for k in range(32)], low_first=False)
    at = 2000
    for index, masks in MASKS.items():
        for mask in masks:
            for part in dict.fromkeys([0, *(1 << k for k in range(16) if mask >> k & 1), mask]):
                for other, value in RESTING.items():
                    score.write(at, other, value)
                for base in (P, Q, U, X):
                    score.write(at + 400, base + KEY, 1)
                score.write(at + 700, V, 0x8000 | RESTING[V])
                score.write(at + 5000, index, RESTING.get(index, 0) & ~mask | part)
                score.write(at + 6000, U_MEMORY + part % 16, 0x3C5A)
                at += 21_001
    score.write(at, BEAT, 0)
    score.save("siskin-walk.csv", at + 100_000)


if __name__ == "__main__":
    fanfare()
    walk()
