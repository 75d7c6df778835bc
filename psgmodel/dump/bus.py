"""Probes: the register traffic and strobed codes that sampled signals carry.

Stage: dump. In: `Samples`. Out: plain arrays, one entry a transfer. A transfer of cycle c is what edge c samples:
strobe, address and data as held just before that edge. A strobe held for n edges makes n transfers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from psgmodel.dump.samples import EdgeSamples, Samples
from psgmodel.errors import DumpError, Place, Problem
from psgmodel.steps import Steps, empty_steps, steps_from_changes

MAX_TRANSFERS = 50_000_000
"""More transfers than this in a dump are refused: the strobe or its polarity is wrong."""

_MOST_LISTED = 20

Bit = Literal[0, 1]


@dataclass(frozen=True, slots=True)
class BusProbe:
    """Which signals make up one direction of a bus.

    Attributes
    ----------
    strobe, address, data : str
        Names of sampled signals.
    active : 0 or 1
        Level of the strobe that makes a transfer.
    latency : int, clock cycles
        How many edges after that of strobe and address the data are sampled: 0 for writes, and for
        reads what the bus takes to answer.
    """

    strobe: str
    address: str
    data: str
    active: Bit = 1
    latency: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class BusTraffic:
    """Transfers of a bus, in the order of their cycles.

    Attributes
    ----------
    cycle : ndarray of int64, shape (n,), clock cycles
        Cycle whose edge samples strobe and address.
    address : ndarray of int64, shape (n,)
    value : ndarray of int64, shape (n,)
        Unsigned.
    edges : int
        Counted edges: the traffic is known for the cycles 0 to ``edges - 1``.
    unknown_strobes : int
        Edges that sample an unknown strobe.
    unknown_transfers : int
        Transfers left out for an unknown address or unknown data.
    unfinished : int
        Transfers left out since the dump ends before their data.
    problems : tuple of Problem
        What of the above there was, with cycles and times; the first of each kind are listed one by one.
    """

    cycle: NDArray[np.int64]
    address: NDArray[np.int64]
    value: NDArray[np.int64]
    edges: int
    unknown_strobes: int
    unknown_transfers: int
    unfinished: int
    problems: tuple[Problem, ...]


def bus_traffic(samples: Samples, probe: BusProbe, *, strict: bool = True) -> BusTraffic:
    """Recover the transfers of a bus.

    Parameters
    ----------
    samples : Samples
    probe : BusProbe
    strict : bool
        True: a strobe, address or data that are unknown at a counted edge are an error. False: they are
        listed in `BusTraffic.problems` and such transfers are left out.

    Returns
    -------
    BusTraffic

    Raises
    ------
    DumpError
        A signal is missing or its width unfit, the strobe is active too often, or, where `strict`, unknown.
    """
    strobe, address, data = samples[probe.strobe], samples[probe.address], samples[probe.data]
    _need_one_bit(samples, strobe)
    if probe.latency < 0:
        raise DumpError(f"a read latency of {probe.latency} cycles; expected at least 0")
    cycle = _active_edges(samples, strobe, probe.active)
    done = cycle + probe.latency < samples.edges
    unfinished = int(np.count_nonzero(~done))
    cycle = cycle[done]
    at_address, at_data = address.index_at(cycle), data.index_at(cycle + probe.latency)
    unknown_address, unknown_data = address.unknown[at_address], data.unknown[at_data]
    known = ~(unknown_address | unknown_data)
    problems = [
        *_unknown_strobe_problems(samples, strobe),
        *_transfer_problems(samples, address, cycle[unknown_address], "address"),
        *_transfer_problems(samples, data, cycle[unknown_data], "data"),
    ]
    if strict and problems:
        raise DumpError(problems)
    if unfinished:
        message = f"{unfinished} transfers on {strobe.path} at the end have no data: the dump ends before"
        problems.append(Problem(message, Place(samples.file)))
    return BusTraffic(
        cycle[known],
        address.numbers()[at_address][known],
        data.numbers()[at_data][known],
        samples.edges,
        int(np.diff(strobe.edge, append=np.int64(strobe.edges))[strobe.unknown].sum()),
        int(np.count_nonzero(~known)),
        unfinished,
        tuple(problems),
    )


def strobed_steps(samples: Samples, code: str, strobe: str, *, active: Bit = 1, signed: bool = False) -> Steps:
    """Return a code that is valid only in cycles in which a strobe is active, held until the next one.

    Strobe and code of cycle c are levels: both as edge c + 1 samples them. While the strobe is unknown the
    code is unknown, up to the next cycle in which the strobe is active.

    Parameters
    ----------
    samples : Samples
    code, strobe : str
        Names of sampled signals.
    active : 0 or 1
    signed : bool
        Read the code as two's complement.

    Returns
    -------
    Steps
        From the first cycle with an active or unknown strobe to ``edges - 1``; empty if there is none.

    Raises
    ------
    DumpError
        A signal is missing or its width unfit, or the strobe is active too often.
    """
    valid, value = samples[strobe], samples[code]
    _need_one_bit(samples, valid)
    taken = _active_edges(samples, valid, active)
    unclear = valid.edge[valid.unknown]
    edge = np.concatenate([taken, unclear])
    edge = np.sort(edge[edge > 0])
    end = max(samples.edges - 1, 0)
    at = value.index_at(edge)
    unknown = value.unknown[at] | valid.unknown[valid.index_at(edge)]
    if edge.size == 0:
        return empty_steps(end)
    return steps_from_changes(edge - 1, _levels(value, signed)[at], end, unknown=unknown)


def sample_cycles(samples: Samples, strobe: str, *, active: Bit = 1) -> NDArray[np.int64]:
    """Return the cycles in which a strobe is active, as levels: edge c + 1 samples it active in cycle c.

    Returns
    -------
    ndarray of int64, shape (n,), clock cycles

    Raises
    ------
    DumpError
        The signal is missing or wider than one bit, active too often, or unknown from edge 1 on.
    """
    found = samples[strobe]
    _need_one_bit(samples, found)
    unclear = found.edges_unknown()
    if unclear.size and unclear[-1] > 0:
        raise DumpError(_unknown_strobe_problems(samples, found))
    edge = _active_edges(samples, found, active)
    return edge[edge > 0] - 1


def _levels(samples: EdgeSamples, signed: bool) -> NDArray[np.int64]:
    number = samples.numbers(signed=signed)
    if number.size and not -(2**31) <= int(number.min()) <= int(number.max()) < 2**31:
        raise DumpError(
            f'"{samples.path}" holds {int(number.min())} to {int(number.max())}, which does not fit 32 bits'
        )
    return number


def _need_one_bit(samples: Samples, strobe: EdgeSamples) -> None:
    if strobe.width != 1:
        message = f'the strobe "{strobe.path}" is {strobe.width} bits wide; expected 1'
        raise DumpError(message, place=Place(samples.file))


def _active_edges(samples: Samples, strobe: EdgeSamples, active: int) -> NDArray[np.int64]:
    count = strobe.count_where(active)
    if count > MAX_TRANSFERS:
        message = f"{strobe.path} = {active} at {count} of {strobe.edges} edges; at most {MAX_TRANSFERS} are read"
        raise DumpError(message, place=Place(samples.file), hint="is its polarity right?")
    return strobe.edges_where(active)


def _unknown_strobe_problems(samples: Samples, strobe: EdgeSamples) -> list[Problem]:
    """Return one problem for each stretch of unknown strobe."""
    length = np.diff(strobe.edge, append=np.int64(strobe.edges))[strobe.unknown]
    first = strobe.edge[strobe.unknown]
    return _listed(
        [
            f"the strobe {strobe.path} is unknown from cycle {start} (time {samples.time_of(start)}) for {count} edges"
            for start, count in zip(first[:_MOST_LISTED].tolist(), length.tolist(), strict=False)
        ],
        first.size,
        samples,
        f"stretches of unknown {strobe.path}",
    )


def _transfer_problems(samples: Samples, signal: EdgeSamples, cycles: NDArray[np.int64], what: str) -> list[Problem]:
    messages = [
        f"the {what} {signal.path} of the transfer at cycle {cycle} (time {samples.time_of(cycle)}) is unknown"
        for cycle in cycles[:_MOST_LISTED].tolist()
    ]
    return _listed(messages, cycles.size, samples, f"transfers with an unknown {what}")


def _listed(messages: list[str], count: int, samples: Samples, what: str) -> list[Problem]:
    place = Place(samples.file)
    more = [f"and {count - len(messages)} more {what}"] if count > len(messages) else []
    return [Problem(message, place) for message in [*messages, *more]]
