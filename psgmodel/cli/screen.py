"""Screen: the two streams of a command, and who is looking at them.

Stage: cli. In: what a command has to say. Out: results on standard output, everything else on standard error. With
``--json`` the result is one JSON document and standard output holds nothing else. Colour only where a terminal looks
on and ``NO_COLOR`` (no-color.org) is not set. A reader that goes away (``| head``) is no error: what it did not want
is dropped, and the command goes on to its own exit status.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping
from typing import Any, Literal, TextIO

from psgmodel.errors import Problem, PsgmodelError
from psgmodel.output import output_error

Style = Literal["good", "bad", "warning", "heading", "faint"]

JSON_FORMAT = 1
"""Version of the JSON documents; goes up when a key changes its meaning or goes away."""

_CODES: dict[Style, str] = {"good": "1;32", "bad": "1;31", "warning": "33", "heading": "1", "faint": "2"}
_PLAIN = str.maketrans(
    {
        "─": "-", "│": "|", "┌": "+", "┐": "+", "└": "+", "┘": "+", "├": "+", "┤": "+", "┊": ":", "·": ".",
        "×": "x", "…": "...", "−": "-", "→": "->", "←": "<-", "▸": ">", "◂": "<", "±": "+-", "≥": ">=", "≤": "<=",
        "█": "#", "░": ".", "²": "^2", "µ": "u", "—": "-", "–": "-", "°": "deg", "Δ": "d",
    }
)  # fmt: skip


class Screen:
    """Where a command writes.

    Parameters
    ----------
    stdout, stderr : text streams
    environ : mapping
        Read for ``NO_COLOR`` and ``TERM``.
    as_json : bool
        Results are one JSON document; `say` is silent.
    """

    def __init__(self, stdout: TextIO, stderr: TextIO, environ: Mapping[str, str], *, as_json: bool = False) -> None:
        self.as_json = as_json
        self._out, self._err = stdout, stderr
        plain = bool(environ.get("NO_COLOR")) or environ.get("TERM") == "dumb"
        self._colour = {stream: not plain and _is_terminal(stream) for stream in (stdout, stderr)}
        self._result: dict[str, Any] = {}
        self._progress_length = 0

    def say(self, text: str = "") -> None:
        """Write a line of the result, unless the result is JSON."""
        if not self.as_json:
            self._write(self._out, text + "\n")

    def say_block(self, text: str) -> None:
        """Write lines that already end in a newline."""
        if not self.as_json:
            self._write(self._out, text)

    def note(self, text: str) -> None:
        """Write a line for the person at the terminal, beside the result."""
        self.aside(f"psgmodel: {text}")

    def aside(self, text: str) -> None:
        """Write a line to standard error as it is."""
        self.clear_progress()
        self._write(self._err, text + "\n")

    def error(self, problems: Iterable[Problem]) -> None:
        """Write each problem on its own line of standard error."""
        self.clear_progress()
        for problem in problems:
            lead = self.paint("psgmodel: error:", "bad", error=True)
            self._write(self._err, f"{lead} {' '.join(str(problem).split())}\n")

    def result(self, **values: Any) -> None:
        """Add to the JSON document's ``result``."""
        self._result.update(values)

    def finish(self, command: str, status: int, error: PsgmodelError | None = None) -> None:
        """Write the JSON document, if that was asked for; nothing else goes to standard output then."""
        if not self.as_json:
            return
        from psgmodel import __version__

        document: dict[str, Any] = {
            "json_format": JSON_FORMAT,
            "psgmodel": __version__,
            "command": command,
            "status": status,
            "problems": [] if error is None else [problem_as_json(p) for p in error.problems],
            "result": self._result,
        }
        self._write(self._out, json.dumps(document, indent=2, allow_nan=False) + "\n")

    def paint(self, text: str, style: Style, *, error: bool = False) -> str:
        """Return text in a style, where the stream shows colour."""
        if not self._colour[self._err if error else self._out]:
            return text
        return f"\x1b[{_CODES[style]}m{text}\x1b[0m"

    @property
    def shows_progress(self) -> bool:
        """Whether a person looks at standard error."""
        return _is_terminal(self._err)

    def progress(self, line: str) -> None:
        """Replace the progress line; call only where `shows_progress`."""
        self._write(self._err, f"\r{line.ljust(self._progress_length)}")
        self._progress_length = len(line)

    def clear_progress(self) -> None:
        """Remove the progress line, and the ^C that a terminal shows behind it."""
        if self._progress_length:
            self._write(self._err, "\r" + " " * (self._progress_length + len("^C")) + "\r")
            self._progress_length = 0

    def flush(self) -> None:
        """Send out what is buffered."""
        self._write(self._out, "")
        self._write(self._err, "")

    def _write(self, stream: TextIO, text: str) -> None:
        try:
            try:
                stream.write(text)
            except UnicodeEncodeError:
                encoding = getattr(stream, "encoding", None) or "ascii"
                stream.write(text.translate(_PLAIN).encode(encoding, "replace").decode(encoding))
            stream.flush()
        except OSError as error:
            _point_nowhere(stream)
            if stream is self._out and not isinstance(error, BrokenPipeError):
                raise output_error("standard output", error) from error


def problem_as_json(problem: Problem) -> dict[str, Any]:
    """Return a problem as plain values."""
    place = problem.place
    return {
        "message": problem.message,
        "hint": problem.hint,
        "place": None
        if place is None
        else {"file": place.file, "line": place.line, "column": place.column, "byte": place.byte},
    }


def _is_terminal(stream: TextIO) -> bool:
    try:
        return stream.isatty()
    except ValueError:  # closed
        return False


def _point_nowhere(stream: TextIO) -> None:
    """Let a stream whose reader has gone swallow the rest, the flush at interpreter exit included."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)
