"""A stream whose beginning can be read twice: once for the header, once for the whole.

Stage: dump. In: a path, "-" or a binary stream. Out: a source that `reader` takes, twice.
"""

from __future__ import annotations

import sys
from typing import BinaryIO, cast

from psgmodel.dump.source import DumpSource


class Replay:
    """A stream that keeps what is read of it until it is rewound, so that a pipe can be read from its start twice."""

    def __init__(self, raw: BinaryIO, name: str) -> None:
        self.raw, self.name = raw, name
        self.kept: list[bytes] | None = []
        self.ahead = b""

    def read(self, size: int = -1) -> bytes:
        """Return up to `size` bytes, none at the end."""
        if self.ahead:
            taken, self.ahead = self.ahead[:size], self.ahead[size:]
            return taken
        found = self.raw.read(size)
        if self.kept is not None:
            self.kept.append(found)
        return found

    def rewind(self) -> None:
        """Give again what was read so far, and keep no more."""
        self.ahead, self.kept = b"".join(self.kept or []), None


def replayed(source: DumpSource) -> tuple[DumpSource, Replay | None]:
    """Return a source that can be read twice, and what to rewind between; a path is such a source itself."""
    if source == "-":
        replay = Replay(sys.stdin.buffer, "-")
    elif hasattr(source, "read"):
        raw = cast(BinaryIO, source)
        replay = Replay(raw, str(getattr(raw, "name", "<stream>")))
    else:
        return source, None
    return cast(BinaryIO, replay), replay
