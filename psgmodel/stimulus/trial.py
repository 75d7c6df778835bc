"""Trial: what would become of channels if they were played on so.

Stage: stimulus. In: a player. Out: a copy that goes its own way from where the channels stand, and keeps what it
writes. No time passes for the player.
"""

from __future__ import annotations

from psgmodel.stimulus.player import Player
from psgmodel.stimulus.shadow import RegisterWrite


class Trial(Player):
    """A copy of a player, who keeps what it writes.

    Attributes
    ----------
    done : list of (int, RegisterWrite)
        Edges and register writes.
    """

    def __init__(self, player: Player) -> None:
        self.__dict__.update(player.__dict__)
        self.followers = {name: follower.fork() for name, follower in player.followers.items()}
        self.restarts = {name: list(edges) for name, edges in player.restarts.items()}
        self.shadow, self.schedule = player.shadow.fork(), player.schedule.fork(player.now)
        self.held = dict(player.held)
        self.done: list[tuple[int, RegisterWrite]] = []

    def write(self, write: RegisterWrite, edge: int | None = None) -> bool:
        """Let a register write take place, and keep it."""
        at = self.earliest() if edge is None else edge
        if not super().write(write, at):
            return False
        self.done.append((at, write))
        return True

    def again(self, write: RegisterWrite, edge: int | None = None) -> bool:
        """Write anew; a trial does not lean on what the index port holds."""
        return self.write(write, edge)

    def ready(self, name: str, writes: int = 1) -> int:
        """Return the first edge at which a strobe or write can be made to act."""
        s = self.schedule
        return self.earliest() + (s.lead + s.spacing) * (writes - 1) + self.chip.channels[name].start_delay

    def due(self, name: str, block: str) -> int:
        """Return the first edge that can be met at which a block acts, as far as the note lasts until then."""
        found, ready = super().due(name, block), self.ready(name)
        if found >= ready or block == "step":
            return found
        ahead = self.followers[name].fork()
        ahead.wait(ready)
        return self._acts(ahead, block)
