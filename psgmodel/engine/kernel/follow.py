"""Follow: one channel through the compiled kernel.

Stage: engine, the compiled kernel. In: what `psgmodel.engine.fast` knows of a channel. Out: what it did.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from psgmodel.engine.actions import write_actions
from psgmodel.engine.followed import Followed, UnitPlan, Watched, own_fields
from psgmodel.engine.kernel.encode import (
    FIELD_NUMBER,
    actions_of_channel,
    field_values,
    lists_of_channel,
    numbers,
    options_of_channel,
    state_from,
    state_values,
    trains_of_channel,
)
from psgmodel.engine.kernel.layout import FIELDS, ROW_COLUMNS, ROW_FLAGS
from psgmodel.engine.kernel.library import IntArray, Library
from psgmodel.steps import Steps


def follow_compiled(library: Library, plan: UnitPlan, name: str) -> Followed:
    """Follow one channel; equals `psgmodel.engine.track.follow_in_python`."""
    return _follow(library, plan, name, None)[0]


def watch_compiled(library: Library, plan: UnitPlan, name: str, marks: IntArray) -> tuple[Followed, Watched]:
    """Follow one channel and write a row for each edge at which something happens to it, and for each of `marks`.

    Equals `psgmodel.coverage.following` over the same events, where the marks are events too.
    """
    followed, rows, fields = _follow(library, plan, name, marks)
    own = own_fields(plan.chip, name, None)
    old, new = rows[len(ROW_COLUMNS) :][: len(FIELDS)], rows[len(ROW_COLUMNS) + len(FIELDS) :]
    flags = rows[0]
    columns: dict[str, NDArray[Any]] = {flag: (flags >> i & 1).astype(np.bool_) for i, flag in enumerate(ROW_FLAGS)}
    columns |= dict(zip(ROW_COLUMNS[1:], rows[1:], strict=False))
    return followed, Watched(
        columns,
        {field: old[FIELD_NUMBER[field]] for field in own},
        {field: new[FIELD_NUMBER[field]] for field in own},
        {field: int(fields[FIELD_NUMBER[field]]) for field in own},
    )


def _follow(
    library: Library, plan: UnitPlan, name: str, marks: IntArray | None
) -> tuple[Followed, list[IntArray], IntArray]:
    """Follow one channel; with marks, rows are written. Return also the columns of the rows, and fields at the end."""
    chip, channel, state = plan.chip, plan.chip.channels[name], plan.state
    own = own_fields(chip, name, state.registers)
    inputs = {
        "options": options_of_channel(chip, channel, state.cycle, plan.end, None if marks is None else own),
        "fields": field_values(own),
        "reset_fields": field_values(own_fields(chip, name, None)),
        "state": state_values(state.channels[name]),
        "memory": numbers(state.memories.get(name, ())),
        "edge": np.ascontiguousarray(plan.events.edge),
        "address": np.ascontiguousarray(plan.events.address),
        "value": np.ascontiguousarray(plan.events.value),
        "passes": numbers(plan.restarts.get(channel.step.clocked_by, ())),
        "marks": numbers(()) if marks is None else np.ascontiguousarray(marks),
        **lists_of_channel(channel),
        **actions_of_channel(write_actions(chip, name)),
        **trains_of_channel(channel, plan.trains),
    }
    (cycle, level), (edge, active), rows = library.follow(inputs)
    followed = Followed(
        Steps(cycle, level, plan.end),
        edge,
        active,
        state_from(inputs["state"]),
        inputs["memory"].tolist(),
        int(inputs["fields"][FIELD_NUMBER["period"]]),
    )
    return followed, rows, inputs["fields"]
