"""Remix: what the model's mixer makes of the dump's channels.

Stage: compare. In: the channels' levels from a dump, the log. Out: output codes. An output of the dump that equals
its remix, but not the model's output, differs only because a channel does.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from psgmodel.chip.records import Chip
from psgmodel.engine.actions import mixer_fields, unit_events
from psgmodel.engine.fast import mix_outputs
from psgmodel.engine.kernel.library import find_kernel
from psgmodel.engine.state import UnitState, reset_state
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
    if not can_be_mixed(chip, channels, 0):
        return None
    end = min(steps.end for steps in channels.values())
    if end <= 0:
        return None
    state = reset_state(chip)
    cut = {name: steps.cut(0, end) for name, steps in channels.items()}
    return mixed_from(chip, log, cut, [output], state, state.outputs)[output][0]


def can_be_mixed(chip: Chip, channels: Mapping[str, Steps], start: int) -> bool:
    """Tell whether all channels of a chip are there, from a cycle on, and known."""
    return set(channels) == set(chip.channels) and all(
        s.start == start and (s.unknown is None or not s.unknown.any()) for s in channels.values()
    )


def mixed_from(
    chip: Chip,
    log: RegisterLog,
    channels: Mapping[str, Steps],
    outputs: Iterable[str],
    state: UnitState,
    pipelines: Mapping[str, list[int]],
) -> dict[str, tuple[Steps, list[int]]]:
    """Return some outputs' codes, and their output registers at the end.

    Parameters
    ----------
    chip : Chip
    log : RegisterLog
    channels : mapping of str to Steps
        All channels, each from ``state.cycle`` to the same end; see `can_be_mixed`.
    outputs : iterable of str
    state : UnitState
        The registers just before the channels begin.
    pipelines : mapping of str to list of int
        The output registers there.
    """
    end = next(iter(channels.values())).end
    latency = chip.bus.write_latency
    events = unit_events(chip, log.cut(state.cycle - latency, end - latency), state)
    fields = mixer_fields(chip, events, state, end)
    return mix_outputs(chip, list(outputs), channels, fields, pipelines, find_kernel().library)
