"""Alone: one channel of a chip, without the others and without the mixer.

Stage: engine, the fast one. In: chip, log, the name of a channel, where to stop. Out: its level, and when it was
active. Channels do not hear one another, so this is what a run of the whole unit gives, for a part of the cost.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.engine.fast import follow_channel
from psgmodel.engine.followed import plan_unit
from psgmodel.engine.kernel.library import find_kernel
from psgmodel.engine.state import UnitState, check_state, reset_state
from psgmodel.errors import EngineError
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import MAX_CYCLE, Steps, empty_steps, steps_from_changes


class ChannelRun(NamedTuple):
    """What one channel did.

    Attributes
    ----------
    level : Steps
    active : Steps
        1 where the channel sounds, 0 where it does not; the level of a cycle goes with the activity of that cycle.
    """

    level: Steps
    active: Steps


def run_channel(
    chip: Chip,
    log: RegisterLog,
    name: str,
    *,
    end: int | None = None,
    state: UnitState | None = None,
    engine: Literal["fast", "twin"] = "fast",
) -> ChannelRun:
    """Run one channel; parameters and errors are those of `psgmodel.engine.run`, but the log is not checked.

    Parameters
    ----------
    chip : Chip
    log : RegisterLog
        One that `psgmodel.reglog.check_log` accepts.
    name : str
        Channel of the chip.
    end : int, clock cycles, optional
    state : UnitState, optional
    engine : {"fast", "twin"}, optional

    Returns
    -------
    ChannelRun
        From ``state.cycle`` to `end`.

    Raises
    ------
    EngineError
        The chip has no such channel, `end` lies before the state, or the state is of another chip.
    """
    if name not in chip.channels:
        raise EngineError(f'no channel "{name}"', hint=f"known: {', '.join(chip.channels)}")
    at = reset_state(chip) if state is None else state.copy()
    check_state(at, chip)
    until = log.end if end is None else end
    if not at.cycle <= until <= MAX_CYCLE:
        raise EngineError(f"a run from cycle {at.cycle} cannot end at cycle {until}")
    latency = chip.bus.write_latency
    plan = plan_unit(chip, log.cut(at.cycle - latency, until - latency), at, until)
    followed = follow_channel(plan, name, None if engine == "twin" else find_kernel().library)
    if at.cycle == until:
        return ChannelRun(followed.level, empty_steps(until))
    edges, on = np.append(at.cycle, followed.edge), np.append(at.channels[name].active, followed.active)
    return ChannelRun(followed.level, steps_from_changes(edges, on, until))
