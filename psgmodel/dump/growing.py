"""Samples that grow: what is known of a dump while it is being read, so that what was looked at can be forgotten.

Stage: dump. In: the records of the sampling, block by block. Out: `Samples` of the edges that are known so far.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

import numpy as np

from psgmodel.dump.header import Header
from psgmodel.dump.record import RecordState, finish
from psgmodel.dump.samples import Samples
from psgmodel.dump.select import Selection


class GrowingState:
    """The samples so far; made by the sampling, shown to a watch.

    Attributes
    ----------
    edges : int
        Edges from cycle 0 on of which all is known: what they sample does not change any more.
    ended : bool
        The whole dump was read.
    """

    def __init__(
        self,
        header: Header,
        selection: Selection,
        rule: str,
        records: Mapping[int, RecordState],
        watch: Watch | None,
    ) -> None:
        self.edges, self.ended = 0, False
        self._header, self._selection, self._rule, self._records = header, selection, rule, records
        self._watch, self._start = watch, 0

    def tell(self, edges: int, start: int = 0, *, ended: bool = False) -> None:
        """Show the watch how many edges are known; cycle 0 is edge `start` of the records."""
        if self._watch is not None:
            self.edges, self._start, self.ended = edges, start, ended
            self._watch(self)

    def entries(self, names: Iterable[str]) -> int:
        """Return how many changes of some signals are kept."""
        return sum(self._records[i].entries for i in self._indices(names))

    def samples(self, names: Iterable[str], first: int = 0) -> Samples:
        """Return what the edges from `first` on sample of some signals asked for, renumbered from 0."""
        asked = {name: self._selection.asked[name] for name in names}
        begin, count = self._start + first, self.edges - first
        found = {i: finish(self._records[i], begin, count, keep=True) for i in self._indices(asked)}
        return Samples(
            file=self._header.file,
            rule=self._rule,
            timescale=self._header.timescale,
            edges=count,
            skipped_edges=0,
            first_time=None,
            end_time=None,
            signals={samples.path: samples for samples in found.values()},
            asked={name: tuple(found[i].path for i in indices) for name, indices in asked.items()},
            anchor_edge=np.zeros(1, np.int64),
            anchor_time=np.zeros(1, np.int64),
            reset_again=None,
            notes=(),
        )

    def forget(self, names: Iterable[str], before: int) -> None:
        """Forget what only edges before `before` sample of some signals."""
        for i in self._indices(names):
            self._records[i].forget(self._start + before)

    def _indices(self, names: Iterable[str]) -> list[int]:
        return list(dict.fromkeys(i for name in names for i in self._selection.asked[name]))


Watch = Callable[[GrowingState], None]
"""Is shown the samples whenever a block of the dump was read, and once more when all of it was."""
