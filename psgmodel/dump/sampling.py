"""Sampling a dump: one pass, block by block, down to what each counted edge samples.

Stage: dump. In: a dump, names of signals, a sampling rule. Out: `Samples`. Neither the edges of the clock nor the
changes of a signal are ever all held: the changes of a block become (edge, value) pairs at once, and pairs that
repeat the value before are dropped.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from psgmodel.dump.clock import ClockState, ResetState, clock_notes, count_edges, no_edges_error
from psgmodel.dump.grid import GridState, check_grid, edges_after, follow_reset, no_grid_edges_error
from psgmodel.dump.growing import GrowingState, Watch
from psgmodel.dump.reader import Dump
from psgmodel.dump.record import RecordState, finish, record_clocked
from psgmodel.dump.rules import ClockRule, GridRule
from psgmodel.dump.samples import EdgeSamples, Samples
from psgmodel.dump.select import Selection, choose
from psgmodel.dump.source import CHUNK_BYTES, DumpSource
from psgmodel.errors import DumpError, Place, Problem
from psgmodel.steps import MAX_CYCLE


class _Count(NamedTuple):
    """What was counted; `anchors` are pairs (edge, time)."""

    edges: int
    skipped: int
    anchors: Sequence[tuple[int, int]]
    reset_again: int | None
    notes: tuple[Problem, ...]


def sample(
    source: DumpSource, names: Iterable[str], rule: ClockRule | GridRule, *, chunk_bytes: int = CHUNK_BYTES
) -> Samples:
    """Sample chosen signals of a dump at the edges that a rule counts.

    Parameters
    ----------
    source : path, str or binary stream
    names : iterable of str
        See `choose`. The signals that the rule names need not be among them.
    rule : ClockRule or GridRule
    chunk_bytes : int, bytes
        How much is read at a time. The result does not depend on it.

    Returns
    -------
    Samples

    Raises
    ------
    DumpError
        The dump cannot be read; a name does not stand for one signal; no edge counts; the clock or its
        enable is unknown past cycle 0; a change is off the grid.
    """
    with Dump(source, chunk_bytes=chunk_bytes) as dump:
        return sample_opened(dump, names, rule)


def sample_opened(dump: Dump, names: Iterable[str], rule: ClockRule | GridRule, watch: Watch | None = None) -> Samples:
    """Sample a dump whose header is read and whose body is not; otherwise as `sample`."""
    wanted = list(dict.fromkeys(names))
    controls = _control_names(rule)
    selection = choose(dump.header, [*wanted, *controls.values()])
    control = _control_indices(selection, controls)
    shown = {i for name in wanted for i in selection.asked[name]}
    records = [RecordState(signal) for signal in selection.signals]
    growing = GrowingState(dump.header, selection, str(rule), {i: records[i] for i in sorted(shown)}, watch)
    if isinstance(rule, ClockRule):
        chosen = [records[i] for i in sorted(shown)]
        return _sample_clocked(dump, selection, wanted, rule, control, chosen, growing)
    return _sample_on_grid(dump, selection, wanted, rule, control.get("reset"), records, growing)


def _control_names(rule: ClockRule | GridRule) -> dict[str, str]:
    names = {"reset": rule.reset.signal} if rule.reset else {}
    if isinstance(rule, ClockRule):
        names["clock"] = rule.clock
        if rule.enable:
            names["enable"] = rule.enable
    return names


def _control_indices(selection: Selection, controls: Mapping[str, str]) -> dict[str, int]:
    """Return the index of the one-bit signal that each name of a rule stands for."""
    problems: list[Problem] = []
    indices: dict[str, int] = {}
    for role, name in controls.items():
        found = selection.asked[name]
        if len(found) != 1:
            problems.append(Problem(f'the {role} "{name}" stands for {len(found)} signals; expected one'))
            continue
        signal = selection.signals[found[0]]
        if signal.width != 1:
            problems.append(
                Problem(f'the {role} "{signal.path}" is {signal.width} bits wide; expected 1', signal.place)
            )
        indices[role] = found[0]
    if problems:
        raise DumpError(problems)
    return indices


def _sample_clocked(
    dump: Dump,
    selection: Selection,
    wanted: Sequence[str],
    rule: ClockRule,
    control: Mapping[str, int],
    records: Sequence[RecordState],
    growing: GrowingState,
) -> Samples:
    state = ClockState(rule, dump.header.file, reset=ResetState(rule.reset))
    index = {id(record): selection.signals.index(record.signal) for record in records}
    for block in dump.blocks(selection):
        enable = block[control["enable"]] if "enable" in control else None
        reset = block[control["reset"]] if "reset" in control else None
        counted = state.counted
        edge_time = count_edges(state, block[control["clock"]], enable, reset)
        for record in records:
            record_clocked(record, block[index[id(record)]], edge_time, counted)
        growing.tell(state.counted)
    if state.counted == 0:
        raise no_edges_error(state)
    growing.tell(state.counted, ended=True)
    found = [finish(record, 0, state.counted) for record in records]
    anchors = [*state.anchors, (state.counted - 1, state.last_edge_time)]
    count = _Count(state.counted, state.reset.skipped, anchors, state.reset.again, tuple(clock_notes(state)))
    return _samples(dump, selection, wanted, rule, found, count)


def _sample_on_grid(
    dump: Dump,
    selection: Selection,
    wanted: Sequence[str],
    rule: GridRule,
    reset: int | None,
    records: Sequence[RecordState],
    growing: GrowingState,
) -> Samples:
    state = GridState(rule, dump.header.file)
    for block in dump.blocks(selection):
        until = MAX_CYCLE if dump.settled is None else dump.settled
        follow_reset(state, None if reset is None else block[reset], until)
        check_grid(state, selection.signals, block)
        for record, changes in zip(records, block, strict=True):
            record.add(edges_after(state, changes.time), changes.value, changes.unknown)
        if state.start is not None and dump.settled is not None:
            growing.tell((dump.settled - rule.phase) // rule.period + 1 - state.start, state.start)
    end_time, start = dump.end_time, state.start
    if end_time is None or end_time < rule.phase or start is None or state.time_of(start) > end_time:
        raise no_grid_edges_error(state, end_time)
    edges = (end_time - rule.phase) // rule.period + 1 - start
    growing.tell(edges, start, ended=True)
    found = [finish(record, start, edges) for record in records]
    again = None
    if rule.reset is not None and reset is not None:
        active = found[reset].unknown | (found[reset].value == rule.reset.active)
        again = int(found[reset].edge[active][0]) if active.any() else None
    anchors = [(0, state.time_of(start)), (edges - 1, state.time_of(start + edges - 1))]
    return _samples(dump, selection, wanted, rule, found, _Count(edges, start, anchors, again, ()))


def _samples(
    dump: Dump,
    selection: Selection,
    wanted: Sequence[str],
    rule: ClockRule | GridRule,
    found: Sequence[EdgeSamples],
    count: _Count,
) -> Samples:
    asked = {name: paths for name, paths in selection.paths_asked().items() if name in wanted}
    by_path = {samples.path: samples for samples in found}
    edge, time = np.array(sorted(set(count.anchors)), dtype=np.int64).T
    notes = [*dump.notes, *count.notes]
    if count.reset_again is not None and rule.reset is not None:
        message = f"the reset {rule.reset.signal} is not inactive any more at cycle {count.reset_again}"
        notes.append(Problem(message, Place(dump.header.file), "what follows has another start"))
    return Samples(
        file=dump.header.file,
        rule=str(rule),
        timescale=dump.header.timescale,
        edges=count.edges,
        skipped_edges=count.skipped,
        first_time=dump.first_time,
        end_time=dump.end_time,
        signals={path: by_path[path] for name in wanted for path in asked[name]},
        asked=asked,
        anchor_edge=edge,
        anchor_time=time,
        reset_again=count.reset_again,
        notes=tuple(notes),
    )
