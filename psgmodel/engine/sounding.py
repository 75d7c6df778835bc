"""Sounding: from the rows of a channel to its `Steps`.

Stage: engine, the fast one. In: the rows that `track` wrote and what they look up. Out: the channel's level.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.channel import Channel, ShiftRegister
from psgmodel.engine.expand import Row, expand_rows
from psgmodel.engine.shifting import output_bits
from psgmodel.steps import Steps

Tables = list[NDArray[np.integer]]


def level_of(channel: Channel, raw: Any, volume: Any) -> Any:
    """Return the level of a raw value at a volume: integers, or arrays of them."""
    table = channel.table
    loudness = volume
    if channel.volume_table:
        loudness = np.array(channel.volume_table, dtype=np.int64)[volume]
    if table is None:
        return raw * loudness if channel.levels == "unipolar" else (2 * raw - 1) * loudness
    sample = raw - (1 << table.bits - 1 if channel.levels == "bipolar" else 0)
    if table.volume == "shift":
        return sample >> ((1 << channel.volume_bits) - 1 - volume)
    return sample * loudness >> table.volume_shift


def channel_signal(
    channel: Channel, rows: list[Row], memories: Tables, streams: list[tuple[bool, int]], end: int
) -> Steps:
    """Return what a channel did.

    Parameters
    ----------
    channel : Channel
    rows : list of Row
    memories : list of integer arrays
        Contents that a wave memory had, by table number.
    streams : list of (bool, int)
        Mode and contents from which a noise register ran, by table number.
    end : int, clock cycles
    """
    tables = memories
    if channel.patterns:
        tables = [np.array([int(bit) for bit in pattern]) for pattern in channel.patterns]
    elif channel.register is not None:
        tables = _stream_tables(channel.register, rows, streams)
    return expand_rows(rows, tables, lambda raw, volume: level_of(channel, raw, volume), end)


def _stream_tables(register: ShiftRegister, rows: list[Row], streams: list[tuple[bool, int]]) -> Tables:
    """Return the output bits of every stream, as far as the rows reach into it."""
    reach = [1] * len(streams)
    for row in rows:
        reach[row.table] = max(reach[row.table], row.position + row.steps + 1)
    bits = [output_bits(register, short, base, n) for (short, base), n in zip(streams, reach, strict=True)]
    return [b ^ 1 if register.polarity == "low" else b for b in bits]
