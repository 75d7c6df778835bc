"""Reading with a bar: a dump as a stream that tells how far it has been read.

Stage: cli. In: a path. Out: something that `psgmodel.dump` reads; the path itself where no terminal looks on.
"""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, cast

from psgmodel.cli.progress import ProgressState, progress
from psgmodel.cli.screen import Screen


class _CountedFile(io.FileIO):
    """A file that tells a bar where it is."""

    def __init__(self, path: str, bar: ProgressState) -> None:
        super().__init__(path)
        self._bar = bar

    def read(self, size: int | None = -1, /) -> bytes:
        found = super().read(-1 if size is None else size)
        self._bar.update(self.tell())
        return found or b""


@contextmanager
def progress_source(path: str, screen: Screen) -> Iterator[str | BinaryIO]:
    """Give a path, or a stream over it that moves a bar as it is read."""
    if not screen.shows_progress or not Path(path).is_file():
        yield path
        return
    with (
        progress(screen, f"reading {Path(path).name}", os.path.getsize(path)) as bar,
        _CountedFile(path, bar) as file,
    ):
        yield cast(BinaryIO, file)
