"""Checks: what the options of a chip must satisfy together.

Stage: chip. In: records just read. Out: problems with their place. What a single option accepts on its own
is checked where it is read.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from psgmodel.chip.channel import Channel, NoiseClock, ShiftRegister, StepClock, WaveTable
from psgmodel.chip.options import ReadingState
from psgmodel.chip.records import Bus, Divider, Mixer, Power, Register, Sequencer, Ticks, TickSource
from psgmodel.tomlfile import KeyPath


def resolve_ticks(
    sources: Mapping[str, TickSource], sequencers: Mapping[str, Sequencer], state: ReadingState
) -> tuple[dict[str, Divider], dict[str, Ticks]]:
    """Return the dividers and what ticks at which of their steps; report sources that say too little or too much."""
    dividers = {
        name: Divider(name, s.every, s.first, s.steps, s.at_restart == "step", s.after_restart or s.every)
        for name, s in sequencers.items()
    }
    ticks = {}
    for name, source in sources.items():
        path = ("ticks", name)
        if name in sequencers:
            state.report(path, "a sequencer has this name already")
        if source.sequencer:
            _check_sequenced(source, path, sequencers, state)
            ticks[name] = Ticks(source.sequencer, tuple(sorted(source.at)))
            continue
        if source.every == 0:
            state.report(path, "either every or sequencer is needed")
        if source.at:
            state.report((*path, "at"), "only a tick of a sequencer has this")
        every = max(source.every, 1)
        first = every - 1 if source.first < 0 else source.first
        again = source.after_restart or every
        dividers[name] = Divider(name, every, first, 1, source.at_restart == "tick", again)
        ticks[name] = Ticks(name, (0,))
    return dividers, ticks


def _check_sequenced(
    source: TickSource, path: KeyPath, sequencers: Mapping[str, Sequencer], state: ReadingState
) -> None:
    if source.every or source.first >= 0 or source.after_restart or source.at_restart != "silent":
        state.report(
            path, "a tick of a sequencer has no divider of its own: every, first and restart are the sequencer's"
        )
    if source.sequencer not in sequencers:
        found = f'no sequencer "{source.sequencer}"'
        state.report((*path, "sequencer"), found, state.hint(source.sequencer, sequencers))
        return
    steps = sequencers[source.sequencer].steps
    if not source.at or len(set(source.at)) != len(source.at) or max(source.at) >= steps:
        state.report((*path, "at"), f"found {list(source.at)}, different steps from 0 to {steps - 1} are expected")


def check_bus(bus: Bus, state: ReadingState) -> None:
    """Report a value that the bus cannot carry."""
    if bus.unowned_reads >> bus.data_bits:
        wanted = f"accepted: 0 to 0x{(1 << bus.data_bits) - 1:X}"
        state.report(("bus", "unowned_reads"), f"found 0x{bus.unowned_reads:X}, {wanted}")


def check_channel(
    channel: Channel,
    ticks: Mapping[str, Ticks],
    dividers: Mapping[str, Divider],
    power: Power | None,
    state: ReadingState,
) -> None:
    """Report what does not fit together within a channel."""
    path = ("channel", channel.name)
    if power is not None and channel.at_reset == "active":
        state.report((*path, "at_reset"), "a unit with a power bit has no channel that is active at reset")
    for key in ("timer", "envelope", "sweep"):
        block = getattr(channel, key)
        if block is not None:
            _check_tick(block.ticks, ticks, (*path, key, "ticks"), state)
    clock = channel.step.clocked_by
    if clock:
        _check_tick(clock, ticks, (*path, "step", "clocked_by"), state)
        if clock in ticks and ticks[clock].divider != clock:
            state.report(
                (*path, "step", "clocked_by"), "a step needs a tick with a divider of its own, not a sequencer's"
            )
    if isinstance(channel.step, NoiseClock):
        _check_count(channel.step.divisors, (*path, "step", "divisors"), state)
    else:
        _check_step(channel.step, (*path, "step"), state)
    wanted = {"square": "patterns", "wave": "table", "noise": "register"}
    for kind, key in wanted.items():
        given = bool(getattr(channel, key))
        if given and kind != channel.kind:
            state.report((*path, key), f"only a {kind} channel has this, and the kind here is {channel.kind}")
        elif not given and kind == channel.kind:
            state.report(path, f"a {kind} channel needs {key}")
    if channel.kind == "square" and channel.patterns:
        _check_patterns(channel.patterns, path, state)
    if channel.kind == "noise" and channel.sweep is not None:
        state.report((*path, "sweep"), "a noise channel has no period to sweep")
    if channel.kind == "noise" and channel.position_on_start != "reset":
        state.report((*path, "position_on_start"), "a noise channel has no position; see register.on_start")
    if channel.register is not None:
        check_shift_register(channel.register, (*path, "register"), state)
    if channel.table is not None:
        _check_table(channel.table, (*path, "table"), state)
    size = 1 << channel.volume_bits
    if channel.volume_table and len(channel.volume_table) != size:
        state.report(
            (*path, "volume_table"), f"found {len(channel.volume_table)} entries, one for each volume is {size}"
        )
    if channel.volume_table and channel.table is not None and channel.table.volume == "shift":
        state.report((*path, "volume_table"), "a volume that shifts the sample needs no table")


def check_held(registers: Sequence[Register], state: ReadingState) -> None:
    """Report registers that are held until something that does not let them go."""
    known = {r.name: r for r in registers if not r.held_until}
    for index, register in enumerate(registers):
        path = ("register", index, "held_until")
        if not register.held_until or state.spoilt(*path):
            continue
        if register.held_until not in known:
            found = f'no register "{register.held_until}" that is not held itself'
            state.report(path, found, state.hint(register.held_until, known))
        if any(field.target == "power" for field in register.fields):
            state.report(path, "the register of the power bit cannot be held")


def _check_tick(name: str, ticks: Mapping[str, Ticks], path: KeyPath, state: ReadingState) -> None:
    if name not in ticks:
        state.report(path, f'no tick "{name}"', state.hint(name, ticks))


def _check_count(items: tuple[object, ...], path: KeyPath, state: ReadingState, least: int = 1) -> None:
    if not least <= len(items) <= 256 or len(items) & (len(items) - 1):
        counts = "1, 2, 4, ... 256" if least == 1 else "2, 4, ... 256"
        state.report(path, f"found {len(items)} entries, accepted: {counts}, so that every field value has one")


def _check_step(step: StepClock, path: KeyPath, state: ReadingState) -> None:
    largest = (1 << step.bits) - 1
    if step.rule == "down-from" and step.top <= largest:
        state.report(
            (*path, "top"),
            f"found {step.top}; a period of {largest} would give a step of no length, accepted: more than {largest}",
        )
    if step.rule == "up-from" and step.offset < 1:
        state.report((*path, "offset"), "found 0; a period of 0 would give a step of no length, accepted: 1 or more")


def _check_table(table: WaveTable, path: KeyPath, state: ReadingState) -> None:
    if table.samples % table.per_address:
        state.report(
            (*path, "per_address"), f"{table.samples} samples cannot be packed {table.per_address} to an address"
        )
    if table.start_position >= table.samples:
        state.report((*path, "start_position"), f"found {table.start_position}, accepted: 0 to {table.samples - 1}")


def _check_patterns(patterns: tuple[str, ...], path: KeyPath, state: ReadingState) -> None:
    _check_count(patterns, (*path, "patterns"), state)
    for index, pattern in enumerate(patterns):
        place = (*path, "patterns", index)
        if not pattern or set(pattern) - set("01"):
            state.report(place, f'found "{pattern}", a text of 0 and 1 is expected')
        elif len(pattern) != len(patterns[0]):
            state.report(place, f"{len(pattern)} steps, but the first pattern has {len(patterns[0])}")
        elif len(pattern) > 4096:
            state.report(place, f"{len(pattern)} steps, accepted: 1 to 4096")


def check_shift_register(register: ShiftRegister, path: KeyPath, state: ReadingState) -> None:
    """Report positions outside a shift register, repeated taps, and a seed that never moves."""
    modes: list[tuple[KeyPath, tuple[int, ...], int, tuple[int, ...]]] = [(path, register.taps, register.output, ())]
    if register.short is not None:
        modes.append(((*path, "short"), register.short.taps, register.short.output, register.short.insert))
    for where, taps, output, insert in modes:
        for key, positions in (("taps", taps), ("output", (output,)), ("insert", insert)):
            for position in positions:
                if position > register.bits:
                    state.report((*where, key), f"position {position} in a register of {register.bits} bits")
        if not taps:
            state.report((*where, "taps"), "no taps")
        if len(set(taps)) != len(taps):
            state.report((*where, "taps"), "a position stands twice, and its exclusive or with itself is nothing")
    if register.seed_value >> register.bits:
        state.report((*path, "seed"), f"0x{register.seed_value:X} does not fit {register.bits} bits")
    stuck = 0 if register.feedback == "xor" else (1 << register.bits) - 1
    odd_xnor = register.feedback == "xnor" and len(register.taps) % 2 == 1
    if register.seed_value == stuck and not odd_xnor:
        hint = "an exclusive or needs a seed with a 1, its inverse a seed with a 0"
        state.report((*path, "seed"), "the register never leaves this seed", hint)


def check_mixer(mixer: Mixer, channels: Mapping[str, Channel], state: ReadingState) -> None:
    """Report a mixer whose levels, sums or products could leave 32 bits."""
    _check_count(mixer.trims, ("mixer", "trims"), state)
    size = 1 << mixer.bits
    if mixer.table and len(mixer.table) != size:
        state.report(("mixer", "table"), f"found {len(mixer.table)} entries, one for each sum is {size}")
    if max(mixer.table, default=0) >= size:
        found = f"found {max(mixer.table)}, a code of {mixer.bits} bits is 0 to {size - 1}"
        state.report(("mixer", "table"), found)
    _check_count(mixer.routes, ("mixer", "routes"), state, least=2)
    if not mixer.trims or not mixer.routes:
        return
    largest = sum(max(1, mixer.gains.get(name, 1)) * largest_level(channel) for name, channel in channels.items())
    largest *= max(1, *mixer.routes) * max(1, *mixer.trims)
    if largest >= 2**30:
        state.report(("mixer",), f"the sum could reach {largest}, accepted: less than 2^30")


def largest_level(channel: Channel) -> int:
    """Return a bound for the size of a channel's level."""
    loudness = max(channel.volume_table, default=(1 << channel.volume_bits) - 1)
    level = loudness
    if channel.table is not None:
        sample = (1 << channel.table.bits) - 1
        level = sample if channel.table.volume == "shift" else sample * loudness >> channel.table.volume_shift
    return max(level + 1, abs(channel.idle_level))
