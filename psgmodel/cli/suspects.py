"""suspects: which change of the description would make the model do what a dump does.

Stage: cli. In: a dump that differs, a chip description. Out: changes, ranked by how much of the mismatch each explains;
as exit status 0 where there is nothing to explain, 1 where the two sides differ, 3 where nothing was compared.
"""

from __future__ import annotations

import argparse
import time
from typing import TYPE_CHECKING

from psgmodel.cli.dumps import add_signal_arguments, latency_of, observed, signal_map_of
from psgmodel.cli.parser import CommandParser, UsageError
from psgmodel.cli.progress import progress
from psgmodel.cli.screen import Screen

if TYPE_CHECKING:
    from psgmodel.chip import Chip
    from psgmodel.comparison import Comparison
    from psgmodel.diagnose.suspicion import Suspicion
    from psgmodel.dump.observe import Observation
    from psgmodel.reglog import RegisterLog

_PURPOSE = """Say why a simulation dump differs from the chip description: single changes of the description
are tried (every choice the other way, every number nudged, list entries moved, tables turned
round, register bits exchanged, writes lost or doubled), then two at once where no single one
explains everything. Those that help are ranked by how many differing cycles they explain.
Exit status: 0 nothing differs, 1 the dump differs, 2 unusable input, 3 nothing was compared."""
_EXAMPLE = """  psgmodel suspects out/jingle.vcd.gz --chip out/linnet.toml --map out/linnet-bench.toml
  psgmodel suspects bench.vcd --chip linnet.toml --seconds 20 --single"""


def make_parser() -> CommandParser:
    """Return the parser of this command."""
    parser = CommandParser("suspects", "DUMP --chip CHIP [options]", _PURPOSE, _EXAMPLE)
    add_arguments(parser)
    return parser


def add_arguments(parser: CommandParser) -> None:
    """Add the arguments of this command."""
    parser.add_argument("dump", metavar="DUMP", help="VCD file, or - for standard input")
    parser.add_argument("--chip", metavar="CHIP", required=True, help="chip description, .toml")
    parser.add_argument("--log", metavar="LOG", help="what the bench was given, for a dump without the bus")
    parser.add_argument("--map", metavar="MAP", help="which signal is what, .toml")
    parser.add_argument("--latency", default="0", metavar="CYCLES", help="how late the dump is, or auto (0)")
    parser.add_argument("--seconds", type=float, default=120.0, metavar="S", help="stop the search after this (120)")
    parser.add_argument("--single", action="store_true", help="try no two changes at once")
    add_signal_arguments(parser)


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Search and tell."""
    from psgmodel.chip import load_chip
    from psgmodel.comparison import Status, compare
    from psgmodel.comparison.concluding import followed_log
    from psgmodel.reglog import load_log

    if not arguments.seconds > 0:
        raise UsageError(f"suspects: --seconds {arguments.seconds:g}, accepted: more than 0")
    chip = load_chip(arguments.chip)
    given = load_log(arguments.log) if arguments.log else None
    latency = latency_of(arguments.latency, "suspects")
    signal_map = signal_map_of(arguments, chip, "suspects")
    dump = observed(arguments.dump, chip, signal_map, screen, need_bus=given is None)
    comparison = compare(chip, dump, log=given, latency=latency)
    log = followed_log(chip, dump, given, [])
    if comparison.status is Status.NOTHING or log is None:
        screen.say("NOTHING COMPARED  " + "; ".join(comparison.nothing))
        screen.result(nothing=list(comparison.nothing))
        return comparison.exit_status
    found = _search(chip, dump, log, comparison.latency, arguments, screen)
    _tell(comparison, found, chip, dump, given, screen)
    return comparison.exit_status


def _search(
    chip: Chip, dump: Observation, log: RegisterLog, latency: int, arguments: argparse.Namespace, screen: Screen
) -> Suspicion:
    """Search within the time that was given, with a bar where a terminal looks on."""
    from psgmodel.diagnose.suspects import find_suspects

    end = time.monotonic() + arguments.seconds
    with progress(screen, "trying changes", 1.0) as bar:

        def go_on(tried: int, of: int) -> bool:
            bar.update(tried / max(of, 1))
            return bool(time.monotonic() < end)

        return find_suspects(chip, dump, log, latency=latency, pairs=not arguments.single, progress=go_on)


def _tell(
    comparison: Comparison, found: Suspicion, chip: Chip, dump: Observation, given: RegisterLog | None, screen: Screen
) -> None:
    from psgmodel.diagnose.story import tell
    from psgmodel.report.suspects import other_reasons, suspects_json, suspects_text

    story = tell(comparison, dump, chip, given, found)
    notes = other_reasons(comparison)
    screen.say_block(suspects_text(found, story, notes))
    screen.result(**suspects_json(found, story), notes=list(notes))
