"""Standing: how a unit stands at single cycles.

Stage: engine, the fast one. In: chip, log, cycles, which channels matter. Out: the state just before each cycle. Only
what is asked for is followed, and nothing is mixed, so a state costs a fraction of a run.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

from psgmodel.chip.records import Chip
from psgmodel.engine.fast import follow_channels
from psgmodel.engine.followed import plan_unit
from psgmodel.engine.kernel.library import find_kernel
from psgmodel.engine.state import UnitState, reset_state
from psgmodel.errors import EngineError
from psgmodel.reglog.checks import check_log
from psgmodel.reglog.log import RegisterLog

_MOST_CYCLES = 2**23
"""How far channels are followed at a time, so that their levels take bounded memory."""


def states_at(
    chip: Chip, log: RegisterLog, cycles: Iterable[int], channels: Collection[str] | None = None
) -> Iterator[UnitState]:
    """Tell how the unit stands just before the edge of each cycle, from reset on.

    Parameters
    ----------
    chip : Chip
    log : RegisterLog
    cycles : iterable of int, clock cycles
        In order; a cycle may come more than once.
    channels : collection of str, optional
        Channels that matter. The others are missing from the states, and so is what their sweeps do to registers.
        Default: all.

    Yields
    ------
    UnitState
        That of `psgmodel.engine.run` up to the cycle, but for `outputs`, which is empty. Not to be changed.

    Raises
    ------
    RegisterLogError
        The log does not fit the chip.
    EngineError
        A cycle lies before the one before it.
    """
    check_log(log, chip)
    names = [name for name in chip.channels if channels is None or name in channels]
    library, latency = find_kernel().library, chip.bus.write_latency
    state = reset_state(chip)
    for cycle in cycles:
        if cycle < state.cycle:
            raise EngineError(f"cycle {cycle} comes after cycle {state.cycle}; cycles in order are expected")
        while state.cycle < cycle:
            end = min(cycle, state.cycle + _MOST_CYCLES)
            part = log.cut(state.cycle - latency, end - latency)
            _, state = follow_channels(plan_unit(chip, part, state, end), names, library)
        yield state
