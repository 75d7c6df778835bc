"""registers: the register map of a chip, or the reference of the description language.

Stage: cli. In: a chip description. Out: text, Markdown or JSON.
"""

from __future__ import annotations

import argparse

from psgmodel.cli.parser import CommandParser, UsageError
from psgmodel.cli.screen import Screen

_PURPOSE = """Print the register map of a chip: which bit drives, strobes or shows what, reset values,
memories. Or print the reference of the language in which chips are described."""
_EXAMPLE = """  psgmodel registers --chip out/linnet.toml
  psgmodel registers --describe --format markdown -o language.md"""


def make_parser() -> CommandParser:
    """Return the parser of this command."""
    parser = CommandParser("registers", "(--chip CHIP | --describe) [options]", _PURPOSE, _EXAMPLE)
    add_arguments(parser)
    return parser


def add_arguments(parser: CommandParser) -> None:
    """Add the arguments of this command."""
    parser.add_argument("--chip", metavar="CHIP", help="chip description, .toml")
    parser.add_argument("--describe", action="store_true", help="print the description language instead")
    parser.add_argument("--format", choices=("text", "markdown"), default="text", help="how it is printed (text)")
    parser.add_argument("-o", "--output", metavar="FILE", help="write it to a file instead")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Print the map or the reference."""
    if arguments.describe == bool(arguments.chip):
        raise UsageError("registers: give either --chip CHIP or --describe")
    markdown = arguments.format == "markdown"
    if arguments.describe:
        import psgmodel.engine
        from psgmodel.report import description

        order = psgmodel.engine.__doc__ or ""
        screen.result(**description.description_json(order))
        text = description.description_markdown(order) if markdown else description.description_text(order)
    else:
        from psgmodel.chip import load_chip
        from psgmodel.report import registers

        chip = load_chip(arguments.chip)
        screen.result(**registers.registers_json(chip))
        text = registers.registers_markdown(chip) if markdown else registers.registers_text(chip)
    if arguments.output:
        from psgmodel.output import write_text_whole

        write_text_whole(arguments.output, text)
        screen.say(f"wrote {arguments.output}")
        screen.result(output=arguments.output)
    else:
        screen.say_block(text)
    return 0
