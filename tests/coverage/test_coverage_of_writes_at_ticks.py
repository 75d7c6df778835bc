"""Writes that take place at the edge of a tick: what the step there did is told by the fields that it took.

Tiny units of one channel; the tick "t" is at edges 10, 20, 30, and a start acts at the edge of its write. A period of
one tick lets envelope and sweep make their first step at edge 10.
"""

from __future__ import annotations

import pytest

from psgmodel.chip import Chip
from psgmodel.coverage import Coverage, cover
from psgmodel.reglog import make_log
from tests.engine.tiny_units import (
    BYPASS,
    ENABLE,
    FADE,
    FALLING,
    GLIDE,
    GO,
    LENGTH,
    PERIOD,
    POWER,
    RISING,
    SHIFT,
    START,
    VOLUME,
    tiny,
)

Write = tuple[int, int, int]
LOUD: list[Write] = [(0, VOLUME, 4), (1, PERIOD, 8)]
GLIDING: list[Write] = [*LOUD, (2, GLIDE, 1), (3, SHIFT, 1), (4, FALLING, 0), (5, GO, START)]
FADING: list[Write] = [*LOUD, (2, FADE, 1), (3, RISING, 1), (5, GO, START)]


def covered(chip: Chip, writes: list[Write], end: int = 60) -> Coverage:
    return cover(chip, [make_log(*([row[i] for row in writes] for i in range(3)), end=end)], spacing=1)


def hit(chip: Chip, writes: list[Write], end: int = 60) -> set[str]:
    coverage = covered(chip, writes, end)
    assert coverage.against_reason == ()
    return {b.name.removeprefix("x.") for b in coverage.bins if coverage.count(b)}


def sweeping(rule: str) -> Chip:
    return tiny(f'[channel.x]\npatterns = ["10"]\nsweep = {{ write_and_tick = "{rule}" }}')


@pytest.mark.parametrize(("rule", "shift"), [("old", 1), ("new", 2)])
def test_a_shift_written_at_a_sweep_step_counts_where_the_step_takes_it(rule: str, shift: int) -> None:
    found = hit(sweeping(rule), [*GLIDING, (10, SHIFT, 2)], end=15)
    assert {b for b in found if b.startswith("sweep.rising-shift")} == {f"sweep.rising-shift={shift}"}
    assert "sweep.shift-at-step" in found


@pytest.mark.parametrize(("rule", "way"), [("old", "up"), ("new", "down")])
def test_a_direction_written_at_a_sweep_step_counts_where_the_step_takes_it(rule: str, way: str) -> None:
    found = hit(sweeping(rule), [*GLIDING, (10, FALLING, 1)], end=15)
    assert found & {"sweep.up", "sweep.down"} == {f"sweep.{way}"}


@pytest.mark.parametrize(("rule", "over"), [("old", True), ("new", False)])
def test_a_sweep_step_runs_over_by_the_fields_that_it_takes(rule: str, over: bool) -> None:
    """From 8 a step up by shift 0 leads to 16, past the last period; a sweep that is halted makes no step."""
    rows = [*GLIDING, (6, SHIFT, 0)]
    assert "sweep.overflow" in hit(sweeping(rule), rows, end=15)
    assert ("sweep.overflow" in hit(sweeping(rule), [*rows, (10, GLIDE, 0)], end=15)) == over
    assert ("sweep.overflow" in hit(sweeping(rule), [*rows, (10, SHIFT, 1)], end=15)) == over


@pytest.mark.parametrize(("rule", "way"), [("old", "up"), ("new", "down")])
def test_a_direction_written_at_an_envelope_step_counts_where_the_step_takes_it(rule: str, way: str) -> None:
    chip = tiny(f'[channel.x]\npatterns = ["10"]\nenvelope = {{ write_and_tick = "{rule}" }}')
    found = hit(chip, [*FADING, (10, RISING, 0)], end=15)
    assert found & {"envelope.up", "envelope.down"} == {f"envelope.{way}"}


@pytest.mark.parametrize("falling", [0, 1])
def test_a_shift_that_no_step_can_take_is_out_of_reach(falling: int) -> None:
    """By constants, a period of 1 bit moves by 1 at most."""
    text = '[channel.x]\npatterns = ["10"]\nstep = { bits = 1 }\nsweep = { moves_by = "constant" }'
    bins = {b.name: b.unreachable for b in covered(tiny(text), GLIDING).bins}
    way = "falling" if falling else "rising"
    assert bins[f"x.sweep.{way}-shift=1"] == ""
    assert bins[f"x.sweep.{way}-shift=2"] == f"no {way} step with shift 2 fits and changes a period of 1 bits"


def test_a_timer_that_a_write_counts_down_meets_no_step_at_another_tick() -> None:
    """The envelope steps at 13, 23, 33, the timer ticks at 10, 20, 30; being switched on at 13 is its last count."""
    text = """
        ticks = { u = { every = 10, first = 13 } }
        [channel.x]
        patterns = ["10"]
        timer = { on_enable = "tick" }
        envelope = { ticks = "u" }
    """
    begun = [*LOUD, (2, FADE, 1), (3, LENGTH, 1), (4, ENABLE, 0), (5, GO, START)]
    found = hit(tiny(text), [*begun, (13, ENABLE, 1)])
    assert "timer.on-ends" in found
    assert "timer.end-at-envelope-step" not in found


CLEARED = [*LOUD, (3, POWER, 0), (4, POWER, 1), (5, VOLUME, 4), (6, GO, START)]


@pytest.mark.parametrize(("gain", "heard"), [(1, True), (0, False)])
def test_a_register_counts_as_cleared_only_where_the_mixer_has_a_gain_for_its_channel(gain: int, heard: bool) -> None:
    chip = tiny(f'mixer = {{ gains = {{ x = {gain} }} }}\npower = {{}}\n[channel.x]\npatterns = ["10"]')
    period = f"R{PERIOD}"
    assert (f"power.x.{period}-cleared" in hit(chip, CLEARED)) == heard
    reasons = {b.name: b.unreachable for b in covered(chip, CLEARED).bins}
    assert reasons[f"power.x.{period}-cleared"] == ("" if heard else "the mixer's gain of x is 0")


@pytest.mark.parametrize(("on_write", "shown"), [("", True), ('"x.start"', False)])
def test_a_bypass_set_by_the_write_that_starts_the_channel_anew_is_not_heard_by_itself(
    on_write: str, shown: bool
) -> None:
    chip = tiny(
        f'register = [{{ name = "PASS", address = {BYPASS}, on_write = [{on_write}], '
        'fields = [{ bits = "0", drives = "x.envelope.bypass" }] }, '
        f'{{ name = "GO", address = {GO}, fields = [{{ bits = "0", strobes = "x.start" }}, '
        '{ bits = "1", strobes = "x.stop" }] }]\n'
        "[channel.x]\nenvelope = { bypass = true }\n"
    )
    # At 10 the level falls to 3 while the volume stands at 4.
    begun = [*LOUD, (2, FADE, 1), (3, RISING, 0), (5, GO, START)]
    assert ("envelope.bypass-set" in hit(chip, [*begun, (15, BYPASS, 1)])) == shown
