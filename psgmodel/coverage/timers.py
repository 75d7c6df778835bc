"""Notes: what strobes and note timer of a channel can do.

Stage: coverage. In: a channel's `Reach`. Out: behaviours, written into a `Chapter`. A behaviour counts where it can be
heard: the channel sounds before or after the edge, at a volume, routed to an output. Where two things meet at one edge,
each of them is what would happen there without the other.
"""

from __future__ import annotations

import numpy as np

from psgmodel.chip.channel import Timer
from psgmodel.coverage.bins import Chapter
from psgmodel.coverage.columns import Mask, mask
from psgmodel.coverage.moments import Moments
from psgmodel.coverage.reach import Reach, first_of


def strobes(c: Chapter, r: Reach) -> None:
    """Write down what start and stop do by themselves."""
    no_start, no_idle = r.no_start, r.always_active
    c.add(
        "start.idle",
        "started while idle",
        lambda m: m.starts & ~m.was_active & m.heard,
        no_start,
        first_of(no_idle, r.no_loud_start()),
        by="start",
    )
    c.add("start.again", "started again while it sounds", lambda m: m.starts & m.sounded, r.no_restart, by="start")
    c.add("stop.sounding", "stopped while it sounds", lambda m: m.stops & m.sounded, r.no_stop_in_note, by="stop")
    c.add("stop.idle", "stopped while idle", lambda m: m.stops & ~m.was_active, r.no_idle_stop, by="stop")
    meet = first_of(no_start, r.no_stop_strobe, r.start_and_stop_meet())
    c.add("start.with-stop", "start and stop at one edge", lambda m: m.is_("met") & m.heard, meet, by="start stop")
    delay = 1 << r.channel.start_delay
    if delay > 1:
        asked, way = "a strobe written while another is on its way, or acts", first_of(no_start, r.under_way())
        c.add(
            "start.under-way",
            asked,
            lambda m: (m.is_("asked_start") | m.is_("asked_stop")) & (m.line_before > 0),
            way,
            by="start",
        )
    if r.gated:
        kept = "the gate written as it is, "
        c.add("gate.kept-open", kept + "1", lambda m: m.wrote("gate") & (m.old("gate") & m.new("gate") == 1), by="gate")
        c.add("gate.kept-shut", kept + "0", lambda m: m.wrote("gate") & (m.old("gate") | m.new("gate") == 0), by="gate")


def timer(c: Chapter, r: Reach, o: Timer) -> None:
    """Write down what the note timer does."""
    never = r.not_held("timer.enable", 1)
    ends = first_of(never, "" if o.at_zero == "stop" else f"{r.name} sounds on when its note timer runs out")
    no_start = first_of(never, r.no_start)
    c.add("timer.runs-out", "the note timer ends a note", lambda m: m.is_("ran_out") & ~m.starts & m.sounded, ends)
    for block, word in (("envelope", "fading"), ("sweep", "gliding")):
        if getattr(r.channel, block) is None:
            continue
        c.add(
            f"timer.runs-out-{word}",
            f"the note timer ends a note whose {block} runs",
            lambda m, b=block: m.is_("ran_out") & ~m.starts & m.sounded & (m.ticks_of(b, m.old(f"{b}.period")) > 0),
            first_of(ends, r.stands_still(block)),
        )
    c.add(
        "timer.off",
        "a tick passes a sounding note whose timer is off",
        lambda m: m.sounds & (m.stands("timer.enable") == 0) & (m.timer_ticks + m.upcoming(m.timer_tick) > 0),
        r.not_held("timer.enable", 0),
        by="timer.enable timer",
    )
    for block, word, due in (
        ("envelope", "fade_due", "a step of the envelope"),
        ("sweep", "glide_due", "a sweep step"),
    ):
        other = getattr(r.channel, block)
        if other is not None:
            c.add(
                f"timer.end-at-{block}-step",
                f"the note timer runs out by a tick where {due} is due",
                lambda m, w=word: m.plays_on & m.timer_tick & m.is_("ran_out") & getattr(m, w) & m.sounded,
                ends,
                r.never_steps(block),
                r.ticks_meet(o.ticks, other.ticks),
                by=f"timer {block}",
            )
    _timer_at_start(c, r, o, no_start)
    c.add(
        "timer.end-at-stop",
        "a stop where the note timer runs out",
        lambda m: m.stops & m.expiry_due & m.sounded,
        first_of(never, r.no_stop_in_note, r.stop_meets(o.ticks), r.over_before(r.stops, strobes=True, timed=True)),
        by="stop timer",
    )
    _timer_writes(c, r, o, ends, no_start)


def _timer_at_start(c: Chapter, r: Reach, o: Timer, no_start: str) -> None:
    """Write down what happens where a start meets a tick of the timer."""
    one = 1 if o.loads == "field" else (1 << o.bits) - 1
    no_one = first_of(no_start, r.not_held("timer.length", one))
    again = first_of(r.no_restart, r.over_before(r.starts, strobes=True, timed=o.write_and_tick == "old" or r.timed))
    for was, who in ((True, "sounding"), (False, "idle")):
        no_idle = again if was else r.always_active
        silent = "" if was else first_of(r.no_loud_start(), _over_at_once(r, o))
        c.add(
            f"timer.tick-at-start-{who}",
            f"a start at a tick of the running timer, the channel {who}",
            lambda m, w=was: m.starts & (m.was_active == w) & _tick(m, o) & m.heard,
            no_start,
            first_of(no_idle, silent),
            r.start_meets(o.ticks),
            by="start timer",
        )
        c.add(
            f"timer.tick-at-start-{who}-one",
            f"a start at a tick, the channel {who}, with a length of one tick",
            lambda m, w=was: m.starts & (m.was_active == w) & _tick(m, o) & (m.seen("timer.length") == one) & m.routed,
            no_one,
            no_idle,
            r.start_meets(o.ticks),
            by="start timer.length timer",
        )
    c.add(
        "timer.end-at-start",
        "a start where the running note timer runs out",
        lambda m: m.starts & m.expiry_due & m.sounded,
        no_start,
        first_of(r.no_restart, r.over_before(r.starts, strobes=True, timed=True)),
        r.start_meets(o.ticks),
        by="start timer",
    )
    c.add(
        "timer.length-at-start",
        "the length changed at the edge of a start",
        lambda m: m.starts & m.changed("timer.length") & m.heard,
        r.no_start,
        r.written_at_start("timer.length"),
        by="start timer.length",
    )
    if o.on_start == "when-zero":
        c.add(
            "timer.started-running",
            "a start that does not load the timer, as it has not run out",
            lambda m: m.starts & (m.timer != 0) & (m.timer != m.loaded) & (m.seen("timer.enable") == 1) & m.heard,
            no_start,
            _always_one(r),
            by="start timer",
        )


def _over_at_once(r: Reach, o: Timer) -> str:
    """Say why a note that begins at a tick is over at once."""
    over = o.at_zero == "stop" and o.start_and_tick == "both" and o.expiry_and_start == "expiry" and r.counts() == [1]
    return f"a note of {r.name} that begins at a tick is over at once" if over and o.on_start == "always" else ""


def _timer_writes(c: Chapter, r: Reach, o: Timer, ends: str, no_start: str) -> None:
    """Write down what happens where the timer is written in a note."""
    fixed, by = r.not_changed("timer.enable"), "timer.enable timer"
    stops = np.bool_(o.at_zero == "stop")
    meets = r.write_meets(o.ticks, sorted(r.registers("timer.enable")))
    for value, word in ((1, "on"), (0, "off")):
        late = "" if value else r.over_before(r.registers("timer.enable"), timed=True)
        between = "" if value else r.over_before(r.registers("timer.enable"), timed=True, before=1)
        late_tick = "" if value else r.over_before(r.registers("timer.enable"), timed=True, ticks=1)
        c.add(
            f"timer.{word}-between",
            f"the timer switched {word} in a note, between ticks",
            lambda m, v=value: m.plays_on & m.changed("timer.enable", v) & ~m.timer_tick & m.sounded,
            fixed,
            between,
            r.no_gap(o.ticks, "timer.enable"),
            by="timer.enable",
        )
        c.add(
            f"timer.{word}-at-tick",
            f"the timer switched {word} in a note, at a tick",
            lambda m, v=value: m.plays_on & m.changed("timer.enable", v) & m.timer_tick & (m.timer != 1) & m.sounded,
            first_of(fixed, meets),
            _always_one(r),
            late_tick,
            by=by,
        )
        c.add(
            f"timer.{word}-at-end",
            f"the timer switched {word} at a tick, one count before it runs out",
            lambda m, v=value: (
                m.plays_on & m.changed("timer.enable", v) & m.timer_tick & (m.timer == 1) & m.sounded & stops
            ),
            first_of(fixed, meets),
            late,
            ends,
            by=by,
        )
    if o.on_enable == "tick":
        c.add(
            "timer.on-ends",
            "switching the timer on is its last count and ends the note",
            lambda m: m.plays_on & m.changed("timer.enable", 1) & ~m.timer_tick & m.is_("ran_out") & m.sounded,
            fixed,
            r.no_gap(o.ticks, "timer.enable"),
            ends,
            by="timer.enable",
        )
    c.add(
        "timer.length-in-note",
        "the length changed in a note whose timer runs",
        lambda m: m.plays_on & m.changed("timer.length") & (m.old("timer.enable") == 1) & m.sounded,
        r.not_changed("timer.length"),
        r.not_held("timer.enable", 1),
        r.over_before(r.registers("timer.length"), timed=True),
        by="timer.length",
    )


def _tick(m: Moments, o: Timer) -> Mask:
    """A tick of the timer finds it switched on."""
    return mask(m.timer_tick & (m.at_tick("timer.enable", o.write_and_tick) == 1))


def _always_one(r: Reach) -> str:
    """Say why the timer of a note is always at 1."""
    timer = r.channel.timer
    stops = timer is not None and timer.at_zero == "stop" and r.channel.at_reset == "inactive"
    return "the note timer never counts from more than 1" if stops and r.counts() == [1] else ""
