"""The engines side by side: one answer, whoever gives it.

"fast" is the compiled kernel (`test_kernel` holds that it is loaded), "twin" the same in Python, "reference" the
definition.
"""

from __future__ import annotations

from psgmodel.chip import Chip
from psgmodel.engine import Trace, UnitState, run
from psgmodel.engine.run import EngineName
from psgmodel.reglog import RegisterLog

ENGINES: tuple[EngineName, ...] = ("fast", "twin", "reference")
QUICK_ENGINES: tuple[EngineName, ...] = ("fast", "twin")


def assert_same_answer(one: Trace, other: Trace) -> None:
    """Every Steps and every register at the end."""
    assert list(one.channels) == list(other.channels)
    assert list(one.outputs) == list(other.outputs)
    for name in (*one.channels, *one.outputs):
        same = one[name] == other[name]
        assert same, (name, _rows(one, name), _rows(other, name))
        assert (one[name].cycle.dtype, one[name].level.dtype) == (other[name].cycle.dtype, other[name].level.dtype)
    assert one.state == other.state


def _rows(trace: Trace, name: str) -> list[tuple[int, int]]:
    return list(zip(trace[name].cycle.tolist(), trace[name].level.tolist(), strict=True))[:200]


def agreed(
    chip: Chip, log: RegisterLog, *, state: UnitState | None = None, engines: tuple[EngineName, ...] = ENGINES
) -> Trace:
    """Run a log through engines, which must agree, and return what they say."""
    first, *others = (run(chip, log, state=state, engine=engine) for engine in engines)
    for other in others:
        assert_same_answer(first, other)
    return first
