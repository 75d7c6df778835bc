"""What the mixer can meet: levels that channels have, muted trims, channels that are never alone, products that the
shift never rounds; and what was heard by the routes before an edge.

Where a description rules something out, nearly the same one does not, and a log shows it there.
"""

from __future__ import annotations

import pytest

from psgmodel.coverage.loudest import levels
from psgmodel.coverage.reach import Reach
from tests.coverage.tiny_hand import Rows, assert_kept, reason_of, shown
from tests.engine.tiny_units import FADE, GO, MEMORY, POWER, START, STOP, VOLUME, Y, tiny

MUTED = 'mixer = { trims = [0, 1] }\nconstants = { "mixer.out.trim" = %s }\n[channel.x]\n[channel.y]\n'
ALWAYS_MUTED = "the trim of out is always 0"
BESIDE = 'constants = { "y.volume" = 7 }\n[channel.x]\n[channel.y]\nidle_level = %s\npatterns = ["%s"]\n'
NEVER_ALONE = "out always lets y through, whose level is never 0"
LET_BY = """
    constants = { "y.volume" = 7 }
    mixer = { routes = [%s, 2] }
    register = [{ name = "MIX", address = 0x30, fields = [{ bits = "0", drives = "mixer.out.y" }] }]
    [channel.x]
    [channel.y]
    idle_level = 1
"""
FROM_RESET = """
    register = [
        { name = "STRIKE", address = 0x30, fields = [
            { bits = "0", strobes = "x.start" }, { bits = "1", strobes = "%s" },
        ] },
    ]
    ticks = { u = { every = 10 } }
    [channel.x]
    at_reset = "active"
    idle_level = -5
"""
BOTH_WAYS = '[channel.x]\nlevels = "bipolar"\npatterns = ["%s"]\n'
FADING = """
    constants = { "x.timer.enable" = 1, "x.volume" = 0, "x.envelope.rising" = 1 }
    mixer = { bits = 3, offset = 2 }
    ticks = { t = { every = 10, first = 10 }, u = { every = 1 } }
    [channel.x]
    timer = { bits = %s }
    envelope = {}
"""
HALF = 'mixer = { trims = [1], trim_shift = 1%s }\nconstants = { "x.volume" = %s }\n[channel.x]\n'
WAVE = HALF + 'kind = "wave"\nlevels = "%s"\ntable = { samples = 4, bits = 3%s }\n'
NOT_BELOW = "the sum never falls below 0"
MULTIPLE = "every product is a multiple of 2"
SOUNDS: Rows = [(0, VOLUME, 7), (4, GO, START)]
WAVES: Rows = [(4 * i, MEMORY + i, 5) for i in range(4)] + [(16, GO, START)]


@pytest.mark.parametrize(
    ("out", "within", "name", "reason", "rows"),
    [
        (MUTED % 0, MUTED % 1, "mixer.out.x-alone", ALWAYS_MUTED, SOUNDS),
        (MUTED % 0, MUTED % 1, "mixer.out.together-2", ALWAYS_MUTED,
         [*SOUNDS, (8, Y + VOLUME, 7), (12, Y + GO, START)]),
        (BESIDE % (1, "1"), BESIDE % (0, "1"), "mixer.out.x-alone", NEVER_ALONE, SOUNDS),
        (BESIDE % (1, "1"), BESIDE % (1, "10"), "mixer.out.x-alone", NEVER_ALONE,
         [*SOUNDS, (8, Y + 2, 9), (12, Y + GO, START)]),
        (LET_BY % 1, LET_BY % 0, "mixer.out.x-alone", NEVER_ALONE,
         [(0, VOLUME, 7), (4, 0x30, 0), (8, GO, START)]),
        (FROM_RESET % "u.restart", FROM_RESET % "x.stop", "mixer.out.under", NOT_BELOW, [(4, 0x30, 2)]),
        (BOTH_WAYS % "11", BOTH_WAYS % "10", "mixer.out.under", NOT_BELOW, SOUNDS),
        # two ticks make two steps at the most, and 2 + 2 fits into 3 bits
        (FADING % 1, FADING % 3, "mixer.out.over", "the sum never passes 4, and 7 fits",
         [(0, FADE, 1), (12, GO, START)]),
        (HALF % ("", 6), HALF % ("", 7), "mixer.out.fraction", MULTIPLE, [(0, GO, START)]),
        (HALF % ("", 6), HALF % (", gains = { x = 1 }", 5), "mixer.out.fraction", MULTIPLE, [(0, GO, START)]),
        (HALF % (", gains = { x = 2 }", 7), HALF % (", gains = { x = 3 }", 7), "mixer.out.fraction", MULTIPLE,
         [(0, GO, START)]),
        (WAVE % ("", 2, "bipolar", ""), WAVE % ("", 3, "bipolar", ""), "mixer.out.fraction", MULTIPLE, WAVES),
        (WAVE % ("", 6, "unipolar", ""), WAVE % ("", 6, "unipolar", ", volume_shift = 1"), "mixer.out.fraction",
         MULTIPLE, WAVES),
        (WAVE % ("", 6, "unipolar", ""), WAVE % ("", 6, "unipolar", ', volume = "shift"'), "mixer.out.fraction",
         MULTIPLE, [(4 * i, MEMORY + i, 7) for i in range(4)] + [(16, GO, START)]),
    ],
)  # fmt: skip
def test_what_the_mixer_never_meets_has_its_reason(out: str, within: str, name: str, reason: str, rows: Rows) -> None:
    assert reason_of(out, name) == reason
    assert reason_of(within, name) == ""
    assert name in shown(within, rows, 120)
    assert_kept(out)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ('constants = { "x.volume" = 5 }\n[channel.x]\nidle_level = 2\n', {2, 5}),
        ('constants = { "x.volume" = 5 }\n[channel.x]\nidle_level = 2\npatterns = ["10"]\n', {2, 5, 0}),
        ('constants = { "x.volume" = 5 }\n[channel.x]\nlevels = "bipolar"\npatterns = ["10"]\n', {0, 5, -5}),
        ('constants = { "x.volume" = 5, "x.pattern" = 1 }\n[channel.x]\npatterns = ["10", "11"]\nidle_level = 2\n',
         {2, 5}),
        ('constants = { "x.volume" = 2 }\n[channel.x]\nvolume_table = [0, 0, 9, 1, 1, 1, 1, 1]\n', {0, 9}),
        ("[channel.x]\n", set(range(8))),
        # down from 6 by 3: to 3 and 0
        ('constants = { "x.volume" = 6, "x.envelope.rising" = 0 }\n[channel.x]\nenvelope = { step = 3 }\n', {0, 3, 6}),
        ('constants = { "x.volume" = 6, "x.envelope.period" = 0 }\n[channel.x]\nenvelope = { step = 3 }\n', {0, 6}),
    ],
)  # fmt: skip
def test_a_channel_has_the_levels_of_its_pattern_its_volumes_and_its_idle_level(text: str, found: set[int]) -> None:
    assert set(levels(Reach(tiny(text), "x", 4))) == found


def test_a_channel_that_is_never_idle_has_no_idle_level() -> None:
    for strobe, found in (("u.restart", set(range(8))), ("x.stop", {-5, *range(8)})):
        assert set(levels(Reach(tiny(FROM_RESET % strobe), "x", 4))) == found


def test_a_wave_has_the_levels_at_its_ends_and_around_the_middle() -> None:
    """Samples of 3 bits are -4 to 3 where they count from the middle; a memory that nobody writes holds 0."""
    text = 'constants = { "x.volume" = 2 }\n[channel.x]\nkind = "wave"\nlevels = "bipolar"\n'
    assert set(levels(Reach(tiny(text + "table = { samples = 4, bits = 3 }\n"), "x", 4))) == {-8, -6, 0, 2, 6}


def test_levels_that_are_rounded_themselves_have_nothing_in_common() -> None:
    """5 x 4 >> 4 is 1, which the mixer halves; of samples 0, 1, 8, 9 and 15 it is 0, 0, 2, 2 and 4."""
    text = WAVE.replace("bits = 3", "bits = 4") % ("", 5, "unipolar", ", volume_shift = 4")
    assert reason_of(text, "mixer.out.fraction") == ""
    assert "mixer.out.fraction" in shown(text, [(0, MEMORY, 4), (4, GO, START)], 20)
    assert "mixer.out.fraction" not in shown(text, [(0, MEMORY, 8), (4, GO, START)], 20)


ROUTED = """
    power = {}
    register = [
        { name = "SWITCH", address = 14, reset = 1, fields = [{ bits = "0", drives = "power" }] },
        { name = "MIX", address = 0x30, reset = %d, fields = [{ bits = "0", drives = "mixer.out.x" }] },
    ]
    [channel.x]
"""
NAME = "power.off-sounding-x"


@pytest.mark.parametrize("reset", [0, 1])
@pytest.mark.parametrize(
    ("route", "rows", "sounding"),
    [
        (1, [], True),
        (0, [], False),
        (1, [(12, 0x30, 0)], False),
        (0, [(12, 0x30, 1)], True),
        (1, [(12, GO, STOP)], False),
        (1, [(12, VOLUME, 0)], False),
    ],
)
def test_a_note_that_the_power_bit_ends_was_heard_by_the_route_before_it_cleared_that(
    reset: int, route: int, rows: Rows, sounding: bool
) -> None:
    """Whatever the route is reset to; the power bit is switched off at 20."""
    begun: Rows = [(0, POWER, 1), (2, 0x30, route), (4, VOLUME, 7), (8, GO, START), *rows, (20, POWER, 0)]
    assert (NAME in shown(ROUTED % reset, begun, 30)) == sounding


def test_a_note_counts_as_heard_before_the_edge_at_which_its_route_is_closed_with_its_stop() -> None:
    """KILL waits for MIX: stop and route act at one edge, 20; opened there, the route lets nothing be heard before."""
    text = """
    register = [
        { name = "KILL", address = 0x31, held_until = "MIX", fields = [{ bits = "0", strobes = "x.stop" }] },
        { name = "MIX", address = 0x30, reset = 0, fields = [{ bits = "0", drives = "mixer.out.x" }] },
        { name = "STRIKE", address = 0x32, fields = [{ bits = "0", strobes = "x.start" }] },
    ]
    """
    for route in (1, 0):
        rows: Rows = [(0, VOLUME, 7), (4, 0x30, route), (8, 0x32, 1), (16, 0x31, 1), (20, 0x30, 1 - route)]
        assert ("x.stop.sounding" in shown(text, rows, 30)) == (route == 1)


STUCK = """
    constants = { "x.volume" = 7, "x.shift" = %s }
    [channel.x]
    kind = "noise"
    register = { bits = 4, taps = [4, 3], output = 4%s }
    step = { divisors = [4], shift_bits = 1, stopped = [1] }
"""


@pytest.mark.parametrize(
    ("shift", "more", "expected"),
    [(0, "", {0, 7}), (0, ', polarity = "low"', {0, 7}), (1, "", {0, 7}), (1, ', polarity = "low"', {0})],
)
def test_a_noise_register_whose_clock_never_runs_has_the_level_of_its_seed(
    shift: int, more: str, expected: set[int]
) -> None:
    """The seed is all ones: where polarity is low, that is 0, as the idle level is."""
    assert set(levels(Reach(tiny(STUCK % (shift, more)), "x", 4))) == expected
