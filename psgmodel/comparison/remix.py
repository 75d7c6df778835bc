"""Remix: what the model's mixer makes of the dump's channels.

Stage: compare. In: the channels' levels from a dump, the log. Out: output codes. An output of the dump that equals
its remix, but not the model's output, differs only because a channel does.
"""

from __future__ import annotations

from collections.abc import Mapping

from psgmodel.chip.records import Chip
from psgmodel.engine.actions import mixer_fields, unit_events
from psgmodel.engine.fast import mix_outputs
from psgmodel.engine.kernel.library import find_kernel
from psgmodel.engine.state import reset_state
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps


def remixed(chip: Chip, log: RegisterLog, channels: Mapping[str, Steps], output: str) -> Steps | None:
    """Return one output's codes as the model's mixer makes them of given channels.

    Parameters
    ----------
    chip : Chip
    log : RegisterLog
    channels : mapping of str to Steps
        All channels of the chip, each from cycle 0 to the same end, at the latency of the model.
    output : str

    Returns
    -------
    Steps or None
        None where a channel is missing, begins later, or has unknown levels.
    """
    if set(channels) != set(chip.channels):
        return None
    end = min(steps.end for steps in channels.values())
    known = all(s.start == 0 and (s.unknown is None or not s.unknown.any()) for s in channels.values())
    if not known or end <= 0:
        return None
    state = reset_state(chip)
    events = unit_events(chip, log.cut(0, end - chip.bus.write_latency), state)
    fields = mixer_fields(chip, events, state, end)
    cut = {name: steps.cut(0, end) for name, steps in channels.items()}
    return mix_outputs(chip, [output], cut, fields, state.outputs, find_kernel().library)[output][0]
