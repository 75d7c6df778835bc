"""coverage: which behaviours of a unit some register logs show.

Stage: cli. In: register logs, saved coverage, a chip description. Out: a report as text, JSON or page; as exit status 1
where less is hit than asked for, 3 where there was nothing to cover.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from psgmodel.cli.parser import CommandParser, UsageError
from psgmodel.cli.progress import progress
from psgmodel.cli.screen import Screen, Style

if TYPE_CHECKING:
    from psgmodel.chip import Chip
    from psgmodel.coverage import Coverage

_PURPOSE = """Say which behaviours of a unit some register logs show: every value class of every field, every
event, and what can meet at one clock edge, where it can be heard; which are missing and what
would show them; which no log can show, and why. Logs add up, also over saved results.
Exit status: 0 done, 1 below the threshold, 2 unusable input, 3 there was nothing to cover."""
_EXAMPLE = """  psgmodel coverage out/jingle.csv --chip out/linnet.toml
  psgmodel coverage out/jingle.csv out/walk.csv --chip out/linnet.toml --page out/coverage.html
  psgmodel coverage out/close.csv --chip out/linnet.toml --missing --threshold 100
  psgmodel coverage monday.json tuesday.json --chip linnet.toml --save both.json"""

_BELOW, _NOTHING = 1, 3


def make_parser() -> CommandParser:
    """Return the parser of this command."""
    parser = CommandParser("coverage", "LOG [LOG ...] --chip CHIP [options]", _PURPOSE, _EXAMPLE)
    add_arguments(parser)
    return parser


def add_arguments(parser: CommandParser) -> None:
    """Add the arguments of this command."""
    parser.add_argument("logs", metavar="LOG", nargs="+", help="register log, .csv or .npz, or saved coverage, .json")
    parser.add_argument("--chip", metavar="CHIP", required=True, help="chip description, .toml")
    parser.add_argument(
        "--spacing", type=int, default=4, metavar="CYCLES", help="least distance of writes (4; 1 for a hardware master)"
    )
    parser.add_argument("--threshold", type=float, metavar="PERCENT", help="exit status 1 where less is hit")
    parser.add_argument("--missing", action="store_true", help="list all that is missing or out of reach")
    parser.add_argument("--page", metavar="FILE", help="write a page with every behaviour, .html")
    parser.add_argument("--save", metavar="FILE", help="write the result, to be given as a LOG later, .json")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Cover and tell."""
    from psgmodel.chip import load_chip
    from psgmodel.coverage import coverage_to_json
    from psgmodel.output import write_text_whole
    from psgmodel.report.coverage import coverage_json, coverage_summary, coverage_text
    from psgmodel.report.coverage_page import coverage_page

    threshold = arguments.threshold
    if threshold is not None and not 0 <= threshold <= 100:
        raise UsageError(f"coverage: --threshold {threshold:g}, accepted: 0 to 100")
    for option, path, ending in (("--page", arguments.page, ".html"), ("--save", arguments.save, ".json")):
        if path and not path.lower().endswith(ending):
            raise UsageError(f"coverage: {option} {path}, a name that ends in {ending} is expected")
    chip = load_chip(arguments.chip)
    coverage = _covered(chip, arguments.logs, arguments.spacing, screen)
    summary = coverage_summary(coverage)
    below = threshold is not None and 100 * coverage.share < threshold
    nothing = coverage.writes == 0
    style: Style = "bad" if below or nothing else "good" if coverage.share == 1 else "heading"
    text = coverage_text(coverage, whole=arguments.missing)
    screen.say_block(screen.paint(summary.rstrip("\n"), style) + "\n" + text.removeprefix(summary))
    screen.result(**coverage_json(coverage), threshold=threshold, page=arguments.page, saved=arguments.save)
    for path, content in ((arguments.page, coverage_page), (arguments.save, coverage_to_json)):
        if path:
            write_text_whole(path, content(coverage))
            screen.say(f"wrote {path}")
    if nothing:
        screen.say("NOTHING COVERED  the logs hold no writes")
        return _NOTHING
    if below:
        screen.say(f"BELOW  {threshold:g} % of the behaviours within reach were asked for")
        return _BELOW
    return 0


def _covered(chip: Chip, paths: list[str], spacing: int, screen: Screen) -> Coverage:
    """Return what all logs and saved results together have shown."""
    from psgmodel.coverage import cover, coverage_from_json
    from psgmodel.errors import CoverageError, Place
    from psgmodel.reglog import load_log

    found = cover(chip, [], spacing=spacing)
    with progress(screen, "covering", len(paths)) as bar:
        for number, path in enumerate(paths):
            if path.lower().endswith(".json"):
                try:
                    text = Path(path).read_text(encoding="utf-8")
                except (OSError, UnicodeDecodeError) as reason:
                    why = reason.strerror if isinstance(reason, OSError) else "not UTF-8 text"
                    raise CoverageError(f"cannot read: {why}", place=Place(path)) from reason
                found = found.merged(coverage_from_json(text, path))
            else:
                found = found.merged(cover(chip, [load_log(path)], spacing=spacing))
            bar.update(number + 1)
    return found
