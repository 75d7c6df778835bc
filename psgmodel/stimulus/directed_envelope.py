"""Directed, the envelope: what makes a volume envelope do what it can.

Stage: stimulus. In: the notes of a channel. Out: behaviours, played; the keys of the table are names of bins.
"""

from __future__ import annotations

from psgmodel.stimulus.directed_timer import between, changed, field_at_start, strobed
from psgmodel.stimulus.notes import At, Notes, Play


def _middle(n: Notes) -> int:
    return 1 << n.channel.volume_bits - 1


def _fade(rising: int, *, end: bool = False) -> Play:
    """Return what lets the envelope go, from the middle or at an end."""

    def play(n: Notes) -> None:
        assert n.channel.envelope is not None
        largest = (1 << n.channel.volume_bits) - 1
        volume = _middle(n) if not end else largest if rising else min(n.channel.envelope.step, largest)
        if end and not rising and n.channel.envelope.at_zero == "stop":
            volume = n.channel.envelope.step - 1
        n.hear(volume=volume, envelope_period=1, envelope_rising=rising, envelope_bypass=0)
        n.block_ticks("envelope", 3)
        if not (n.reach.driven("volume") and n.reach.driven("envelope.period")):
            n.block_ticks("envelope", 2 << n.channel.volume_bits)

    return play


def _ended(n: Notes) -> None:
    assert n.channel.envelope is not None
    n.hear(volume=n.channel.envelope.step, envelope_period=1, envelope_rising=0, envelope_bypass=0)
    n.block_ticks("envelope", 2)
    n.change(volume=(1 << n.channel.volume_bits) - 1)  # a channel that sounds on would take it
    n.settle()


def still(n: Notes) -> None:
    """Let envelope and sweep stand still side by side, for as long as their period 0 could mean."""
    blocks = [block for block in ("envelope", "sweep") if getattr(n.channel, block) is not None]
    fields = {"volume": _middle(n), "envelope_period": 0, "envelope_bypass": 0}
    n.hear(**fields, sweep_period=0, sweep_shift=2, sweep_falling=1, **n.unhurried(blocks[0]))
    begin = n.player.now
    for block in blocks:
        options = getattr(n.channel, block)
        longest = n.player.trains[options.ticks].nth_after(begin, (1 << options.period_bits) + 2) + 2
        n.player.wait(min(longest, begin + n.player.farthest))
    n.settle()


def _volume(to: int | None, at: At, period: int = 1) -> Play:
    def play(n: Notes) -> None:
        n.hear(volume=_middle(n), envelope_period=period, envelope_bypass=0)
        value = (n.follower.watched.envelope.level ^ 5 if n.follower.watched.envelope else 0) if to is None else to
        n.change_at(n.when("envelope", at), {"volume": value})
        n.settle("envelope")

    return play


def _volume_in_note(to: int | None) -> Play:
    def play(n: Notes) -> None:
        n.hear(envelope_bypass=0, volume=_middle(n))
        n.play_on(100)
        n.change(volume=n.another("volume") if to is None else to)
        n.settle("envelope")

    return play


def _bypass(to: int) -> Play:
    def play(n: Notes) -> None:
        n.hear(volume=_middle(n), envelope_bypass=1 - to, envelope_period=1, envelope_rising=0)
        n.block_ticks("envelope", 2)
        n.change(envelope_bypass=to)
        n.settle("envelope")

    return play


_FADING = {"envelope_period": 1, "envelope_rising": 0, "envelope_bypass": 0}
ENVELOPE: dict[str, Play] = {
    "envelope.up": _fade(1),
    "envelope.down": _fade(0),
    "envelope.top": _fade(1, end=True),
    "envelope.bottom": _fade(0, end=True),
    "envelope.ends": _ended,
    "envelope.still": still,
    "envelope.tick-at-start-sounding": strobed("start", "envelope", "tick", envelope_period=2, envelope_bypass=0),
    "envelope.tick-at-start-idle": strobed("start", "envelope", "tick", "idle", envelope_period=2, envelope_bypass=0),
    "envelope.tick-at-start-one": strobed("start", "envelope", "tick", **_FADING),
    "envelope.step-at-start": strobed("start", "envelope", **_FADING),
    "envelope.step-at-stop": strobed("stop", "envelope", **_FADING),
    "envelope.period-at-step": changed("envelope.period", None, "envelope", **_FADING),
    "envelope.direction-at-step": changed("envelope.rising", 1, "envelope", **_FADING),
    "envelope.period-in-note": between("envelope.period", None, **_FADING),
    "envelope.direction-in-note": between("envelope.rising", 1, **_FADING),
    "envelope.let-go-at-tick": changed("envelope.period", 1, "envelope", "tick", envelope_period=0),
    "envelope.halted-at-tick": changed("envelope.period", 0, "envelope", **_FADING),
    "envelope.volume-in-note": _volume_in_note(None),
    "envelope.volume-at-step": _volume(None, "due"),
    "envelope.volume-at-tick": _volume(None, "bare tick", 2),
    "envelope.volume-zero-at-step": _volume(0, "due"),
    "envelope.volume-zero-without-step": _volume_in_note(0),
    "envelope.volume-at-start": field_at_start("volume"),
    "envelope.bypass-set": _bypass(1),
    "envelope.bypass-cleared": _bypass(0),
}
