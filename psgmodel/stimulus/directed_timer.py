"""Directed, the note timer: what makes it do what it can; and what the other blocks are played with.

Stage: stimulus. In: the notes of a channel. Out: behaviours, played; the keys of the table are names of bins.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from psgmodel.stimulus.notes import At, Notes

Play = Callable[[Notes], None]
Was = Literal["sounding", "idle"]


def _to_the_end(n: Notes, **fields: int) -> None:
    """Play a note that its timer ends."""
    n.hear(timer_enable=1, timer_length=n.ticks(2), **fields)
    n.past(n.due("timer"))


def strobed(kind: str, block: str, at: At = "due", was: Was = "sounding", /, **fields: int) -> Play:
    """Return what strobes at a tick of a block, or where it acts."""

    def play(n: Notes) -> None:
        given = {key: n.ticks(-value) if value < 0 else value for key, value in fields.items()}
        if was == "idle":
            n.silence()
            n.prepare(**given)
        else:
            n.hear(**given)
        n.strobe_at(kind, n.when(block, at))
        n.settle(block)

    return play


def changed(key: str, to: int | None, block: str, at: At = "due", /, **fields: int) -> Play:
    """Return what changes a field at a tick of a block, or where it acts; -k as a length stands for k ticks."""

    def play(n: Notes) -> None:
        n.hear(**{k: n.ticks(-value) if value < 0 else value for k, value in fields.items()})
        value = n.another(key) if to is None else to
        n.change_at(n.when(block, at), {key: value})
        n.settle(block)

    return play


def between(key: str, to: int | None, /, **fields: int) -> Play:
    """Return what changes a field in a note, wherever."""

    def play(n: Notes) -> None:
        n.hear(**{k: n.ticks(-value) if value < 0 else value for k, value in fields.items()})
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


def _end_at_step(block: str) -> Play:
    """Return what lets the note timer run out where envelope or sweep makes a step."""

    def play(n: Notes) -> None:
        timer, other = n.channel.timer, getattr(n.channel, block)
        assert timer is not None
        one, two = n.player.trains[timer.ticks], n.player.trains[other.ticks]
        edge = n.player.tick(n.name, "timer")
        for _ in range(4096):
            if two.at(edge):
                break
            edge = one.nth_after(edge, 1)
        fields = (
            {"envelope_period": 1} if block == "envelope" else {"sweep_period": 1, "sweep_shift": 2, "sweep_falling": 1}
        )
        before = edge - 1
        while not (one.at(before) or two.at(before)) and before > n.player.now:
            before -= max(1, min(64, before - n.player.now))
            if one.between(before, edge - 1) or two.between(before, edge - 1):
                break
        n.player.wait(max(before + 65, n.player.now + 1))
        n.hear(timer_enable=1, timer_length=n.ticks(1), **fields)
        n.player.wait(edge + 2)

    return play


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
        for s in n.reach.fields[key].segments:
            value = n.another(key) >> s.field_low & (1 << s.width) - 1
            word = player.shadow.stored[s.address] & ~((1 << s.width) - 1 << s.low) | value << s.low
            if delay:
                edge = player.ready(n.name, 2) + delay
                if player.strobe(n.name, "start", edge):
                    player.write((s.address, word), edge)
            else:
                mask = sum(t.mask for t in player.strobes if t.address == s.address and t.target == f"{n.name}.start")
                player.write((s.address, word | mask))
            n.settle(key.partition(".")[0])

    return play


TIMER: dict[str, Play] = {
    "timer.runs-out": _to_the_end,
    "timer.runs-out-fading": lambda n: _to_the_end(n, envelope_period=1),
    "timer.runs-out-gliding": lambda n: _to_the_end(n, sweep_period=1, sweep_shift=3),
    "timer.off": passed("timer", 2, timer_enable=0),
    "timer.tick-at-start-sounding": strobed("start", "timer", "tick", timer_enable=1, timer_length=-4),
    "timer.tick-at-start-sounding-one": strobed("start", "timer", "tick", timer_enable=1, timer_length=-1),
    "timer.tick-at-start-idle": strobed("start", "timer", "tick", "idle", timer_enable=1, timer_length=-3),
    "timer.tick-at-start-idle-one": strobed("start", "timer", "tick", "idle", timer_enable=1, timer_length=-1),
    "timer.end-at-envelope-step": _end_at_step("envelope"),
    "timer.end-at-sweep-step": _end_at_step("sweep"),
    "timer.end-at-start": strobed("start", "timer", timer_enable=1, timer_length=-2),
    "timer.end-at-stop": strobed("stop", "timer", timer_enable=1, timer_length=-2),
    "timer.length-at-start": field_at_start("timer.length"),
    "timer.started-running": _started_running,
    "timer.on-between": between("timer.enable", 1, timer_enable=0, timer_length=-4),
    "timer.off-between": between("timer.enable", 0, timer_enable=1, timer_length=-4),
    "timer.on-at-tick": changed("timer.enable", 1, "timer", "tick", timer_enable=0, timer_length=-4),
    "timer.off-at-tick": changed("timer.enable", 0, "timer", "tick", timer_enable=1, timer_length=-6),
    "timer.on-at-end": changed("timer.enable", 1, "timer", "tick", timer_enable=0, timer_length=-1),
    "timer.off-at-end": changed("timer.enable", 0, "timer", timer_enable=1, timer_length=-1),
    "timer.on-ends": between("timer.enable", 1, timer_enable=0, timer_length=-1),
    "timer.length-in-note": between("timer.length", None, timer_enable=1, timer_length=-3),
}
