"""demo: the shipped example from log to sound and from dump to verdict, right and wrong.

Stage: cli. In: the shipped files. Out: copies of them to try things on, sound, a picture, and two verdicts: that the
simulation agrees with the specification, and where it departs from one with a wrong number. Exit status 0 where both
verdicts are as they should be.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from psgmodel.cli.compare import draw, tell
from psgmodel.cli.dumps import observed
from psgmodel.cli.folders import make_folder
from psgmodel.cli.parser import CommandParser
from psgmodel.cli.screen import Screen
from psgmodel.cli.shipped import shipped_file
from psgmodel.errors import OutputError
from psgmodel.output import write_bytes_whole

if TYPE_CHECKING:
    from psgmodel.chip import Chip
    from psgmodel.engine import Trace
    from psgmodel.report.sound import WrittenSignals

_PURPOSE = """Run the shipped example: Linnet, the sound unit of a marble-race scoreboard, described in
linnet.toml, with the register log of a jingle and a simulation of its RTL. Renders the
jingle, compares the simulation with the description, and then with a description in
which one number is wrong. Copies the files, so that you can try things on them."""
_EXAMPLE = "  psgmodel demo --out out"

FILES = (
    "linnet.toml",
    "linnet-bench.toml",
    "jingle.csv",
    "jingle.vcd.gz",
    "stage-pwm-rc.toml",
    "stage-sigma-delta-rc-rc.toml",
    "stage-codec.toml",
    "stage-goals.toml",
)
RIGHT, WRONG = "taps = [17, 14]", "taps = [17, 11]"
_RATE = 48_000


def make_parser() -> CommandParser:
    """Return the parser of this command."""
    parser = CommandParser("demo", "[options]", _PURPOSE, _EXAMPLE)
    add_arguments(parser)
    return parser


def add_arguments(parser: CommandParser) -> None:
    """Add the arguments of this command."""
    parser.add_argument("--out", metavar="DIR", default="out", help="where results go (out)")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Render, compare, compare with a wrong description."""
    from psgmodel.chip import load_chip
    from psgmodel.comparison import compare
    from psgmodel.dump.signal_map import load_map
    from psgmodel.engine import run as run_engine
    from psgmodel.reglog import load_log
    from psgmodel.report.sound import rendered_json, rendered_text

    folder = make_folder(arguments.out)
    copies = {name: copied(name, folder, screen) for name in FILES}
    chip, log = load_chip(copies["linnet.toml"]), load_log(copies["jingle.csv"])

    _heading("1  The register log, as sound", screen)
    written = _rendered(run_engine(chip, log), folder)
    screen.say_block(rendered_text(chip, log, 0, log.end, written))
    screen.result(rendered=rendered_json(chip, log, 0, log.end, written))

    _heading("2  The simulation against the description", screen)
    signal_map = load_map(copies["linnet-bench.toml"], chip)
    observation = observed(str(copies["jingle.vcd.gz"]), chip, signal_map, screen)
    right = compare(chip, observation, log=log, whole=True)
    tell(right, screen, short=True)
    picture = str(folder / "jingle-comparison.png")
    draw(picture, None, right, observation, chip, log)
    screen.say(f"  picture: {picture}")

    _heading(f"3  The same against a description with one wrong number: noise {WRONG}, not {RIGHT[7:]}", screen)
    wrong = compare(_with_wrong_number(copies["linnet.toml"]), observation, log=log, whole=True)
    tell(wrong, screen, short=True)
    screen.result(right=right.to_json(), wrong=wrong.to_json(), picture=picture)
    status = demo_status(right.exit_status, wrong.exit_status)
    if status == 0:
        screen.say(
            "\nBoth verdicts are as they should be. To go on: psgmodel registers --chip " + copies["linnet.toml"]
        )
    else:
        screen.say("\nThese are not the verdicts that the example gives.")
    return status


def demo_status(right: int, wrong: int) -> int:
    """Return 0 where the right description agrees and the wrong one differs."""
    return 0 if (right, wrong) == (0, 1) else 1


def _heading(text: str, screen: Screen) -> None:
    screen.say(f"\n{screen.paint(text, 'heading')}\n")


def copied(name: str, folder: Path, screen: Screen) -> str:
    """Return the path of a copy of a shipped file; a copy that somebody changed is kept, and not used."""
    data = shipped_file(name).read_bytes()
    copy = folder / name
    try:
        kept = copy.read_bytes()
    except FileNotFoundError:
        write_bytes_whole(copy, data)
        return str(copy)
    if kept == data:
        return str(copy)
    screen.note(f"{copy} is not as shipped; it stays as it is, and the demo uses the shipped one")
    return str(shipped_file(name))


def _rendered(trace: Trace, folder: Path) -> list[WrittenSignals]:
    """Write the outputs to one file and each channel to its own."""
    from psgmodel.audio.files import write_audio
    from psgmodel.audio.traces import render_trace

    outputs = list(trace.outputs)
    files = [("jingle.wav", outputs), *((f"jingle-{name}.wav", [name]) for name in trace.channels)]
    return [
        (write_audio(folder / file, render_trace(trace, _RATE, names), _RATE, clock_hz=trace.chip.clock_hz), names)
        for file, names in files
    ]


def _with_wrong_number(path: str) -> Chip:
    """Return the shipped chip with one number changed."""
    from psgmodel.chip import parse_chip

    text = Path(path).read_text(encoding="utf-8")
    if text.count(RIGHT) != 1:
        raise OutputError(f"the shipped {path} does not say {RIGHT}", hint="install psgmodel anew")
    return parse_chip(text.replace(RIGHT, WRONG), f"{path} with {WRONG}")
