"""Late: a dump of which only what stands around a late first difference is in memory.

Stage: diagnose. In: levels of a dump from some cycle on, before which it does what the chip does. Out: what `HeardDump`
gives, without ever holding the way to there: a changed chip is run over it a stretch at a time, and each stretch is
held against a digest of what the chip itself does.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from psgmodel.chip.records import Chip
from psgmodel.comparison.remix import mixed_from
from psgmodel.diagnose.standing import EarlierDifferenceError, HeardDump
from psgmodel.dump.observe import Observation
from psgmodel.engine.fast import follow_channels
from psgmodel.engine.followed import plan_unit
from psgmodel.engine.kernel.library import find_kernel
from psgmodel.engine.state import UnitState, reset_state
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps, empty_steps

STRETCH = 2**22
"""Cycles that are run at a time."""


class _Stretch(NamedTuple):
    """One signal over some cycles; the unit after them, with the output registers of the signal if it is an output."""

    steps: Steps
    after: UnitState
    registers: list[int]


def heard_dump(chip: Chip, observation: Observation, log: RegisterLog, latency: int) -> HeardDump:
    """Return what a dump says; one that begins after cycle 0 does until then what the chip with the log does."""
    begins = [s.steps.start for s in observation.signals if len(s.steps) and s.strobes is None]
    start = min(begins, default=0)
    return LateDump(chip, observation, log, start) if start else HeardDump(chip, observation, latency)


class LateDump(HeardDump):
    """The dump's side from a cycle on; the chip and the log are those that it agrees with before."""

    def __init__(self, chip: Chip, observation: Observation, log: RegisterLog, start: int) -> None:
        super().__init__(chip, observation, 0, start)
        self._chip, self._log = chip, log
        self._digests: dict[str, list[bytes]] = {}

    def level(self, chip: Chip, log: RegisterLog, name: str, until: int) -> Steps:
        """Return a channel of the model from the start of the levels up to a cycle.

        Raises
        ------
        EarlierDifferenceError
            It differs from the dump before.
        """
        return self._run_on(chip, log, name, self._at_start(chip, log, name), until).steps

    def model(self, chip: Chip, log: RegisterLog, name: str, until: int, levels: Mapping[str, Steps]) -> Steps:
        """Return what a chip makes of a log from the start of the levels up to a cycle; raises as `level` does."""
        until = min(until, self.end)
        if not self.is_output(name) or not self.own_channels:
            return self.level(chip, log, name, until)
        at = self._at_start(chip, log, name)
        channels = {n: s.cut(self.start, until) for n, s in self.own_channels.items()}
        return mixed_from(chip, log, channels, [name], at.after, {name: at.registers})[name][0]

    def _at_start(self, chip: Chip, log: RegisterLog, name: str) -> _Stretch:
        """Run one signal up to the start of the levels; return its last stretch."""
        if name not in self._digests:
            self._digests[name] = [_digest(s.steps) for s in self._stretches(self._chip, self._log, name)]
        for known, found in zip(self._digests[name], self._stretches(chip, log, name), strict=True):
            self.walked += STRETCH
            if _digest(found.steps) != known:
                raise EarlierDifferenceError
        return found

    def _stretches(self, chip: Chip, log: RegisterLog, name: str) -> Iterator[_Stretch]:
        state = reset_state(chip)
        found = _Stretch(empty_steps(0), state, state.outputs.get(name, []))
        while found.after.cycle < self.start:
            found = self._run_on(chip, log, name, found, min(found.after.cycle + STRETCH, self.start))
            yield found

    def _run_on(self, chip: Chip, log: RegisterLog, name: str, before: _Stretch, end: int) -> _Stretch:
        state, latency = before.after.copy(), chip.bus.write_latency
        plan = plan_unit(chip, log.cut(state.cycle - latency, end - latency), state, end)
        is_output = name in chip.unit.outputs
        levels, after = follow_channels(plan, chip.channels if is_output else (name,), find_kernel().library)
        if not is_output:
            return _Stretch(levels[name], after, [])
        codes, registers = mixed_from(chip, log, levels, [name], before.after, {name: before.registers})[name]
        return _Stretch(codes, after, registers)


def _digest(steps: Steps) -> bytes:
    return hashlib.blake2b(steps.cycle.tobytes() + steps.level.tobytes(), digest_size=16).digest()
