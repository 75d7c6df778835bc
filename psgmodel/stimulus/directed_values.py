"""Directed, the values: what makes every value of every field heard.

Stage: stimulus. In: the notes of a channel, the name of a bin such as ``period=8``. Out: the value, played.
"""

from __future__ import annotations

from psgmodel.chip.channel import NoiseClock
from psgmodel.engine.countdown import NEVER
from psgmodel.stimulus.directed_steps import LONGEST, hold_off
from psgmodel.stimulus.notes import Notes


def play_value(n: Notes, what: str) -> bool:
    """Play the value of a field; return whether this is one."""
    key, equals, text = what.rpartition("=")
    if what.startswith("wave.sample-"):
        n.hear(**n.shortest())
        if n.steps(n.reach.positions() + 2) < n.reach.positions():
            n.hear(**n.shortest())
            hold_off(n, n.reach.positions() + 2)
        return True
    if what.endswith("-alone"):
        _alone(n, *what.removesuffix("-alone").rsplit(".", 1))
        return True
    if not equals:
        return False
    value = int(text)
    if key in ("period", "divisor", "shift"):
        _step(n, key, value)
    elif key == "pattern":
        n.hear(pattern=value, **n.shortest())
        n.steps(n.reach.positions() + 2)
    elif key in ("level", "volume"):
        _level(n, value)
    elif key == "timer.length":
        _length(n, value)
    elif key == "envelope.period":
        n.hear(volume=1 << n.channel.volume_bits - 1, envelope_period=value, envelope_bypass=0)
        _to(n, n.due("envelope"))
    elif key == "sweep.period":
        n.hear(sweep_period=value, sweep_shift=2, sweep_falling=1)
        _to(n, n.due("sweep"))
    elif key in ("sweep.rising-shift", "sweep.falling-shift"):
        _shift(n, value, int(key.startswith("sweep.falling")))
    else:
        return False
    return True


def _to(n: Notes, edge: int) -> None:
    if edge < NEVER:
        n.player.wait(edge + 2)
        n.play_on(64)


def _step(n: Notes, key: str, value: int) -> None:
    step = n.channel.step
    fields = n.base | {key: value}
    if isinstance(step, NoiseClock) and key == "shift" and value in step.stopped:
        n.hear()
        n.steps(2)
        n.change(shift=value)
        n.play_on(min(2 * step.divisors[n.field("divisor")] << value, LONGEST))
        return
    n.hear(**fields)
    # However the bits of a noise register stand, one of them differs from its neighbour within its width.
    n.steps(3 if n.channel.register is None else n.channel.register.bits + 2)


def _level(n: Notes, value: int) -> None:
    n.hear(volume=value, envelope_bypass=0, **n.shortest())
    n.steps(n.reach.positions() + 3)
    if n.channel.envelope is not None and not n.reach.driven("volume"):
        n.block_ticks("envelope", 4 << n.channel.volume_bits)


def _length(n: Notes, value: int) -> None:
    timer = n.channel.timer
    assert timer is not None
    n.hear(timer_enable=1, timer_length=value)
    end = n.due("timer")
    if timer.on_enable == "tick" and n.reach.driven("timer.enable"):  # each time it is switched on counts as a tick
        while n.active and n.follower.watched.timer is not None:
            n.change(timer_enable=0)
            n.change(timer_enable=1)
        n.play_on(8)
        return
    _to(n, end)


def _alone(n: Notes, key: str, register: str) -> None:
    """Write one register of a field that is joined from several, the bits in the others not all 0."""
    segments = n.reach.fields[key].segments
    own = next(s for s in segments if n.chip.registers[s.address].name == register)
    others = [1 << s.field_low for s in segments if s.address != own.address]
    if key == "timer.length":
        assert n.channel.timer is not None
        value = min(others) if n.channel.timer.loads == "field" else n.ticks(1)
        n.prepare(timer_enable=1, timer_length=value ^ 1 << own.field_low)
        n.change(timer_length=value)
        n.start()
        _to(n, n.due("timer"))
        return
    value = n.base.get(key, 0) | min(others)
    n.hear(**{key: value ^ 1 << own.field_low})
    n.change(**{key: value})
    n.steps(max(3, n.reach.positions() + 1))


def _shift(n: Notes, value: int, falling: int) -> None:
    """Play a sweep step with a shift, from a period at which it makes a difference and fits."""
    assert n.channel.sweep is not None
    size, constant = 1 << n.reach.fields["period"].bits, n.channel.sweep.moves_by == "constant"
    if constant:
        period = size - 1 if falling else 0
    else:
        period = size * 3 // 4 if falling else (size * 3 // 8 if value == 0 else size // 2)
        period = max(period, 1 << value) if 1 << value < size else period
    checked = n.channel.sweep.check != "at-step" and not falling
    n.hear(sweep_period=1, sweep_shift=0 if checked else value, sweep_falling=falling, period=period)
    if checked:
        n.change(sweep_shift=value)
    _to(n, n.due("sweep"))
    n.settle()
