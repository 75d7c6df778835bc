"""run: the front door of both engines.

Stage: engine. In: chip, register log, where to stop, perhaps where to go on from. Out: a `Trace`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from psgmodel.chip.records import Chip
from psgmodel.engine.fast import run_fast, run_twin
from psgmodel.engine.reference import run_reference
from psgmodel.engine.state import UnitState, check_state, reset_state
from psgmodel.engine.trace import Trace
from psgmodel.errors import EngineError
from psgmodel.reglog.checks import check_log
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import MAX_CYCLE

EngineName = Literal["fast", "twin", "reference"]
_RUNS = {"fast": run_fast, "twin": run_twin, "reference": run_reference}


def run(
    chip: Chip,
    log: RegisterLog,
    *,
    end: int | None = None,
    state: UnitState | None = None,
    engine: EngineName = "fast",
) -> Trace:
    """Run a register log through a chip.

    Parameters
    ----------
    chip : Chip
    log : RegisterLog
        The whole log, also where the run goes on from a state: writes before it are left out.
    end : int, clock cycles, optional
        First edge that is not run. Default: the end of the log.
    state : UnitState, optional
        Go on from here. Default: reset.
    engine : {"fast", "twin", "reference"}, optional
        All give the same answer. The fast one is compiled; where it could not be, its twin in Python serves, which
        takes some ten times longer. The reference takes about a million times longer per second of sound.

    Returns
    -------
    Trace
        Channels and outputs from ``state.cycle`` to `end`.

    Raises
    ------
    RegisterLogError
        The log does not fit the chip.
    EngineError
        `end` lies before the state, or the state is of another chip.
    """
    check_log(log, chip)
    return _run_checked(chip, log, log.end if end is None else end, state, engine)


def _run_checked(chip: Chip, log: RegisterLog, end: int, state: UnitState | None, engine: EngineName) -> Trace:
    begin = reset_state(chip) if state is None else state.copy()
    check_state(begin, chip)
    if not begin.cycle <= end <= MAX_CYCLE:
        raise EngineError(f"a run from cycle {begin.cycle} cannot end at cycle {end}")
    latency = chip.bus.write_latency
    part = log.cut(begin.cycle - latency, end - latency)
    return _RUNS[engine](chip, part, begin, end)


def run_pieces(
    chip: Chip,
    log: RegisterLog,
    piece: int,
    *,
    end: int | None = None,
    state: UnitState | None = None,
    engine: EngineName = "fast",
) -> Iterator[Trace]:
    """Run a log piece by piece, so that memory does not grow with its length.

    Parameters are those of `run`; `piece` is the length of a piece in clock cycles.

    Yields
    ------
    Trace
        One piece after another; together they are what `run` returns.

    Raises
    ------
    RegisterLogError, EngineError
        As `run`; also where `piece` is less than 1.
    """
    if piece < 1:
        raise EngineError(f"a piece of {piece} cycles, accepted: 1 or more")
    check_log(log, chip)
    until = log.end if end is None else end
    at = state
    while True:
        begin = 0 if at is None else at.cycle
        trace = _run_checked(chip, log, min(begin + piece, until), at, engine)
        yield trace
        at = trace.state
        if at.cycle >= until:
            return
