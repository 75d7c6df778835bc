"""Fast: the same answer as the reference, event by event.

Stage: engine. In: chip, log, state. Out: a `Trace`. What each write does is worked out first (`actions`); each channel
is followed from event to event on its own, what lies between is written out by arithmetic, and the outputs are mixed
change by change. The cost follows writes and level changes, not cycles. Following and mixing are there twice: compiled
(`kernel`), and as a twin in Python (`track`, `slow`, `stepping`, `expand`, `mixing`) that serves where the kernel was
not compiled.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from psgmodel.chip.records import Chip
from psgmodel.engine.actions import last_registers, mixer_fields
from psgmodel.engine.countdown import divider_state
from psgmodel.engine.followed import Followed, UnitPlan, plan_unit
from psgmodel.engine.kernel.follow import follow_compiled
from psgmodel.engine.kernel.library import Library, find_kernel
from psgmodel.engine.kernel.outputs import mix_compiled
from psgmodel.engine.mixing import mix
from psgmodel.engine.state import UnitState
from psgmodel.engine.trace import Trace
from psgmodel.engine.track import follow_in_python
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import Steps


def run_fast(chip: Chip, log: RegisterLog, state: UnitState, end: int) -> Trace:
    """Run a chip from `state` up to, not including, edge `end`; equals `run_reference`."""
    return _run(chip, log, state, end, find_kernel().library)


def run_twin(chip: Chip, log: RegisterLog, state: UnitState, end: int) -> Trace:
    """Do the same in Python, whether or not the kernel is there."""
    return _run(chip, log, state, end, None)


def _run(chip: Chip, log: RegisterLog, state: UnitState, end: int, library: Library | None) -> Trace:
    plan = plan_unit(chip, log, state, end)
    channels, after = follow_channels(plan, chip.channels, library)
    fields = mixer_fields(chip, plan.events, state, end)
    mixed = mix_outputs(chip, chip.unit.outputs, channels, fields, state.outputs, library)
    after.outputs = {name: pipeline for name, (_, pipeline) in mixed.items()}
    return Trace(chip, state.cycle, end, channels, {name: codes for name, (codes, _) in mixed.items()}, after)


def mix_outputs(
    chip: Chip,
    outputs: Sequence[str],
    channels: Mapping[str, Steps],
    fields: Mapping[str, Steps],
    pipelines: Mapping[str, list[int]],
    library: Library | None,
) -> dict[str, tuple[Steps, list[int]]]:
    """Return the codes of some outputs and their output registers at the end; without a library in Python."""
    if library is not None:
        return mix_compiled(library, chip, outputs, channels, fields, pipelines)
    return {name: mix(chip, name, channels, fields, pipelines[name]) for name in outputs}


def follow_channels(
    plan: UnitPlan, names: Iterable[str], library: Library | None
) -> tuple[dict[str, Steps], UnitState]:
    """Follow some channels; return their levels, and the unit at the end but for other channels and the outputs."""
    chip, events, state, end = plan.chip, plan.events, plan.state, plan.end
    after = UnitState(end, last_registers(chip, events, state), index=events.index_port, held=events.held)
    after.dividers = {name: divider_state(d, plan.epochs[name], end) for name, d in chip.dividers.items()}
    levels = {}
    for name in names:
        followed = follow_channel(plan, name, library)
        levels[name] = followed.level
        after.channels[name] = followed.state
        if name in state.memories:
            after.memories[name] = followed.memory
        if chip.channels[name].sweep is not None:
            _put_period(chip, name, followed.period, after.registers)
    return levels, after


def follow_channel(plan: UnitPlan, name: str, library: Library | None) -> Followed:
    """Follow one channel up to the end of a plan; without a library in Python."""
    return follow_in_python(plan, name) if library is None else follow_compiled(library, plan, name)


def _put_period(chip: Chip, name: str, period: int, registers: dict[int, int]) -> None:
    for s in chip.fields[f"{name}.period"].segments:
        mask = (1 << s.width) - 1
        registers[s.address] = registers[s.address] & ~(mask << s.low) | (period >> s.field_low & mask) << s.low
