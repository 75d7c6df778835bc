"""Clearing: what the power bit clears, and that it is heard to be cleared.

Stage: coverage. In: a chip. Out: behaviours over `Happenings`. Something stands away from its reset value as the power
goes off; then a channel that it concerns is heard before it is written anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from psgmodel.chip.channel import NoiseClock
from psgmodel.chip.records import Chip
from psgmodel.coverage.bins import Chapter
from psgmodel.coverage.columns import Mask
from psgmodel.coverage.happenings import Happenings
from psgmodel.coverage.reach import Reach
from psgmodel.coverage.sums import over_time
from psgmodel.engine.actions import write_actions
from psgmodel.engine.kernel.layout import QUIET
from psgmodel.steps import Steps

LASTING = 16
"""Cycles that something has to be heard at its reset value; common practice, no source."""


def cleared(c: Chapter, chip: Chip, reaches: dict[str, Reach], fixed: str) -> None:
    """Write down each field of the mixer and each register of a channel that the power bit clears."""
    for name, field in chip.fields.items():
        if not name.startswith("mixer.") or not field.segments:
            continue
        key = name.rpartition(".")[2]
        channels = [key] if key in chip.channels else list(chip.channels)
        addresses = sorted({s.address for s in field.segments})
        c.add(
            f"{name}-cleared",
            f"{name} away from its reset value as the power goes off, then heard before it is written",
            lambda h, n=name, a=addresses, k=channels: _heard(
                h, a, lambda e: _field_away(h, n, e), [(h.loud(i), LASTING) for i in k]
            ),
            fixed,
            *(_with_power(chip, a) for a in addresses),
            "" if any(not reaches[n].silent for n in channels) else reaches[channels[0]].silent,
        )
    for name, reach in reaches.items():
        for address in own_parts(chip, name):
            register = chip.registers[address].name
            c.add(
                f"{name}.{register}-cleared",
                f"{register} away from its reset value as the power goes off, then {name} heard before it is written",
                lambda h, n=name, a=address: _heard(
                    h, [a], lambda e: _register_away(h, n, a, e), [(_sound(h, n, a), patience(chip, n, a))]
                ),
                fixed,
                reach.silent,
                not_left_alone(reach, address),
            )


def own_parts(chip: Chip, name: str) -> list[int]:
    """Return the addresses of the registers that hold fields of a channel."""
    return [a for a, action in write_actions(chip, name).items() if a < QUIET and action.parts]


def not_left_alone(reach: Reach, address: int) -> str:
    """Say why a register is written before its channel is heard again."""
    if reason := _with_power(reach.chip, address):
        return reason
    starts = set(reach.strobes["start"])
    if reach.gated:
        starts |= {s.address for s in reach.fields["gate"].segments}
    if starts - {address} or reach.channel.at_reset == "active":
        return ""
    return f"any start of {reach.name} writes {reach.chip.registers[address].name}"


def _with_power(chip: Chip, address: int) -> str:
    """Say why a register is written wherever the power is switched on."""
    own = {s.address for s in chip.fields["power"].segments}
    return f"{chip.registers[address].name} is written as the power is switched on" if address in own else ""


def patience(chip: Chip, name: str, address: int) -> int:
    """Return for how many cycles a register has to be heard: two ticks of each block it governs, and two steps."""
    channel = chip.channels[name]
    parts = {part[0].partition(".")[0] for part in write_actions(chip, name)[address].parts}
    found = [LASTING]
    for block in (getattr(channel, part, None) for part in parts & {"timer", "envelope", "sweep"}):
        if block is not None:
            found.append(2 * _apart(chip, block.ticks))
    if parts & {"period", "divisor", "shift", "pattern", "short"}:
        found.append(2 * _reset_step(chip, name))
    return max(found)


def _apart(chip: Chip, tick: str) -> int:
    """Return the distance of two ticks, on average."""
    divider = chip.dividers[chip.ticks[tick].divider]
    return divider.every * divider.steps // len(chip.ticks[tick].at)


def _reset_step(chip: Chip, name: str) -> int:
    """Return the cycles of a step by the reset values of its fields; a stopped clock has none."""
    step = chip.channels[name].step
    fields = {key: chip.fields.get(f"{name}.{key}") for key in ("period", "divisor", "shift")}
    reset = {key: field.reset if field is not None else 0 for key, field in fields.items()}
    if isinstance(step, NoiseClock):
        counts = 0 if reset["shift"] in step.stopped else step.divisors[reset["divisor"]] << reset["shift"]
    else:
        base = reset["period"] + step.offset if step.rule == "up-from" else step.top - reset["period"]
        counts = step.scale * base
    return counts * (_apart(chip, step.clocked_by) if step.clocked_by else 1)


# --- seen ------------------------------------------------------------------------------------------------------------


def _heard(
    h: Happenings, addresses: Iterable[int], away: Callable[[int], bool], signals: list[tuple[Steps, int]]
) -> Mask:
    """Tell for each clearing whether something stood away, and one of some signals then lasts before it is written."""
    writes = np.sort(np.concatenate([h.passed(a) for a in addresses]))
    found = np.zeros(h.cleared.size, np.bool_)
    for i, edge in enumerate(h.cleared.tolist()):
        later = writes[writes > edge]
        until = int(later[0]) if later.size else h.end
        found[i] = away(edge) and any(_span(signal, edge, until) >= least for signal, least in signals)
    return found


def _span(signal: Steps, begin: int, end: int) -> int:
    """Return for how many cycles of a part a signal is not 0."""
    cycles = np.clip(np.append(signal.cycle, signal.end), begin, end)
    return int((np.diff(cycles) * (signal.level != 0)).sum())


def _field_away(h: Happenings, name: str, edge: int) -> bool:
    return edge > 0 and int(h.fields[name].at(np.array([edge - 1]))[0]) != h.chip.fields[name].reset


def _register_away(h: Happenings, name: str, address: int, edge: int) -> bool:
    """Tell whether the bits of a channel in a register stand away from their reset value before an edge."""
    bits = sum(mask << low for _, low, mask, _ in write_actions(h.chip, name)[address].parts)
    here = (h.events.address == address) & (h.events.edge < edge)
    values = h.events.value[here]
    return bool(values.size) and (int(values[-1]) ^ h.chip.registers[address].reset) & bits != 0


def _sound(h: Happenings, name: str, address: int) -> Steps:
    """Return 1 where a channel is heard; where the register holds its volume, which is reset, where it is active."""
    if all(key != "volume" for key, *_ in write_actions(h.chip, name)[address].parts):
        return h.loud(name)
    m = h.moments[name]
    return over_time(m, m.was_active.astype(np.int64), m.is_active.astype(np.int64), h.end)
