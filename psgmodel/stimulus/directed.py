"""Directed: for each behaviour of a channel, what makes it happen.

Stage: stimulus. In: the notes of a channel, the name of a bin (without the channel). Out: the behaviour, played. All
from the description: fields, ticks, lengths. What is played may miss, as where the bus is taken at the edge that
matters; then it is played again.
"""

from __future__ import annotations

from psgmodel.stimulus.directed_envelope import ENVELOPE
from psgmodel.stimulus.directed_steps import NOISE, STEP, WAVE, play_step
from psgmodel.stimulus.directed_sweep import SWEEP
from psgmodel.stimulus.directed_timer import TIMER
from psgmodel.stimulus.directed_values import play_value
from psgmodel.stimulus.notes import Notes, Play


def _start_idle(n: Notes) -> None:
    n.silence()
    n.hear()
    n.play_on(200)


def _start_again(n: Notes) -> None:
    n.hear()
    n.play_on(100 + n.chance.below(100))
    n.start()


def _stop_sounding(n: Notes) -> None:
    n.hear()
    n.play_on(100 + n.chance.below(100))
    n.player.strobe(n.name, "stop")


def _stop_idle(n: Notes) -> None:
    n.silence()
    if n.reach.gated and not n.reach.strobes["stop"] and n.channel.timer is not None:
        n.to_the_end()  # the gate stands open still
    n.player.strobe(n.name, "stop")


def _with_stop(n: Notes) -> None:
    n.hear()
    n.play_on(100)
    n.player.both(n.name)
    n.play_on(100)
    n.silence()
    n.player.both(n.name)
    n.play_on(100)


def _under_way(n: Notes) -> None:
    n.hear()
    for _ in range(3):
        n.player.strobe(n.name, "start")
        n.player.strobe(n.name, "stop")
        n.player.strobe(n.name, "start")
        n.play_on(60)


def _gate_open(n: Notes) -> None:
    n.hear()
    n.change(gate=1)
    n.player.act((_gate_register(n), n.player.shadow.stored[_gate_register(n)]))
    n.play_on(100)


def _gate_shut(n: Notes) -> None:
    n.silence()
    n.change(gate=0)
    n.player.act((_gate_register(n), n.player.shadow.stored[_gate_register(n)]))


def _gate_register(n: Notes) -> int:
    return n.reach.fields["gate"].segments[0].address


STROBES: dict[str, Play] = {
    "start.idle": _start_idle,
    "start.again": _start_again,
    "stop.sounding": _stop_sounding,
    "stop.idle": _stop_idle,
    "start.with-stop": _with_stop,
    "start.under-way": _under_way,
    "gate.kept-open": _gate_open,
    "gate.kept-shut": _gate_shut,
}

PLAYS: dict[str, Play] = STROBES | TIMER | ENVELOPE | SWEEP | STEP | WAVE | NOISE


def play(n: Notes, what: str) -> bool:
    """Play the behaviour of a bin (its name without the channel); return whether anything is known to play."""
    if what in PLAYS:
        PLAYS[what](n)
        return True
    return play_step(n, what) or play_value(n, what)
