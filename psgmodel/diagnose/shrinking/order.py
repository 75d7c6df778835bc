"""Order: which of two logs is the simpler one. This is the only place that says so.

Stage: diagnose, shrinking. In: two logs. Out: which comes first. Cycles count clock edges.

A log is simpler than another if it is smaller in the first of these that differs:

1. **Number of writes.** Each write is one more thing that a person has to read and could suspect.
2. **Number of addresses.** Fewer registers touch fewer parts of the unit.
3. **End.** A short run is quick to simulate again, and the failure is on the first page of the waveform.
4. **Sum of the cycles.** Early writes leave no stretch in which nothing happens; 0 says "the time does not matter".
5. **Sum of the values.** A bit that is 0 is a feature that is not in use; what remains of a value matters.
6. **Addresses, then cycles, then values, one after another.** Means nothing by itself; it makes the order total.

All are whole numbers that cannot fall below 0, so that a search that only ever takes a simpler log comes to an end.
Passes (`passes`) propose logs in any order; the search (`search`) takes a log only if this file calls it simpler.
"""

from __future__ import annotations

from typing import NamedTuple

from psgmodel.reglog.log import RegisterLog


class Complexity(NamedTuple):
    """What is compared, the most important first; see the head of this file.

    Attributes
    ----------
    writes, addresses : int
    end : int, clock cycles
    cycle_sum : int, clock cycles
    value_sum : int
    rows : tuple of tuple of int
        Addresses, cycles, values.
    """

    writes: int
    addresses: int
    end: int
    cycle_sum: int
    value_sum: int
    rows: tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...]]


def complexity(log: RegisterLog) -> Complexity:
    """Return what the order compares of a log.

    Parameters
    ----------
    log : RegisterLog

    Returns
    -------
    Complexity
        Two logs are equal exactly if these are.
    """
    cycles, addresses, values = (tuple(c.tolist()) for c in (log.cycle, log.address, log.value))
    return Complexity(len(cycles), len(set(addresses)), log.end, sum(cycles), sum(values), (addresses, cycles, values))


def is_simpler(log: RegisterLog, than: RegisterLog) -> bool:
    """Return whether `log` comes before `than`; no log is simpler than itself."""
    return complexity(log) < complexity(than)
