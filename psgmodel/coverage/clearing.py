"""Clearing: what the power bit clears, and that it is heard to be cleared.

Stage: coverage. In: a chip. Out: behaviours over `Happenings`. Something stands away from its reset value as the power
goes off; then a channel that it concerns is heard before it is written anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from psgmodel.chip.channel import NoiseClock
from psgmodel.chip.records import Chip
from psgmodel.coverage.bins import Chapter
from psgmodel.coverage.columns import Mask
from psgmodel.coverage.happenings import Happenings
from psgmodel.coverage.reach import Reach, first_of, held_values
from psgmodel.coverage.sums import over_time
from psgmodel.engine.actions import write_actions
from psgmodel.engine.kernel.layout import QUIET
from psgmodel.engine.mixing import gated
from psgmodel.steps import Steps

LASTING = 16
"""Cycles that something has to be heard at its reset value; common practice, no source."""


def cleared(c: Chapter, chip: Chip, reaches: dict[str, Reach], fixed: str) -> None:
    """Write down each field of the mixer and each register of a channel that the power bit clears."""
    for name, field in chip.fields.items():
        if not name.startswith("mixer.") or not field.segments:
            continue
        key = name.rpartition(".")[2]
        addresses = sorted({s.address for s in field.segments})
        own = [key] if key in chip.channels else list(chip.channels)
        silent = {n: _unmixed(reaches[n], name, addresses) for n in own}
        heard = [n for n, reason in silent.items() if not reason]
        c.add(
            f"{name}-cleared",
            f"{name} away from its reset value as the power goes off, then heard before it is written",
            lambda h, n=name, a=addresses, k=heard: _heard(
                h, a, lambda e: _field_away(h, n, e), [(_mixed(h, n, i), LASTING) for i in k]
            ),
            fixed,
            *(_with_power(chip, a) for a in addresses),
            "" if len({_gains(chip, name)[v] for v in held_values(chip, name)}) > 1 else f"{name} makes no difference",
            "" if "" in silent.values() else next(iter(silent.values())),
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
                reach.unrouted(chip.unit.outputs, [address]),
            )


def _gains(chip: Chip, field: str) -> Sequence[int]:
    """Return what the values of a field of the mixer stand for."""
    return chip.mixer.trims if field.endswith(".trim") else chip.mixer.routes


def _unmixed(reach: Reach, field: str, addresses: list[int]) -> str:
    """Say why a field of the mixer makes no difference to a channel before its registers are written."""
    return first_of(
        reach.silent,
        reach.unrouted([field.split(".")[1]], addresses, field),
        reach.no_volume(addresses),
        *(not_left_alone(reach, a) for a in addresses),
    )


def own_parts(chip: Chip, name: str) -> list[int]:
    """Return the addresses of the registers that hold fields of a channel."""
    return [a for a, action in write_actions(chip, name).items() if a < QUIET and action.parts]


def not_left_alone(reach: Reach, address: int) -> str:
    """Say why a register is written before its channel is heard again."""
    if reason := _with_power(reach.chip, address):
        return reason
    waits = reach.chip.held()
    if any(address not in (a, waits.get(a)) for a in reach.starts) or reach.channel.at_reset == "active":
        return reach.no_start_as_reset(address)
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


def _mixed(h: Happenings, field: str, name: str) -> Steps:
    """Return 1 where a channel is heard in an output, or would be but for a field of the mixer."""
    output, found = field.split(".")[1], h.loud(name)
    for other in {f"mixer.{output}.{name}", f"mixer.{output}.trim"} & set(h.fields) - {field}:
        found = gated(found, h.through(other), [0, 1])
    return found


def _field_away(h: Happenings, name: str, edge: int) -> bool:
    """Tell whether a field of the mixer lets through another part than by its reset value, before an edge."""
    gains = _gains(h.chip, name)
    return edge > 0 and gains[int(h.fields[name].at(np.array([edge - 1]))[0])] != gains[h.chip.fields[name].reset]


def _register_away(h: Happenings, name: str, address: int, edge: int) -> bool:
    """Tell whether the bits of a channel in a register stand away from their reset value before an edge."""
    bits = sum(mask << low for _, low, mask, _ in write_actions(h.chip, name)[address].parts)
    here = (h.events.address == address) & (h.events.edge < edge)
    values = h.events.value[here]
    return bool(values.size) and (int(values[-1]) ^ h.chip.registers[address].reset) & bits != 0


def _sound(h: Happenings, name: str, address: int) -> Steps:
    """Return 1 where a channel is heard; where the register holds its volume, which is reset, where it would be."""
    if all(key != "volume" for key, *_ in write_actions(h.chip, name)[address].parts):
        return h.heard(name, h.loud(name))
    m = h.moments[name]
    return h.heard(name, over_time(m, m.was_active.astype(np.int64), m.is_active.astype(np.int64), h.end))
