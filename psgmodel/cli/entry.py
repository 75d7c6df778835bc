"""Entry: from the words of a command line to an exit status.

Stage: cli. In: the arguments of the process. Out: an exit status: 0 agree or done, 1 they differ, 2 unusable input,
3 nothing was compared, 130 stopped from the keyboard. Only the module of the chosen command is loaded, so the help
appears at once.
"""

from __future__ import annotations

import importlib
import os
import signal
import sys
from collections.abc import Sequence
from types import FrameType, ModuleType
from typing import NoReturn, TextIO

from psgmodel import __version__
from psgmodel.cli.parser import CommandParser, UsageError
from psgmodel.cli.screen import Screen
from psgmodel.errors import PsgmodelError, nearest

COMMANDS = {
    "demo": "render and compare the shipped example, right and wrong",
    "render": "turn a register log into WAV or FLAC files",
    "listen": "play a register log, quietly",
    "compare": "compare a simulation dump with the specification",
    "suspects": "say which change of the description explains a difference",
    "shrink": "find the simplest register log that still fails",
    "coverage": "say which behaviours register logs show, and which are missing",
    "stage": "measure an output stage, or search for one",
    "stimulus": "make register logs that test, and export logs to test benches",
    "registers": "print the register map, or the description language",
    "doctor": "say what is installed and what is missing",
}
"""Each command and what it does; the module `psgmodel.cli.NAME` holds it."""

STOPPED = 130
TERMINATED = 143


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    words = list(sys.argv[1:] if argv is None else argv)
    screen = Screen(_open(sys.stdout), _open(sys.stderr), os.environ, as_json="--json" in words)
    name = words[0] if words else ""
    try:
        signal.signal(signal.SIGTERM, _terminate)
        status = _run(words, screen)
        screen.finish(name, status)
    except KeyboardInterrupt:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        screen.note("stopped")
        status = STOPPED
    except PsgmodelError as error:
        status = 2
        screen.error(error.problems)
        screen.finish(name, status, error)
    except (OSError, MemoryError) as error:
        status = 2
        unusable = PsgmodelError(f"the system refused: {error or 'out of memory'}")
        screen.error(unusable.problems)
        screen.finish(name, status, unusable)
    except SystemExit as leaving:
        status = leaving.code if isinstance(leaving.code, int) else 0
    screen.flush()
    return status


def _run(words: Sequence[str], screen: Screen) -> int:
    if not words or words[0] in ("-h", "--help", "help"):
        screen.say_block(_overview())
        return 0 if words else 2
    if words[0] in ("-V", "--version"):
        screen.say(f"psgmodel {__version__}")
        return 0
    name = words[0]
    if name not in COMMANDS:
        hint = nearest(name, COMMANDS) or f"commands: {', '.join(COMMANDS)}"
        raise UsageError(f'no command "{name}"', hint=hint)
    module: ModuleType = importlib.import_module(f"psgmodel.cli.{name}")
    parser: CommandParser = module.make_parser()
    arguments = parser.parse_args(words[1:])
    status: int = module.run(arguments, screen)
    return status


def _open(stream: TextIO | None) -> TextIO:
    """Return a stream, or one that goes nowhere in place of one that the caller has closed."""
    return stream if stream is not None else open(os.devnull, "w", encoding="utf-8")


def _overview() -> str:
    lines = [
        "psgmodel COMMAND [ARGUMENTS]",
        "",
        "Executable specification, simulation-dump comparison and output-stage bench for",
        "programmable sound units written in RTL.",
        "",
    ]
    lines += [f"  {name:<12}{purpose}" for name, purpose in COMMANDS.items()]
    lines += [
        "",
        "psgmodel COMMAND --help tells more; psgmodel demo is a good start.",
        "Exit status: 0 agree or done, 1 they differ, 2 unusable input, 3 nothing was compared.",
        "",
    ]
    return "\n".join(lines)


def _terminate(number: int, frame: FrameType | None) -> NoReturn:
    """Leave by an exception, so that half-written files are removed."""
    sys.exit(TERMINATED)
