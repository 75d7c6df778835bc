"""Checks: what the options of a chip must satisfy together.

Stage: chip. In: records just read. Out: problems with their place. What a single option accepts on its own
is checked where it is read.
"""

from __future__ import annotations

from collections.abc import Mapping

from psgmodel.chip.options import ReadingState
from psgmodel.chip.records import Channel, Divider, Mixer, NoiseClock, ShiftRegister, StepClock
from psgmodel.errors import nearest
from psgmodel.tomlfile import KeyPath


def check_channel(channel: Channel, ticks: Mapping[str, Divider], state: ReadingState) -> None:
    """Report what does not fit together within a channel."""
    path = ("channel", channel.name)
    for key in ("timer", "envelope", "sweep"):
        block = getattr(channel, key)
        if block is not None and block.ticks not in ticks:
            hint = nearest(block.ticks, ticks) or f"known: {', '.join(ticks) or 'none'}"
            state.report((*path, key, "ticks"), f'no tick "{block.ticks}"', hint)
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


def _check_count(items: tuple[object, ...], path: KeyPath, state: ReadingState) -> None:
    if not 1 <= len(items) <= 256 or len(items) & (len(items) - 1):
        state.report(path, f"found {len(items)} entries, accepted: 1, 2, 4, ... 256, so that every field value has one")


def _check_step(step: StepClock, path: KeyPath, state: ReadingState) -> None:
    largest = (1 << step.bits) - 1
    if step.rule == "down-from" and step.top <= largest:
        state.report(
            (*path, "top"),
            f"found {step.top}; a period of {largest} would give a step of no length, accepted: more than {largest}",
        )
    if step.rule == "up-from" and step.offset < 1:
        state.report((*path, "offset"), "found 0; a period of 0 would give a step of no length, accepted: 1 or more")


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
    if not mixer.trims:
        return
    largest = sum(max(1, mixer.gains.get(name, 1)) * largest_level(channel) for name, channel in channels.items())
    largest *= max(1, *mixer.trims)
    if largest >= 2**31:
        state.report(("mixer",), f"the sum could reach {largest}, accepted: less than 2^31")


def largest_level(channel: Channel) -> int:
    """Return the largest level that a channel can have."""
    volume = (1 << channel.volume_bits) - 1
    if channel.table is None:
        return volume
    sample = (1 << channel.table.bits) - 1
    return sample if channel.table.volume == "shift" else sample * volume >> channel.table.volume_shift
