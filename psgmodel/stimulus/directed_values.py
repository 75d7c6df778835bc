"""Directed, the values: what makes every value of every field heard.

Stage: stimulus. In: the notes of a channel, the name of a bin such as ``period=8``. Out: the value, played.
"""

from __future__ import annotations

from psgmodel.chip.channel import NoiseClock
from psgmodel.coverage.values import classes
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
    elif key in ("envelope.period", "sweep.period"):
        _period(n, key.partition(".")[0], value)
    elif key in ("sweep.rising-shift", "sweep.falling-shift"):
        _shift(n, value, int(key.startswith("sweep.falling")))
    else:
        return False
    return True


def _to(n: Notes, edge: int) -> None:
    n.past(edge)
    if edge < NEVER:
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
    count = 3 if n.channel.register is None else n.channel.register.bits + 2
    fitting = n.player.farthest // n.step_cycles()
    if fitting:
        n.steps(min(count, max(2, fitting // 4)))
    else:  # it counts if it stands until the channel itself goes on
        n.past(min(n.due(block) for block in ("timer", "envelope", "sweep")))


def _to_zero(n: Notes) -> None:
    """Let a start meet the last step of the envelope down to 0, which does not end the note then."""
    fade = n.follower.watched.envelope
    assert fade is not None
    n.hear(envelope_period=1, envelope_rising=0, envelope_bypass=0, **n.shortest())
    while n.active and fade.level > fade.options.step and n.due("envelope") - n.player.now <= n.player.farthest:
        n.past(n.due("envelope"))
    n.strobe_at("start", lambda: n.due("envelope"))
    n.steps(n.reach.positions() + 3)


def _level(n: Notes, value: int) -> None:
    fade = n.channel.envelope
    if value == 0 and fade is not None and fade.at_zero == "stop" and fade.start_and_tick == "tick":
        _to_zero(n)
    n.hear(volume=value, envelope_bypass=0, **n.shortest())
    n.steps(n.reach.positions() + 3)
    if (
        n.channel.envelope is not None
        and n.channel.envelope.period_zero == "longest"
        and n.reach.driven("envelope.bypass")
    ):
        n.hear(volume=value, envelope_bypass=1, **n.shortest())
        n.steps(n.reach.positions() + 3)
    if n.channel.envelope is not None and not n.reach.driven("volume"):
        n.block_ticks("envelope", 4 << n.channel.volume_bits)


def _length(n: Notes, value: int) -> None:
    timer = n.channel.timer
    assert timer is not None
    periods = _periods(n)
    fade = n.channel.envelope
    if fade is not None and fade.at_zero == "stop" and 1 not in n.reach.values("envelope.rising"):
        periods["envelope"] = []  # it would end the note
    glide = n.channel.sweep
    if glide is not None and glide.overflow == "stop" and 1 not in n.reach.values("sweep.falling"):
        periods["sweep"] = []
    if timer.on_start == "when-zero" and n.follower.watched.timer is not None and n.follower.watched.timer.count:
        n.hear(timer_enable=1)
        n.past(n.due("timer"))
    n.hear(timer_enable=1, timer_length=value, **_pace(n, periods))
    rare = n.reach.apart(timer.ticks) > 4 * n.player.schedule.spacing * n.player.schedule.each
    stops = f"{n.name}.stop" in {event for a in n.acting("timer.enable") for event in n.chip.registers[a].on_write}
    quicker = rare and n.reach.driven("timer.enable") and not stops and not n.restarted("timer.enable")
    if timer.on_enable == "tick" and quicker:  # each time it is switched on counts as a tick
        while n.active and n.follower.watched.timer is not None:
            n.change(timer_enable=0)
            n.change(timer_enable=1)
        n.play_on(8)
        return
    _go_through(n, periods, until=n.due("timer"))
    _to(n, n.due("timer"))


def _period(n: Notes, block: str, value: int) -> None:
    """Play a period of envelope or sweep and all that are longer, and those of the other one beside them; each in a
    note of its own, where a write to it starts the note or the ticks anew."""
    periods = _periods(n)
    anew = n.restarts(f"{block}.period", block)
    periods[block] = [v for v in periods[block] if v == value or (v > value and not anew)]
    if n.reach.once:
        periods = {key: values if key == block else [] for key, values in periods.items()}
    n.hear(**_pace(n, periods))
    _go_through(n, periods)
    n.play_on(64)


def _periods(n: Notes) -> dict[str, list[int]]:
    """Return the periods of envelope and sweep at which they move and which have bins, rising."""
    found = {}
    for block in ("envelope", "sweep"):
        field = n.reach.fields.get(f"{block}.period")
        values = set(n.reach.values(f"{block}.period"))
        found[block] = [v for v in classes(field.bits, each=True) if v and v in values] if field else []
    return found


def _pace(n: Notes, periods: dict[str, list[int]]) -> dict[str, int]:
    """Return the fields of a note in which envelope and sweep begin with the first of some periods."""
    fields = {"volume": 1 << n.channel.volume_bits - 1, "envelope_bypass": 0}
    fields |= {f"{block}_period": values[0] for block, values in periods.items() if values}
    if n.reach.once:
        fields |= n.slowest()
    if periods["sweep"]:
        return fields | {"sweep_shift": 3, "sweep_falling": 1}
    if n.reach.once:
        return fields
    return fields | n.unhurried("timer" if n.channel.timer is not None else "envelope")


def _go_through(n: Notes, periods: dict[str, list[int]], until: int = NEVER) -> None:
    """Let envelope and sweep, side by side, make a step by each of some periods, up to an edge; each period is loaded
    by the step before it."""
    for block in periods:
        _set_next(n, block, periods[block])
    while n.active and (edges := {n.due(block): block for block, left in periods.items() if left}):
        edge = min(edges)
        if edge >= until or edge - n.player.now > n.player.farthest:
            return
        n.player.wait(edge + 1)
        del periods[edges[edge]][:1]
        _set_next(n, edges[edge], periods[edges[edge]])


def _set_next(n: Notes, block: str, left: list[int]) -> None:
    """Set the period after the one that runs, which is the first of those left; the volume stays about where it is."""
    if n.restarts(f"{block}.period", block):
        return
    period = left[min(1, len(left) - 1)] if left else 0
    if block == "sweep":
        n.change(sweep_period=period)
    elif n.follower.watched.envelope is not None:
        low = n.follower.watched.envelope.level < 1 << n.channel.volume_bits - 1
        n.change(envelope_period=period, envelope_rising=int(low or not left))


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
    checked = n.channel.sweep.check != "at-step" and not falling and not n.restarts("sweep.shift", "sweep")
    n.hear(sweep_period=1, sweep_shift=0 if checked else value, sweep_falling=falling, period=period)
    if checked:
        n.change(sweep_shift=value)
    _to(n, n.due("sweep"))
    n.settle()
