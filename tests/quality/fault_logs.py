"""Logs that provoke: notes on Linnet whose writes meet ticks, starts and expiries.

Stage: tests. In: a seed and a length. Out: a register log with one write a cycle. Written from patches/linnet.md: ticks
and registers stand in its sections 3 and 4. The log plays all four channels at once, with short periods and notes of a
few ticks, so that within a second everything happens that a page of that specification is about.
"""

from __future__ import annotations

from functools import cache
from random import Random

from psgmodel.chip import load_chip
from psgmodel.reglog import RegisterLog, make_log
from psgmodel.stimulus import closing_logs, random_log

TICKS = {"timing": (20_479, 20_480), "shaping": (9_999, 32_768), "bending": (30_000, 51_200)}
BLOCKS = {"a": (0x08, 1), "b": (0x10, 1), "wave": (0x18, 3), "noise": (0x20, 1)}
"""First address of a channel, and the delay of its strobes."""
PITCH, TONE, NOTE, LENGTH, SHAPE, BEND, GO = range(7)


class ScoreState:
    """Writes so far, by cycle; a cycle that is taken moves a write on."""

    def __init__(self, rng: Random, cycles: int) -> None:
        self.rng, self.cycles = rng, cycles
        self.writes: dict[int, tuple[int, int]] = {}

    def write(self, cycle: int, address: int, value: int) -> None:
        while cycle in self.writes:
            cycle += 1
        if 0 <= cycle < self.cycles:
            self.writes[cycle] = (address, value)

    def on_tick(self, tick: str, after: int, delay: int) -> int:
        """Return the cycle of a write that acts at the next tick, or one edge beside it."""
        first, every = TICKS[tick]
        turn = max(0, -(-(after + delay - first) // every))
        return first + turn * every - delay + self.rng.choice((0, 0, 0, -1, 1))

    def fields(self, channel: str) -> dict[int, int]:
        """Draw the registers of a note, by offset."""
        rng = self.rng
        period = rng.choice((rng.randrange(60), rng.randrange(60), rng.randrange(1500), rng.randrange(4096)))
        length = rng.choice((1, 1, 2, 2, 3, 4, 0, 256 + rng.randint(1, 3)))
        volume = rng.choice((31, 31, 30, 1, rng.randrange(32), rng.randrange(32)))
        found = {
            NOTE: volume | length >> 8 << 6 | (0x80 if rng.random() < 0.8 else 0),
            LENGTH: length & 0xFF,
            SHAPE: rng.choice((0, 1, 1, 2, 3)) | rng.choice((0, 0x80)),
        }
        if channel == "a":
            found[BEND] = rng.randrange(8) if rng.random() < 0.3 else rng.randrange(3)
            found[BEND] |= rng.choice((0, 0, 8)) | rng.choice((0, 1, 1, 1, 2)) << 4
            period = rng.choice((period, rng.randrange(2, 40), rng.randrange(2000, 4096)))
        if channel == "noise":
            found[PITCH] = rng.choice((rng.randrange(5), rng.randrange(9), rng.randrange(16))) | rng.randrange(8) << 4
            found[PITCH] = rng.choice((found[PITCH], found[PITCH], found[PITCH], 0x0E))
            found[TONE] = rng.choice((0, 0, 1))
        else:
            found[PITCH] = period & 0xFF
            found[TONE] = period >> 8 | (0 if channel == "wave" else rng.randrange(4) << 4)
        return found

    def channel(self, channel: str) -> None:
        """Play one channel to the end."""
        rng, (base, delay) = self.rng, BLOCKS[channel]
        now = rng.randrange(200, 3000)
        while now < self.cycles:
            fields = self.fields(channel)
            offsets = [o for o in fields if rng.random() < 0.85]
            start = now + 40
            if rng.random() < 0.8:
                ticks = ["timing", "timing", "shaping", *(["bending"] * 3 * (channel == "a"))]
                start = self.on_tick(rng.choice(ticks), start, delay)
            for place, offset in enumerate(offsets):
                self.write(start - len(offsets) + place, base + offset, fields[offset])
            self.write(start, base + GO, rng.choice((1, 1, 1, 1, 1, 3)))
            now = start + rng.choice((3_000, 12_000, 25_000, 45_000, 45_000 + 45_000 * (channel in "a noise")))
            for _ in range(rng.randrange(6)):
                self._meddle(channel, start, now)
            if rng.random() < 0.2:
                self.write(rng.randrange(start, now), base + GO, 2)

    def _meddle(self, channel: str, begin: int, end: int) -> None:
        """Write to a note while it sounds."""
        rng, (base, _) = self.rng, BLOCKS[channel]
        fields = self.fields(channel)
        ticks = {NOTE: "timing", LENGTH: "timing", SHAPE: "shaping", BEND: "bending", PITCH: "bending", TONE: "bending"}
        offset = rng.choice([*fields, *[BEND, PITCH] * (channel == "a")])
        cycle = rng.randrange(begin, end)
        if rng.random() < 0.6 and not (channel != "a" and ticks[offset] == "bending"):
            cycle = self.on_tick(ticks[offset], cycle, 0)
        self.write(cycle, base + offset, fields[offset])
        if channel == "wave":
            for _ in range(2):
                self.write(rng.randrange(begin, end), 0x40 + rng.randrange(64), rng.randrange(64))


def provoking_log(seed: int, cycles: int) -> RegisterLog:
    """Return a log that provokes; the same seed and length give the same log."""
    rng = Random(seed)
    score = ScoreState(rng, cycles)
    for index in range(64):
        score.write(2 * index, 0x40 + index, rng.choice((rng.randrange(64), rng.randrange(48, 64))))
    for channel in BLOCKS:
        score.channel(channel)
    for _ in range(cycles // 40_000):
        score.write(rng.randrange(cycles // 8, cycles), 0x01, rng.randrange(4) | rng.randrange(4) << 4)
        score.write(rng.randrange(cycles // 8, cycles), 0x00, 0xFF & ~(1 << rng.randrange(8)))
    rows = sorted(score.writes.items())
    return make_log([c for c, _ in rows], [w[0] for _, w in rows], [w[1] for _, w in rows], end=cycles)


def short_log(unit: str) -> RegisterLog:
    """Return a log of 130 000 cycles in which some faults of a demo chip can be heard already."""
    if unit == "linnet":
        return provoking_log(38, 1_500_000).with_end(130_000)
    return random_log(load_chip("patches/siskin.toml"), 3, length=1_500_000, writes=12_000, spacing=2).with_end(130_000)


@cache
def log_for(unit: str) -> RegisterLog:
    """Return the log that the faults of a demo chip are simulated over: the one of ``psgmodel stimulus --close``."""
    (log,) = closing_logs(load_chip(f"patches/{unit}.toml"))
    return log
