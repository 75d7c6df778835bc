"""Directed, the note timer: what makes it do what it can; and what the other blocks are played with.

Stage: stimulus. In: the notes of a channel. Out: behaviours, played; the keys of the table are names of bins.
"""

from __future__ import annotations

from typing import Literal

from psgmodel.stimulus.directed_meetings import end_at_step
from psgmodel.stimulus.notes import At, Notes, Play

Was = Literal["sounding", "idle"]


def _given(n: Notes, fields: dict[str, int], at: At = "tick") -> dict[str, int]:
    """Return some fields; -k as a length stands for k ticks, or for fewer, where a note is to last until its end; for
    more, but for a single one, where so few are over before something can be done."""
    ticks = n.few_ticks if at == "due" else n.ticks
    least = n.least_ticks()
    return {
        key: ticks(-value if value == -1 and at != "due" else max(-value, least)) if value < 0 else value
        for key, value in fields.items()
    }


def strobed(kind: str, block: str, at: At = "due", was: Was = "sounding", /, **fields: int) -> Play:
    """Return what strobes at a tick of a block, or where it acts."""

    def play(n: Notes) -> None:
        given = _given(n, fields, at)
        if was == "idle":
            n.silence()
            n.prepare(**given)
            if n.follower.watched.starts:  # what was written starts it
                n.play_on(n.channel.start_delay + 1)
            if n.active:
                n.silence()
        else:
            n.hear(**given)
        n.strobe_at(kind, n.when(block, at))
        n.settle(block)

    return play


def changed(key: str, to: int | None, block: str, at: At = "due", /, **fields: int) -> Play:
    """Return what changes a field at a tick of a block, or where it acts; -k as a length stands for k ticks."""

    def play(n: Notes) -> None:
        n.hear(**_given(n, fields, at))
        value = n.another(key) if to is None else to
        n.change_at(n.when(block, at), {key: value})
        n.settle(block)

    return play


def between(key: str, to: int | None, /, **fields: int) -> Play:
    """Return what changes a field in a note, wherever."""

    def play(n: Notes) -> None:
        n.hear(**_given(n, fields))
        n.play_on(100 + n.chance.below(64))
        n.player.set(n.name, {key: n.another(key) if to is None else to})
        n.settle(key.partition(".")[0])

    return play


def passed(block: str, count: int, /, **fields: int) -> Play:
    """Return what lets ticks of a block pass."""

    def play(n: Notes) -> None:
        n.hear(**fields)
        n.block_ticks(block, count)

    return play


def _on_at_end(n: Notes) -> None:
    """Switch the timer off one count before it runs out, and on again at a tick."""
    if 1 in n.reach.counts():
        changed("timer.enable", 1, "timer", "tick", timer_enable=0, timer_length=-1)(n)
        return
    n.hear(timer_enable=1, timer_length=n.ticks(n.reach.counts()[0]))
    if (end := n.due("timer")) - n.player.now <= n.player.farthest:
        assert n.channel.timer is not None
        train = n.player.trains[n.channel.timer.ticks]
        n.player.wait(train.nth_after(n.player.now, train.between(n.player.now, end) - 1) + 1)
        n.change(timer_enable=0)
        n.change_at(n.when("timer", "tick"), {"timer.enable": 1})
        n.settle("timer")


def _started_running(n: Notes) -> None:
    n.hear(timer_enable=1, timer_length=n.ticks(4))
    n.block_ticks("timer", 1)
    n.start()
    n.settle("timer")


def field_at_start(key: str) -> Play:
    """Return what changes a field by the write that starts, or by one that meets the start."""

    def play(n: Notes) -> None:
        n.hear()
        n.play_on(50)
        delay, player = n.channel.start_delay, n.player
        for index, s in enumerate(n.reach.fields[key].segments):
            value = n.another(key, segment=index) >> s.field_low & (1 << s.width) - 1
            word = player.shadow.stored[s.address] & ~((1 << s.width) - 1 << s.low) | value << s.low
            if delay:
                edge = player.ready(n.name, 2) + delay
                if player.strobe(n.name, "start", edge) and not player.write((s.address, word), edge):
                    player.again((s.address, word), edge)
            else:
                mask = sum(t.mask for t in player.strobes if t.address == s.address and t.target == f"{n.name}.start")
                player.write((s.address, word | mask))
            n.settle(key.partition(".")[0])

    return play


TIMER: dict[str, Play] = {
    "timer.runs-out": lambda n: n.to_the_end(),
    "timer.runs-out-fading": lambda n: n.to_the_end(envelope_period=1),
    "timer.runs-out-gliding": lambda n: n.to_the_end(sweep_period=1, sweep_shift=3),
    "timer.off": passed("timer", 2, timer_enable=0),
    "timer.tick-at-start-sounding": strobed("start", "timer", "tick", timer_enable=1, timer_length=-4),
    "timer.tick-at-start-sounding-one": strobed("start", "timer", "tick", timer_enable=1, timer_length=-1),
    "timer.tick-at-start-idle": strobed("start", "timer", "tick", "idle", timer_enable=1, timer_length=-3),
    "timer.tick-at-start-idle-one": strobed("start", "timer", "tick", "idle", timer_enable=1, timer_length=-1),
    "timer.end-at-envelope-step": end_at_step("envelope"),
    "timer.end-at-sweep-step": end_at_step("sweep"),
    "timer.end-at-start": strobed("start", "timer", timer_enable=1, timer_length=-2),
    "timer.end-at-stop": strobed("stop", "timer", timer_enable=1, timer_length=-2),
    "timer.length-at-start": field_at_start("timer.length"),
    "timer.started-running": _started_running,
    "timer.on-between": between("timer.enable", 1, timer_enable=0, timer_length=-4),
    "timer.off-between": between("timer.enable", 0, timer_enable=1, timer_length=-4),
    "timer.on-at-tick": changed("timer.enable", 1, "timer", "tick", timer_enable=0, timer_length=-4),
    "timer.off-at-tick": changed("timer.enable", 0, "timer", "tick", timer_enable=1, timer_length=-6),
    "timer.on-at-end": _on_at_end,
    "timer.off-at-end": changed("timer.enable", 0, "timer", timer_enable=1, timer_length=-1),
    "timer.on-ends": between("timer.enable", 1, timer_enable=0, timer_length=-1),
    "timer.length-in-note": between("timer.length", None, timer_enable=1, timer_length=-3),
}
