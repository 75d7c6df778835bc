"""Dumps: what commands that read one have in common.

Stage: cli. In: a dump, a map or the options in its place. Out: an `Observation`, a latency.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Literal

from psgmodel.cli.parser import CommandParser, UsageError
from psgmodel.cli.reading import progress_source
from psgmodel.cli.screen import Screen

if TYPE_CHECKING:
    from psgmodel.chip import Chip
    from psgmodel.dump.observe import Observation
    from psgmodel.dump.signal_map import SignalMap


def add_signal_arguments(parser: CommandParser) -> None:
    """Add the arguments that say which signal is what where there is no map."""
    where = parser.add_argument_group("in place of a map")
    where.add_argument("--clock", metavar="SIGNAL", help="the clock")
    where.add_argument(
        "--reset", metavar="SIGNAL", help="the reset; cycle 0 is the first edge that samples it inactive"
    )
    where.add_argument("--reset-active", choices=("high", "low"), default="high", help="level that resets (high)")
    where.add_argument("--period", type=int, metavar="UNITS", help="clock period of a dump without the clock")
    where.add_argument("--phase", type=int, default=0, metavar="UNITS", help="time of its first edge (0)")


def observed(
    dump: str, chip: Chip, signal_map: SignalMap | None, screen: Screen, *, need_bus: bool = True
) -> Observation:
    """Read a dump, with a bar where a terminal looks on."""
    from psgmodel.dump.observe import observe

    with progress_source(dump, screen) as source:
        return observe(source, chip, signal_map, need_bus=need_bus)


def latency_of(text: str, command: str) -> int | Literal["auto"]:
    """Return a latency that was given as text."""
    try:
        return "auto" if text == "auto" else int(text)
    except ValueError:
        raise UsageError(f'{command}: --latency "{text[:40]}" is neither a number of cycles nor auto') from None


def signal_map_of(arguments: argparse.Namespace, chip: Chip, command: str) -> SignalMap | None:
    """Return the map that was given, with what the options say in its place."""
    from dataclasses import replace

    from psgmodel.dump.signal_map import ClockEntry, ResetEntry, SignalMap, load_map

    if arguments.clock and arguments.period:
        raise UsageError(f"{command}: --clock is for a dump with the clock, --period for one without", hint="give one")
    found = load_map(arguments.map, chip) if arguments.map else None
    if arguments.clock:
        found = replace(found or SignalMap(), clock=ClockEntry(signal=arguments.clock))
    if arguments.period is not None:
        if arguments.period < 1 or arguments.phase < 0:
            raise UsageError(f"{command}: --period is 1 or more, --phase 0 or more, in whole dump time units")
        found = replace(found or SignalMap(), clock=ClockEntry(period=arguments.period, phase=arguments.phase))
    if arguments.reset is not None:
        entry = ResetEntry(signal=arguments.reset, active=arguments.reset_active)
        found = replace(found or SignalMap(), reset=entry)
    return found
