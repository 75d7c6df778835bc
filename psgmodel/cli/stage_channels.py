"""Channels alone: every channel of a chip playing one steady sound at one volume code, for comparing their loudness.

Stage: cli. In: a chip and a volume code. Out: the output code of each channel alone, one second of it.

A square channel plays the pattern nearest to half of it high, a wave table a sine that fills its range, each as near to
500 Hz as its period field allows; a noise channel steps as near to 16 kHz as its clock allows. Envelope, sweep and
timer stand still; the mixer stands as after reset, with the channel let through.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from psgmodel.chip.channel import Channel, NoiseClock, StepClock
from psgmodel.chip.records import Chip
from psgmodel.engine import UnitState, run
from psgmodel.engine.state import reset_state
from psgmodel.reglog import make_log
from psgmodel.steps import Steps

TONE_HZ = 500.0
NOISE_HZ = 16_000.0


def largest_common_volume(chip: Chip) -> int:
    """Return the largest volume code that every channel takes."""
    return min((1 << channel.volume_bits) - 1 for channel in chip.channels.values())


def channel_tones(chip: Chip, volume: int) -> Iterator[tuple[str, Steps, str]]:
    """Return each channel alone.

    Parameters
    ----------
    chip : Chip
    volume : int

    Yields
    ------
    name : str
    code : Steps
        Of the first output, on the chip's clock, one second.
    how : str
        What it plays.
    """
    log = make_log([], [], [], end=round(chip.clock_hz))
    for name, channel in chip.channels.items():
        state, how = _playing(chip, name, channel, volume)
        yield name, run(chip, log, state=state)[chip.unit.outputs[0]], how


def _playing(chip: Chip, name: str, channel: Channel, volume: int) -> tuple[UnitState, str]:
    state = reset_state(chip)
    values = {f"{name}.volume": volume, f"mixer.{chip.unit.outputs[0]}.{name}": 1, "power": 1}
    values |= {f"{name}.{f}": 0 for f in ("timer.enable", "envelope.period", "sweep.period", "sweep.shift", "short")}
    if isinstance(channel.step, NoiseClock):
        more, how = _noise(chip, channel.step)
    else:
        more, how = _tone(chip, channel, channel.step)
    values |= {f"{name}.{field}": value for field, value in more.items()}
    for field, value in values.items():
        _set(chip, state, field, value)
    own = state.channels[name]
    own.active, own.envelope_level = 1, volume
    if channel.table is not None:
        half = ((1 << channel.table.bits) - 1) / 2
        count = channel.table.samples
        state.memories[name] = [round(half + half * math.sin(2 * math.pi * i / count)) for i in range(count)]
    return state, how


def _tone(chip: Chip, channel: Channel, step: StepClock) -> tuple[dict[str, int], str]:
    values: dict[str, int] = {}
    if channel.table is not None:
        steps, what = channel.table.samples, "sine"
    else:
        balance = [abs(p.count("1") / len(p) - 0.5) for p in channel.patterns]
        values["pattern"] = balance.index(min(balance))
        pattern = channel.patterns[values["pattern"]]
        steps, what = len(pattern), f"{100 * pattern.count('1') / len(pattern):.0f} % square"
    wanted = float(chip.clock_hz) / (TONE_HZ * steps * _count_cycles(chip, step.clocked_by) * step.scale)
    raw = step.top - wanted if step.rule == "down-from" else wanted - step.offset
    values["period"] = max(0, min((1 << step.bits) - 1, round(raw)))
    counts = step.top - values["period"] if step.rule == "down-from" else values["period"] + step.offset
    hertz = float(chip.clock_hz) / (max(1, counts) * step.scale * steps * _count_cycles(chip, step.clocked_by))
    return values, f"{what}, {hertz:.0f} Hz"


def _noise(chip: Chip, step: NoiseClock) -> tuple[dict[str, int], str]:
    base = float(chip.clock_hz) / _count_cycles(chip, step.clocked_by)
    options = [
        (abs(math.log(base / (divisor << shift) / NOISE_HZ)), index, shift)
        for index, divisor in enumerate(step.divisors)
        for shift in range(1 << step.shift_bits)
        if shift not in step.stopped
    ]
    _, index, shift = min(options)
    return {"divisor": index, "shift": shift}, f"noise, {base / (step.divisors[index] << shift):.0f} steps a second"


def _count_cycles(chip: Chip, tick: str) -> float:
    """Return how many clock cycles one count of a step lasts, on average."""
    if not tick:
        return 1.0
    ticks = chip.ticks[tick]
    divider = chip.dividers[ticks.divider]
    return divider.every * divider.steps / max(1, len(ticks.at))


def _set(chip: Chip, state: UnitState, name: str, value: int) -> None:
    """Write a field into the registers that hold it; a constant field stays as it is."""
    field = chip.fields.get(name)
    for segment in field.segments if field is not None else ():
        mask = (1 << segment.width) - 1
        bits = value >> segment.field_low & mask
        old = state.registers[segment.address]
        state.registers[segment.address] = old & ~(mask << segment.low) | bits << segment.low
