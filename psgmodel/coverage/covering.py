"""Covering: which behaviours of a chip a log shows.

Stage: coverage. In: a chip, a log. Out: a `Coverage`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.chip.remembering import remembered
from psgmodel.coverage import envelopes, joined, mixers, stepping, sweeping, timers, unit, values
from psgmodel.coverage.bins import Behaviour, Chapter
from psgmodel.coverage.columns import Ints
from psgmodel.coverage.following import Follower
from psgmodel.coverage.happenings import Happenings
from psgmodel.coverage.moments import Moments, routed_over_time
from psgmodel.coverage.reach import Reach, first_of
from psgmodel.coverage.recipes import channel_recipe
from psgmodel.coverage.results import Coverage, LogHits, digest_of
from psgmodel.engine.actions import channel_events, mixer_fields
from psgmodel.engine.followed import Followed, UnitPlan, Watched, plan_unit
from psgmodel.engine.kernel.follow import watch_compiled
from psgmodel.engine.kernel.library import Library, find_kernel
from psgmodel.engine.state import UnitState, reset_state
from psgmodel.engine.track import follow_in_python
from psgmodel.errors import CoverageError
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
    steps = Chapter(name, chapter.recipe, first_of(reach.silent, reach.no_steps), chapter.behaviours)
    stepping.stepping(steps, reach)
    if channel.table is not None:
        stepping.wave(steps, reach, channel.table)
    if channel.register is not None:
        stepping.noise(steps, reach, channel.register)
    values.values(chapter, reach)
    joined.joined(chapter, reach)
    return chapter.behaviours


def unit_behaviours(chip: Chip, spacing: int = SPACING) -> list[Behaviour]:
    """Return everything that the unit around the channels can do; they are seen in `Happenings`."""
    reaches = {name: Reach(chip, name, spacing) for name in chip.channels}
    found = []
    for part in ("bus", "register", "power", "divider", "mixer"):
        chapter = Chapter(free_name(chip, part), lambda *_: "")
        if part == "bus":
            unit.bus(chapter, chip, reaches, spacing)
        elif part == "register":
            unit.registers(chapter, chip)
        elif part == "power":
            unit.power(chapter, chip, reaches)
        elif part == "divider":
            unit.dividers(chapter, chip, reaches)
        else:
            mixers.mixer(chapter, chip, reaches)
        found += chapter.behaviours
    return found


def free_name(chip: Chip, part: str) -> str:
    """Return what a part of the unit is called: its name, or one that no channel has."""
    while part in chip.channels:
        part = f"unit-{part}"
    return part


def watch(
    chip: Chip, log: RegisterLog, state: UnitState | None = None, names: Collection[str] | None = None
) -> tuple[dict[str, Moments], Happenings]:
    """Follow a log through every channel, or those named, and return what happened to each, and to the unit.

    `state` is where it begins, at cycle 0; None: reset. Of the unit nothing is to be asked where channels are missing.
    """
    part, state = log.cut(0, log.end - chip.bus.write_latency), state or reset_state(chip)
    plan = plan_unit(chip, part, state, log.end)
    fields = mixer_fields(chip, plan.events, state, log.end)
    moments, levels = {}, {}
    for name in chip.channels if names is None else names:
        routed = routed_over_time(chip, name, fields)
        followed, watched = watch_channel(plan, name, routed.cycle, find_kernel().library)
        moments[name], levels[name] = Moments(chip, name, watched, routed), followed.level
    return moments, Happenings(plan, part, fields, moments, levels)


def watch_channel(plan: UnitPlan, name: str, marks: Ints, library: Library | None) -> tuple[Followed, Watched]:
    """Follow one channel and return also its rows, which are there for each of `marks` too; without a library in
    Python."""
    if library is not None:
        return watch_compiled(library, plan, name, marks)
    follower = Follower(plan.chip, name, plan.trains, plan.state)
    follower.run(channel_events(plan.chip, name, plan.events, follower.actions, marks.tolist()), plan.end)
    return follow_in_python(plan, name), follower.shown()


@remembered
def behaviours_of(chip: Chip, spacing: int = SPACING) -> tuple[Behaviour, ...]:
    """Return everything that a chip can do, channel by channel, then the unit."""
    own = [b for name in chip.channels for b in channel_behaviours(chip, name, spacing)]
    return *own, *unit_behaviours(chip, spacing)


def hits(
    chip: Chip, log: RegisterLog, behaviours: Iterable[Behaviour], state: UnitState | None = None
) -> dict[str, int]:
    """Return how often each of some behaviours is seen in a log, those that are not seen left out; see `cover`.

    With a `state` the log begins there, at cycle 0, and what came before is not known: a little less may be seen.
    """
    check_log(log, chip)
    behaviours = list(behaviours)
    parts = {b.bin.part: None for b in behaviours}
    moments, happened = watch(chip, log, state, list(parts) if set(parts) <= set(chip.channels) else None)
    found = {}
    for b in behaviours:
        seen = b.seen(moments.get(b.bin.part, happened))
        if count := int(np.count_nonzero(seen)):
            found[b.bin.name] = count
    return found


def cover(chip: Chip, logs: Iterable[RegisterLog], *, spacing: int = SPACING) -> Coverage:
    """Say which behaviours of a chip some logs show.

    Parameters
    ----------
    chip : Chip
    logs : iterable of RegisterLog
    spacing : int, clock cycles, optional
        Least distance of two writes on the bus, by which it is judged what cannot be reached; 1 for a bus master in
        hardware.

    Raises
    ------
    CoverageError
        A spacing of less than 1.
    RegisterLogError
        A log does not fit the chip.
    """
    if spacing < 1:
        raise CoverageError(f"spacing {spacing}, accepted: 1 and more")
    behaviours = behaviours_of(chip, spacing)
    bins = tuple(b.bin for b in behaviours)
    found = Coverage(chip.unit.name, spacing, bins, ())
    for log in logs:
        one = LogHits(log.source, digest_of(log), len(log), hits(chip, log, behaviours))
        found = found.merged(Coverage(chip.unit.name, spacing, bins, (one,)))
    return found
