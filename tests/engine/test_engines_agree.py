"""The fast engine, compiled or not, gives the answer of the reference, on generated chips and logs.

The reference is the definition, so it is the independent side here; that it says what the prose says is held by the
tables worked out by hand beside this file.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from hypothesis import HealthCheck, given, seed, settings

from psgmodel.chip import Chip
from psgmodel.engine import blocks, players, reference, reference_channel
from psgmodel.reglog import RegisterLog
from tests.engine.engines import agreed
from tests.laws.generators import chips_and_logs

TAME = settings(deadline=None, database=None, derandomize=True, suppress_health_check=list(HealthCheck))


def all_three(chip: Chip, log: RegisterLog, total: Counter[str]) -> None:
    trace = agreed(chip, log)
    total["pairs"] += 1
    total["cycles"] += log.end
    total["writes"] += len(log)
    total["changes"] += sum(len(trace[name]) - 1 for name in trace.channels)


@contextmanager
def counted_meetings(monkeypatch: pytest.MonkeyPatch) -> Iterator[Counter[str]]:
    """Count, while the reference runs, how often two things happen at one edge of an active channel."""
    met: Counter[str] = Counter()
    timer_edge, fade_edge = blocks.NoteTimer.edge, blocks.VolumeEnvelope.edge
    glide_edge, step_edge = blocks.FrequencySweep.edge, blocks.StepCounter.edge
    wave_edge, shift = players.WavePlayer.edge, players.NoisePlayer.shift
    divider_edge, clear_unit = blocks.StepDivider.edge, reference.ReferenceUnit._clear
    delayed, gate_strobes = reference_channel.ReferenceChannel._delayed, reference.ReferenceUnit._gate_strobes

    def timer(self: Any, e: blocks.EdgeState, tick: bool) -> bool:
        expired = timer_edge(self, e, tick)
        met["start, timer tick"] += e.start and tick and e.active
        met["start, timer tick, idle"] += e.start and tick and not e.active
        met["start, expiry"] += e.start and expired
        met["expiry"] += expired
        met["write, timer tick"] += tick and "timer.enable" in e.written
        met["load, written"] += e.start and "timer.length" in e.written
        return expired

    def fade(self: Any, e: blocks.EdgeState, tick: bool) -> bool:
        before = self.level
        ended = fade_edge(self, e, tick)
        met["start, envelope tick"] += e.start and tick and e.active
        met["start, envelope tick, idle"] += e.start and tick and not e.active
        met["write, envelope tick"] += tick and "envelope.period" in e.written
        met["volume, envelope tick"] += tick and e.active and "volume" in e.written
        met["envelope step"] += tick and e.active and not e.start and self.level != before
        met["envelope ends the note"] += ended
        met["bypassed envelope"] += e.active and e.new.get("envelope.bypass", 0) == 1
        return ended

    def glide(self: Any, e: blocks.EdgeState, tick: bool) -> tuple[int | None, bool]:
        period, over = glide_edge(self, e, tick)
        met["sweep step"] += period is not None and period != e.old["period"]
        met["sweep step, period written"] += period is not None and "period" in e.written
        met["sweep overflow"] += over
        met["sweep overflow at start"] += over and e.start
        met["sweep turned round"] += over and e.new["sweep.falling"] < e.old["sweep.falling"]
        met["shadow apart from the period"] += period is not None and self.shadow != e.old["period"]
        met["start, sweep tick"] += e.start and tick and e.active
        met["start, sweep step"] += e.start and period is not None
        return period, over

    def step(self: Any, e: blocks.EdgeState, clocked: bool) -> bool:
        due = self.count == 0 if self.options.new_value == "next-step" else self.count + 1 >= self.length(e.old)
        met["start, step"] += e.start and e.active and due
        met["write, step"] += e.active and due and bool({"period", "divisor", "shift"} & e.written)
        met["clock stopped"] += e.active and self.stopped(e.old)
        met["prescaler between its ticks"] += e.active and not clocked
        return step_edge(self, e, clocked)

    def wave(self: Any, e: blocks.EdgeState, advance: bool, writes: list[tuple[int, int]]) -> bool:
        ended = wave_edge(self, e, advance, writes)
        met["wave has ended"] += ended and not e.start
        per_address = self.options.per_address
        met["fetch, sample written"] += advance and any(a == self.position // per_address for a, _ in writes)
        met["write while playing: " + self.options.while_playing] += e.active and len(writes) > 0
        return ended

    def noise(self: Any, short: bool) -> None:
        met["short shift"] += short
        met["long shift"] += not short
        shift(self, short)

    def divider(self: Any, restart: bool) -> int | None:
        met["restart"] += restart
        met["restart, step due"] += restart and self.wait == 0
        met["step of a sequencer"] += self.options.steps > 1 and self.wait == 0
        return divider_edge(self, restart)

    def clear(self: Any, w: Any) -> None:
        met["power off"] += 1
        met["power off with strobes under way"] += any(c.starts for c in self.channels.values())
        clear_unit(self, w)

    def gates(self: Any, old: Any, new: Any) -> set[str]:
        found = gate_strobes(self, old, new)
        met["gate opened"] += sum(event.endswith("start") for event in found)
        met["gate closed"] += sum(event.endswith("stop") for event in found)
        return found

    def strobes(self: Any, wanted: set[str]) -> tuple[bool, bool]:
        entry = 1 << self.channel.start_delay
        starts = self.starts | (entry if self.channel.name + ".start" in wanted else 0)
        stops = self.stops | (entry if self.channel.name + ".stop" in wanted else 0)
        met["start, stop"] += bool(starts & stops & 1)
        met["strobes on their way"] += starts > 1
        return delayed(self, wanted)

    with monkeypatch.context() as patch:
        patch.setattr(blocks.NoteTimer, "edge", timer)
        patch.setattr(blocks.VolumeEnvelope, "edge", fade)
        patch.setattr(blocks.FrequencySweep, "edge", glide)
        patch.setattr(blocks.StepCounter, "edge", step)
        patch.setattr(players.WavePlayer, "edge", wave)
        patch.setattr(players.NoisePlayer, "shift", noise)
        patch.setattr(blocks.StepDivider, "edge", divider)
        patch.setattr(reference.ReferenceUnit, "_clear", clear)
        patch.setattr(reference.ReferenceUnit, "_gate_strobes", gates)
        patch.setattr(reference_channel.ReferenceChannel, "_delayed", strobes)
        yield met


def test_all_engines_give_the_same_signals_and_registers_and_everything_that_can_meet_has_met(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    total: Counter[str] = Counter()

    @settings(TAME, max_examples=240)
    @given(chips_and_logs())
    def compare(pair: tuple[Chip, RegisterLog]) -> None:
        all_three(*pair, total)

    with counted_meetings(monkeypatch) as met:
        compare()
    print(dict(total), dict(met))
    assert total["pairs"] >= 100
    assert total["cycles"] > 100_000
    assert total["changes"] > 5_000
    rare = {what: count for what, count in met.items() if count < 5}
    assert not rare, "the generator no longer reaches these"


@pytest.mark.long
@pytest.mark.parametrize("number", range(8))
def test_all_engines_agree_on_thousands_of_generated_chips(number: int) -> None:
    total: Counter[str] = Counter()

    @seed(number)
    @settings(TAME, derandomize=False, max_examples=400)
    @given(chips_and_logs(cycles=4000, writes=120))
    def compare(pair: tuple[Chip, RegisterLog]) -> None:
        all_three(*pair, total)

    compare()
    print(dict(total))
    assert total["pairs"] >= 400
