"""Covering: which behaviours of a chip a log shows.

Stage: coverage. In: a chip, a log. Out: a `Coverage`.
"""

from __future__ import annotations

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.coverage import envelopes, mixers, stepping, sweeping, timers, unit, values
from psgmodel.coverage.bins import Behaviour, Chapter
from psgmodel.coverage.following import Follower
from psgmodel.coverage.happenings import Happenings
from psgmodel.coverage.moments import Moments, routed_over_time
from psgmodel.coverage.reach import Reach
from psgmodel.coverage.recipes import channel_recipe
from psgmodel.engine import Trace, run
from psgmodel.engine.actions import channel_events, mixer_fields, tick_trains, unit_events
from psgmodel.engine.state import reset_state
from psgmodel.reglog.bus import SPACING
from psgmodel.reglog.checks import check_log
from psgmodel.reglog.log import RegisterLog


def channel_behaviours(chip: Chip, name: str, spacing: int = SPACING) -> list[Behaviour]:
    """Return everything that a channel can do; they are seen in its `Moments`."""
    reach = Reach(chip, name, spacing)
    chapter = Chapter(name, channel_recipe(chip, name), reach.silent)
    channel = chip.channels[name]
    timers.strobes(chapter, reach)
    if channel.timer is not None:
        timers.timer(chapter, reach, channel.timer)
    if channel.envelope is not None:
        envelopes.envelope(chapter, reach, channel.envelope)
    if channel.sweep is not None:
        sweeping.sweep(chapter, reach, channel.sweep)
    stepping.stepping(chapter, reach)
    if channel.table is not None:
        stepping.wave(chapter, reach, channel.table)
    if channel.register is not None:
        stepping.noise(chapter, reach, channel.register)
    values.values(chapter, reach)
    return chapter.behaviours


def unit_behaviours(chip: Chip, spacing: int = SPACING) -> list[Behaviour]:
    """Return everything that the unit around the channels can do; they are seen in `Happenings`."""
    reaches = {name: Reach(chip, name, spacing) for name in chip.channels}
    found = []
    for part in ("bus", "register", "power", "divider", "mixer"):
        chapter = Chapter(part, lambda *_: "")
        if part == "bus":
            unit.bus(chapter, chip, spacing)
        elif part == "register":
            unit.registers(chapter, chip)
        elif part == "power":
            unit.power(chapter, chip, reaches)
        elif part == "divider":
            unit.dividers(chapter, chip)
        else:
            mixers.mixer(chapter, chip, reaches)
        found += chapter.behaviours
    return found


def watch(chip: Chip, log: RegisterLog) -> tuple[dict[str, Moments], Happenings]:
    """Follow a log through every channel and return what happened."""
    state = reset_state(chip)
    part = log.cut(0, log.end - chip.bus.write_latency)
    events = unit_events(chip, part, state)
    trains, _, _ = tick_trains(chip, events, state)
    fields = mixer_fields(chip, events, state, log.end)
    moments = {}
    for name in chip.channels:
        follower = Follower(chip, name, trains, state)
        follower.run(channel_events(chip, name, events, follower.actions, []), log.end)
        moments[name] = Moments(chip, name, follower.watched, routed_over_time(chip, name, fields))
    trace: Trace = run(chip, log)
    return moments, Happenings(chip, part, events, trains, moments, fields, trace)


def hits(chip: Chip, log: RegisterLog, spacing: int = SPACING) -> dict[str, int]:
    """Return how often each behaviour is seen in a log."""
    check_log(log, chip)
    moments, happened = watch(chip, log)
    found = {}
    for name, m in moments.items():
        for b in channel_behaviours(chip, name, spacing):
            found[b.bin.name] = int(np.count_nonzero(b.seen(m)))
    for b in unit_behaviours(chip, spacing):
        found[b.bin.name] = int(np.count_nonzero(b.seen(happened)))
    return found
