"""One bus: at most one write a cycle.

Stage: stimulus. In: a register log, in which several writes may share a cycle. Out: one that a bus can carry, or a
`StimulusError` that names the writes.
"""

from __future__ import annotations

import numpy as np

from psgmodel.errors import Problem, StimulusError
from psgmodel.reglog.log import RegisterLog, some_of


def one_write_a_cycle(log: RegisterLog, spacing: int = 0) -> RegisterLog:
    """Return a log that one bus can carry.

    Parameters
    ----------
    log : RegisterLog
    spacing : int, clock cycles, optional
        0: a log in which writes share a cycle is refused. Otherwise writes are spread, by this rule: each write keeps
        its cycle, or moves to `spacing` cycles after the write before it, whichever is later; where that passes the
        end of the log, the end moves to the cycle after the last write.

    Raises
    ------
    StimulusError
        Writes that share a cycle, with `spacing` 0; all are told together.
    """
    if spacing < 0:
        raise StimulusError(f"a spacing of {spacing} cycles, accepted: 0 and more")
    if spacing == 0:
        shared = np.flatnonzero(log.cycle[1:] == log.cycle[:-1]) + 1
        if shared.size:
            hint = "--spread CYCLES moves the later one on"
            raise StimulusError(
                some_of(
                    [Problem(f"a second write at cycle {int(log.cycle[i])}", log.place(int(i)), hint) for i in shared]
                )
            )
        return log
    # cycle[i] - i * spacing must not fall: the running maximum is the least move that holds it.
    steps = np.arange(len(log), dtype=np.int64) * spacing
    cycle = np.maximum.accumulate(log.cycle - steps) + steps
    end = max(log.end, int(cycle[-1]) + 1) if cycle.size else log.end
    return RegisterLog(cycle, log.address, log.value, end, log.source, log.lines)
