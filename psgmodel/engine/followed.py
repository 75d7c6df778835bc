"""Followed: what the fast engine knows before it follows the channels, and what it knows of each one afterwards.

Stage: engine, the fast one. In: chip, log, state. Out: the records that the twin in Python and the compiled kernel
share.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.chip.records import Chip, Field
from psgmodel.chip.remembering import remembered
from psgmodel.chip.wiring import join
from psgmodel.engine.actions import UnitEvents, tick_trains, unit_events
from psgmodel.engine.countdown import Epoch, TickTrain
from psgmodel.engine.state import ChannelState, UnitState
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps


class UnitPlan(NamedTuple):
    """A run of a unit, worked out as far as it does not depend on the channels.

    Attributes
    ----------
    chip : Chip
    state : UnitState
        Where the run begins.
    end : int, clock cycles
    events : UnitEvents
    trains : dict from tick name to TickTrain
    epochs : dict from divider name to list of Epoch
    restarts : dict from divider name to list of int, clock cycles
    """

    chip: Chip
    state: UnitState
    end: int
    events: UnitEvents
    trains: Mapping[str, TickTrain]
    epochs: Mapping[str, list[Epoch]]
    restarts: Mapping[str, list[int]]


class Followed(NamedTuple):
    """What one channel did.

    Attributes
    ----------
    level : Steps
    edge : ndarray of int64, shape (n,), clock cycles
        Where `active` changed.
    active : ndarray of int32, shape (n,)
        What it became there.
    state : ChannelState
        Its registers just before the end.
    memory : list of int
        Its wave memory at the end; empty where it has none.
    period : int
        Its field `period` at the end, which a sweep may have moved.
    """

    level: Steps
    edge: NDArray[np.int64]
    active: NDArray[np.int32]
    state: ChannelState
    memory: list[int]
    period: int


class Watched(NamedTuple):
    """What happened to one channel, edge by edge: those at which something happens. Arrays of shape (n,).

    Attributes
    ----------
    columns : dict from column name to ndarray
        Those of `psgmodel.engine.kernel.layout`: `ROW_FLAGS` as bool, `ROW` and `PASSED` as int64.
    old, new : dict from field name to ndarray of int64
        The channel's fields as they stood before the edges, and as the writes of the edges left them.
    standing : dict from field name to int
        The fields after the last edge.
    """

    columns: Mapping[str, NDArray[Any]]
    old: Mapping[str, NDArray[np.int64]]
    new: Mapping[str, NDArray[np.int64]]
    standing: Mapping[str, int]


def plan_unit(chip: Chip, log: RegisterLog, state: UnitState, end: int) -> UnitPlan:
    """Work out everything that does not depend on the channels."""
    events = unit_events(chip, log, state)
    return UnitPlan(chip, state, end, events, *tick_trains(chip, events, state))


def own_fields(chip: Chip, name: str, registers: Mapping[int, int] | None) -> dict[str, int]:
    """Return the fields of a channel, from register contents or as they are after reset."""
    return {
        own: join(field.segments, registers) if field.segments and registers is not None else field.reset
        for own, field in _fields_of(chip, name)
    }


@remembered
def _fields_of(chip: Chip, name: str) -> list[tuple[str, Field]]:
    """Return the fields of a channel by their names without the channel's."""
    prefix = name + "."
    return [(f.name.removeprefix(prefix), f) for f in chip.fields.values() if f.name.startswith(prefix)]
