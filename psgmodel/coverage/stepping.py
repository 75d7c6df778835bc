"""Stepping: what the step counter, patterns, wave memories and noise registers of a channel can do.

Stage: coverage. In: a channel's `Reach`. Out: behaviours, written into a `Chapter`.
"""

from __future__ import annotations

import numpy as np

from psgmodel.chip.channel import NoiseClock, ShiftRegister, WaveTable
from psgmodel.coverage.bins import Chapter
from psgmodel.coverage.columns import Mask, mask
from psgmodel.coverage.moments import Moments
from psgmodel.coverage.reach import Reach, first_of

MOST_PLACES = 64
"""Samples of a wave that have a bin each; of more, those whose number has one bit."""


def stepping(c: Chapter, r: Reach) -> None:
    """Write down what the step counter does."""
    least, most = r.lengths()
    short = "" if most > 1 else f"a step of {r.name} lasts one count"
    step_fields = [f for f in ("period", "divisor", "shift") if f in r.fields]
    places = (
        ("at-end", "where a step ends", lambda m: m.step_due, ""),
        ("before-end", "one count before a step ends", lambda m: m.step_due_next, short),
        ("after-end", "right after a step has begun", lambda m: m.step_just_begun & ~m.step_due, short),
    )
    for field in step_fields:
        fixed, ahead = r.not_changed(field), r.over_before(r.registers(field), ahead=1)
        for place, text, where, no in places:
            early = "" if place == "at-end" else first_of(ahead, r.only_step(field) if place == "after-end" else "")
            c.add(
                f"step.{field}-{place}",
                f"the {field} changed {text}",
                lambda m, f=field, w=where: m.plays_on & m.changed(f) & w(m) & m.sounded,
                fixed,
                no,
                early,
                by=field,
            )
        c.add(
            f"step.{field}-at-start",
            f"the {field} changed at the edge of a start",
            lambda m, f=field: m.starts & m.changed(f) & m.heard,
            r.written_at_start(field),
            by=f"start {field}",
        )
        for s in r.fields[field].segments if len(r.fields[field].segments) > 1 else ():
            c.add(
                f"step.{r.chip.registers[s.address].name}-at-end",
                f"{r.chip.registers[s.address].name} written where a step ends, with another {field}",
                lambda m, f=field, a=s.address: (
                    m.plays_on & m.wrote_register(a) & m.changed(f) & m.step_due & m.sounded
                ),
                first_of(r.starts_anew([s.address]), r.over_before([s.address])),
                by=field,
            )
    reasons = [first_of(r.not_changed(f), r.over_before(r.registers(f), ahead=1)) for f in step_fields]
    fixed = first_of(*reasons) if all(reasons) else ""
    if r.channel.step.new_value == "at-once":
        c.add(
            "step.cut-short",
            "the running step made shorter than what has passed of it",
            lambda m: m.plays_on & (m.count + 1 > m.new_length()) & (m.count + 1 < m.length) & m.sounded,
            fixed,
            "" if most > least + 1 else f"no step of {r.name} is two counts longer than another",
            by=" ".join(step_fields),
        )
    else:
        c.add(
            "step.old-length-first",
            "a shorter step asked for while a longer one runs on",
            lambda m: m.plays_on & (m.length > m.new_length()) & (m.count + 1 > m.new_length()) & m.sounded,
            fixed,
            "" if most > least else f"all steps of {r.name} are equally long",
            by=" ".join(step_fields),
        )
    _at_start_and_stop(c, r, short)


def _at_start_and_stop(c: Chapter, r: Reach, short: str) -> None:
    """Write down where starts and stops meet steps."""
    c.add(
        "step.end-at-start",
        "a start where a step ends",
        lambda m: m.starts & m.step_due & m.sounded,
        r.no_restart,
        by="start",
    )
    c.add(
        "step.within-at-start",
        "a start within a step, some counts into it and some before its end",
        lambda m: m.starts & m.sounded & (m.length > 1) & ~m.step_due & ~m.step_just_begun,
        first_of(r.no_restart, r.over_before(r.starts, strobes=True, ahead=1)),
        short
        or ("" if r.channel.step.clocked_by or r.longest_begun() > 2 else f"no step of {r.name} lasts three counts"),
        by="start",
    )
    if r.channel.register is None:
        c.add(
            "step.position-at-start",
            "a start at another position than the first",
            lambda m: m.starts & m.heard & (m.position != m.first_position()),
            r.no_start,
            "" if r.positions() > 1 else "there is one position",
            by="start",
        )
    c.add(
        "step.end-at-stop",
        "a stop where a step ends",
        lambda m: m.stops & m.step_due & m.sounded,
        r.no_stop_in_note,
        by="stop",
    )
    if clock := r.channel.step.clocked_by:
        between = r.no_write_between(clock, r.starts, delay=r.channel.start_delay)
        for ticks, word in ((1, "at"), (0, "between")):
            c.add(
                f"step.clock-{word}-start",
                f"a start {word} ticks of {clock}",
                lambda m, t=ticks: m.starts & (m.clock_tick == t) & m.heard,
                r.no_start,
                r.start_meets(clock, meets=bool(ticks)),
                "" if ticks else between,
                by="start",
            )
    _looked_up(c, r, short)


def _looked_up(c: Chapter, r: Reach, short: str) -> None:
    """Write down what happens where fields change that are looked up all the time."""
    for field in ("pattern", "short", "volume"):
        if field not in r.fields or (field == "volume" and r.channel.envelope is not None):
            continue
        fixed = r.not_changed(field)
        c.add(
            f"step.{field}-within",
            f"the {field} changed within a step",
            lambda m, f=field: m.plays_on & m.changed(f) & ~m.step_due & (m.length > 1) & m.heard,
            fixed,
            short,
            by=field,
        )
        c.add(
            f"step.{field}-at-end",
            f"the {field} changed where a step ends",
            lambda m, f=field: m.plays_on & m.changed(f) & m.step_due & m.heard,
            fixed,
            by=field,
        )


def wave(c: Chapter, r: Reach, o: WaveTable) -> None:
    """Write down what the wave memory does; `sample_address` is the address within it."""
    at = f"{o.while_playing}, the channel sounding"
    n, per = o.samples, o.per_address
    memory = r.chip.memories.get(r.name)
    changes = "" if memory else f"no memory of {r.name} can be written"
    addresses = range(memory.address, memory.address + memory.size) if memory else ()
    in_note = first_of(changes, r.over_before(addresses))
    c.add(
        "wave.memory-idle", "the memory written while idle", lambda m: ~m.was_active & m.put, changes, r.always_active
    )
    for name, text, where, no in (
        ("here", "at the address that sounds", lambda m: m.sample_address == m.position // per, ""),
        (
            "next",
            "at the address of the next sample",
            lambda m: (m.sample_address == (m.position + 1) % n // per) & (m.sample_address != m.position // per),
            "" if n > per else "there is one address",
        ),
        (
            "elsewhere",
            "at an address that does not sound",
            lambda m: m.sample_address != m.position // per,
            "" if n > per else "there is one address",
        ),
    ):
        c.add(
            f"wave.memory-{name}",
            f"a write to the memory, {at}, {text}",
            lambda m, w=where: m.put & m.plays_on & m.sounded & w(m),
            in_note,
            no,
        )
    _near_fetch(c, r, n, per, in_note, r.over_before(addresses, ahead=1))
    _ends(c, r, o, changes)


def _near_fetch(c: Chapter, r: Reach, n: int, per: int, changes: str, early: str) -> None:
    """Write down what happens where the next sample is written as it is fetched."""
    c.add(
        "wave.memory-at-fetch",
        "the next sample written where it is fetched",
        lambda m: m.put & m.plays_on & m.step_due & (m.sample_address == (m.position + 1) % n // per) & m.sounded,
        changes,
    )
    c.add(
        "wave.memory-before-fetch",
        "the next sample written one edge before it is fetched",
        lambda m: m.put & m.plays_on & m.step_due_next & (m.sample_address == (m.position + 1) % n // per) & m.sounded,
        changes,
        early,
        "" if r.lengths()[1] > 1 else f"a step of {r.name} lasts one count",
    )


def _ends(c: Chapter, r: Reach, o: WaveTable, changes: str) -> None:
    """Write down where a wave begins and ends, and every sample of it."""
    n = o.samples
    never = f"{r.name} stops there" if o.after_last == "stop" else ""
    c.add("wave.wraps", "the first sample heard after the last one", lambda m: m.wraps & m.sounds, never)
    for place in range(n) if n <= MOST_PLACES else (0, *(1 << b for b in range(n.bit_length()) if 1 << b < n), n - 1):
        before = (
            "" if place >= r.first_position else f"{r.name} starts at position {r.first_position} and stops at the end"
        )
        c.add(f"wave.sample-{place}", f"sample {place} heard", lambda m, p=place: m.visits(p), before)
    if o.fetch == "each-step":
        c.add(
            "wave.stale-at-start",
            "a start while the sample register holds another sample than the first",
            lambda m: m.starts & m.heard & (m.sample != m.fresh),
            r.no_start,
            changes,
            by="start",
        )
    if o.after_last == "stop":
        c.add("wave.ends", "the wave ends a note", lambda m: m.plays_on & m.ends_by_wave & m.sounded)
        for kind, no in (("start", r.no_restart), ("stop", r.no_stop_in_note)):
            c.add(
                f"wave.end-at-{kind}",
                f"a {kind} where the wave ends",
                lambda m, k=kind: m.is_(k) & m.step_due & (m.position == n - 1) & m.sounded,
                no,
                by=kind,
            )


def noise(c: Chapter, r: Reach, o: ShiftRegister) -> None:
    """Write down what the noise register does."""
    modes = [(0, "long"), (1, "short")] if o.short is not None else [(0, "long")]
    for value, word in modes:
        mode = r.not_held("short", value) if o.short is not None else ""
        for times in (2, 16):
            c.add(
                f"noise.{word}-{times}",
                f"{times * o.bits} shifts in a row{f', {word} mode' if len(modes) > 1 else ''}",
                lambda m, v=value, t=times: _shifted(
                    m, o, v, t * o.bits, r.lasts(moving=True) < (t * o.bits + 1) * r.lengths()[0] * r.count
                ),
                mode,
                by="short",
            )
    c.add(
        "noise.start-shifted",
        "a start of a register that has shifted, "
        + ("which puts the seed back" if o.on_start == "reseed" else "which keeps its contents"),
        lambda m: m.starts & m.heard & m.has_shifted,
        r.no_start,
        by="start",
    )
    step = r.channel.step
    if isinstance(step, NoiseClock) and step.stopped:
        codes = np.array(step.stopped)
        some = {value in step.stopped for value in r.values("shift")}
        for into, word in ((True, "stopped"), (False, "let-go")):
            c.add(
                f"noise.clock-{word}",
                f"the noise clock {'stopped' if into else 'let go again'} in a note",
                lambda m, i=into: (
                    m.plays_on
                    & m.sounded
                    & (np.isin(m.new("shift"), codes) == i)
                    & (np.isin(m.old("shift"), codes) != i)
                ),
                r.not_changed("shift"),
                "" if True in some else f"no value of {r.name}.shift stops the clock",
                by="shift",
            )


def _shifted(m: Moments, o: ShiftRegister, short: int, shifts: int, brief: bool) -> Mask:
    """The noise register makes some shifts in one mode; where notes are too brief for that, as many as one lasts."""
    found = mask(m.shifts(short, on=o.on_start == "keep") >= shifts)
    if not brief:
        return found
    mode = m.lasted(m.old("short"), m.new("short"), m.sounded, m.sounds, m.starts | m.ends, m.ends)
    return np.append(found, mode == short)
