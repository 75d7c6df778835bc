"""Simulator: the designer's own command as the question "does this log still fail?".

Stage: diagnose, shrinking. In: a command with places for the log, the dump and the number of cycles; a chip, perhaps a
signal map. Out: a predicate for `search`. Any simulator will do: the command is only run, and the
dump it leaves is read.

A run fails if the unit and the model differ to the cycle in the way that is looked for. It is unresolved, and never a
pass, where the command leaves no complete dump, takes too long, or does not play the log that it was given. Its exit
status does not matter where the dump is complete: a bench with checks of its own may well end with another than 0.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import signal
import string
import subprocess
import tempfile
import weakref
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from psgmodel.chip.records import Chip
from psgmodel.comparison.exact import Divergence, aligned, first_divergence
from psgmodel.comparison.writes import compare_logs
from psgmodel.diagnose.shrinking.judging import Outcome, ShrinkError, Verdict
from psgmodel.dump.observe import Kind, Observation, observe
from psgmodel.dump.signal_map import SignalMap
from psgmodel.engine.run import run
from psgmodel.engine.trace import Trace
from psgmodel.errors import DumpError, PsgmodelError, nearest
from psgmodel.reglog.files import format_log
from psgmodel.reglog.log import RegisterLog

Same = Literal["signal", "kind", "any"]
"""What makes a failure the same: the first signal to differ; that and its kind; or nothing, any failure will do."""

PLACES = ("log", "dump", "cycles")
ROW_PLACES = ("cycle", "address", "value")
_SPEC = re.compile(r"0?\d{0,2}[dxXbo]?")


@dataclass(frozen=True, slots=True)
class Failure:
    """Where a run first departs from the model.

    Attributes
    ----------
    signal : str
        Channel or output; a channel comes before an output that differs in the same cycle.
    kind : str
        "silent" (the model is not 0, the unit is), "sounds" (the reverse), "level" or "unknown".
    divergence : Divergence
    """

    signal: str
    kind: str
    divergence: Divergence

    def __str__(self) -> str:
        return f"{self.signal}, {self.divergence}"


def parse_command(template: str) -> tuple[str, ...]:
    """Return the words of a command template, split as a POSIX shell would; no shell ever sees them.

    Raises
    ------
    ShrinkError
        It has no words, an unknown place, or none for the log or the dump.
    """
    try:
        words = tuple(shlex.split(template))
    except ValueError as reason:
        raise ShrinkError(f"the command cannot be split into words: {reason}") from reason
    found = {name for word in words for name in _places(word, PLACES)}
    if missing := [f"{{{name}}}" for name in ("log", "dump") if name not in found]:
        hint = "sh -c '...' can copy a file to where a bench looks for it"
        raise ShrinkError(f"the command has no {' and no '.join(missing)}", hint=hint)
    return words


def check_rows(template: str) -> None:
    """Check a template for the rows of a log, such as ``{cycle} w {address} {value}``.

    Raises
    ------
    ShrinkError
        An unknown place, one that is missing, or a format other than a width with d, x, X, b or o.
    """
    found = _places(template, ROW_PLACES)
    if missing := [f"{{{name}}}" for name in ROW_PLACES if name not in found]:
        raise ShrinkError(f"the row has no {' and no '.join(missing)}")


def _places(text: str, known: Sequence[str]) -> list[str]:
    try:
        parts = list(string.Formatter().parse(text))
    except ValueError as reason:
        raise ShrinkError(f'"{text[:60]}": {reason}', hint="a brace that is meant is written twice") from reason
    for _, name, spec, conversion in parts:
        if name is not None and name not in known:
            hint = nearest(name, known) or f"places: {', '.join(f'{{{k}}}' for k in known)}; {{{{ is a brace"
            raise ShrinkError(f'no place "{{{name[:40]}}}" in "{text[:60]}"', hint=hint)
        if name is not None and (conversion or not _SPEC.fullmatch(spec or "")):
            raise ShrinkError(f'"{spec or conversion}" is no format of a number', hint="such as {address:02x}")
    return [name for _, name, _, _ in parts if name is not None]


def rows_text(log: RegisterLog, template: str) -> str:
    """Return a log as one row a write, by a template that `check_rows` accepts."""
    rows = zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True)
    return "".join(template.format(cycle=c, address=a, value=v) + "\n" for c, a, v in rows)


def first_failure(
    chip: Chip, observation: Observation, log: RegisterLog, latency: int = 0, *, ahead: Trace | None = None
) -> Failure | None:
    """Return where a dump first departs from the model that follows a log, None where nothing differs.

    `ahead` is the model's trace of the log, where that was made already; it serves if the bus carried the log as it is.

    Raises
    ------
    ShrinkError
        Nothing was compared: no signal, or no cycle that both sides cover.
    """
    end = max(observation.end, 1)
    followed = (observation.log if observation.log is not None else log).with_end(end)
    serves = ahead is not None and end <= ahead.end and followed == log.with_end(end)
    trace = ahead if ahead is not None and serves else run(chip, followed)
    compared = False
    found: list[tuple[int, bool, Failure]] = []
    for s in observation.signals:
        if s.kind is Kind.PIN:
            continue
        ours, theirs = aligned(trace[s.name].cut(0, end), s, latency)
        compared |= ours.end > ours.start
        divergence = first_divergence(chip, ours, theirs, observation, latency)
        if divergence is not None:
            failure = Failure(s.name, _kind(divergence), divergence)
            found.append((divergence.cycle, s.kind is not Kind.CHANNEL, failure))
    if not compared:
        raise ShrinkError(f"nothing was compared: {observation.nothing or 'no cycle is covered by both sides'}")
    return min(found, key=lambda f: f[:2])[2] if found else None


def _kind(at: Divergence) -> str:
    if at.dump_level is None:
        return "unknown"
    if at.dump_level == 0 or at.model_level == 0:
        return "silent" if at.dump_level == 0 else "sounds"
    return "level"


class SimulatorState:
    """A predicate that runs a command; remembers the first failure it sees, which is the one that others must equal.

    Log and dump of a run lie in a folder of its own among the system's temporary files, which goes away with it.

    Parameters
    ----------
    words : sequence of str
        From `parse_command`.
    chip : Chip
    signal_map : SignalMap or None
    row : str or None
        Template of the rows that the bench reads; None: CSV.
    same : "signal", "kind" or "any"
    latency : int, clock cycles
        Of the dump.
    timeout_seconds : float
    clock : callable or None
        Seconds, from anywhere; what `simulating_seconds` is measured with.

    Attributes
    ----------
    failure : Failure or None
        The first that was seen.
    simulating_seconds : float, seconds
        From the start of each command to its end.
    meanwhile : callable
        Is called in each run as soon as the command has started: work that need not wait for it. The model is run
        then too.
    """

    def __init__(
        self,
        words: Sequence[str],
        chip: Chip,
        signal_map: SignalMap | None = None,
        *,
        row: str | None = None,
        same: Same = "signal",
        latency: int = 0,
        timeout_seconds: float = 600.0,
        clock: Callable[[], float] | None = None,
    ) -> None:
        self._words, self._chip, self._map, self._row = tuple(words), chip, signal_map, row
        self._same, self._latency, self._timeout = same, latency, timeout_seconds
        self._clock = clock or (lambda: 0.0)
        self._folder = Path(tempfile.mkdtemp(prefix="psgmodel-"))
        weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)
        self.failure: Failure | None = None
        self.simulating_seconds = 0.0
        self.meanwhile: Callable[[], None] = lambda: None

    def __call__(self, log: RegisterLog) -> Verdict:
        """Run the command over a log and compare.

        Raises
        ------
        ShrinkError
            The command cannot be started.
        """
        log_file, dump = self._folder / "log.txt", self._folder / "dump.vcd"
        dump.unlink(missing_ok=True)  # a command that writes none must not be judged by the one before
        log_file.unlink(missing_ok=True)  # a new file is quicker than an old one made empty
        log_file.write_text(format_log(log) if self._row is None else rows_text(log, self._row), encoding="utf-8")
        said, ahead = self._run({"log": str(log_file), "dump": str(dump), "cycles": str(log.end)}, log)
        if not dump.exists():
            return Verdict(Outcome.UNRESOLVED, text=f"the command left no dump{said}")
        try:
            observation = observe(str(dump), self._chip, self._map, need_bus=False)
        except DumpError as error:
            return Verdict(Outcome.UNRESOLVED, text=f"the dump cannot be read: {error.problems[0].message}{said}")
        self._map = observation.map  # what was guessed once is not guessed again
        return self._verdict(log, observation, ahead)

    def _verdict(self, log: RegisterLog, observation: Observation, ahead: Trace | None) -> Verdict:
        if observation.log is not None:
            bus = compare_logs(self._chip, log, observation.log)
            if not bus.agrees:
                return Verdict(Outcome.UNRESOLVED, text=f"the bench does not play the log: {'; '.join(bus.reasons())}")
        try:
            failure = first_failure(self._chip, observation, log, self._latency, ahead=ahead)
        except PsgmodelError as error:
            return Verdict(Outcome.UNRESOLVED, text=error.problems[0].message)
        if failure is None:
            return Verdict(Outcome.PASSES, text="unit and model agree")
        self.failure = self.failure or failure
        cycle = failure.divergence.cycle
        return Verdict(Outcome.FAILS if self._is_same(failure) else Outcome.PASSES, cycle, str(failure))

    def _is_same(self, failure: Failure) -> bool:
        wanted = self.failure
        if wanted is None or self._same == "any":
            return True
        return failure.signal == wanted.signal and (self._same == "signal" or failure.kind == wanted.kind)

    def _run(self, places: dict[str, str], log: RegisterLog) -> tuple[str, Trace | None]:
        """Run the command to its end, and the model meanwhile; return what the command said last, and the trace."""
        words = [word.format(**places) for word in self._words]
        begin = self._clock()
        try:
            process = subprocess.Popen(
                words,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        except OSError as reason:
            raise ShrinkError(f"cannot start {words[0]}: {reason.strerror or reason}") from reason
        ahead = None
        try:
            self.meanwhile()
            with suppress(PsgmodelError):  # comes again, and is told, where the dump is judged
                ahead = run(self._chip, log)
            said, _ = process.communicate(timeout=self._timeout)
        except subprocess.TimeoutExpired:
            _end(process)
            return f", and was ended after {self._timeout:g} s", None
        except BaseException:
            _end(process)
            raise
        finally:
            self.simulating_seconds += self._clock() - begin
        last = " ".join(said.decode(errors="replace").split())[-200:]
        return f" (status {process.returncode}{': ' + last if last else ''})", ahead


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a command and all that it started."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.communicate()
