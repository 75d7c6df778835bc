"""Values: every class of value of every field of a channel, heard.

Stage: coverage. In: a channel's `Reach`. Out: behaviours, written into a `Chapter`. The classes of a field are 0, each
single bit, all ones and any other; of a field that chooses from a list, and of narrow ones, each value. A value is
heard where what it governs is heard to happen by it: a whole step of that length, a whole pattern, a note of that
length.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from psgmodel.coverage.bins import Chapter
from psgmodel.coverage.columns import Ints, Mask, mask
from psgmodel.coverage.moments import Moments
from psgmodel.coverage.reach import Reach, first_of

MOST_VALUES = 64
"""Values of a field that has a bin for each."""


def classes(bits: int, *, each: bool) -> list[int]:
    """Return the values that have a bin of their own."""
    if each and 1 << bits <= MOST_VALUES:
        return list(range(1 << bits))
    return list(dict.fromkeys([0, *(1 << b for b in range(bits)), (1 << bits) - 1]))


def values(c: Chapter, r: Reach) -> None:
    """Write down the values of a channel's fields."""
    channel = r.channel
    places = r.positions()
    running = channel.step.stopped if hasattr(channel.step, "stopped") else ()
    for field in ("period", "divisor", "shift"):
        for value in _of(r, field, each=field != "period"):
            if field == "shift" and value in running:
                _value(c, r, field, value, lambda m, v=value: m.sounds & (m.stands("shift") == v))
                continue
            _value(c, r, field, value, lambda m, f=field, v=value: _stepped(m, m.stands(f), v, 2))
    for value in _of(r, "pattern", each=True):
        _value(
            c,
            r,
            "pattern",
            value,
            lambda m, v=value: _stepped(m, m.stands("pattern"), v, places),
        )
    _volumes(c, r, places)
    _lengths(c, r)
    for block, column in (("envelope", "fade_due"), ("sweep", "glide_due")):
        for value in _of(r, f"{block}.period", each=True):
            if value:  # period 0 has a bin of its own
                _value(
                    c,
                    r,
                    f"{block}.period",
                    value,
                    lambda m, b=block, k=column, v=value: (
                        m.plays_on & getattr(m, k) & (_load(m, b) == v) & _tells(m, b) & m.heard
                    ),
                    first_of(r.stands_still(block), r.counts_unheard(block)),
                )
    _shifts(c, r)


def _of(r: Reach, field: str, *, each: bool) -> list[int]:
    """Return the values of a field that have bins; none where the channel has no such field."""
    return classes(r.fields[field].bits, each=each) if field in r.fields else []


def _value(c: Chapter, r: Reach, field: str, value: int, seen: Callable[..., Mask], no: str = "") -> None:
    c.add(f"{field}={value}", f"{field} {value} heard", seen, r.not_held(field, value), no, by=field)


def _stepped(m: Moments, value: Ints, wanted: int, steps: int) -> Mask:
    """A value stands in a sounding channel for some steps of the waveform."""
    return m.total(m.steps_made, value, m.sounds & (value == wanted)) >= steps


def _runs(m: Moments, level: int) -> Ints:
    """Steps of the waveform in a row at a level."""
    return m.total(m.steps_made, m.volume(True), m.sounds & (m.volume(True) == level))


def _volumes(c: Chapter, r: Reach, places: int) -> None:
    """Write down each volume: as it sounds, and as a start loads it."""
    channel = r.channel
    steps = places if r.driven("volume") else 0
    shifted = channel.table is not None and channel.table.volume == "shift"
    for value in _of(r, "volume", each=True):
        loud = shifted or (channel.volume_table[value] if channel.volume_table else value)
        no = r.not_held("volume", value) if channel.envelope is None else r.no_level(value)
        c.add(
            f"level={value}",
            f"level {value} heard" if loud else f"level {value} reached, which is silence",
            (lambda m, v=value: m.sounds & (m.volume(True) == v) & (_runs(m, v) >= steps))
            if loud
            else (lambda m, v=value: m.is_active & m.routed & (m.volume(True) == v) & (m.steps_made > 0)),
            no,
            by="volume",
        )
    for value in _of(r, "volume", each=False) if channel.envelope is not None else ():
        c.add(
            f"volume={value}",
            f"volume {value} loaded by a start",
            lambda m, v=value: m.starts & (m.seen("volume") == v) & (m.level_after == v) & m.is_active & m.routed,
            r.no_start,
            r.not_held("volume", value),
            by="volume start",
        )


def _lengths(c: Chapter, r: Reach) -> None:
    """Each length of a note, to its end."""
    timer = r.channel.timer
    if timer is None:
        return
    ends = r.no_timed_end()
    longest = (1 << timer.bits) - 1 if timer.loads == "field" and timer.bits > 1 else -1
    for value in _of(r, "timer.length", each=False):
        if value == longest:  # 0 is longer by a tick, and each bit has a length of its own
            continue
        _value(c, r, "timer.length", value, lambda m, v=value: m.is_("ran_out") & m.sounded & (_length(m) == v), ends)


def _length(m: Moments) -> Ints:
    """The length of the running note: what the last start that loaded the timer saw."""
    return m.of_note(m.seen("timer.length"))


def _tells(m: Moments, block: str) -> Mask:
    """A step of the sweep changes the period, or runs over; a step of the envelope tells in any case."""
    if block == "envelope":
        return np.ones(m.edge.shape, np.bool_)
    return mask(m.overflow_due | ((m.swept >= 0) & (m.swept != m.swept_from)))


def _load(m: Moments, block: str) -> Ints:
    """The period that the counter of envelope or sweep was loaded with: by the last start, or the last step."""
    due = m.fade_due if block == "envelope" else m.glide_due
    options = m.channel.envelope if block == "envelope" else m.channel.sweep
    assert options is not None
    at_tick = m.at_tick(f"{block}.period", options.write_and_tick)
    loaded = np.where(m.starts, m.seen(f"{block}.period"), at_tick)
    return m.last_loaded(m.starts | (due & m.plays_on), loaded)


def _shifts(c: Chapter, r: Reach) -> None:
    """Each shift of the sweep, both ways."""
    if r.channel.sweep is None:
        return
    still = r.stands_still("sweep")
    for falling, way in ((0, "rising"), (1, "falling")):
        for value in _of(r, "sweep.shift", each=True):
            c.add(
                f"sweep.{way}-shift={value}",
                f"a {way} sweep step with shift {value} changes the period",
                lambda m, d=falling, v=value: (
                    m.plays_on
                    & (m.swept >= 0)
                    & (m.swept != m.swept_from)
                    & (m.old("sweep.falling") == d)
                    & (m.old("sweep.shift") == v)
                    & m.heard
                ),
                still,
                r.not_held("sweep.shift", value),
                r.not_held("sweep.falling", falling),
                r.no_change(falling, value),
                by="sweep.shift sweep",
            )
