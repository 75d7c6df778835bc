"""The first divergence, told: its kind, what stands around it, the state of every block; dumps written by hand."""

from __future__ import annotations

import numpy as np
import pytest

from psgmodel.comparison import Status, compare
from psgmodel.diagnose.kinds import DifferenceKind
from psgmodel.diagnose.story import tell
from psgmodel.dump.observe import Kind
from psgmodel.reglog import make_log
from psgmodel.report.story import story_text
from tests.diagnose.model_dumps import observation_of
from tests.diagnose.notes_by_hand import (
    B_GO,
    B_NOTE,
    B_PITCH,
    B_TONE,
    END,
    LINNET,
    Levels,
    changed,
    drop,
    later,
    log_of_b,
    played,
    sound_more,
    steps,
    story_of,
)


def test_the_levels_worked_out_by_hand_are_the_models() -> None:
    observation = observation_of({"b": (Kind.CHANNEL, steps(played()))}, log_of_b())
    comparison = compare(LINNET, observation)
    assert comparison.status is Status.AGREE
    assert tell(comparison, observation, LINNET, None) is None


@pytest.mark.parametrize(
    ("levels", "kind", "cycle", "told"),
    [
        (changed(lambda v: drop(v, 50, 51)), DifferenceKind.GLITCH, 50, "leaves the level for one cycle"),
        (changed(lambda v: drop(v, 4011, 7011)), DifferenceKind.MISSED_START, 4011, "a note from cycle 4011 to 7011"),
        (changed(lambda v: drop(v, 1000, 3011)), DifferenceKind.STOPPED_EARLY, 1000, "from cycle 11 to 3011"),
        (changed(lambda v: sound_more(v, 3011, 3331)), DifferenceKind.STOPPED_LATE, 3011, "stops at cycle 3011"),
        (
            changed(lambda v: v.__setitem__(slice(7900, 8000), [9] * 100)),
            DifferenceKind.EXTRA_START,
            7900,
            "not active, and has not been since cycle 7011",
        ),
        (changed(lambda v: later(v, 0, 2)), DifferenceKind.CONSTANT_OFFSET, 11, "taken 2 cycles late"),
        (changed(lambda v: later(v, 4000, 3)), DifferenceKind.OFFSET_CHANGED, 4011, "3 cycles later than before"),
        (played(gain=lambda level: 3 * level), DifferenceKind.LEVEL_FACTOR, 11, "are 3 times the model's"),
        (played(gain=lambda level: level & ~4), DifferenceKind.STUCK_BIT, 11, "bit 2 of the dump is 0 throughout"),
        (played(gain=lambda level: level ^ 1), DifferenceKind.LEVEL_BIT, 11, "in bit 0 alone"),
        (played(gain=lambda level: level - 3), DifferenceKind.LEVEL, 11, "are 3 too low (17 for 20, 26 for 29)"),
        (played(step=22), DifferenceKind.PERIOD, 171, "last 11/10 times as long as the model's: 176 for 160"),
        (played(pattern="1111101100100000"), DifferenceKind.PATTERN, 111, "the levels that follow one another"),
    ],
)
def test_the_kind_of_a_difference_is_named_with_its_numbers(
    levels: Levels, kind: DifferenceKind, cycle: int, told: str
) -> None:
    found = story_of(steps(levels))
    assert (found.divergence.cycle, found.kind) == (cycle, kind), found.detail
    assert told in found.detail


def test_unknown_values_are_named_and_counted() -> None:
    found = story_of(steps(played(), slice(500, 520)))
    assert (found.divergence.cycle, found.divergence.dump_level) == (500, None)
    assert found.kind is DifferenceKind.UNKNOWN
    assert found.detail == "the dump has X or Z here, up to cycle 520; it is unknown in 20 cycles altogether"


def test_levels_that_follow_nothing_are_called_that() -> None:
    rng = np.random.default_rng(3)
    levels = played()
    levels[1000:3000] = rng.integers(1, 32, 2000).tolist()
    assert story_of(steps(levels)).kind is DifferenceKind.OTHER


def test_the_state_of_every_block_just_before_is_told() -> None:
    # Steps begin at 11, 31, ... so at cycle 1000 the position has been 49 % 16 = 1 since 991; the next step is at 1011.
    found = story_of(steps(changed(lambda v: drop(v, 1000, 1001))))
    assert [str(block) for block in found.before] == [
        "activity: active 1",
        "step timer: count 11 to go, period 9",
        "phase: position 1, pattern 2",
        "note timer: count 0, timer.length 0, timer.enable 0",
        "envelope: level 20, count 0, volume 20, envelope.period 0, envelope.rising 0",
    ]


def test_the_window_has_both_sides_writes_in_field_names_and_ticks() -> None:
    found = story_of(steps(changed(lambda v: later(v, 4000, 3))))
    window = found.window
    # The second note begins at position 150 % 16 = 6, so it is high for two steps; steps last 20 cycles.
    around = [(2891, 20, 20), (3011, 0, 0), (4011, 29, 0), (4014, 29, 29), (4051, 0, 29), (4054, 0, 0), (4211, 29, 0)]
    assert [(s.cycle, s.model, s.dump) for s in window.stretches[-7:]] == around
    assert "B_GO 0x16: b.start" in [w.text for w in window.writes]
    assert "B_NOTE 0x12: b.timer.enable = 0, b.timer.length[8] = 0, b.volume = 29" in [w.text for w in window.writes]
    assert window.ticks == ()


def test_ticks_in_the_window_are_told() -> None:
    # shaping ticks at 9999 (linnet.md, section 3); B has been started for good.
    log = make_log([0, 1, 2, 3], [B_PITCH, B_TONE, B_NOTE, B_GO], [99, 0x20, 7, 1], end=11_000)
    levels = [0] * 4 + [7 if (c // 1600) % 2 == 0 else 0 for c in range(10_996)]
    levels[10_050] = 3
    observation = observation_of({"b": (Kind.CHANNEL, steps(levels))}, log)
    found = tell(compare(LINNET, observation), observation, LINNET, None)
    assert found is not None
    assert found.divergence.cycle == 10_050
    assert [(t.cycle, t.name) for t in found.window.ticks] == [(9_999, "shaping")]


def test_how_often_and_how_long_is_told_per_signal_and_what_only_follows() -> None:
    dump = changed(lambda v: drop(v, 50, 60))
    left = [0, *(4 * level for level in dump[:-1])]  # gain 4, no trim, one register (linnet.md, section 10)
    signals = {
        "a": (Kind.CHANNEL, steps([0] * END)),
        "b": (Kind.CHANNEL, steps(dump)),
        "wave": (Kind.CHANNEL, steps([0] * END)),
        "noise": (Kind.CHANNEL, steps([0] * END)),
        "left": (Kind.OUTPUT, steps(left)),
    }
    observation = observation_of(signals, log_of_b())
    found = tell(compare(LINNET, observation), observation, LINNET, None)
    assert found is not None
    shares = [(s.name, s.first, s.cycles, s.stretches, s.longest, s.follows) for s in found.shares]
    assert shares == [("b", 50, 10, 1, 10, False), ("left", 51, 10, 1, 10, True)]


def test_an_output_that_differs_by_itself_is_told_with_the_mixer() -> None:
    signals = {name: (Kind.CHANNEL, steps([0] * END)) for name in ("a", "wave", "noise")}
    signals["b"] = (Kind.CHANNEL, steps(played()))
    signals["left"] = (Kind.OUTPUT, steps([0, *(5 * level for level in played()[:-1])]))
    observation = observation_of(signals, log_of_b())
    found = tell(compare(LINNET, observation), observation, LINNET, None)
    assert found is not None
    assert (found.name, found.divergence.cycle, found.kind) == ("left", 12, DifferenceKind.LEVEL_FACTOR)
    assert "5/4 times" in found.detail
    assert str(found.before[0]) == "channel levels: a 0, b 20, wave 0, noise 0"
    assert "mixer.left.b 1" in str(found.before[1])
    assert "gain of b 4" in str(found.before[1])
    assert str(found.before[2]) == "codes on their way: next 80"


def test_the_story_reads_as_it_should() -> None:
    text = story_text(story_of(steps(changed(lambda v: drop(v, 50, 51)))))
    assert (
        text
        == """
  kind  one-cycle glitch: the dump leaves the level for one cycle, in which the model
  does not change
  block  perhaps patterns: the level is made there, whatever the other blocks do

  cycle  0  11  |  50  51  171  331  491
  model  0  20  |  20  20    0   20    0
  dump   0  20  |   0  20    0   20    0

  cycles 0 to 650, counted from the first difference
    -50  write B_PITCH 0x10: b.period[7:0] = 9
    -49  write B_TONE 0x11: b.pattern = 2, b.period[11:8] = 0
    -41  write B_NOTE 0x12: b.timer.enable = 0, b.timer.length[8] = 0, b.volume = 20
    -40  write B_GO 0x16: b.start

  the model just before
    activity    active 1
    step timer  count 1 to go, period 9
    phase       position 1, pattern 2
    note timer  count 0, timer.length 0, timer.enable 0
    envelope    level 20, count 0, volume 20, envelope.period 0, envelope.rising 0

  differs  from cycle    for cycles  in stretches  the longest
  b                50  1 (0.0111 %)             1  1 at 50
"""
    )
