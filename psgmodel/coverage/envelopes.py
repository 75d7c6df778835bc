"""Envelopes: what the volume envelope of a channel can do.

Stage: coverage. In: a channel's `Reach`. Out: behaviours, written into a `Chapter`.
"""

from __future__ import annotations

from psgmodel.chip.channel import Envelope
from psgmodel.coverage.bins import Chapter
from psgmodel.coverage.columns import Mask, mask
from psgmodel.coverage.moments import Moments
from psgmodel.coverage.reach import Reach, first_of


def envelope(c: Chapter, r: Reach, o: Envelope) -> None:
    """Write down what the envelope does."""
    still, no_start, no_stop = r.never_steps("envelope"), r.no_start, r.no_stop_in_note
    _ways(c, r, o, still)
    if o.at_zero == "stop":
        c.add("envelope.ends", "the envelope ends a note", lambda m: m.is_("faded") & m.heard, r.no_zero())
    c.add(
        "envelope.still",
        "a tick passes an envelope that stands still"
        if o.period_zero == "stop"
        else "an envelope with period 0 makes a step",
        (lambda m: m.sounds & (m.stands("envelope.period") == 0) & (m.fade_ticks + m.upcoming(m.fade_tick) > 0))
        if o.period_zero == "stop"
        else (lambda m: m.made("envelope") & (m.of_block("envelope", "period") == 0) & m.heard),
        r.not_held("envelope.period", 0),
        r.no_zero_step("envelope"),
        by="envelope.period envelope",
    )
    for was, who in ((True, "sounding"), (False, "idle")):
        c.add(
            f"envelope.tick-at-start-{who}",
            f"a start at a tick of the envelope, the channel {who}",
            lambda m, w=was: m.starts & (m.was_active == w) & m.fade_tick & _moving(m, o) & m.heard,
            r.stands_still("envelope"),
            no_start,
            r.no_restart if was else first_of(r.always_active, r.no_loud_start()),
            r.start_meets(o.ticks),
            by="start envelope",
        )
    c.add(
        "envelope.tick-at-start-one",
        "a start at a tick, with an envelope period of one tick",
        lambda m: m.starts & m.fade_tick & (m.seen("envelope.period") == 1) & m.heard,
        no_start,
        r.not_held("envelope.period", 1),
        r.start_meets(o.ticks),
        by="start envelope.period envelope",
    )
    c.add(
        "envelope.step-at-start",
        "a start where the running envelope makes a step",
        lambda m: m.starts & m.fade_due & m.sounded,
        still,
        r.no_restart,
        r.start_meets(o.ticks),
        by="start envelope",
    )
    c.add(
        "envelope.step-at-stop",
        "a stop where the envelope makes a step",
        lambda m: m.stops & m.fade_due & m.sounded,
        still,
        no_stop,
        r.stop_meets(o.ticks),
        by="stop envelope",
    )
    _envelope_writes(c, r, o, still)
    _volume_writes(c, r, o, still)


def _ways(c: Chapter, r: Reach, o: Envelope, still: str) -> None:
    """Write down the steps of the envelope, up and down, and what becomes of them at the ends."""
    largest = (1 << r.channel.volume_bits) - 1
    stopped = {0} if r.no_level(0) else set()
    for value, word, end in ((1, "up", "top"), (0, "down", "bottom")):
        way = first_of(still, r.not_held("envelope.rising", value), r.not_held("envelope.bypass", 0))
        ends = [not 0 <= level + (o.step if value else -o.step) <= largest for level in r.levels - stopped]
        side = "below" if value else "above"
        c.add(
            f"envelope.{word}",
            f"the envelope goes {word}",
            lambda m, v=value: _faded(m, v) & ~m.fade_at_end,
            way,
            f"no level that it comes to is {o.step} or more {side} the {end}" if all(ends) else "",
        )
        past = "wraps around at" if o.at_end == "wrap" else "is held at"
        what = "a step ends the note at" if o.at_zero == "stop" and value == 0 else f"a step {past}"
        c.add(
            f"envelope.{end}",
            f"{what} the {end}",
            lambda m, v=value: _faded(m, v, at_end=True),
            way,
            "" if any(ends) else f"from no level that it comes to does a step by {o.step} lead past the {end}",
        )


def _faded(m: Moments, rising: int, *, at_end: bool = False) -> Mask:
    """The envelope makes a step one way, in a note that plays on."""
    made = m.made("envelope") & (m.of_block("envelope", "rising") == rising) & (m.old("envelope.bypass") == 0)
    return mask(made & m.fade_at_end & m.routed if at_end else made & m.heard)


def _moving(m: Moments, o: Envelope) -> Mask:
    """The envelope would count a tick by the period as a start sees it."""
    return m.ticks_of("envelope", m.seen("envelope.period")) > 0


def _envelope_writes(c: Chapter, r: Reach, o: Envelope, still: str) -> None:
    """Write down what happens where the envelope's fields are written in a note."""
    for field, word in (("envelope.period", "period"), ("envelope.rising", "direction")):
        fixed = r.not_changed(field)
        c.add(
            f"envelope.{word}-at-step",
            f"the {word} of the envelope changed where it makes a step",
            lambda m, f=field: m.plays_on & m.changed(f) & m.fade_due & (m.old("envelope.period") != 0) & m.heard,
            fixed,
            still,
            r.not_other_than("envelope.period", 0),
            r.write_meets(o.ticks, sorted(r.registers(field))),
            by=f"{field} envelope",
        )
        c.add(
            f"envelope.{word}-in-note",
            f"the {word} of the envelope changed in a note, between ticks",
            lambda m, f=field: m.plays_on & m.changed(f) & ~m.fade_tick & m.sounded,
            fixed,
            r.no_gap(o.ticks, field),
            by=field,
        )
    fixed = r.not_changed("envelope.period")
    for value, word in ((1, "let go"), (0, "halted")) if o.period_zero == "stop" else ():
        c.add(
            f"envelope.{word.replace(' ', '-')}-at-tick",
            f"the envelope {word} by its period at a tick that finds its counter at 0 or 1",
            lambda m, v=value: (
                m.plays_on
                & m.changed("envelope.period")
                & ((m.old("envelope.period") == 0) if v else (m.new("envelope.period") == 0))
                & m.fade_tick
                & (m.fade_count <= 1)
                & m.sounded
            ),
            fixed,
            r.write_meets(o.ticks, sorted(r.registers("envelope.period"))),
            by="envelope.period envelope",
        )


def _volume_writes(c: Chapter, r: Reach, o: Envelope, still: str) -> None:
    """Write down what happens where the volume is written in a note that has an envelope."""
    fixed, meets = r.not_changed("volume"), r.write_meets(o.ticks, sorted(r.registers("volume")))
    c.add(
        "envelope.volume-in-note",
        "the volume written in a note, another than the level",
        lambda m: m.plays_on & m.wrote("volume") & (m.new("volume") != m.level) & ~m.fade_tick & m.sounded,
        fixed,
        r.no_gap(o.ticks, "volume"),
        by="volume",
    )
    c.add(
        "envelope.volume-at-step",
        "the volume written where the envelope makes a step",
        lambda m: m.plays_on & m.wrote("volume") & (m.new("volume") != m.level) & m.fade_due & m.sounded,
        fixed,
        still,
        meets,
        by="volume envelope",
    )
    c.add(
        "envelope.volume-at-start",
        "the volume changed at the edge of a start",
        lambda m: m.starts & m.changed("volume") & m.heard,
        r.written_at_start("volume"),
        by="start volume",
    )
    if o.volume_write == "at-once":
        c.add(
            "envelope.volume-at-tick",
            "the volume written at a tick that makes no step",
            lambda m: (
                m.plays_on & m.wrote("volume") & (m.new("volume") != m.level) & m.fade_counts & ~m.fade_due & m.sounded
            ),
            fixed,
            meets,
            r.stands_still("envelope"),
            r.never_counts("envelope"),
            by="volume envelope",
        )
        for due, word in ((True, "at"), (False, "without")):
            c.add(
                f"envelope.volume-zero-{word}-step",
                f"the volume written 0 in a note {word} a step of the envelope",
                lambda m, d=due: (
                    m.plays_on & m.wrote("volume") & (m.new("volume") == 0) & (m.fade_due == d) & m.sounded
                ),
                fixed,
                first_of(still, meets) if due else "",
                by="volume envelope",
            )
    if o.bypass:
        _bypass(c, r, o, still)


def _bypass(c: Chapter, r: Reach, o: Envelope, still: str) -> None:
    """Write down what the bypass does."""
    apart = (r.channel.start_delay or o.start_and_tick == "tick") and not r.written_at_start("volume")
    together = r.registers("envelope.bypass") & r.registers("volume")
    same = still and o.volume_write == "at-once" and not (apart or together) and r.channel.at_reset == "inactive"
    for value, word in ((1, "set"), (0, "cleared")):
        c.add(
            f"envelope.bypass-{word}",
            f"the bypass {word} while level and volume differ",
            lambda m, v=value: m.plays_on & m.changed("envelope.bypass", v) & (m.level != m.new("volume")) & m.heard,
            r.not_changed("envelope.bypass"),
            f"the level is always that of the volume: {still}" if same else "",
            by="envelope.bypass",
        )
