"""Where the bytes of a dump come from: a path, a gzip-compressed path, or a binary stream.

Stage: dump, first room. In: a path, "-" for standard input, or an open binary stream. Out: chunks of
uncompressed bytes. Compression is told from the first two bytes (1f 8b), not from the name.
"""

from __future__ import annotations

import gzip
import io
import os
import sys
import zlib
from types import TracebackType
from typing import BinaryIO, Self, cast

from psgmodel.errors import DumpError, Place

DumpSource = str | os.PathLike[str] | BinaryIO
"""A path, "-" for standard input, or an open binary stream."""

CHUNK_BYTES = 2**18
"""Bytes asked of the source at a time. Much larger chunks are slower: they leave the cache."""

_GZIP_MAGIC = b"\x1f\x8b"


_MOST_SHOWN = 24


def shown(word: bytes) -> str:
    """Return the start of a word for a message; what is not printable ASCII is escaped."""
    text = "".join(chr(c) if 32 <= c <= 126 else f"\\x{c:02x}" for c in word[:_MOST_SHOWN])
    return text + ("..." if len(word) > _MOST_SHOWN else "")


class CutStreamError(Exception):
    """The compressed stream under the dump is cut or damaged; the reader adds place and time."""


class _Rejoined:
    """A stream some of whose bytes were taken already; `read` gives those first."""

    def __init__(self, head: bytes, rest: BinaryIO) -> None:
        self.head, self.rest = head, rest

    def read(self, size: int) -> bytes:
        if self.head:
            taken, self.head = self.head[:size], self.head[size:]
            return taken
        return self.rest.read(size)


class ByteSource:
    """Chunks of uncompressed bytes of one dump.

    Parameters
    ----------
    source : path, str or binary stream
        "-" is standard input. A stream given open is left open.
    chunk_bytes : int, bytes
        Most bytes that `read` returns.

    Raises
    ------
    DumpError
        The file cannot be opened or read, or the stream is a text stream.
    """

    def __init__(self, source: DumpSource, chunk_bytes: int = CHUNK_BYTES) -> None:
        self.chunk_bytes = chunk_bytes
        self._owned: io.FileIO | None = None
        self._late_fault: CutStreamError | None = None
        if not isinstance(source, (str, os.PathLike)):
            self.name, raw = str(getattr(source, "name", "<stream>")), cast(io.FileIO, source)
        elif os.fspath(source) == "-":
            self.name, raw = "-", cast(io.FileIO, sys.stdin.buffer)
        else:
            self.name = os.fspath(source)
            try:
                raw = self._owned = io.FileIO(self.name)
            except OSError as error:
                raise DumpError(f"cannot be opened: {error.strerror}", place=Place(self.name)) from error
        head = self._checked_read(raw, 2)
        head += self._checked_read(raw, 1) if len(head) == 1 else b""
        self._raw: _Rejoined | gzip.GzipFile = _Rejoined(head, raw)
        if head == _GZIP_MAGIC:
            self._raw = gzip.GzipFile(fileobj=cast(BinaryIO, self._raw), mode="rb")

    def read(self) -> bytes:
        """Return the next 1 to `chunk_bytes` bytes, or none at the end.

        Raises
        ------
        CutStreamError
            The compressed stream is cut or damaged. All bytes before the fault were returned first.
        DumpError
            The operating system cannot read on.
        """
        if not isinstance(self._raw, gzip.GzipFile):
            return self._checked_read(self._raw, self.chunk_bytes)
        if self._late_fault is not None:
            raise self._late_fault
        parts: list[bytes] = []
        wanted = self.chunk_bytes
        try:
            while wanted and (part := self._raw.read1(wanted)):
                parts.append(part)
                wanted -= len(part)
        except EOFError:
            self._late_fault = CutStreamError("the compressed stream is cut: its end marker is missing")
        except (gzip.BadGzipFile, zlib.error) as error:
            self._late_fault = CutStreamError(f"the compressed stream is damaged: {error}")
        if self._late_fault is not None and not parts:
            raise self._late_fault
        return b"".join(parts)

    def _checked_read(self, raw: BinaryIO | _Rejoined, size: int) -> bytes:
        try:
            found = raw.read(size)
        except OSError as error:
            raise DumpError(f"cannot be read: {error.strerror or error}", place=Place(self.name)) from error
        if not isinstance(found, bytes):
            raise DumpError("this is a text stream; a binary stream is needed", place=Place(self.name))
        return found

    def close(self) -> None:
        """Close the file if this object opened it."""
        if self._owned is not None:
            self._owned.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()
