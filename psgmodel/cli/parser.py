"""Parser: what all commands share in reading their arguments.

Stage: cli. In: the words after the command's name. Out: an `argparse.Namespace`, a `UsageError`, or help text that
is the same on every terminal.
"""

from __future__ import annotations

import argparse
import re
from typing import Any, NoReturn

from psgmodel.errors import PsgmodelError, nearest

_HELP_WIDTH = 88
_HELP_COLUMN = 26


class UsageError(PsgmodelError):
    """Arguments that make no command."""


class HelpText(argparse.HelpFormatter):
    """Help of fixed width: description and examples as they are written, each option on a line of its own."""

    def __init__(self, prog: str, **others: Any) -> None:
        super().__init__(prog, max_help_position=_HELP_COLUMN, width=_HELP_WIDTH)

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return "".join(indent + line for line in text.splitlines(keepends=True))

    def _format_action_invocation(self, action: argparse.Action) -> str:
        if not action.option_strings:
            return str(action.metavar or action.dest.upper())
        names = ", ".join(action.option_strings)
        if action.nargs == 0:
            return names
        value = action.metavar or ("|".join(map(str, action.choices)) if action.choices else action.dest.upper())
        return f"{names} {value}"


class CommandParser(argparse.ArgumentParser):
    """Argument parser of one command; raises `UsageError` where argparse would exit."""

    def __init__(self, command: str, usage: str, purpose: str, example: str) -> None:
        super().__init__(
            prog=f"psgmodel {command}",
            usage=f"psgmodel {command} {usage}".rstrip(),
            description=purpose,
            epilog=f"example (psgmodel demo puts these files into out/):\n{example}",
            formatter_class=HelpText,
            allow_abbrev=False,
            add_help=False,
        )
        if hasattr(self, "color"):  # Python 3.14 paints help; this text is the same everywhere
            self.color = False
        self.command = command
        common = self.add_argument_group("for every command")
        common.add_argument("-h", "--help", action="help", help="show this text")
        common.add_argument("--json", action="store_true", help="print the result as one JSON document")

    def error(self, message: str) -> NoReturn:
        """Raise instead of printing and exiting."""
        hint = f"psgmodel {self.command} --help shows what is accepted"
        if unknown := re.search(r"unrecognized arguments: (--[A-Za-z-]+)", message):
            options = [name for action in self._actions for name in action.option_strings]
            hint = nearest(unknown[1], options) or hint
        raise UsageError(f"{self.command}: {message}", hint=hint)
