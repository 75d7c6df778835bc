"""compare: a simulation dump with the specification.

Stage: cli. In: a dump, a chip description, perhaps a log and a signal map. Out: the verdict, as exit status too: 0
they agree, 1 they differ, 3 nothing was compared.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from psgmodel.cli.dumps import add_signal_arguments, latency_of, observed, signal_map_of
from psgmodel.cli.parser import CommandParser, UsageError
from psgmodel.cli.reading import progress_source
from psgmodel.cli.screen import Screen, Style
from psgmodel.errors import nearest

if TYPE_CHECKING:
    from psgmodel.chip import Chip
    from psgmodel.comparison import Comparison, SpectralOptions
    from psgmodel.comparison.departed import Scene
    from psgmodel.diagnose.story import Story
    from psgmodel.dump.observe import Observation
    from psgmodel.reglog import RegisterLog

_PURPOSE = """Compare what a simulation dump (VCD, also gzip-compressed) says with what the chip description
says. The register writes are recovered from the bus in the dump; a --log is held against
them. Signals are found by name where no --map says which is which.
Exit status: 0 they agree, 1 they differ, 2 unusable input, 3 nothing was compared."""
_EXAMPLE = """  psgmodel compare out/jingle.vcd.gz --chip out/linnet.toml --map out/linnet-bench.toml
  psgmodel compare bench.vcd --chip linnet.toml --judge spectrum --picture bench.png"""
_NOTHING = 3
_STYLES: dict[int, Style] = {0: "good", 1: "bad", _NOTHING: "warning"}


def make_parser() -> CommandParser:
    """Return the parser of this command."""
    parser = CommandParser("compare", "DUMP --chip CHIP [options]", _PURPOSE, _EXAMPLE)
    add_arguments(parser)
    return parser


def add_arguments(parser: CommandParser) -> None:
    """Add the arguments of this command."""
    parser.add_argument("dump", metavar="DUMP", help="VCD file, - for standard input, or a .wav that the bench wrote")
    parser.add_argument("--chip", metavar="CHIP", required=True, help="chip description, .toml")
    parser.add_argument("--log", metavar="LOG", help="what the bench was given, .csv or .npz")
    parser.add_argument("--map", metavar="MAP", help="which signal is what, .toml")
    parser.add_argument("--judge", choices=("exact", "spectrum"), default="exact", help="what decides (exact)")
    parser.add_argument("--latency", default="0", metavar="CYCLES", help="how late the dump is, or auto (0)")
    parser.add_argument("--whole", action="store_true", help="a dump of less than the whole log differs")
    parser.add_argument("--picture", metavar="FILE", help="spectra of both sides and their difference, .png or .svg")
    parser.add_argument("--picture-of", metavar="SIGNAL", help="channel or output in the picture (the first to differ)")
    add_signal_arguments(parser)
    limits = parser.add_argument_group("limits of the spectrum")
    limits.add_argument("--band-limit", type=float, metavar="DB", help="difference of a third-octave level (0.5)")
    limits.add_argument("--moment-limit", type=float, metavar="DB", help="distance of two short-time spectra (6)")
    limits.add_argument("--note-limit", type=float, metavar="CENTS", help="difference of the pitch of a note (3)")
    limits.add_argument("--floor", type=float, metavar="DB", help="silence, below the loudest band (-60)")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Compare and tell."""
    from psgmodel.chip import load_chip
    from psgmodel.comparison import compare
    from psgmodel.comparison.pieces import compare_in_pieces, is_large
    from psgmodel.comparison.recorded import is_recording
    from psgmodel.reglog import load_log
    from psgmodel.report.plots import check_picture_name

    if arguments.picture:
        check_picture_name(arguments.picture)
    chip = load_chip(arguments.chip)
    log = load_log(arguments.log) if arguments.log else None
    signal_map = signal_map_of(arguments, chip, "compare")
    latency = latency_of(arguments.latency, "compare")
    options = _limits(arguments)
    plain_question = arguments.judge == "exact" and latency == 0 and not arguments.picture
    if plain_question and not is_recording(arguments.dump) and is_large(arguments.dump):
        with progress_source(arguments.dump, screen) as source:
            found = compare_in_pieces(
                chip, source, log=log, signal_map=signal_map, whole=arguments.whole, options=options
            )
        if found is not None:
            story = None if found.seen is None else _story(found.comparison, found.seen, chip, log)
            return _told(found.comparison, screen, story)
    dump: str | Observation = arguments.dump
    if not is_recording(arguments.dump) or signal_map is not None:
        dump = observed(arguments.dump, chip, signal_map, screen, need_bus=log is None)
    elif arguments.picture:
        raise UsageError("compare: a recording alone makes no --picture", hint="compare a dump")
    comparison = compare(
        chip, dump, log=log, judge=arguments.judge, latency=latency, whole=arguments.whole, options=options
    )
    _told(comparison, screen, None if isinstance(dump, str) else _story(comparison, dump, chip, log))
    if arguments.picture and comparison.exit_status == _NOTHING:
        screen.note("no picture: nothing was compared")
    elif arguments.picture and not isinstance(dump, str):
        draw(arguments.picture, arguments.picture_of, comparison, dump, chip, log)
        screen.say(f"\npicture  {arguments.picture}")
        screen.result(picture=arguments.picture)
    return comparison.exit_status


def _story(comparison: Comparison, dump: Observation | Scene, chip: Chip, log: RegisterLog | None) -> Story | None:
    """Return what is told of the first difference; what finds it is loaded only where there is one."""
    if comparison.first is None:
        return None
    from psgmodel.diagnose.story import tell as tell_story

    return tell_story(comparison, dump, chip, log)


def _told(comparison: Comparison, screen: Screen, story: Story | None = None) -> int:
    """Tell the verdict, in words and JSON, and return the exit status."""
    tell(comparison, screen, story=story)
    screen.result(**comparison.to_json(), first_divergence=None, picture=None)
    if story is not None:
        from psgmodel.report.story import story_json

        screen.result(first_divergence=story_json(story))
    return comparison.exit_status


def tell(comparison: Comparison, screen: Screen, *, short: bool = False, story: Story | None = None) -> None:
    """Say the verdict, its word in colour where colours show."""
    from psgmodel.report.comparison import comparison_summary, comparison_text, verdict_word

    word = verdict_word(comparison)
    text = comparison_summary(comparison) if short else comparison_text(comparison, story)
    rest = text.removeprefix(word)
    screen.say_block(screen.paint(word, _STYLES[comparison.exit_status]) + rest)


def draw(
    path: str, name: str | None, comparison: Comparison, observation: Observation, chip: Chip, log: RegisterLog | None
) -> None:
    """Write the picture of one signal."""
    from psgmodel.cli.pictures import draw_comparison

    drawable = [s.name for s in comparison.signals if s.exact is not None]
    if name is None:
        first = comparison.first
        outputs = [n for n in drawable if n in chip.unit.outputs]
        name = first.name if first is not None else (outputs or drawable or [""])[0]
    if name not in drawable:
        hint = nearest(name, drawable) or f"to be had: {', '.join(drawable) or 'none'}"
        raise UsageError(
            f'compare: no channel or output "{name}" was compared, so there is no --picture of it', hint=hint
        )
    draw_comparison(path, name, comparison, observation, chip, log)


def _limits(arguments: argparse.Namespace) -> SpectralOptions:
    from psgmodel.comparison import SpectralOptions

    given = {
        "band_limit_db": arguments.band_limit,
        "moment_limit_db": arguments.moment_limit,
        "note_limit_cents": arguments.note_limit,
        "floor_db": arguments.floor,
    }
    return SpectralOptions(**{name: value for name, value in given.items() if value is not None})
