"""Record: the runs of a search in a file, so that a search that was interrupted can go on.

Stage: diagnose, shrinking. In: names of logs and verdicts, one after another. Out: a file of JSON lines (RFC 8259), the
first of which says what the runs are of, and back. Each run is appended as soon as it is made.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TextIO

from psgmodel.diagnose.shrinking.judging import Outcome, ShrinkError, Verdict
from psgmodel.errors import Place
from psgmodel.output import output_error, write_text_whole

FORMAT = 1


def load_record(path: str | Path, about: Mapping[str, str]) -> dict[str, Verdict]:
    """Return the runs of a record by the name of their log.

    A last line without its line break is a run whose writing was interrupted; it is left out, and made again.

    Parameters
    ----------
    path : str or Path
    about : mapping from str to str
        What the runs must be of, as given to `RecordState`.

    Raises
    ------
    ShrinkError
        The file cannot be read, is no record, or is one of other runs.
    """
    place = Place(str(path))
    try:
        text = Path(path).read_text(encoding="utf-8")
    except OSError as reason:
        raise ShrinkError(f"cannot read: {reason.strerror or reason}", place=place) from reason
    except UnicodeDecodeError as reason:
        raise ShrinkError("not UTF-8 text", place=place) from reason
    lines = text[: text.rfind("\n") + 1].splitlines()
    found: dict[str, Verdict] = {}
    for number, line in enumerate(lines, 1):
        try:
            data = json.loads(line)
            if number == 1:
                _check_head(data, about, place)
            else:
                found[str(data["log"])] = Verdict(Outcome(data["outcome"]), data["cycle"], str(data["text"]))
        except (ValueError, KeyError, TypeError) as reason:
            where = Place(str(path), number)
            raise ShrinkError("not a line of a record of runs", place=where, hint="--anew drops it") from reason
    if not lines:
        raise ShrinkError("no record of runs: it is empty", place=place, hint="--anew drops it")
    return found


def _check_head(data: Mapping[str, object], about: Mapping[str, str], place: Place) -> None:
    if data["format"] != FORMAT:
        raise ShrinkError(f"format {data['format']}, accepted: {FORMAT}", place=place, hint="--anew drops it")
    then = data["about"]
    if not isinstance(then, dict):
        raise TypeError("about")
    other = [name for name in about if then.get(name) != about[name]]
    if other:
        text = f"its runs were made with another {', another '.join(other)}"
        raise ShrinkError(text, place=place, hint="--anew drops them, or give what was given then")


class RecordState:
    """A record that is being written; a context manager.

    Parameters
    ----------
    path : str or Path
        Replaced.
    about : mapping from str to str
        What the runs are of: a name and a text each, such as the log and its hash.
    known : mapping from name to Verdict
        Runs made before; written first.
    """

    def __init__(self, path: str | Path, about: Mapping[str, str], known: Mapping[str, Verdict]) -> None:
        self._path, self._about, self._known = path, about, known
        self._stream: TextIO | None = None

    def __enter__(self) -> RecordState:
        lines = [_text({"format": FORMAT, "about": dict(self._about)})]
        lines += [_run_text(name, verdict) for name, verdict in self._known.items()]
        write_text_whole(self._path, "".join(lines))
        try:
            self._stream = open(self._path, "a", encoding="utf-8")
        except OSError as error:
            raise output_error(str(self._path), error) from error
        return self

    def __exit__(self, *reason: object) -> None:
        if self._stream is not None:
            self._stream.close()

    def add(self, name: str, verdict: Verdict) -> None:
        """Append one run."""
        assert self._stream is not None
        self._stream.write(_run_text(name, verdict))
        self._stream.flush()


def _run_text(name: str, verdict: Verdict) -> str:
    return _text({"log": name, "outcome": verdict.outcome.value, "cycle": verdict.cycle, "text": verdict.text})


def _text(data: Mapping[str, object]) -> str:
    return json.dumps(data) + "\n"
