"""From a map and a header to signals: what is missing is guessed, what is named is looked up.

Stage: dump. In: a `SignalMap` as read (or none), the header of the dump, the chip. Out: a `SignalMap` in which every
section is there and every signal has its full path.
"""

from __future__ import annotations

from dataclasses import replace

from psgmodel.chip.records import Chip
from psgmodel.dump.guess import GuesserState
from psgmodel.dump.header import Header
from psgmodel.dump.select import Signal, choose
from psgmodel.dump.signal_map import SignalMap
from psgmodel.errors import DumpError, MapError, Place, Problem
from psgmodel.tomlfile import KeyPath


def guess_map(header: Header, chip: Chip, *, need_bus: bool = True) -> SignalMap:
    """Guess a whole map from names; parameters and errors as for `complete_map`."""
    return complete_map(None, header, chip, need_bus=need_bus)


def complete_map(given: SignalMap | None, header: Header, chip: Chip, *, need_bus: bool = True) -> SignalMap:
    """Fill the missing sections of a map by guesses, and look every signal up in the dump.

    Parameters
    ----------
    given : SignalMap or None
        As read from a file; None where there is no file.
    header : Header
    chip : Chip
    need_bus : bool
        True: a dump whose bus cannot be found is an error. False: the register log comes from elsewhere.

    Returns
    -------
    SignalMap
        With full paths, guesses, and the channels and outputs that are not compared.

    Raises
    ------
    MapError
        A part that the comparison needs cannot be guessed, a name stands for no signal or for several, a
        signal has a width that its part cannot have, or nothing is left to compare.
    """
    whole = _with_guesses(given or SignalMap(), header, chip, need_bus)
    problems: list[Problem] = []
    whole = _looked_up(whole, header, chip, problems)
    if problems:
        raise MapError(problems)
    compared = {*(whole.channels or ()), *(whole.outputs or ()), *(whole.pins or ()), *(whole.recordings or ())}
    absent = tuple(n for n in (*chip.channels, *chip.unit.outputs) if n not in compared)
    if not compared:
        raise MapError(
            f"no signal to compare: neither a channel ({', '.join(chip.channels)}) "
            f"nor an output ({', '.join(chip.unit.outputs)}) was found",
            place=Place(header.file),
            hint='say it in a map: [channels] NAME = "...", [outputs] NAME = "..."',
        )
    return replace(whole, absent=absent)


def _with_guesses(given: SignalMap, header: Header, chip: Chip, need_bus: bool) -> SignalMap:
    guesser = GuesserState(header, chip)
    clock = guesser.clock() if given.clock is None else given.clock
    reset = guesser.reset() if given.reset is None else given.reset
    bus = guesser.bus(needed=need_bus) if given.bus is None else given.bus
    sounds = (given.channels, given.outputs, given.pins, given.recordings)
    channels = given.channels
    if channels is None:
        channels = guesser.channels()
    outputs, pins = given.outputs, given.pins
    if all(group is None for group in sounds[1:]):
        outputs, pins = guesser.outputs()
    guesser.finish()
    if need_bus and not bus.write:
        place = given.file.place("bus") if given.file is not None else Place(header.file)
        raise MapError("the map says that the dump has no bus", place=place, hint="give the register log then")
    return replace(
        given,
        clock=clock,
        reset=reset,
        bus=bus,
        channels=channels,
        outputs=outputs or {},
        pins=pins or {},
        recordings=given.recordings or {},
        guesses=tuple(guesser.guesses),
    )


def _looked_up(whole: SignalMap, header: Header, chip: Chip, problems: list[Problem]) -> SignalMap:
    look = _LookUp(whole, header, problems)
    assert whole.clock is not None
    assert whole.reset is not None
    assert whole.bus is not None
    clock, reset, bus = whole.clock, whole.reset, whole.bus
    if clock.signal:
        clock = replace(clock, signal=look(clock.signal, ("clock", "signal"), bits=1))
    if clock.enable:
        clock = replace(clock, enable=look(clock.enable, ("clock", "enable"), bits=1))
    if reset.signal:
        reset = replace(reset, signal=look(reset.signal, ("reset", "signal"), bits=1))
    if bus.write:
        bus = replace(
            bus,
            write=look(bus.write, ("bus", "write"), bits=1),
            address=look(bus.address, ("bus", "address")),
            data=look(bus.data, ("bus", "data")),
        )
    if bus.write and bus.read:
        bus = replace(
            bus,
            read=look(bus.read, ("bus", "read"), bits=1),
            read_data=look(bus.read_data, ("bus", "read_data")),
            read_latency=chip.bus.read_latency if bus.read_latency < 0 else bus.read_latency,
        )
    channels = {
        name: replace(entry, signal=look(entry.signal, ("channels", name)))
        for name, entry in (whole.channels or {}).items()
    }
    outputs = {}
    for name, entry in (whole.outputs or {}).items():
        strobe = look(entry.strobe, ("outputs", name, "strobe"), bits=1) if entry.strobe else ""
        outputs[name] = replace(entry, signal=look(entry.signal, ("outputs", name)), strobe=strobe)
    pins = {
        name: replace(entry, signal=look(entry.signal, ("pins", name), bits=1))
        for name, entry in (whole.pins or {}).items()
    }
    return replace(whole, clock=clock, reset=reset, bus=bus, channels=channels, outputs=outputs, pins=pins)


class _LookUp:
    """Looks names up, one problem for each that does not stand for one signal of fitting width."""

    def __init__(self, whole: SignalMap, header: Header, problems: list[Problem]) -> None:
        self.whole, self.header, self.problems = whole, header, problems

    def __call__(self, name: str, path: KeyPath, bits: int | None = None) -> str:
        file = self.whole.file
        place = file.place(*path) if file is not None and path[0] in file.data else Place(self.header.file)
        try:
            selection = choose(self.header, [name])
        except DumpError as error:
            self.problems += [Problem(p.message, place, p.hint) for p in error.problems]
            return name
        found: tuple[Signal, ...] = selection.signals
        if len(found) != 1:
            listed = ", ".join(s.path for s in found[:10])
            self.problems.append(Problem(f'"{name}" stands for {len(found)} signals: {listed}', place, "name one"))
        elif bits is not None and found[0].width != bits:
            message = f'"{found[0].path}" is {found[0].width} bits wide; {bits} expected'
            self.problems.append(Problem(message, place))
        return found[0].path
