"""stimulus: logs that test a unit, and the files with which a test bench replays a log.

Stage: cli. In: a register log, or what a log is drawn or derived from; the names of a test bench. Out: a log, a folder
of files for a simulator, or a dump snippet.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from psgmodel.cli.folders import make_folder
from psgmodel.cli.parser import CommandParser, UsageError
from psgmodel.cli.screen import Screen

if TYPE_CHECKING:
    from psgmodel.chip import Chip
    from psgmodel.reglog import RegisterLog
    from psgmodel.stimulus import Bench

_PURPOSE = """Make register logs that test a unit, and export logs to test benches. A log is drawn at random
from a recorded seed, walks through every field, shows every behaviour within reach, or is one
that you have. For Verilog, VHDL and cocotb a folder is written with the log, a driver, and a
test bench around your unit.
Exit status: 0 done, 1 --close has left something open, 2 unusable input."""
_EXAMPLE = """  psgmodel stimulus --random --seed 7 --chip out/linnet.toml -o out/random.csv
  psgmodel stimulus --walk --chip out/linnet.toml -o out/walk.csv
  psgmodel stimulus --close --chip out/linnet.toml -o out/close.csv
  psgmodel stimulus out/jingle.csv --chip out/linnet.toml --format verilog -o out/bench
  psgmodel stimulus --snippet icarus --chip out/linnet.toml"""


def make_parser() -> CommandParser:
    """Return the parser of this command."""
    usage = "(LOG | --random | --walk | --close | --snippet SIM) --chip CHIP ..."
    parser = CommandParser("stimulus", usage, _PURPOSE, _EXAMPLE)
    add_arguments(parser)
    return parser


def add_arguments(parser: CommandParser) -> None:
    """Add the arguments of this command."""
    parser.add_argument("log", metavar="LOG", nargs="?", help="register log to export, .csv or .npz")
    parser.add_argument("--chip", metavar="CHIP", required=True, help="chip description, .toml")
    parser.add_argument(
        "--format", choices=("csv", "verilog", "vhdl", "cocotb"), default="csv", help="what is written (csv)"
    )
    parser.add_argument("-o", "--output", metavar="PATH", help="file for csv (out/stimulus.csv), or folder (out/bench)")
    parser.add_argument(
        "--spread", type=int, default=0, metavar="CYCLES", help="move a write that comes sooner after another to there"
    )
    drawn = parser.add_argument_group("logs that are made")
    drawn.add_argument("--random", action="store_true", help="a constrained random log")
    drawn.add_argument("--seed", type=int, default=1, metavar="N", help="seed of --random and --close (1)")
    drawn.add_argument("--length", default="250ms", metavar="TIME", help="its length: cycles, or 1.5s (250ms)")
    drawn.add_argument("--writes", type=int, default=1000, metavar="N", help="its number of bus writes (1000)")
    drawn.add_argument("--walk", action="store_true", help="every field through its values, its channel sounding")
    drawn.add_argument("--close", action="store_true", help="every behaviour within reach, see psgmodel coverage")
    drawn.add_argument(
        "--patience", type=int, metavar="N", help="random tries in a row that --close may make in vain (500)"
    )
    drawn.add_argument("--dwell", metavar="TIME", help="how long a value stays (as long as its ticks ask)")
    drawn.add_argument(
        "--spacing", type=int, default=4, metavar="CYCLES", help="least distance of writes (4; 1 for a hardware master)"
    )
    dump = parser.add_argument_group("dump")
    dump.add_argument("--snippet", choices=("icarus", "verilator", "ghdl"), help="print the smallest dump instead")
    dump.add_argument("--no-clock", action="store_true", help="leave the clock out of the dump")
    _add_names(parser)


def _add_names(parser: CommandParser) -> None:
    names = parser.add_argument_group("names in the test bench")
    names.add_argument("--unit", metavar="NAME", default="", help="module or entity of the unit (as the description)")
    for name, default, text in (
        ("clock", "clk", "clock"),
        ("reset", "rst", "reset"),
        ("write", "wr", "write strobe, active high"),
        ("address", "addr", "address"),
        ("data", "wdata", "write data"),
    ):
        names.add_argument(f"--{name}", metavar="SIGNAL", default=default, help=f"{text} ({default})")
    names.add_argument("--reset-active", choices=("high", "low"), default="high", help="level that resets (high)")
    names.add_argument(
        "--tie", metavar="PORT=LEVEL", action="append", default=[], help="input of one bit held at 0 or 1"
    )
    names.add_argument(
        "--signal",
        metavar="NAME=SIGNAL",
        action="append",
        default=[],
        help="port of a channel or output (level_NAME, out_NAME); :BITS may follow, empty for none",
    )


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Make, export or print."""
    from psgmodel.chip import load_chip

    sources = [bool(arguments.log), arguments.random, arguments.walk, arguments.close, bool(arguments.snippet)]
    if sum(sources) != 1:
        raise UsageError("stimulus: give one of LOG, --random, --walk, --close, --snippet")
    if arguments.spread and not arguments.log:
        raise UsageError("--spread is for a LOG", hint="logs that are made never have two writes in a cycle")
    if arguments.patience is not None and not arguments.close:
        raise UsageError("--patience is for --close")
    if arguments.dwell and not arguments.walk:
        raise UsageError("--dwell is for --walk")
    if arguments.no_clock and not arguments.snippet and arguments.format in ("csv", "verilog"):
        raise UsageError(
            "--no-clock is for --snippet, vhdl and cocotb", hint="a Verilog bench takes +noclock when it runs"
        )
    chip = load_chip(arguments.chip)
    bench = _bench(arguments, chip)
    if arguments.snippet:
        from psgmodel.stimulus import dump_snippet

        text = dump_snippet(bench, arguments.snippet, clock=not arguments.no_clock)
        screen.result(snippet=text)
        if arguments.output:
            _write({Path(arguments.output): text}, screen)
            screen.result(files=[arguments.output])
        else:
            screen.say_block(text)
        return 0
    logs, comment = _logs(arguments, chip, screen)
    _export(arguments, chip, logs, bench, comment, screen)
    if arguments.close:
        return _tell_coverage(chip, logs, arguments.spacing, screen)
    return 0


def _tell_coverage(chip: Chip, logs: list[RegisterLog], spacing: int, screen: Screen) -> int:
    """Say what the logs show, and what they leave open; return the exit status."""
    from psgmodel.coverage import cover
    from psgmodel.report.coverage import coverage_summary

    coverage = cover(chip, logs, spacing=spacing)
    screen.say_block(coverage_summary(coverage))
    for b in coverage.missing:
        screen.say(f"  left open: {b.name}, {b.text}")
    if coverage.missing:
        screen.say("  more --patience may show them; otherwise nothing is known that rules them out")
    screen.result(share=coverage.share, left_open=[b.name for b in coverage.missing])
    return int(bool(coverage.missing))


def _bench(arguments: argparse.Namespace, chip: Chip) -> Bench:
    from psgmodel.stimulus import make_bench

    ties = {}
    for port, level in _pairs("--tie", arguments.tie).items():
        if level not in ("0", "1"):
            raise UsageError(f'--tie {port}={level}: found "{level}", accepted: 0, 1')
        ties[port] = int(level)
    return make_bench(
        chip,
        unit=arguments.unit,
        clock=arguments.clock,
        reset=arguments.reset,
        reset_active=arguments.reset_active,
        write=arguments.write,
        address=arguments.address,
        data=arguments.data,
        ties=ties,
        signals=_pairs("--signal", arguments.signal),
    )


def _pairs(option: str, texts: list[str]) -> dict[str, str]:
    found: dict[str, str] = {}
    for text in texts:
        name, equals, value = text.partition("=")
        if not equals or not name:
            raise UsageError(f'{option} "{text}", expected NAME=VALUE')
        if name in found:
            raise UsageError(f"{option} {name} is given twice")
        found[name] = value
    return found


def _logs(arguments: argparse.Namespace, chip: Chip, screen: Screen) -> tuple[list[RegisterLog], str]:
    """Return the logs, more than one only where it takes them to close, and the comment that says how to make them
    again."""
    from psgmodel.cli.progress import progress
    from psgmodel.cli.sound import time_argument
    from psgmodel.reglog import check_log, load_log
    from psgmodel.stimulus import PATIENCE, closing_logs, one_write_a_cycle, random_log, walk_log

    name = chip.unit.name
    if arguments.random:
        length, writes, spacing = time_argument("--length", arguments.length, chip), arguments.writes, arguments.spacing
        log = random_log(chip, arguments.seed, length=length, writes=writes, spacing=spacing)
        how = f"--random --seed {arguments.seed} --length {length} --writes {writes} --spacing {spacing}"
        return [log], f"random log for {name}: psgmodel stimulus {how}"
    if arguments.walk:
        dwell = time_argument("--dwell", arguments.dwell, chip) if arguments.dwell else 0
        log = walk_log(chip, spacing=arguments.spacing, dwell=dwell)
        stay = f" --dwell {dwell}" * bool(dwell)
        return [log], f"walk of {name}: psgmodel stimulus --walk --spacing {arguments.spacing}{stay}"
    if arguments.close:
        patience = PATIENCE if arguments.patience is None else arguments.patience
        with progress(screen, "looking for what is left", 1.0) as bar:
            logs = closing_logs(
                chip,
                arguments.seed,
                spacing=arguments.spacing,
                patience=patience,
                progress=lambda vain, of: bar.update(vain / of),
            )
        how = f"--close --seed {arguments.seed} --spacing {arguments.spacing}"
        how += f" --patience {patience}" * (arguments.patience is not None)
        return logs, f"closing log for {name}: psgmodel stimulus {how}"
    log = load_log(arguments.log)
    check_log(log, chip)
    log = one_write_a_cycle(log, arguments.spread)
    spread = f", spread to {arguments.spread} cycles" * bool(arguments.spread)
    return [log], f"{Path(arguments.log).name}{spread}"


def _export(
    arguments: argparse.Namespace, chip: Chip, logs: list[RegisterLog], bench: Bench, comment: str, screen: Screen
) -> None:
    """Write each log to its place: the first one to the path that is given, the others to numbered ones beside it."""
    from psgmodel.reglog import save_log
    from psgmodel.stimulus import export_files
    from psgmodel.units import cycles_to_seconds

    csv = arguments.format == "csv"
    first = Path(arguments.output or ("out/stimulus.csv" if csv else "out/bench"))
    if csv and not arguments.output:
        make_folder("out")
    files = []
    for number, log in enumerate(logs, 1):
        told = comment + f", {number} of {len(logs)}" * (len(logs) > 1)
        path = first if number == 1 else first.with_name(f"{first.stem}-{number}{first.suffix}")
        seconds = float(cycles_to_seconds(log.end, chip.clock_hz))
        screen.say(f"{len(log)} writes in {log.end} cycles, {seconds:.3g} s: {told}")
        if csv:
            save_log(log, path, comment=told)
            screen.say(f"wrote {path}")
            files.append(path)
            continue
        texts = export_files(log, bench, arguments.format, comment=told, clock=not arguments.no_clock)
        folder = make_folder(str(path))
        files += [folder / name for name in texts]
        _write({folder / name: text for name, text in texts.items()}, screen)
    screen.result(
        writes=sum(len(log) for log in logs),
        cycles=sum(log.end for log in logs),
        comment=comment,
        format=arguments.format,
        files=[str(path) for path in files],
    )


def _write(texts: dict[Path, str], screen: Screen) -> None:
    from psgmodel.output import write_text_whole

    for path, text in texts.items():
        write_text_whole(path, text)
        screen.say(f"wrote {path}")
