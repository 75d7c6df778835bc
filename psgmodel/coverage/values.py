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
from psgmodel.coverage.columns import Ints, Mask, ints, mask
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
    places = r.played()
    running = channel.step.stopped if hasattr(channel.step, "stopped") else ()
    one = r.once and places < 2  # a note has one step, and the value stands for all of it
    for field in ("period", "divisor", "shift"):
        for value in _of(r, field, each=field != "period"):
            steps = 0 if field == "shift" and value in running else 2
            no = r.no_steps if steps else ""
            brief = not no and (one or r.lasts() < (steps + 1) * r.length_with(field, value) * r.count)
            slow = "" if no or brief or not steps else r.too_long_step(field, value)
            no = first_of(no, slow)
            _value(c, r, field, value, lambda m, f=field, v=value, s=steps, b=brief: _stepped(m, f, s, b) == v, no)
    brief = not r.no_steps and r.lasts() < (places + 1) * r.lengths()[0] * r.count
    for value in _of(r, "pattern", each=True):
        _value(c, r, "pattern", value, lambda m, v=value: _stepped(m, "pattern", places, brief) == v)
    _volumes(c, r, places, brief)
    _lengths(c, r)
    _periods(c, r)
    _shifts(c, r)


def _periods(c: Chapter, r: Reach) -> None:
    """Each period of envelope and sweep but 0, which has a bin of its own."""
    for block, options in (("envelope", r.channel.envelope), ("sweep", r.channel.sweep)):
        for value in _of(r, f"{block}.period", each=True) if options is not None else ():
            no = first_of(r.stands_still(block), r.counts_unheard(block))
            late = options is not None and r.lasts(but=block, moving=True) < (value + 1) * r.apart(options.ticks)
            brief = late and not no
            no = first_of(no, "" if brief else r.too_long_period(block, value))
            if value:
                _value(c, r, f"{block}.period", value, lambda m, b=block, v=value, k=brief: _loads(m, b, k) == v, no)


def _of(r: Reach, field: str, *, each: bool) -> list[int]:
    """Return the values of a field that have bins; none where the channel has no such field."""
    return classes(r.fields[field].bits, each=each) if field in r.fields else []


def _value(c: Chapter, r: Reach, field: str, value: int, seen: Callable[..., Mask], no: str = "") -> None:
    c.add(f"{field}={value}", f"{field} {value} heard", seen, r.not_held(field, value), no, by=field)


def _lasts(m: Moments, before: Ints, after: Ints, was: Mask, is_: Mask) -> Ints:
    """Values that stand from a start, or from where the channel itself goes on to them, until it goes on again."""
    return m.lasted(before, after, was, is_, m.starts | m.goes_on, m.goes_on)


def _stepped(m: Moments, field: str, steps: int, brief: bool) -> Ints:
    """The values of a field that stand in a sounding channel for some steps of the waveform.

    Where notes are too brief for that, those too that stand as long as the channel itself lets them.
    """

    def found() -> Ints:
        value = m.stands(field)
        some = ints(value[m.sounds & (m.total(m.steps_made, value, m.sounds) >= steps)])
        if not brief:
            return some
        return np.append(some, _lasts(m, m.old(field), m.new(field), m.sounded, m.sounds))

    return m.once(("stepped", field, steps, brief), found)


def _sounding(m: Moments, steps: int, brief: bool) -> Ints:
    """The volumes that are heard for some steps of the waveform; where notes are too brief, as long as they last."""

    def found() -> Ints:
        volume = m.volume(True)
        some = ints(volume[m.sounds & (m.total(m.steps_made, volume, m.sounds) >= steps)])
        return np.append(some, _lasts(m, m.volume(False), volume, m.sounded, m.sounds)) if brief else some

    return m.once(("sounding", steps), found)


def _reached(m: Moments, brief: bool) -> Ints:
    """The volumes at which the waveform makes a step, heard or not; where notes are too brief, as long as they last."""

    def found() -> Ints:
        volume, there = m.volume(True), m.is_active & m.routed
        some = volume[there & (m.steps_made > 0)]
        return np.append(some, _lasts(m, m.volume(False), volume, m.was_active, there)) if brief else some

    return m.once("reached", found)


def _loaded(m: Moments) -> Ints:
    """The volumes that starts load."""

    def found() -> Ints:
        volume = m.seen("volume")
        return ints(volume[m.starts & (m.level_after == volume) & m.is_active & m.routed])

    return m.once("loaded", found)


def _volumes(c: Chapter, r: Reach, places: int, brief: bool) -> None:
    """Write down each volume: as it sounds, and as a start loads it."""
    channel = r.channel
    steps = places if r.driven("volume") and not r.no_steps else 0
    for value in _of(r, "volume", each=True):
        loud = channel.is_loud(value)
        no = r.not_held("volume", value) if channel.envelope is None else r.no_level(value)
        c.add(
            f"level={value}",
            f"level {value} heard" if loud else f"level {value} reached, which is silence",
            (lambda m, v=value: _sounding(m, steps, brief) == v)
            if loud
            else (lambda m, v=value: _reached(m, brief) == v),
            no,
            "" if loud else r.no_steps,
            by="volume" if value in r.values("volume") else "volume envelope",
        )
    for value in _of(r, "volume", each=False) if channel.envelope is not None else ():
        c.add(
            f"volume={value}",
            f"volume {value} loaded by a start",
            lambda m, v=value: _loaded(m) == v,
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
    size = 1 << timer.bits
    longest = size - 1 if timer.loads == "field" and timer.bits > 1 else -1
    for value in _of(r, "timer.length", each=False):
        if value == longest:  # 0 is longer by a tick, and each bit has a length of its own
            continue
        ticks = (value or size) if timer.loads == "field" else size - value
        brief = not ends and r.lasts(but="timer", moving=True) < (ticks + 1) * r.apart(timer.ticks)
        no = first_of(ends, "" if brief else r.too_long_note(ticks))
        _value(c, r, "timer.length", value, lambda m, v=value, b=brief: _lasted(m, b) == v, no)


def _lasted(m: Moments, brief: bool) -> Ints:
    """The lengths of the notes that ran out, heard: what the last start that loaded the timer saw. Where notes are
    too brief for that, those too of the notes that ended before."""

    def found() -> Ints:
        ended = m.is_("ran_out")
        ended = ended | (m.ends & (m.old("timer.enable") == 1)) if brief else ended
        return ints(m.of_note(m.seen("timer.length"))[ended & m.sounded])

    return m.once(("lasted", brief), found)


def _tells(m: Moments, block: str) -> Mask:
    """A step of the sweep changes the period, or ends the note; a step of the envelope tells in any case."""
    if block == "envelope":
        return np.ones(m.edge.shape, np.bool_)
    assert m.channel.sweep is not None
    ends = np.bool_(m.channel.sweep.overflow == "stop")
    return mask((m.made(block) & m.unfit(m.moved) & ends) | ((m.swept >= 0) & (m.swept != m.swept_from)))


def _loads(m: Moments, block: str, brief: bool) -> Ints:
    """The periods from which the counter of envelope or sweep came down to a step that tells: those that the last
    start, or the last step, loaded. Where notes are too brief for that, those too with which one ended before."""

    def found() -> Ints:
        made, loaded = m.made(block), np.where(m.starts, m.seen(f"{block}.period"), m.of_block(block, "period"))
        periods = m.last_loaded(m.starts | made, loaded)
        told = made & _tells(m, block) & m.heard
        return ints(periods[told | (m.ends & ~made & m.sounded) if brief else told])

    return m.once(("loads", block, brief), found)


def _shifts(c: Chapter, r: Reach) -> None:
    """Each shift of the sweep, both ways."""
    if r.channel.sweep is None:
        return
    still = r.never_steps("sweep")
    for falling, way in ((0, "rising"), (1, "falling")):
        for value in _of(r, "sweep.shift", each=True):
            c.add(
                f"sweep.{way}-shift={value}",
                f"a {way} sweep step with shift {value} changes the period",
                lambda m, d=falling, v=value: _shifted(m, d) == v,
                still,
                r.not_held("sweep.shift", value),
                r.not_held("sweep.falling", falling),
                r.no_change(falling, value),
                by="sweep.shift sweep",
            )


def _shifted(m: Moments, falling: int) -> Ints:
    """The shifts by which sweep steps of a direction change the period."""

    def found() -> Ints:
        moves = m.plays_on & (m.swept >= 0) & (m.swept != m.swept_from) & m.heard
        return ints(m.of_block("sweep", "shift")[moves & (m.of_block("sweep", "falling") == falling)])

    return m.once(("shifted", falling), found)
