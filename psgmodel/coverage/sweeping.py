"""Sweeping: what the frequency sweep of a channel can do.

Stage: coverage. In: a channel's `Reach`. Out: behaviours, written into a `Chapter`.
"""

from __future__ import annotations

import numpy as np

from psgmodel.chip.channel import Sweep
from psgmodel.coverage.bins import Chapter
from psgmodel.coverage.columns import Mask, mask
from psgmodel.coverage.moments import Moments
from psgmodel.coverage.reach import Reach, first_of, moved


def sweep(c: Chapter, r: Reach, o: Sweep) -> None:
    """Write down what the sweep does."""
    still = r.never_steps("sweep")
    for value, word in ((0, "up"), (1, "down")):
        way = first_of(still, r.not_held("sweep.falling", value))
        c.add(
            f"sweep.{word}",
            f"a sweep step makes the period {'larger' if value == 0 else 'smaller'}",
            lambda m, v=value: _swept(m) & (m.of_block("sweep", "falling") == v) & (m.swept != m.swept_from),
            way,
            r.no_sweep(value),
        )
    over = first_of(still, r.no_overflow())
    what = {"stop": "stops the channel", "hold": "leaves the period", "wrap": "wraps around"}[o.overflow]
    c.add(
        "sweep.overflow",
        f"a sweep step that does not fit {what}",
        lambda m: m.made("sweep") & m.unfit(m.moved) & m.heard,
        over,
    )
    c.add(
        "sweep.just-fits",
        "a sweep step ends at the last or the first period there is",
        lambda m: _swept(m) & ((m.swept == m.size - 1) | (m.swept == 0)) & (m.swept != m.swept_from),
        still,
        r.no_edge_period(),
    )
    _checks(c, r, o, over)
    c.add(
        "sweep.still",
        "a tick passes a sweep that stands still" if o.period_zero == "stop" else "a sweep with period 0 makes a step",
        (
            lambda m: (
                m.sounds
                & (m.stands("sweep.period") == 0)
                & (m.stands("sweep.shift") != 0)
                & (m.glide_ticks + m.upcoming(m.glide_tick) > 0)
            )
        )
        if o.period_zero == "stop"
        else (lambda m: m.made("sweep") & (m.of_block("sweep", "period") == 0) & m.heard),
        r.not_held("sweep.period", 0),
        r.not_other_than("sweep.shift", 0) if o.period_zero == "stop" else "",
        r.no_zero_step("sweep"),
        by="sweep.period sweep",
    )
    _at_start_and_stop(c, r, o, still, over)
    _writes(c, r, o, still)
    _period_writes(c, r, o, still)


def _checks(c: Chapter, r: Reach, o: Sweep, over: str) -> None:
    """Write down where an overflow is looked for besides a step."""
    if o.overflow == "stop" and o.check == "at-step":
        c.add(
            "sweep.overflow-waits",
            "a start whose sweep would run over sounds until the sweep makes its step",
            lambda m: m.starts & _starts_over(m, o) & m.sounds,
            r.no_start,
            r.no_shifted_overflow(),
            by="start period sweep.shift",
        )
    if o.overflow == "stop" and o.check != "at-step":
        c.add(
            "sweep.overflow-at-start",
            "a start whose sweep would run over",
            lambda m: m.starts & m.is_("over") & _starts_over(m, o) & m.routed,
            r.no_start,
            r.no_shifted_overflow(),
            by="start period sweep.shift",
        )
        c.add(
            "sweep.unchecked-at-start",
            "a start with shift 0, which is not looked at, though a step would run over",
            lambda m: m.starts & ~m.is_("over") & _would_run_over(m, o) & (m.seen("sweep.shift") == 0) & m.heard,
            r.no_start,
            r.not_held("sweep.shift", 0),
            r.no_unshifted_overflow(),
            by="start period sweep.shift",
        )
    if o.overflow == "stop" and o.check == "after-step-too":
        c.add(
            "sweep.overflow-ahead",
            "after a sweep step that fits, the next one would not",
            lambda m: _swept(m) & m.is_("over") & m.unfit(m.moved_on(m.swept)),
            over,
            r.no_overflow_ahead(),
        )


def _swept(m: Moments) -> Mask:
    """A sweep step is made in a note that plays on."""
    return m.plays_on & (m.swept >= 0) & m.heard


def _would_run_over(m: Moments, o: Sweep) -> Mask:
    """A step by the fields that a start sees would not fit."""
    found = moved(o, m.seen("period"), m.seen("sweep.shift"), m.seen("sweep.falling"), m.size)
    return (found < 0) | (found >= m.size)


def _starts_over(m: Moments, o: Sweep) -> Mask:
    """The sweep keeps a start from sounding."""
    return _would_run_over(m, o) & (m.seen("sweep.shift") > 0)


def _at_start_and_stop(c: Chapter, r: Reach, o: Sweep, still: str, over: str) -> None:
    """Write down where the sweep meets a start, a stop, the end of the note."""
    for was, who in ((True, "sounding"), (False, "idle")):
        c.add(
            f"sweep.tick-at-start-{who}",
            f"a start at a tick of the sweep, the channel {who}",
            lambda m, w=was: (
                m.starts
                & (m.was_active == w)
                & m.glide_tick
                & (m.ticks_of("sweep", m.seen("sweep.period")) > 0)
                & m.heard
            ),
            r.stands_still("sweep"),
            r.no_start,
            r.no_restart if was else first_of(r.always_active, r.no_loud_start()),
            r.start_meets(o.ticks),
            by="start sweep",
        )
    c.add(
        "sweep.tick-at-start-one",
        "a start at a tick, with a sweep period of one tick",
        lambda m: m.starts & m.glide_tick & (m.seen("sweep.period") == 1) & m.heard,
        r.no_start,
        r.not_held("sweep.period", 1),
        r.start_meets(o.ticks),
        by="start sweep.period sweep",
    )
    moves = r.no_move() if o.works_on == "period" else ""
    for kind, no in (("start", r.no_restart), ("stop", r.no_stop_in_note)):
        c.add(
            f"sweep.step-at-{kind}",
            f"a {kind} where the sweep makes a step",
            lambda m, k=kind: m.is_(k) & m.glide_due & ~m.overflow_due & (m.moved != m.old("period")) & m.sounded,
            still,
            moves,
            no,
            r.start_meets(o.ticks) if kind == "start" else r.stop_meets(o.ticks),
            by=f"{kind} sweep",
        )
        c.add(
            f"sweep.overflow-at-{kind}-edge",
            f"a {kind} where a sweep step does not fit",
            lambda m, k=kind: m.is_(k) & m.overflow_due & m.sounded,
            over,
            no,
            r.start_meets(o.ticks) if kind == "start" else r.stop_meets(o.ticks),
            by=f"{kind} sweep",
        )


def _writes(c: Chapter, r: Reach, o: Sweep, still: str) -> None:
    """Write down what happens where the sweep's fields are written in a note."""
    for field, word in (("sweep.shift", "shift"), ("sweep.falling", "direction"), ("sweep.period", "period")):
        fixed = r.not_changed(field)
        c.add(
            f"sweep.{word}-at-step",
            f"the {word} of the sweep changed where it makes a step",
            lambda m, f=field: m.plays_on & m.changed(f) & m.glide_due & (m.old("sweep.period") != 0) & m.sounded,
            fixed,
            still,
            r.not_other_than("sweep.period", 0),
            r.write_meets(o.ticks, sorted(r.registers(field))),
            by=f"{field} sweep",
        )
        c.add(
            f"sweep.{word}-in-note",
            f"the {word} of the sweep changed in a note, between ticks",
            lambda m, f=field: m.plays_on & m.changed(f) & ~m.glide_tick & m.sounded,
            fixed,
            r.no_gap(o.ticks, field),
            by=field,
        )
    if o.period_zero == "stop":
        c.add(
            "sweep.let-go-at-tick",
            "the sweep let go by its period at a tick that finds its counter at 0 or 1",
            lambda m: (
                m.plays_on
                & m.changed("sweep.period")
                & (m.old("sweep.period") == 0)
                & m.glide_tick
                & (m.glide_count <= 1)
                & m.sounded
            ),
            r.not_changed("sweep.period"),
            r.write_meets(o.ticks, sorted(r.registers("sweep.period"))),
            by="sweep.period sweep",
        )
    for fell, word in ((1, "after a falling step"), (0, "without a falling step")):
        c.add(
            f"sweep.turned-{'fallen' if fell else 'fresh'}",
            f"the sweep turned from falling to rising in a note, {word}",
            lambda m, v=fell: m.plays_on & m.changed("sweep.falling", 0) & (m.fell == v) & m.sounded,
            r.not_changed("sweep.falling"),
            still if fell else r.always_fallen(),
            by="sweep.falling",
        )


def _period_writes(c: Chapter, r: Reach, o: Sweep, still: str) -> None:
    """Write down what happens where the period is written while it is swept."""
    chip, by = r.chip, "period sweep"
    for s in r.fields["period"].segments:
        register = chip.registers[s.address].name
        c.add(
            f"sweep.{register}-at-step",
            f"{register} written where a sweep step changes the period",
            lambda m, a=s.address: (
                m.plays_on
                & m.wrote_register(a)
                & (m.swept >= 0)
                & (m.swept != m.new("period"))
                & (m.swept != m.swept_from)
                & m.sounded
            ),
            still,
            r.no_changes(),
            first_of(r.starts_anew([s.address]), r.over_before([s.address]), r.write_meets(o.ticks, [s.address])),
            by=by,
        )
    c.add(
        "sweep.after-write",
        "a sweep step after the period has been written since the one before",
        lambda m: _swept(m) & _rewritten(m),
        still,
        r.not_changed("period"),
        r.no_tick_before_start(o.ticks, sorted(r.registers("period"))),
        by=by,
    )


def _rewritten(m: Moments) -> Mask:
    """The period has been changed by a write since the last start and the last sweep step."""
    number = np.arange(m.edge.size)
    write = m.last_loaded(m.plays_on & m.changed("period"), number)
    other = m.last_loaded(m.starts | (m.swept >= 0), number)
    return mask(write > other)
