"""Passes: what could be simpler about a log. They propose; `search` takes what still fails and `order` calls simpler.

Stage: diagnose, shrinking. In: a chip and a log. Out: candidates, each a log with the same kinds of writes: an index
port is set where a data port needs it, and neighbouring writes come no closer than the given distance. Cycles count
clock edges.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.records import Chip
from psgmodel.reglog.bus import register_writes
from psgmodel.reglog.log import RegisterLog

Take = Callable[[RegisterLog], bool]
"""Takes a candidate if it is simpler and still fails, and says whether it did."""

MOST_FOR_PAIRS = 10
"""Writes above which pairs are not tried: the runs grow with the square."""


def with_columns(
    log: RegisterLog, cycle: NDArray[np.int64], address: NDArray[np.int64], value: NDArray[np.int64], end: int
) -> RegisterLog:
    """Return a log with other columns; lines of a file no longer hold."""
    return RegisterLog(cycle, address, value, end, log.source)


def number_of_writes(chip: Chip, log: RegisterLog) -> int:
    """Return how many writes reach a register or a memory; those to an index port do not count."""
    return int(register_writes(chip, log)[0].cycle.size)


def only(chip: Chip, log: RegisterLog, kept: Sequence[int]) -> RegisterLog:
    """Return a log with some of its writes to registers, and what these need of the index port.

    Where the index is not what a kept write needs, a bus write before it was left out; the last such slot sets it.
    """
    bus = chip.bus
    if bus.access == "direct":
        pick = np.asarray(kept, dtype=np.int64)
        return with_columns(log, log.cycle[pick], log.address[pick], log.value[pick], log.end)
    writes, _ = register_writes(chip, log)
    size = 1 << bus.index_bits
    rows: list[tuple[int, int, int]] = []
    index = 0
    for number in kept:
        slot, wanted = int(writes.origin[number]), int(writes.address[number])
        if index != wanted:
            # The bus write before `slot` is not in `rows`: had it been, the index would be what it was in the log.
            rows.append((int(log.cycle[slot - 1]), bus.index_address, wanted))
        rows.append((int(log.cycle[slot]), int(log.address[slot]), int(log.value[slot])))
        index = (wanted + bus.index_step) % size
    columns = np.array(rows, dtype=np.int64).reshape(-1, 3).T
    return with_columns(log, columns[0], columns[1], columns[2], log.end)


def silenced(chip: Chip, log: RegisterLog) -> Iterator[tuple[int, ...]]:
    """Yield what is left of the writes without one channel, without one memory, without one register."""
    written = np.unique(register_writes(chip, log)[0].address).tolist()
    groups = channel_groups(chip, log)
    groups += [set(range(m.address, m.address + m.size)) for m in chip.memories.values()]
    groups += [{a} for a in written if a in chip.registers]
    seen: set[tuple[int, ...]] = set()
    for group in groups:
        rest = elsewhere(chip, log, group)
        if len(rest) < number_of_writes(chip, log) and rest not in seen:
            seen.add(rest)
            yield rest


def channel_groups(chip: Chip, log: RegisterLog) -> list[set[int]]:
    """Return for each channel the registers and memory of its own; the one with the most writes comes first."""
    groups = [_addresses_of(chip, name) for name in chip.channels]
    return sorted(groups, key=lambda group: len(elsewhere(chip, log, group)))


def elsewhere(chip: Chip, log: RegisterLog, group: AbstractSet[int]) -> tuple[int, ...]:
    """Return which writes go to other registers and memories than these."""
    address = register_writes(chip, log)[0].address
    return tuple(np.flatnonzero(~np.isin(address, list(group))).tolist())


def _addresses_of(chip: Chip, channel: str) -> set[int]:
    """Return registers and memory that concern one channel and nothing else."""
    found = set()
    for address, register in chip.registers.items():
        targets = [f.target for f in register.fields if f.role != "shows"] + list(register.on_write)
        if targets and all(t.split(".")[0] == channel for t in targets):
            found.add(address)
    for memory in chip.memories.values():
        if memory.channel == channel:
            found |= set(range(memory.address, memory.address + memory.size))
    return found


def pairs(count: int) -> Iterator[tuple[int, ...]]:
    """Yield what is left without two of a few writes; without one is what ddmin has done."""
    if count <= MOST_FOR_PAIRS:
        for first in range(count):
            for second in range(first + 1, count):
                yield tuple(i for i in range(count) if i not in (first, second))


def packed(log: RegisterLog, distance: int) -> RegisterLog:
    """Return the log with every write as early as it can be."""
    cycle = distance * np.arange(len(log), dtype=np.int64)
    shift = int(log.cycle[-1] - cycle[-1]) if len(log) else 0
    return with_columns(log, cycle, log.address, log.value, log.end - shift)


def earlier_from(log: RegisterLog, first: int, by: int) -> RegisterLog:
    """Return the log with one write and all later ones, and the end, earlier by some cycles."""
    cycle = log.cycle.copy()
    cycle[first:] -= by
    return with_columns(log, cycle, log.address, log.value, log.end - by)


def earlier_alone(log: RegisterLog, which: int, by: int) -> RegisterLog:
    """Return the log with one write earlier by some cycles, everything else where it was."""
    cycle = log.cycle.copy()
    cycle[which] -= by
    return with_columns(log, cycle, log.address, log.value, log.end)


def room_before(log: RegisterLog, which: int, distance: int) -> int:
    """Return by how many cycles one write can be earlier without coming too close to the one before it."""
    earliest = int(log.cycle[which - 1]) + distance if which else 0
    return max(int(log.cycle[which]) - earliest, 0)


def move_earlier(chip: Chip, current: Callable[[], RegisterLog], distance: int, take: Take) -> None:
    """Move writes earlier: everything after a write first, then one alone.

    All at once is tried first; then by whole tick periods, since ticks run from reset on; then by halves.
    """
    take(packed(current(), distance))
    ticks = sorted({d.every * d.steps for d in chip.dividers.values()}, reverse=True)
    for which in range(len(current())):
        for move in (earlier_from, earlier_alone):
            room = room_before(current(), which, distance)
            if not room or take(move(current(), which, room)):
                continue
            if move is earlier_from:
                for period in ticks:
                    by = room_before(current(), which, distance) // period * period
                    if by:
                        take(move(current(), which, by))
            _halve(current, which, distance, move, take)


def _halve(
    current: Callable[[], RegisterLog],
    which: int,
    distance: int,
    move: Callable[[RegisterLog, int, int], RegisterLog],
    take: Take,
) -> None:
    """Move by halves of the room that is left, until one cycle did not do."""
    step = room_before(current(), which, distance) // 2
    while step:
        # `step` is at most half of the room; each turn takes it or halves it, so that the loop ends.
        if step > room_before(current(), which, distance) or not take(move(current(), which, step)):
            step //= 2


def lower_values(current: Callable[[], RegisterLog], take: Take) -> None:
    """Lower values: to 0, then bit by bit from the highest."""
    for which in range(len(current())):
        value = int(current().value[which])
        if not value or take(_with_value(current(), which, 0)):
            continue
        for bit in range(value.bit_length() - 1, -1, -1):
            value = int(current().value[which])
            if value >> bit & 1 and value != 1 << bit:
                take(_with_value(current(), which, value ^ 1 << bit))


def _with_value(log: RegisterLog, which: int, value: int) -> RegisterLog:
    column = log.value.copy()
    column[which] = value
    return replace(log, value=column, lines=None)
