"""Searching: what directed play has missed is looked for by chance, on copies of the channels.

Stage: stimulus. In: the notes of a channel, behaviours that are left. Out: writes that show some of them.

A trial goes its own way from where the channels stand: directed play once more, with no more time before an edge than
the bus takes; or fields, strobes and samples drawn by chance, most of them at edges at which something is due. A trial
that shows something is written down, any other one is forgotten, and no time has passed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

import numpy as np

from psgmodel.coverage.bins import Behaviour
from psgmodel.coverage.following import Follower
from psgmodel.coverage.moments import Moments
from psgmodel.engine.countdown import NEVER
from psgmodel.steps import constant_steps
from psgmodel.stimulus.directed import play
from psgmodel.stimulus.directed_steps import fill
from psgmodel.stimulus.notes import Notes
from psgmodel.stimulus.player import Player
from psgmodel.stimulus.trial import Trial

TRIES = 3
"""Trials of each behaviour that is left."""

IN_VAIN = 60
"""Trials by chance in a row that show nothing, after which the search ends; common practice, no source."""

LONGEST = 1 << 14
"""Cycles that a trial waits for one thing."""


def search(player: Player, name: str, left: Mapping[str, Behaviour], look: Callable[[], None]) -> None:
    """Look for behaviours of a channel; `look` strikes out of those left what has been shown."""
    for what in list(left):
        for _ in range(TRIES):
            if what in left:
                _tried(player, name, left, look, lambda n, w=what: _dithered(n, w))
    vain = 0
    while left and vain < IN_VAIN:
        vain = 0 if _tried(player, name, left, look, _by_chance) else vain + 1


def _tried(
    player: Player,
    name: str,
    left: Mapping[str, Behaviour],
    look: Callable[[], None],
    act: Callable[..., None],
) -> bool:
    """Make a trial; write it down and return true if it shows something that is left."""
    trial = Trial(player)
    act(Notes(trial, name))
    if not _shows(trial.followers[name], left.values()):
        return False
    before = len(left)
    for edge, write in trial.done:
        player.write(write, edge)
    player.wait(trial.now + 1)
    look()
    return len(left) < before


def _shows(follower: Follower, behaviours: Iterable[Behaviour]) -> bool:
    rows = follower.watched.rows
    if not rows:
        return False
    m = Moments(follower.chip, follower.name, follower.shown(), constant_steps(1, 0, rows[-1][0] + 1))
    return any(bool(np.any(b.seen(m))) for b in behaviours)


def _dithered(n: Notes, what: str) -> None:
    """Play a behaviour some time later."""
    n.play_on(n.chance.below(64))
    play(n, what)


def _by_chance(n: Notes) -> None:
    """Play a note of chance, and do some things in it."""
    if n.chance.once_in(4):
        n.silence()
    if n.chance.once_in(8):
        fill(n, n.chance.below(8))
    n.player.set(n.name, n.base | {key: _value(n, key) for key in _fields(n) if not n.chance.once_in(3)})
    n.play_on(n.chance.below(96))
    if not n.chance.once_in(8):
        n.player.strobe(n.name, "start", _edge(n))
    for _ in range(1 + n.chance.below(3)):
        _thing(n)
    n.past(min(_soon(n, "timer"), _soon(n, "envelope"), _soon(n, "sweep"), n.player.now + LONGEST))
    n.steps(min(n.reach.positions() + 1, 16))
    n.play_on(32)


def _fields(n: Notes) -> list[str]:
    return [key for key in n.reach.fields if n.reach.driven(key) and key != "gate"]


def _value(n: Notes, key: str) -> int:
    """Draw a value of a field; volumes are loud as a rule, most other values small."""
    bits = n.reach.fields[key].bits
    if key == "volume" and not n.chance.once_in(3):
        return n.base.get("volume", (1 << bits) - 1)
    return n.chance.among((0, 1, 1, 2, 3, n.chance.bits(bits), n.chance.bits(bits), (1 << bits) - 1)) % (1 << bits)


def _soon(n: Notes, block: str) -> int:
    """Return the edge at which a block acts next, if that is soon."""
    edge = n.due(block)
    return edge if edge - n.player.now < LONGEST else NEVER


def _edge(n: Notes) -> int | None:
    """Draw an edge at which something is due, or one beside it; None: as soon as can be."""
    blocks = [b for b in ("timer", "envelope", "sweep") if getattr(n.channel, b) is not None]
    block = n.chance.among([*blocks, *blocks, "step", "wave", ""])
    if not block:
        return None
    tick = block in blocks and n.chance.once_in(2)
    edge = n.player.tick(n.name, block) if tick else _soon(n, block)
    edge += n.chance.among((0, 0, 0, 0, 1, -1))
    return edge if n.player.ready(n.name) <= edge < n.player.now + LONGEST else None


def _thing(n: Notes) -> None:
    """Do one thing to the channel: a strobe, a field, a sample."""
    kinds = ["start", "stop", "stop", "field", "field", "field", "both", "sample", "nothing"]
    kind, edge = n.chance.among(kinds), _edge(n)
    if kind in ("start", "stop"):
        n.player.strobe(n.name, kind, edge)
    elif kind == "field" and (keys := _fields(n)):
        key = n.chance.among(keys)
        value = n.another(key, segment=n.chance.below(4)) if n.chance.once_in(2) else _value(n, key)
        n.player.set(n.name, {key: value}, edge)
    elif kind == "both":
        n.player.both(n.name, edge)
    elif kind == "sample" and n.name in n.chip.memories and n.channel.table is not None:
        width = n.channel.table.bits * n.channel.table.per_address
        n.player.store(n.name, n.chance.below(n.chip.memories[n.name].size), n.chance.bits(width), edge)
    elif edge is not None:
        n.player.wait(edge)
    n.player.wait(n.player.now + n.channel.start_delay + 1)
