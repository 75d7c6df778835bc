"""Why something is out of reach: the reason that a description gives, and none where a word of it is changed."""

from __future__ import annotations

import pytest

from psgmodel.coverage import cover
from tests.engine.tiny_units import tiny

NOISE = '[channel.x]\nkind = "noise"\nregister = { bits = 7, taps = [7, 6], output = 7 }\n'
WAVE = '[channel.x]\nkind = "wave"\ntable = { samples = 4, bits = 2, start_position = %s, after_last = "%s" }\n'
DIVIDER = """
    ticks = { u = { every = 12 } }
    register = [{ name = "AGAIN", address = 0x30, fields = [{ bits = "0", strobes = "u.restart" }] }]
    [channel.x]
    timer = { ticks = "%s" }
"""
TICKS = "[ticks]\nt = { every = %s }\n[channel.x]\ntimer = {}\n"
FADING = "[channel.x]\nenvelope = { step = %s }\n"
STRUCK = """
    register = [
        { name = "STRIKE", address = 0x30, fields = [{ bits = "0", strobes = "x.start" }] },
        { name = "STOP", address = 0x31, fields = [{ bits = "0", strobes = "x.stop" }], on_write = [%s] },
    ]
    [channel.x]
"""
ROUTED = "mixer = { gains = { x = %s } }\n[channel.x]\n"
TRIMMED = "mixer = { gains = { x = %s }, trims = [2], trim_shift = 2 }\n[channel.x]\n"
AHEAD = '[channel.x]\nsweep = { check = "after-step-too", period_bits = 1, shift_bits = 1 }\nstep = { bits = %s }\n'


BEHIND = """
    bus = { access = "index-data", index_bits = 8, index_address = 0, data_address = 1, index_step = %s }
    channel = { x = { start_delay = 4 } }
"""
APART = "a start acts 4 cycles after its write, and the next write comes 8 cycles after it or later"
HELD = """
    register = [
        { name = "PULL", address = 0x30, held_until = "LET", fields = [{ bits = "0", strobes = "x.start" }] },
        { name = "LET", address = 0x31 },
    ]
"""


@pytest.mark.parametrize(
    ("out", "within", "name", "reason"),
    [
        (NOISE + "step = { stopped = [0] }", NOISE, "x.noise.long-2", "the clock of x never runs"),
        (NOISE + "step = { stopped = [0] }", NOISE, "x.step.end-at-stop", "the clock of x never runs"),
        (NOISE + "step = { stopped = [0] }", NOISE, "x.level=0", "the clock of x never runs"),
        (WAVE % (2, "stop"), WAVE % (2, "go-on"), "x.wave.sample-1", "x starts at position 2 and stops at the end"),
        (DIVIDER % "t", DIVIDER % "u", "divider.restart-u-heard", "no channel that sounds counts ticks of u"),
        (TICKS % 1, TICKS % 2, "x.timer.off-between", "t ticks at every edge"),
        (FADING % 8, FADING % 7, "x.envelope.up", "no level that it comes to is 8 or more below the top"),
        (STRUCK % '"x.start"', STRUCK % "", "x.stop.sounding", "any write that stops x starts it as well"),
        (ROUTED % 0, ROUTED % 1, "mixer.out.x=1", "the mixer's gain of x is 0"),
        (TRIMMED % 2, TRIMMED % 1, "mixer.out.fraction", "every product is a multiple of 4"),
        (BEHIND % 1, BEHIND % 0, "x.start.under-way", APART),  # GO at 0 has both strobes
        (BEHIND % 1, BEHIND % 2, "x.step.period-at-start", APART),  # the period is at 2
        (BEHIND % 1 + HELD, BEHIND % 0xD1 + HELD, "x.step.period-at-start", APART),  # 0x31 + 0xD1 = 0x102
        (AHEAD % 1, AHEAD % 2, "x.sweep.overflow-ahead", "after no sweep step that fits, the next one would not fit"),
    ],
)
def test_what_a_description_rules_out_has_its_reason(out: str, within: str, name: str, reason: str) -> None:
    for text, expected in ((out, reason), (within, "")):
        reasons = {b.name: b.unreachable for b in cover(tiny(text), []).bins}
        assert reasons[name] == expected, text


def test_a_start_and_a_stop_meet_even_where_no_write_stops_alone() -> None:
    reasons = {b.name: b.unreachable for b in cover(tiny(STRUCK % '"x.start"'), []).bins}
    assert reasons["x.start.with-stop"] == ""
