"""Directed, meetings: what lets the note timer run out where envelope or sweep makes a step.

Stage: stimulus. In: the notes of a channel. Out: notes that end so. Where the ticks of the two never meet as they
stand, what makes them is restarted, by the start of the note or before it.
"""

from __future__ import annotations

from psgmodel.engine.countdown import NEVER
from psgmodel.stimulus.notes import Notes, Play
from psgmodel.stimulus.shadow import Strobe
from psgmodel.stimulus.trial import Trial

_STEPPING = {
    "envelope": {"timer_enable": 1, "envelope_period": 1},
    "sweep": {"timer_enable": 1, "sweep_period": 1, "sweep_shift": 2, "sweep_falling": 1},
}
"""Fields of a note that its timer ends, and in which envelope or sweep makes a step at each tick."""


def end_at_step(block: str) -> Play:
    """Return what lets the note timer run out where envelope or sweep makes a step."""

    def play(n: Notes) -> None:
        edge = _meeting(n, block)
        if edge < NEVER:
            _play_up_to(n, block, edge)
        else:
            _line_up(n, block)

    return play


def _ticks(n: Notes, block: str) -> tuple[str, str]:
    """Return the tick of the note timer and that of another block."""
    timer, other = n.channel.timer, getattr(n.channel, block)
    assert timer is not None
    return timer.ticks, other.ticks


def _meeting(n: Notes, block: str, since: int = 0) -> int:
    """Return the next edge at which the note timer and another block get a tick, if that is not too far."""
    often, rare = sorted(_ticks(n, block), key=n.reach.apart)
    edge = n.player.trains[rare].nth_after(max(since, n.player.ready(n.name)), 1)
    for _ in range(4096):
        if edge - n.player.now > n.player.farthest:
            break
        if n.player.trains[often].at(edge):
            return edge
        edge = n.player.trains[rare].nth_after(edge, 1)
    return NEVER


def _begin(n: Notes, block: str, edge: int) -> int:
    """Return where a note begins whose timer, or other block, takes some ticks until an edge; 0: one is enough."""
    periods = [value for value in n.reach.values(f"{block}.period") if value]
    counts = (n.reach.counts()[0], periods[0] if periods else 1)
    found = [(tick, count) for tick, count in zip(_ticks(n, block), counts, strict=True) if count > 1]
    if not found:
        return 0
    tick, count = found[0]
    train, since = n.player.trains[tick], edge - (count + 1) * n.reach.apart(tick)
    return train.nth_after(since, train.between(since, edge) - count) + 65


def _play_up_to(n: Notes, block: str, edge: int) -> None:
    """Play a note of one tick that ends at an edge, begun after the ticks before; of more ticks, where envelope or
    sweep takes more of its own to make a step."""
    timed = n.player.trains[_ticks(n, block)[0]]
    if begin := _begin(n, block, edge):
        while begin < n.player.ready(n.name, 8):
            if (edge := _meeting(n, block, edge)) == NEVER:
                return
            begin = _begin(n, block, edge)
        n.hear_up_to(edge, begin, timer_length=n.ticks(timed.between(begin, edge)), **_STEPPING[block])
        n.player.wait(edge + 2)
        return
    trains = [n.player.trains[tick] for tick in _ticks(n, block)]
    before = edge - 1
    while not any(train.at(before) for train in trains) and before > n.player.now:
        before -= max(1, min(64, before - n.player.now))
        if any(train.between(before, edge - 1) for train in trains):
            break
    if before + 65 >= edge - 1:  # ticks come at every few cycles
        _play_ticks(n, block, edge)
        return
    n.hear_up_to(edge, before + 65, timer_length=n.ticks(1), **_STEPPING[block])
    n.player.wait(edge + 2)


def _play_ticks(n: Notes, block: str, edge: int) -> None:
    """Play a note of as many ticks as come until an edge; one that meets the start counts or not."""
    train = n.player.trains[_ticks(n, block)[0]]
    most = 2 * (n.player.ready(n.name, 8) - n.player.now)
    if n.player.now + most > edge:
        edge = n.player.trains[_ticks(n, block)[1]].nth_after(n.player.now + most, 1)
    ticks = train.between(edge - most // 2, edge) + n.chance.below(2)
    n.prepare(timer_length=n.ticks(ticks), **n.gliding(_STEPPING[block]))
    n.player.strobe(n.name, "start", edge - most // 2)
    n.player.wait(edge + 2)


def restart_to_meet(n: Notes, block: str) -> None:
    """Play the same where the two meet only once software has restarted what makes the ticks of one of them."""
    if n.channel.timer is None or getattr(n.channel, block) is None:
        return
    player, ticks = n.player, _ticks(n, block)
    dividers = {n.chip.ticks[tick].divider for tick in ticks}
    restarted = any(n.reach.restarts(divider) for divider in dividers)
    if n.reach.ticks_meet(*ticks) or len(dividers) == 1 or not restarted:
        return
    if (edge := _meeting(n, block)) < NEVER:  # as it happens: they may not have met before
        _play_up_to(n, block, edge)
        return
    for moved, other in (ticks, ticks[::-1]):
        divider = n.chip.ticks[moved].divider
        for strobe in [s for s in player.strobes if s.target == f"{divider}.restart"]:
            if n.channel.timer.on_start == "when-zero":  # a start loads it only then
                n.to_the_end()
            n.prepare(timer_length=n.ticks(1), **_STEPPING[block])
            ahead = Trial(player)
            ahead.act(ahead.shadow.strobe(strobe))
            distance = ahead.trains[moved].nth_after(ahead.now, 1) - ahead.now
            _restart_at(n, strobe, other, distance)
            _play_up_to(n, block, player.now + distance)


def _restart_at(n: Notes, strobe: Strobe, tick: str, distance: int) -> None:
    """Restart what makes ticks, so many cycles before another tick."""

    def when() -> int:
        return n.player.trains[tick].nth_after(n.player.ready(n.name) + distance, 1) - distance

    n.at(when, lambda edge: n.player.act(n.player.shadow.strobe(strobe), edge))


def _line_up(n: Notes, block: str) -> None:
    """Play a note whose timer runs out where envelope or sweep makes a step, where its start restarts what makes the
    ticks of one of them: it is tried, and begun so long before a tick of the other one."""
    ticks = _ticks(n, block)
    moved = [i for i, tick in enumerate(ticks) if n.reach.starts & n.reach.restarts(n.chip.ticks[tick].divider)]
    if len(moved) != 1:
        return
    n.silence()
    n.prepare(timer_length=n.ticks(1), **_STEPPING[block])
    ahead = Notes(Trial(n.player), n.name)
    ahead.start()
    due, other = ahead.due(("timer", block)[moved[0]]), n.player.trains[ticks[1 - moved[0]]]
    if due == NEVER:
        return
    lasts = due - ahead.player.now

    def begins() -> int:
        return other.nth_after(n.player.ready(n.name) + lasts, 1) - lasts

    if moved == [1]:
        n.change(timer_length=n.ticks(other.between(begins(), begins() + lasts)))
    n.strobe_at("start", begins)
    n.player.wait(n.player.now + lasts + 2)
