"""Results: what logs have shown, to be added up, saved and read again.

Stage: coverage. In: bins and counts. Out: a `Coverage`. Adding up is a union of logs: the order does not matter, and a
log that is added twice counts once.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from psgmodel.coverage.bins import Bin
from psgmodel.errors import CoverageError, Place
from psgmodel.reglog.log import RegisterLog

FORMAT = 1
"""Version of the saved form."""


@dataclass(frozen=True, slots=True)
class LogHits:
    """What one log has shown.

    Attributes
    ----------
    name : str
        What the log is called.
    digest : str
        Of its writes and its end: two logs with one digest are the same.
    writes : int
    hits : mapping from bin name to int
        At how many edges, or once for what is a yes or no; bins that were not hit are left out.
    """

    name: str
    digest: str
    writes: int
    hits: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Coverage:
    """What some logs have shown of a chip.

    Attributes
    ----------
    chip : str
        Name of the unit.
    spacing : int, clock cycles
        Least distance of writes by which reach was judged.
    bins : tuple of Bin
    logs : tuple of LogHits, by digest
    """

    chip: str
    spacing: int
    bins: tuple[Bin, ...]
    logs: tuple[LogHits, ...]

    def count(self, found: Bin) -> int:
        """Return how often a bin was hit in all logs."""
        return sum(log.hits.get(found.name, 0) for log in self.logs)

    @property
    def reachable(self) -> tuple[Bin, ...]:
        """Bins that some log could hit."""
        return tuple(b for b in self.bins if not b.unreachable)

    @property
    def unreachable(self) -> tuple[Bin, ...]:
        """Bins that no log can hit."""
        return tuple(b for b in self.bins if b.unreachable)

    @property
    def missing(self) -> tuple[Bin, ...]:
        """Reachable bins that no log has hit."""
        return tuple(b for b in self.reachable if not self.count(b))

    @property
    def against_reason(self) -> tuple[Bin, ...]:
        """Bins that were hit though they are said to be out of reach: by writes closer than the spacing."""
        return tuple(b for b in self.unreachable if self.count(b))

    @property
    def share(self) -> float:
        """Part of the reachable bins that was hit, 0 to 1; 1 where nothing is reachable."""
        reachable = len(self.reachable)
        return (reachable - len(self.missing)) / reachable if reachable else 1.0

    @property
    def writes(self) -> int:
        """Writes of all logs."""
        return sum(log.writes for log in self.logs)

    def merged(self, other: Coverage) -> Coverage:
        """Return the coverage of the logs of both.

        Raises
        ------
        CoverageError
            The other one has other bins, so it is of another chip, another spacing or another version.
        """
        if (self.spacing, self.bins) != (other.spacing, other.bins):
            raise CoverageError(
                f"coverage of {other.chip} with spacing {other.spacing} cannot be added to that of {self.chip} with "
                f"spacing {self.spacing}: their bins differ",
                hint="cover the logs anew with one description and one spacing",
            )
        logs = {log.digest: log for log in (*other.logs, *self.logs)}
        names: dict[str, str] = {}
        for log in (*self.logs, *other.logs):
            names[log.digest] = min(names.get(log.digest, log.name), log.name)
        kept = (dataclasses.replace(log, name=names[digest]) for digest, log in logs.items())
        return dataclasses.replace(self, logs=tuple(sorted(kept, key=lambda log: log.digest)))


def digest_of(log: RegisterLog) -> str:
    """Return a short text that is the same for equal logs, whatever they are called."""
    sha = hashlib.sha256()
    for column in (log.cycle, log.address, log.value, np.array([log.end])):
        sha.update(np.asarray(column, dtype="<i8").tobytes())
        sha.update(b"|")
    return sha.hexdigest()[:16]


def coverage_to_json(coverage: Coverage) -> str:
    """Return coverage as JSON text, from which `coverage_from_json` makes the same again."""
    return json.dumps({"coverage_format": FORMAT, **dataclasses.asdict(coverage)}, indent=1) + "\n"


def coverage_from_json(text: str, name: str = "coverage") -> Coverage:
    """Read saved coverage; `name` is what problems call it.

    Raises
    ------
    CoverageError
        The text is no saved coverage, or is of another format.
    """
    place = Place(name)
    try:
        data: dict[str, Any] = json.loads(text)
        found = data.pop("coverage_format")
        if found != FORMAT:
            raise CoverageError(f"saved coverage of format {found!r}, expected {FORMAT}", place=place)
        bins = tuple(Bin(**{key: str(value) for key, value in b.items()}) for b in data["bins"])
        logs = tuple(
            LogHits(str(x["name"]), str(x["digest"]), int(x["writes"]), {str(k): int(v) for k, v in x["hits"].items()})
            for x in data["logs"]
        )
        return Coverage(str(data["chip"]), int(data["spacing"]), bins, logs)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as reason:
        raise CoverageError("no saved coverage", place=place, hint="psgmodel coverage --save writes one") from reason
