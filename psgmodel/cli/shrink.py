"""shrink: the simplest log with which a simulation still fails.

Stage: cli. In: a failing log, a chip description, the command that simulates. Out: a minimal log, and what was tried.
The best log so far is on disk at any time, and so is every run, so that nothing is lost when the search is stopped.
"""

from __future__ import annotations

import argparse
import hashlib
import time
from pathlib import Path
from typing import TYPE_CHECKING

from psgmodel.cli.parser import CommandParser, UsageError
from psgmodel.cli.screen import Screen

if TYPE_CHECKING:
    from psgmodel.chip import Chip
    from psgmodel.diagnose.shrinking import ShrinkResult, SimulatorState, Verdict
    from psgmodel.reglog import RegisterLog

_PURPOSE = """Find the simplest register log with which a simulation still differs from the chip
description: writes are dropped, channels silenced, writes moved earlier, values lowered, and
the log ends sooner. The command runs any simulator. It is split into words as a shell would,
but no shell sees it; in it {log} becomes the file to play, {dump} the VCD file to write, and
{cycles} the number of cycles to simulate. It runs as you, with all that you may do.
Exit status: 0 done, 2 unusable input, such as a log that does not fail."""
_EXAMPLE = """  psgmodel shrink out/jingle.csv --chip out/linnet.toml --run "sh bench.sh {log} {dump}"
  psgmodel shrink long.csv --chip linnet.toml --run "sh bench.sh {log} {dump}" --resume"""


def make_parser() -> CommandParser:
    """Return the parser of this command."""
    parser = CommandParser("shrink", "LOG --chip CHIP --run COMMAND [options]", _PURPOSE, _EXAMPLE)
    add_arguments(parser)
    return parser


def add_arguments(parser: CommandParser) -> None:
    """Add the arguments of this command."""
    parser.add_argument("log", metavar="LOG", help="register log that fails, .csv or .npz")
    parser.add_argument("--chip", metavar="CHIP", required=True, help="chip description, .toml")
    parser.add_argument("--run", metavar="COMMAND", required=True, help="what simulates; has {log} and {dump}")
    parser.add_argument("--map", metavar="MAP", help="which signal is what, .toml")
    parser.add_argument(
        "--rows",
        metavar="ROW",
        help='what the bench reads, a row a write, such as "{cycle} w {address:02x} {value:02x}" (CSV)',
    )
    parser.add_argument("-o", "--output", metavar="FILE", help="the log found, .csv or .npz (out/LOG-shrunk.csv)")
    parser.add_argument("--latency", type=int, default=0, metavar="CYCLES", help="how late the dump is (0)")
    parser.add_argument(
        "--same",
        choices=("signal", "kind", "any"),
        default="signal",
        help="what stays the same: the first signal to differ; also whether it is silent, sounds, or is at "
        "another level; or nothing, any difference will do (signal)",
    )
    budget = parser.add_argument_group("how long")
    budget.add_argument("--most-runs", type=int, default=500, metavar="N", help="runs of the simulator (500)")
    budget.add_argument("--most-seconds", type=float, metavar="S", help="no new run after this time (no limit)")
    budget.add_argument("--timeout", type=float, default=600.0, metavar="S", help="longest time of a run (600)")
    again = budget.add_mutually_exclusive_group()
    again.add_argument("--resume", action="store_true", help="go on where an earlier search stopped")
    again.add_argument("--anew", action="store_true", help="drop what an earlier search left")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Shrink and tell."""
    from psgmodel.chip import load_chip
    from psgmodel.diagnose.shrinking import SimulatorState, parse_command
    from psgmodel.diagnose.shrinking.simulator import check_rows
    from psgmodel.dump.signal_map import load_map
    from psgmodel.reglog import load_log
    from psgmodel.report.shrink import shrink_json, shrink_text

    _check_numbers(arguments)
    words = parse_command(arguments.run)
    if arguments.rows is not None:
        check_rows(arguments.rows)
    chip = load_chip(arguments.chip)
    log = load_log(arguments.log)
    simulator = SimulatorState(
        words,
        chip,
        load_map(arguments.map, chip) if arguments.map else None,
        row=arguments.rows,
        same=arguments.same,
        latency=arguments.latency,
        timeout_seconds=arguments.timeout,
        clock=time.monotonic,
    )
    output = arguments.output or _default_output(arguments.log)
    if Path(output).resolve() == Path(arguments.log).resolve():
        raise UsageError(f"shrink: the log found would replace {arguments.log}", hint="give another --output")
    begin = time.monotonic()
    found = _search(arguments, chip, log, simulator, output, screen)
    seconds = time.monotonic() - begin
    screen.say_block(shrink_text(found, chip, output, simulator.simulating_seconds, seconds))
    screen.result(**shrink_json(found, chip, output, simulator.simulating_seconds, seconds))
    return 0


def _search(
    arguments: argparse.Namespace,
    chip: Chip,
    log: RegisterLog,
    simulator: SimulatorState,
    output: str,
    screen: Screen,
) -> ShrinkResult:
    """Search with the record beside the output; the record goes away when nothing is left to do."""
    from psgmodel.cli.progress import progress
    from psgmodel.diagnose.shrinking import RecordState, load_record, shrink
    from psgmodel.reglog import save_log

    record_path = Path(f"{output}.runs")
    about = _about(arguments, chip, log)
    if record_path.exists() and not arguments.resume and not arguments.anew:
        hint = "--resume goes on with them, --anew drops them"
        raise UsageError(f"shrink: {record_path} holds the runs of an earlier search", hint=hint)
    known = load_record(record_path, about) if arguments.resume else {}
    until = None if arguments.most_seconds is None else time.monotonic() + arguments.most_seconds
    runs = 0
    unsaved: list[tuple[RegisterLog, Verdict]] = []

    def save_best() -> None:
        if unsaved:
            best, verdict = unsaved[-1]
            save_log(best, output, comment=f"shrunk from {log.source}: {verdict.text}")
            unsaved.clear()

    def made(name: str, verdict: Verdict) -> None:
        nonlocal runs
        record.add(name, verdict)
        runs += 1
        bar.update(runs)

    simulator.meanwhile = save_best  # the next run does not wait for the disk
    with RecordState(record_path, about, known) as record, progress(screen, "shrinking", arguments.most_runs) as bar:
        try:
            found = shrink(
                chip,
                log,
                simulator,
                max_runs=arguments.most_runs,
                may_go_on=lambda: until is None or time.monotonic() < until,
                known=known,
                record=made,
                better=lambda best, verdict: unsaved.append((best, verdict)),
            )
        finally:
            save_best()
            if not (runs or known):
                record_path.unlink(missing_ok=True)  # of no use to a later search
    if found.minimal:
        record_path.unlink(missing_ok=True)
    return found


def _about(arguments: argparse.Namespace, chip: Chip, log: RegisterLog) -> dict[str, str]:
    """Return what the runs of a record depend on."""
    from psgmodel.diagnose.shrinking import name_of

    texts = {"chip": arguments.chip, "map": arguments.map}
    hashes = {
        name: hashlib.sha256(Path(path).read_bytes()).hexdigest()[:32] if path else "" for name, path in texts.items()
    }
    rules = f"{arguments.same}, latency {arguments.latency}"
    return {"log": name_of(log), **hashes, "command": arguments.run, "row": arguments.rows or "", "rule": rules}


def _default_output(log: str) -> str:
    from psgmodel.cli.folders import make_folder

    return str(make_folder("out") / f"{Path(log).stem}-shrunk.csv")


def _check_numbers(arguments: argparse.Namespace) -> None:
    if arguments.most_runs < 1:
        raise UsageError(f"shrink: --most-runs {arguments.most_runs}, accepted: 1 or more")
    for name in ("most_seconds", "timeout"):
        seconds = getattr(arguments, name)
        if seconds is not None and not 0 < seconds < 1e9:
            raise UsageError(f"shrink: --{name.replace('_', '-')} {seconds}, accepted: more than 0 seconds")
