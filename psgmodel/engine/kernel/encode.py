"""Encode: a channel, its writes and its ticks as arrays of whole numbers.

Stage: engine, the compiled kernel. In: records of the chip. Out: arrays in the order that `layout` gives.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from psgmodel.chip.channel import Channel, NoiseClock
from psgmodel.chip.records import Chip
from psgmodel.engine.actions import WriteAction
from psgmodel.engine.countdown import TickTrain
from psgmodel.engine.kernel.layout import FIELDS, OPTIONS, QUIET, STATE, TRAINS
from psgmodel.engine.kernel.library import IntArray
from psgmodel.engine.state import ChannelState, positions_of

FIELD_NUMBER = {name: number for number, name in enumerate(FIELDS)}
NO_TRAIN = (0, 0, 0, 0, 0, 0)


def numbers(values: Iterable[int]) -> IntArray:
    """Return whole numbers as an array."""
    return np.array(list(values), dtype=np.int64)


def option_value(record: Any, path: str, words: tuple[str, ...]) -> int:
    """Return an option as a number: the place of its word, or its value; 0 where there is no such block."""
    for name in path.split("."):
        record = getattr(record, name, None)
    if record is None:
        return 0
    return words.index(record) if words else int(record)


def options_of_channel(chip: Chip, channel: Channel, begin: int, end: int, watched: Iterable[str] | None) -> IntArray:
    """Return `OPTIONS` and `FACTS`; `watched` are the fields that rows show, None where no rows are asked for."""
    register, memory = channel.register, chip.memories.get(channel.name)
    short = register.short if register is not None else None
    values = [option_value(channel, path, words) for path, words in OPTIONS.items()]
    values += [
        begin,
        end,
        positions_of(channel),
        int(short is not None),
        _positions(register.taps if register is not None else ()),
        _positions(short.taps if short is not None else ()),
        _positions(short.insert if short is not None else ()),
        sum(1 << value for value in channel.step.stopped) if isinstance(channel.step, NoiseClock) else 0,
        memory.address if memory is not None else 0,
        memory.size if memory is not None else 0,
        int(watched is not None),
        sum(1 << FIELD_NUMBER[name] for name in watched or ()),
    ]
    return numbers(values)


def _positions(positions: Iterable[int]) -> int:
    """Return positions of a shift register, which count from 1, as bits; one that stands twice is one."""
    return sum(1 << position - 1 for position in set(positions))


def lists_of_channel(channel: Channel) -> dict[str, IntArray]:
    """Return the lists that a channel looks up."""
    step = channel.step
    return {
        "patterns": numbers(int(bit) for pattern in channel.patterns for bit in pattern),
        "volume_table": numbers(channel.volume_table),
        "divisors": numbers(step.divisors if isinstance(step, NoiseClock) else ()),
    }


def field_values(fields: Mapping[str, int]) -> IntArray:
    """Return the fields of a channel; those it does not have are 0."""
    return numbers(fields.get(name, 0) for name in FIELDS)


def state_values(state: ChannelState) -> IntArray:
    """Return the registers of a channel."""
    return numbers(getattr(state, name) for name in STATE)


def state_from(values: IntArray) -> ChannelState:
    """Return the registers of a channel as a record."""
    return ChannelState(**dict(zip(STATE, values.tolist(), strict=True)))


def actions_of_channel(actions: Mapping[int, WriteAction]) -> dict[str, IntArray]:
    """Return what each address does, by rising address."""
    rows: list[tuple[int, ...]] = []
    parts: list[tuple[int, ...]] = []
    for address in sorted(a for a in actions if a < QUIET):
        action = actions[address]
        masks = {kind: sum({1 << bit for bit, k in action.strobes if k == kind and bit >= 0}) for kind in _KINDS}
        always = sum({_KINDS[kind] for bit, kind in action.strobes if bit < 0})
        rows.append(
            (address, len(action.parts), len(parts), masks["start"], masks["stop"], always, action.touches),
        )
        parts += [(FIELD_NUMBER[name], low, mask, field_low) for name, low, mask, field_low in action.parts]
    return {"actions": numbers(n for row in rows for n in row), "parts": numbers(n for part in parts for n in part)}


_KINDS = {"start": 1, "stop": 2}


def trains_of_channel(channel: Channel, trains: Mapping[str, TickTrain]) -> dict[str, IntArray]:
    """Return the tick trains that a channel counts."""
    names = {key: block.ticks for key in ("timer", "envelope", "sweep") if (block := getattr(channel, key)) is not None}
    names["step"] = channel.step.clocked_by
    rows: list[tuple[int, ...]] = []
    places: list[int] = []
    epochs: list[IntArray] = []
    for key in TRAINS:
        train = trains.get(names.get(key, ""))
        if train is None:
            rows.append(NO_TRAIN)
            continue
        first = sum(table.shape[0] for table in epochs)
        table = train.epoch_table()
        rows.append((train.every, train.turn, len(train.at_steps), len(places), table.shape[0], first))
        places += train.at_steps
        epochs.append(table)
    whole = np.concatenate([table.reshape(-1) for table in epochs]) if epochs else numbers(())
    return {"trains": numbers(n for row in rows for n in row), "places": numbers(places), "epochs": whole}
