"""Before: the unit just before the first difference, and when the channel that differs was active.

Stage: diagnose. In: a chip, the log that it follows, a cycle. Out: the state of every block; the activity of a channel.
The unit is run from reset on, a stretch at a time, so that memory does not grow with the way to there.
"""

from __future__ import annotations

from psgmodel.chip.records import Chip
from psgmodel.diagnose.blocks import BlockState, channel_blocks, output_blocks
from psgmodel.engine.fast import follow_channel, follow_channels
from psgmodel.engine.followed import plan_unit
from psgmodel.engine.kernel.library import find_kernel
from psgmodel.engine.run import run
from psgmodel.engine.standing import states_at
from psgmodel.engine.state import reset_state
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps, steps_from_changes

STRETCH = 2**23
"""Cycles that are run at a time."""


def activity(chip: Chip, log: RegisterLog, name: str, at: int, until: int, end: int) -> Steps:
    """Return when a channel is active (1) and when not (0), from reset on.

    Parameters
    ----------
    chip : Chip
    log : RegisterLog
    name : str
        Channel.
    at : int, clock cycles
        The note or the silence around this cycle is followed to its end.
    until : int, clock cycles
        How far the activity is wanted at least.
    end : int, clock cycles
        Where the dump ends.
    """
    state, library, latency = reset_state(chip), find_kernel().library, chip.bus.write_latency
    edges, on = [0], [int(state.channels[name].active)]
    while state.cycle < end and (state.cycle < until or edges[-1] <= at):
        stop = min(state.cycle + STRETCH, end)
        part = log.cut(state.cycle - latency, stop - latency)
        plan = plan_unit(chip, part, state.copy(), stop)
        followed = follow_channel(plan, name, library)
        edges += followed.edge.tolist()
        on += followed.active.tolist()
        _, state = follow_channels(plan, [name], library)
    return steps_from_changes(edges, on, state.cycle)


def blocks_before(chip: Chip, log: RegisterLog, name: str, cycle: int) -> tuple[BlockState, ...]:
    """Return the blocks of a channel or an output just before the edge of a cycle."""
    if name in chip.channels:
        (state,) = states_at(chip, log, (cycle,), (name,))
        return channel_blocks(chip, name, state)
    mixed = max(0, cycle - chip.mixer.latency)  # when the levels stood that this code is made of
    (state,) = states_at(chip, log, (mixed,))
    state = state.copy()
    state.outputs = reset_state(chip).outputs  # those of the codes between are made by the run that follows
    log = log.with_end(max(cycle + 1, log.end))
    trace = run(chip, log, state=state, end=cycle + 1)
    levels = {channel: int(trace[channel].at(mixed)) for channel in chip.channels}
    return output_blocks(chip, name, run(chip, log, state=state, end=cycle).state, levels)
