"""Dumps that are no files: what a model does, as an observation.

Stage: tests. In: a trace and its log. Out: an `Observation`, as if a simulation had been read. The search for suspects
is what is tested with it, not the model, so a model of another description may play the hardware.
"""

from __future__ import annotations

from collections.abc import Collection

from psgmodel.dump.observe import Kind, Observation, Observed
from psgmodel.dump.signal_map import SignalMap
from psgmodel.engine import Trace
from psgmodel.reglog import RegisterLog
from psgmodel.steps import Steps


def observation_of(signals: dict[str, tuple[Kind, Steps]], log: RegisterLog) -> Observation:
    """Return an observation of some signals, which all cover the same cycles."""
    end = min(steps.end for _, steps in signals.values())
    return Observation(
        file="model.vcd",
        map=SignalMap(),
        rule="sampled by hand",
        edges=end,
        skipped_edges=0,
        end=end,
        signals=tuple(Observed(name, kind, f"bench.{name}", steps) for name, (kind, steps) in signals.items()),
        log=log,
        later_writes=0,
        reads=None,
        first_time=None,
        end_time=None,
        timescale=None,
        nothing="",
        notes=(),
        samples=None,
    )


def observed_trace(trace: Trace, log: RegisterLog, *, hidden: Collection[str] = ()) -> Observation:
    """Return a trace as an observation; `hidden` signals are not in the dump."""
    signals = {name: (Kind.CHANNEL, steps) for name, steps in trace.channels.items() if name not in hidden}
    signals |= {name: (Kind.OUTPUT, steps) for name, steps in trace.outputs.items() if name not in hidden}
    return observation_of(signals, log)
