"""The words of a header, one after the other, with their places.

Stage: dump. In: a `ByteSource`. Out: words (runs of bytes without a blank) and ``$keyword ... $end`` groups.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from psgmodel.dump.source import ByteSource, CutStreamError
from psgmodel.errors import DumpError, Place

MAX_HEADER_WORD = 2**20
"""Longest word accepted in a header, in bytes; a file with a longer one is no dump."""

_WORD = re.compile(rb"[^ \t\n\r\f\v]+")


@dataclass(slots=True)
class WordState:
    """The word stream of a header.

    Invariant: ``buffer[at:]`` is not yet taken; `byte` is the offset of ``buffer[0]`` in the dump; `line` is the
    line of ``buffer[line_at]``, and ``line_at <= start``, where `start` is that of the word taken last.
    """

    source: ByteSource
    buffer: bytes = b""
    at: int = 0
    start: int = 0
    byte: int = 0
    line: int = 1
    line_at: int = 0
    ended: bool = False

    def place(self) -> Place:
        """Return the place of the word taken last."""
        self.line += self.buffer.count(b"\n", self.line_at, self.start)
        self.line_at = self.start
        return Place(self.source.name, line=self.line, byte=self.byte + self.start)

    def take(self) -> bytes | None:
        """Return the next word, or None at the end of the file."""
        while True:
            found = _WORD.search(self.buffer, self.at)
            if found and (found.end() < len(self.buffer) or self.ended):
                self.start, self.at = found.span()
                return found.group()
            if self.ended:
                self.start = self.at = len(self.buffer)
                return None
            self._refill(found.start() if found else len(self.buffer))

    def _refill(self, keep: int) -> None:
        """Read on; the bytes from `keep` on stay."""
        self.start = keep
        place = self.place()
        if len(self.buffer) - keep > MAX_HEADER_WORD:
            raise DumpError(f"a word of more than {MAX_HEADER_WORD} bytes in the header", place=place)
        try:
            more = self.source.read()
        except CutStreamError as error:
            raise DumpError(f"{error}, within the header", place=place) from error
        self.ended = not more
        self.buffer = self.buffer[keep:] + more
        self.byte += keep
        self.at = self.start = self.line_at = 0

    def group(self, keyword: str) -> list[str]:
        """Return the words up to ``$end``.

        Raises
        ------
        DumpError
            The file ends before.
        """
        opened = self.place()
        words: list[str] = []
        while (word := self.take()) != b"$end":
            if word is None:
                hint = f"opened at {opened}"
                raise DumpError(f"the dump ends in its header, within {keyword}", place=self.place(), hint=hint)
            words.append(word.decode("utf-8", "backslashreplace"))
        return words
