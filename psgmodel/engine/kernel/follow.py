"""Follow: one channel through the compiled kernel.

Stage: engine, the compiled kernel. In: what `psgmodel.engine.fast` knows of a channel. Out: what it did.
"""

from __future__ import annotations

import numpy as np

from psgmodel.engine.actions import write_actions
from psgmodel.engine.followed import Followed, UnitPlan, own_fields
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
from psgmodel.engine.kernel.library import Library
from psgmodel.steps import Steps


def follow_compiled(library: Library, plan: UnitPlan, name: str) -> Followed:
    """Follow one channel; equals `psgmodel.engine.track.follow_channel`."""
    chip, channel, state = plan.chip, plan.chip.channels[name], plan.state
    inputs = {
        "options": options_of_channel(chip, channel, state.cycle, plan.end),
        "fields": field_values(own_fields(chip, name, state.registers)),
        "reset_fields": field_values(own_fields(chip, name, None)),
        "state": state_values(state.channels[name]),
        "memory": numbers(state.memories.get(name, ())),
        "edge": np.ascontiguousarray(plan.events.edge),
        "address": np.ascontiguousarray(plan.events.address),
        "value": np.ascontiguousarray(plan.events.value),
        "passes": numbers(plan.restarts.get(channel.step.clocked_by, ())),
        **lists_of_channel(channel),
        **actions_of_channel(write_actions(chip, name)),
        **trains_of_channel(channel, plan.trains),
    }
    (cycle, level), (edge, active) = library.follow(inputs)
    return Followed(
        Steps(cycle, level, plan.end),
        edge,
        active,
        state_from(inputs["state"]),
        inputs["memory"].tolist(),
        int(inputs["fields"][FIELD_NUMBER["period"]]),
    )
