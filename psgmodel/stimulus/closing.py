"""Closing: logs that show every behaviour of a chip that can be reached.

Stage: stimulus. In: a chip, a seed, the least spacing of writes. Out: one register log; more where something happens
only soon after reset, and one log cannot show it.

1. Memories are filled; every channel is routed to every output.
2. Channels that share neither registers nor dividers are played side by side, each by a player of its own: for every
   behaviour not yet seen, what makes it happen (`directed`); up to `ROUNDS` times, as chance and the bus decide.
3. All channels together: the unit around them (`directed_unit`): mixer, registers, restarts.
4. As 2, what is slow: so most of what can be wrong shows before.
5. What is still left of the channels is looked for by chance (`searching`).
6. What is not foreseen: odd bus writes, the power bit.
7. What is still left is looked for in random stretches, then in short logs of their own (`wandering`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.coverage.bins import Behaviour
from psgmodel.coverage.covering import channel_behaviours
from psgmodel.coverage.moments import Moments
from psgmodel.errors import StimulusError
from psgmodel.reglog.bus import SPACING
from psgmodel.reglog.log import RegisterLog, make_log
from psgmodel.steps import constant_steps
from psgmodel.stimulus.chance import ChanceState
from psgmodel.stimulus.directed import play
from psgmodel.stimulus.directed_steps import fill
from psgmodel.stimulus.directed_unit import play_unforeseen, play_unit
from psgmodel.stimulus.notes import Notes
from psgmodel.stimulus.player import Player, groups, joined
from psgmodel.stimulus.schedule import Schedule
from psgmodel.stimulus.searching import search
from psgmodel.stimulus.shadow import ShadowState, bus_writes
from psgmodel.stimulus.wandering import PATIENCE, Progress, wander

ROUNDS = 24
"""Times that a behaviour is tried."""


@dataclass(slots=True)
class _ChannelState:
    """How far one channel is."""

    notes: Notes
    left: dict[str, Behaviour]
    row: int = 0

    def look(self) -> None:
        """Strike out what has been seen since the last look."""
        watched = self.notes.follower.watched
        if len(watched.rows) <= self.row:
            return
        part, end = self.notes.follower.shown(self.row), watched.rows[-1][0] + 1
        m = Moments(self.notes.chip, self.notes.name, part, constant_steps(1, 0, end))
        for name in [name for name, b in self.left.items() if np.any(b.seen(m))]:
            del self.left[name]
        self.row = len(watched.rows) - 1

    def skip(self) -> None:
        """Leave out what happened since the last look: the mixer may not have let it through."""
        self.row = max(0, len(self.notes.follower.watched.rows) - 1)


def closing_logs(
    chip: Chip,
    seed: int = 1,
    *,
    spacing: int = SPACING,
    patience: int = PATIENCE,
    progress: Progress | None = None,
) -> list[RegisterLog]:
    """Make the logs.

    Parameters
    ----------
    chip : Chip
    seed : int, 0 or more
    spacing : int, clock cycles, optional
        Least distance of two writes; 1 for a bus master in hardware.
    patience : int, optional
        Random stretches in a row that may show nothing new before the search for what is left ends, 0 for none; what
        it takes to be rare needs more of it.
    progress : function of (int, int), optional
        Is told how many of these were in vain so far, and after how many the search ends.

    Returns
    -------
    list of RegisterLog
        One as a rule; the longest comes first. The same input gives the same logs. Cover them together
        (`psgmodel.coverage.cover`) to see whether they leave anything open.

    Raises
    ------
    StimulusError
        Numbers out of range, or a chip to which nothing can be written.
    """
    for what, value, least in (("seed", seed, 0), ("spacing", spacing, 1), ("patience", patience, 0)):
        if value < least:
            raise StimulusError(f"{what} {value}, accepted: {least} and more")
    if not chip.registers and not chip.memories:
        raise StimulusError("nothing can be written to this chip: it has neither registers nor memories")
    chance = ChanceState(seed)
    schedule, shadow = Schedule(chip, spacing), ShadowState(chip)
    start = _opening(chip, schedule, shadow, spacing)
    players = [Player(chip, names, schedule, chance, shadow, spacing) for names in groups(chip)]
    playing = []
    for player in players:
        player.wait(start)
        playing.append([_begun(player, name, spacing) for name in player.names])
        _play_group(playing[-1], slow=False)
    whole = joined(players)
    play_unit(whole)
    for player, states in zip(players, playing, strict=True):
        player.go_on(whole)
        for state in states:
            state.skip()
        _play_group(states, slow=True)
        _search_group(player, states)
    end = play_unforeseen(joined(players))
    columns = ([row[i] for row in schedule.rows()] for i in range(3))
    log = make_log(*columns, end=end, source=f"closing log, seed {seed}")
    return wander(chip, log, chance, spacing, patience, progress)


def _opening(chip: Chip, schedule: Schedule, shadow: ShadowState, spacing: int) -> int:
    """Switch the power on and route every channel to every output; return the edge from which channels are played.

    A register that is reset to what is wanted is not written, so that its reset value is heard.
    """
    loudest = max(range(len(chip.mixer.routes)), key=lambda i: chip.mixer.routes[i])
    trim = max(range(len(chip.mixer.trims)), key=lambda i: chip.mixer.trims[i])
    wanted = {f"mixer.{o}.{n}": loudest for o in chip.unit.outputs for n in chip.channels}
    wanted |= {f"mixer.{o}.trim": trim for o in chip.unit.outputs} | {"power": 1}
    wanted = {name: v for name, v in wanted.items() if name in chip.fields and chip.fields[name].segments}
    cycle, reset = 0, dict(shadow.stored)
    switch = {s.address for s in chip.fields["power"].segments} if "power" in wanted else set()
    writes = [(address, value) for address, value in shadow.set(wanted) if reset[address] != value]
    for write in sorted(writes, key=lambda w: w[0] not in switch):  # without power nothing else can be written
        for address, value in bus_writes(chip, write):
            schedule.put_row(cycle, address, value)
            cycle += spacing
    return cycle + 16


def _always_played(what: str) -> bool:
    """Tell whether a behaviour is played though it was seen already: all but what is seen in passing, such as values.

    The values of a noise clock are played: while a noise register repeats a bit, the length of its steps is not heard.
    """
    if what.startswith(("divisor=", "shift=")):
        return True
    return "=" not in what and not what.endswith(("-alone", ".still"))


def _slow(what: str) -> bool:
    """Tell whether a behaviour takes a long wait: it is played late."""
    return what.startswith(("timer.length=", "timer.length.", "envelope.period=", "sweep.period="))


def _begun(player: Player, name: str, spacing: int) -> _ChannelState:
    """Fill the memory of a channel and look up what it can do."""
    behaviours = [b for b in channel_behaviours(player.chip, name, spacing) if not b.bin.unreachable]
    state = _ChannelState(Notes(player, name), {b.bin.name.partition(".")[2]: b for b in behaviours})
    fill(state.notes)
    return state


def _play_group(states: list[_ChannelState], *, slow: bool) -> None:
    """Play what is left to be seen of some channels: what is slow, or what is not."""
    for number in range(ROUNDS):
        wanted = {state.notes.name: [what for what in state.left if _slow(what) == slow] for state in states}
        if not any(wanted.values()):
            return
        for state in states:
            for what in wanted[state.notes.name]:
                if what in state.left or (number == 0 and _always_played(what)):
                    play(state.notes, what)
                    for other in states:
                        other.look()
            state.notes.calm()
        for state in states:
            state.notes.silence()


def _search_group(player: Player, states: list[_ChannelState]) -> None:
    """Look by chance for what directed play has missed."""

    def look() -> None:
        for state in states:
            state.look()

    for state in states:
        search(player, state.notes.name, state.left, look)
