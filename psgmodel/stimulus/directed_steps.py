"""Directed, the steps: what makes step counter, wave memory and noise register do what they can.

Stage: stimulus. In: the notes of a channel. Out: behaviours, played; the keys of the tables are names of bins.
"""

from __future__ import annotations

from psgmodel.chip.channel import NoiseClock
from psgmodel.stimulus.directed_sweep import play_register_at_sweep
from psgmodel.stimulus.directed_timer import field_at_start
from psgmodel.stimulus.notes import Notes, Play

LONGEST = 1 << 20
"""Cycles that a stopped clock is watched at most; common practice, no source."""


def _cut_short(n: Notes) -> None:
    n.hear(**n.long(400))
    n.play_on(80 if n.follower.watched.step.length(n.follower.fields) > 200 else n.chance.below(24))
    n.change(**n.shortest())
    n.play_on(900)


def _start_at(when: str) -> Play:
    def play(n: Notes) -> None:
        n.hear(**n.long())
        if n.chance.once_in(2):
            n.steps(2)
        if not n.active:
            n.start()
            n.play_on(n.chance.below(24))
            n.start()
        elif when == "end":
            n.strobe_at("start", lambda: n.due("step"))
        else:
            n.strobe_at("start", lambda: n.player.count_before(n.name, n.due("step"), n.chance.below(8) + 3))
        n.settle()

    return play


def _clocked(ticks: bool) -> Play:
    def play(n: Notes) -> None:
        n.hear(**n.long(12))
        clock = n.channel.step.clocked_by
        off = 0 if ticks else 1
        n.strobe_at("start", lambda: n.player.trains[clock].nth_after(n.player.ready(n.name), 1) + off)
        n.play_on(300)

    return play


def _stop_at_end(n: Notes) -> None:
    n.hear(**n.long())
    n.strobe_at("stop", lambda: n.due("step"))
    n.start()
    n.play_on(1000)


STEP: dict[str, Play] = {
    "step.cut-short": _cut_short,
    "step.old-length-first": _cut_short,
    "step.end-at-start": _start_at("end"),
    "step.within-at-start": _start_at("within"),
    "step.position-at-start": _start_at("within"),
    "step.end-at-stop": _stop_at_end,
    "step.clock-at-start": _clocked(True),
    "step.clock-between-start": _clocked(False),
}


def play_step(n: Notes, what: str) -> bool:
    """Play the behaviours that have the name of a field or a register in them."""
    block, _, rest = what.partition(".")
    key, _, place = rest.rpartition("-at-")
    if block == "sweep" and place == "step":
        play_register_at_sweep(n, key)
        return True
    if block != "step":
        return False
    for name in ("period", "divisor", "shift", "pattern", "short", "volume"):
        if rest == f"{name}-at-start":
            field_at_start(name)(n)
            return True
        for where in ("at-end", "before-end", "after-end", "within"):
            if rest == f"{name}-{where}":
                _change_near_end(n, name, where)
                return True
    for field in ("period", "divisor", "shift"):
        for index, s in enumerate(n.reach.fields[field].segments if field in n.reach.fields else ()):
            if n.chip.registers[s.address].name == key:
                _change_near_end(n, field, "at-end", segment=index)
                return True
    return False


def _change_near_end(n: Notes, field: str, where: str, *, segment: int = 0) -> None:
    n.hear(**n.long(64 + n.chance.below(40)))
    n.steps(1)
    counts = {"at-end": 0, "before-end": 1, "after-end": -1, "within": 5}[where]
    value = n.another(field, segment=segment)
    step = n.channel.step
    if field == "shift" and isinstance(step, NoiseClock):
        running = [s for s in range(1 << step.shift_bits) if s not in step.stopped and s != n.field("shift")]
        value = n.chance.among(running or [value])
    n.change_at(lambda: n.player.count_before(n.name, n.due("step"), counts), {field: value})
    n.settle()


# --- wave memories ---------------------------------------------------------------------------------------------------


def fill(n: Notes, seed: int = 0) -> None:
    """Fill the wave memory: every sample has one bit, or all but one, or is drawn."""
    memory = n.chip.memories.get(n.name)
    table = n.channel.table
    if memory is None or table is None:
        return
    width = table.bits * table.per_address
    special = [0, (1 << width) - 1, *(1 << b for b in range(width))]
    for place in range(memory.size):
        value = special[(place + seed) % len(special)] if place < len(special) else n.chance.bits(width)
        n.player.store(n.name, place, value)


def _memory(where: str) -> Play:
    """Return what writes the wave memory while it is played."""

    def play(n: Notes) -> None:
        table = n.channel.table
        assert table is not None
        size = table.samples // table.per_address
        n.hear(**n.long(96))
        n.steps(n.chance.below(4))
        wave = n.follower.watched.wave
        assert wave is not None
        data = n.chance.bits(table.bits * table.per_address)

        def place(offset: int) -> int:
            return (wave.position + offset) % table.samples // table.per_address

        if where == "here":
            n.player.store(n.name, place(0), data)
        elif where == "elsewhere":
            n.player.store(n.name, (place(0) + 1 + n.chance.below(max(1, size - 1))) % size, data)
        else:
            counts = {"next": 9, "at-fetch": 0, "before-fetch": 1}[where]
            while where == "next" and size > 1 and place(1) == place(0) and n.steps(1):
                pass
            n.at(
                lambda: n.player.count_before(n.name, n.due("step"), counts),
                lambda edge: _store_next(n, edge, data),
            )
        n.steps(table.samples + 2)

    return play


def _store_next(n: Notes, edge: int, data: int) -> bool:
    """Write the sample that is next at an edge."""
    table, wave = n.channel.table, n.follower.watched.wave
    assert table is not None
    assert wave is not None
    n.follower.wait(edge)
    return n.player.store(n.name, (wave.position + 1) % table.samples // table.per_address, data, edge)


def _memory_idle(n: Notes) -> None:
    n.silence()
    fill(n, n.chance.below(8))
    n.hear(**n.shortest())
    n.steps(n.channel.table.samples + 2 if n.channel.table else 2)


def _whole(n: Notes) -> None:
    assert n.channel.table is not None
    n.hear(**n.shortest())
    if n.steps(2 * n.channel.table.samples) < n.channel.table.samples:
        n.hear(**n.shortest())
        hold_off(n, 2 * n.channel.table.samples)


def hold_off(n: Notes, steps: int) -> None:
    """Keep what would end a note from ticking, by restarting its divider again and again, for some steps."""
    blocks = (n.channel.timer, n.channel.envelope, n.channel.sweep)
    dividers = {n.chip.ticks[b.ticks].divider for b in blocks if b is not None}
    ways = [s for s in n.player.strobes if s.target.removesuffix(".restart") in dividers]
    if not ways:
        return
    write = n.player.shadow.strobe(ways[0])
    n.player.write(write)
    for _ in range(steps * n.follower.watched.step.length(n.follower.fields) // n.player.schedule.spacing + 1):
        if not n.active or not n.player.again(write):
            return


def _wave_end(kind: str) -> Play:
    def play(n: Notes) -> None:
        n.hear(**n.long(24))
        if kind:
            n.strobe_at(kind, lambda: n.due("wave"))
        else:
            n.past(n.due("wave"))
        n.play_on(200)

    return play


def _stale(n: Notes) -> None:
    fill(n, 3)
    n.hear(**n.long(24))
    n.steps(5)
    n.start()
    n.steps(3)


WAVE: dict[str, Play] = {
    "wave.memory-idle": _memory_idle,
    "wave.memory-here": _memory("here"),
    "wave.memory-next": _memory("next"),
    "wave.memory-elsewhere": _memory("elsewhere"),
    "wave.memory-at-fetch": _memory("at-fetch"),
    "wave.memory-before-fetch": _memory("before-fetch"),
    "wave.wraps": _whole,
    "wave.stale-at-start": _stale,
    "wave.ends": _wave_end(""),
    "wave.end-at-start": _wave_end("start"),
    "wave.end-at-stop": _wave_end("stop"),
}


# --- noise -----------------------------------------------------------------------------------------------------------


MOST_NOTES = 64
"""Notes in which a noise register is to make its shifts, where each of them is short."""


def _shifts(short: int, times: int) -> Play:
    def play(n: Notes) -> None:
        assert n.channel.register is not None
        wanted = times * n.channel.register.bits + 4
        for _ in range(min(wanted, MOST_NOTES)):
            n.hear(short=short, **n.shortest())
            made = n.steps(wanted)
            wanted -= made
            if wanted <= 0 or made == 0:
                break

    return play


def _shifted(n: Notes) -> None:
    n.hear(**n.shortest())
    n.steps(40)
    n.start()
    n.steps(40)


def _clock(stopped: bool) -> Play:
    def play(n: Notes) -> None:
        step = n.channel.step
        assert isinstance(step, NoiseClock)
        assert n.channel.register is not None
        n.hear(**n.long(30))
        n.steps(2 * n.channel.register.bits + n.chance.below(8))  # past what the seed holds
        code = n.chance.among(step.stopped)
        n.change(shift=code)
        n.play_on(min(8 * step.divisors[n.field("divisor")] << code, LONGEST))
        if not stopped:
            n.change(shift=n.long(30)["shift"])
            n.play_on(400)

    return play


NOISE: dict[str, Play] = {
    "noise.long-2": _shifts(0, 2),
    "noise.long-16": _shifts(0, 16),
    "noise.short-2": _shifts(1, 2),
    "noise.short-16": _shifts(1, 16),
    "noise.start-shifted": _shifted,
    "noise.clock-stopped": _clock(True),
    "noise.clock-let-go": _clock(False),
}
