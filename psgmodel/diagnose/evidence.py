"""Evidence: what stands at the first divergence says about the block in which it arises.

Stage: diagnose. In: the sort of difference, both levels, what the model does at that very edge. Out: a block and a
sentence; nothing where nothing speaks. This is for faults that no change of the description explains: what two channels
have in common is the block that acted where they part.
"""

from __future__ import annotations

from dataclasses import dataclass

from psgmodel.chip.channel import Channel
from psgmodel.chip.records import Chip
from psgmodel.diagnose.blocks import REGISTERS, field_value, has_block
from psgmodel.diagnose.differing import Differing
from psgmodel.diagnose.edits import ticks_of
from psgmodel.diagnose.kinds import DifferenceKind
from psgmodel.engine.actions import tick_trains, unit_events
from psgmodel.engine.standing import states_at
from psgmodel.engine.state import UnitState, reset_state
from psgmodel.reglog.log import RegisterLog

K = DifferenceKind
_LEVELS = (K.LEVEL, K.LEVEL_FACTOR, K.LEVEL_BIT, K.STUCK_BIT)
_TICKING = ("timer", "sweep", "envelope")


@dataclass(frozen=True, slots=True)
class Evidence:
    """A block and why, a sentence."""

    block: str
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Edge:
    """What the model does with one channel at one edge.

    Attributes
    ----------
    changed : frozenset of str
        Blocks whose registers change.
    ticks : frozenset of str
        Ticks that come.
    cleared : bool
        The power bit goes to 0.
    sweeps : bool
        The sweep is set to move.
    """

    changed: frozenset[str]
    ticks: frozenset[str]
    cleared: bool
    sweeps: bool


def evidence_of(chip: Chip, log: RegisterLog, name: str, kind: DifferenceKind, d: Differing) -> Evidence | None:
    """Return what the first divergence of a signal says.

    Parameters
    ----------
    chip : Chip
    log : RegisterLog
    name : str
        Channel or output.
    kind : DifferenceKind
    d : Differing
        Both signals; `d.active` is None for an output.
    """
    if name not in chip.channels:
        if _edge(chip, log, "", max(0, d.at - chip.mixer.latency)).cleared:
            return Evidence("power", "the power bit is cleared at the edge that this code shows")
        return None if d.exact.follows_channels else Evidence("mixer", "the channels agree up to there")
    channel = chip.channels[name]
    edge = _edge(chip, log, name, d.at)
    if edge.cleared:
        return Evidence("power", "the power bit is cleared at this edge")
    if kind in (K.UNKNOWN, K.GLITCH):
        return Evidence(_waveform(channel), "the level is made there, whatever the other blocks do")
    if kind in (K.MISSED_START, K.EXTRA_START, K.CONSTANT_OFFSET):
        return Evidence("start", "a note begins on one side alone, or at another time")
    if kind is K.STOPPED_LATE:
        return _stop(chip, log, name, d)
    if kind is K.STOPPED_EARLY:
        return _end(channel, edge)
    return _shape(channel, kind, d, edge)


def _edge(chip: Chip, log: RegisterLog, name: str, cycle: int) -> Edge:
    """Run one edge and see what changes."""
    before, after = states_at(chip, log.with_end(cycle + 1), (cycle, cycle + 1), (name,) if name else ())
    cleared = bool(_power(chip, before)) and not _power(chip, after)
    if not name:
        return Edge(frozenset(), frozenset(), cleared, False)
    one, two = before.channels[name], after.channels[name]
    changed = {b for b, registers in REGISTERS.items() if any(getattr(one, r) != getattr(two, r) for r in registers)}
    state = reset_state(chip)
    events = unit_events(chip, log.cut(0, cycle + 1 - chip.bus.write_latency), state)
    trains, _, _ = tick_trains(chip, events, state)
    ticks = {t for t in ticks_of(chip.channels[name]) if trains[t].nth_after(cycle - 1, 1) == cycle}
    sweeps = chip.channels[name].sweep is not None and field_value(chip, before, f"{name}.sweep.period") != 0
    return Edge(frozenset(b for b in changed if has_block(chip.channels[name], b)), frozenset(ticks), cleared, sweeps)


def _power(chip: Chip, state: UnitState) -> int:
    field = chip.fields.get("power")
    return 1 if field is None else sum(state.registers[s.address] >> s.low & 1 for s in field.segments)


def _waveform(channel: Channel) -> str:
    return {"square": "pattern", "wave": "table", "noise": "register"}[channel.kind]


def _ticking(channel: Channel, edge: Edge) -> list[str]:
    """Return the blocks that count a tick of this edge."""
    blocks = [(b, getattr(channel, b)) for b in _TICKING]
    return [name for name, block in blocks if block is not None and block.ticks in edge.ticks]


def _stop(chip: Chip, log: RegisterLog, name: str, d: Differing) -> Evidence:
    """Say what stopped the model."""
    assert d.active is not None
    edge = _edge(chip, log, name, int(d.active.cycle[d.active.index_at(d.at)]))
    found = [b for b in _ticking(chip.channels[name], edge) if b in edge.changed]
    if found:
        return Evidence(found[0], "it counts at the edge at which the model stops")
    return Evidence("start", "no tick stops the model")


def _end(channel: Channel, edge: Edge) -> Evidence:
    """Say what may have stopped the dump."""
    found = _ticking(channel, edge)
    if found:
        return Evidence(found[0], "its tick comes at the edge at which the dump stops")
    return Evidence("start", "no tick comes where the dump stops")


def _shape(channel: Channel, kind: DifferenceKind, d: Differing, edge: Edge) -> Evidence:
    """Say which block makes a level or a time another one."""
    last = max(d.at - 1, 0)
    heard = any(int(side.at(d.at)) != int(side.at(last)) for side in (d.model, d.dump))
    if "envelope" in edge.changed and heard:
        return Evidence("envelope", "it moves or counts at this edge")
    ours, theirs = int(d.model.at(d.at)), int(d.dump.at(d.at))
    if channel.kind != "wave" and d.idle not in (ours, theirs) and abs(ours) != abs(theirs):
        amplitude = "envelope" if channel.envelope is not None else "loudness"
        return Evidence(amplitude, "both sides sound, each at its own loudness")
    if kind in _LEVELS:
        return Evidence(_waveform(channel), "the levels are off and the times are not")
    moved = bool(edge.changed & {"pattern", "table", "register"})
    if not moved and d.at and int(d.dump.at(d.at)) != int(d.dump.at(d.at - 1)):
        return _time(edge, "the dump steps where the model does not")
    if kind in (K.PERIOD, K.OFFSET_CHANGED):
        return _time(edge, "steps last longer or shorter, or begin at another time")
    return Evidence(_waveform(channel), "both sides step, and to other levels")


def _time(edge: Edge, why: str) -> Evidence:
    return Evidence("sweep", f"{why}, in a note that sweeps") if edge.sweeps else Evidence("step", why)
