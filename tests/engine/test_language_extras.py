"""What channels active at reset, waves that end, bypassed envelopes, constant sweeps and routes mean.

Every expected number was worked out by hand from the option's sentence and the numbered list in `psgmodel.engine`. The
tick is at edges 10, 20, 30 and so on.
"""

from __future__ import annotations

import pytest

from psgmodel.chip import Chip
from psgmodel.engine import run
from psgmodel.errors import ChipError
from psgmodel.reglog import make_log
from tests.engine.linnet_plays import Table, Write, table_of
from tests.engine.tiny_units import (
    BYPASS,
    FADE,
    FALLING,
    GLIDE,
    GO,
    MEMORY,
    PERIOD,
    SHIFT,
    START,
    STOP,
    VOLUME,
    play,
    sounds,
    tiny,
)

LOUD = (0, VOLUME, 5)

# --- active at reset --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "writes", "expected"),
    [
        ("", [], [(0, 0)]),
        ('at_reset = "inactive"', [], [(0, 0)]),
        # The counter is 0, so edge 0 makes a step and loads it: position 1, a 0; steps of 3 after it.
        ('at_reset = "active"', [], [(0, 0), (3, 5), (6, 0), (9, 5)]),
        ('at_reset = "active"', [(4, GO, STOP), (7, GO, START)], [(0, 0), (3, 5), (4, 0), (7, 5), (10, 0)]),
        # An elapsed counter of 0 is at 1 after edge 0: the first step is at edge 2.
        ('at_reset = "active"\nstep.new_value = "at-once"', [], [(0, 5), (2, 0), (5, 5), (8, 0)]),
    ],
)
def test_a_channel_may_play_from_reset_on(options: str, writes: list[Write], expected: Table) -> None:
    text = """
    [channel.x]
    patterns = ["10"]
    {}
    [[register]]
    name = "ALL"
    address = 20
    reset = 0x25
    fields = [{{ bits = "2:0", drives = "x.volume" }}, {{ bits = "7:4", drives = "x.period" }}]
    """
    assert sounds(tiny(text.format(options)), writes, 11) == expected


def test_blocks_of_a_channel_active_at_reset_have_counted_nothing() -> None:
    # The timer counts a 0 as 8: it runs out at the 8th tick. The envelope is at 0 and rises at the first tick.
    text = """
    [channel.x]
    at_reset = "active"
    timer = {}
    envelope = {}
    [[register]]
    name = "ALL"
    address = 20
    reset = 0x82
    fields = [{ bits = "2:0", drives = "x.envelope.period[0]" }, { bits = "7", drives = "x.envelope.rising" }]
    """.replace('"2:0", drives = "x.envelope.period[0]"', '"1:0", drives = "x.envelope.period"')
    # Period 2: the counter 0 makes a step at 10 and loads 2: 30, 50, 70.
    assert sounds(tiny(text), [], 90) == [(0, 0), (10, 1), (30, 2), (50, 3), (70, 4), (80, 0)]


def test_the_first_output_register_takes_in_what_sounds_before_edge_0() -> None:
    text = """
    mixer.latency = 1
    [channel.x]
    patterns = ["110"]
    at_reset = "active"
    [[register]]
    name = "ALL"
    address = 20
    reset = 0x25
    fields = [{ bits = "2:0", drives = "x.volume" }, { bits = "7:4", drives = "x.period" }]
    """
    # Level 5 before edge 0 and after it, 0 from 3 on, 5 from 6 on; one edge later at the output.
    trace = play(tiny(text), [], 10)
    assert table_of(trace["x"]) == [(0, 5), (3, 0), (6, 5)]
    assert table_of(trace["out"]) == [(0, 5), (4, 0), (7, 5)]
    # A channel that is not active takes part with its idle level, whatever its volume.
    trace = play(tiny(text.replace('at_reset = "active"', "idle_level = 2")), [], 10)
    assert (table_of(trace["x"]), table_of(trace["out"])) == ([(0, 2)], [(0, 2)])


def test_a_unit_with_a_power_bit_has_no_channel_that_is_active_at_reset() -> None:
    with pytest.raises(ChipError, match=r"channel\.x\.at_reset: a unit with a power bit has no channel that is active"):
        tiny('power = {}\nchannel.x.at_reset = "active"')


def test_a_run_may_begin_at_a_step_and_still_has_one_level_for_its_first_cycle() -> None:
    chip = tiny('channel.x = { patterns = ["10"] }')
    log = make_log([0, 0, 4], [VOLUME, PERIOD, GO], [5, 2, START], end=20)
    state = run(chip, log, end=7).state
    for engine in ("fast", "reference"):
        rest = run(chip, log, state=state, engine=engine)
        assert table_of(rest["x"]) == [(7, 0), (10, 5), (13, 0), (16, 5), (19, 0)]


# --- waves that end ---------------------------------------------------------------------------------------------------

NOTE = [(0, MEMORY, 9), (0, MEMORY + 1, 3), (0, MEMORY + 2, 12), (0, MEMORY + 3, 6), (0, VOLUME, 1), (0, PERIOD, 3)]
"""A sample every 4 cycles."""


def wave(option: str, more: str = "") -> Chip:
    return tiny(f'[channel.x]\nkind = "wave"\n{more}\ntable = {{ samples = 4, bits = 4{option} }}')


ENDS = ', after_last = "stop"'


@pytest.mark.parametrize(
    ("option", "writes", "expected"),
    [
        ("", [(8, GO, START)], [(8, 9), (12, 3), (16, 12), (20, 6), (24, 9), (28, 3)]),
        (', after_last = "go-on"', [(8, GO, START)], [(8, 9), (12, 3), (16, 12), (20, 6), (24, 9), (28, 3)]),
        (', after_last = "stop"', [(8, GO, START)], [(8, 9), (12, 3), (16, 12), (20, 6), (24, 0)]),
        (ENDS + ", start_position = 2", [(8, GO, START)], [(8, 12), (12, 6), (16, 0)]),
        # Started again while it plays, at the edge at which it would end, and after.
        (ENDS, [(8, GO, START), (18, GO, START)], [(8, 9), (12, 3), (16, 12), (18, 9), (22, 3), (26, 12)]),
        (ENDS, [(8, GO, START), (24, GO, START)], [(8, 9), (12, 3), (16, 12), (20, 6), (24, 9), (28, 3)]),
        (ENDS, [(8, GO, START), (26, GO, START)], [(8, 9), (12, 3), (16, 12), (20, 6), (24, 0), (26, 9)]),
        # Stopped before its end, it begins anew.
        (
            ENDS,
            [(8, GO, START), (14, GO, STOP), (16, GO, START)],
            [(8, 9), (12, 3), (14, 0), (16, 9), (20, 3), (24, 12), (28, 6)],
        ),
        # A period of 1 cycle from 17 on: steps at 20, 21.
        (ENDS, [(8, GO, START), (17, PERIOD, 0)], [(8, 9), (12, 3), (16, 12), (20, 6), (21, 0)]),
    ],
)
def test_a_wave_may_end_with_its_last_sample(option: str, writes: list[Write], expected: Table) -> None:
    assert sounds(wave(option), [*NOTE, *writes], 30) == [(0, 0), *expected]


def test_a_wave_that_has_ended_stands_at_its_first_sample() -> None:
    chip = wave(ENDS, 'position_on_start = "keep"\nidle_level = -7')
    trace = play(chip, [*NOTE, (8, GO, START)], 30)
    assert table_of(trace["x"]) == [(0, -7), (8, 9), (12, 3), (16, 12), (20, 6), (24, -7)]
    assert (trace.state.channels["x"].position, trace.state.channels["x"].sample) == (0, 9)
    # Kept where it was stopped, at position 2, it goes on there, to the end.
    writes = [*NOTE, (8, GO, START), (18, GO, STOP), (19, GO, START)]
    assert sounds(chip, writes, 30)[-4:] == [(18, -7), (19, 12), (23, 6), (27, -7)]


def test_a_start_at_the_very_end_of_a_wave_wins_even_where_it_keeps_count_and_position() -> None:
    # Never run, the count is 0: the first step is at 9, the others at 13, 17 and 21, where position 0 comes round.
    chip = wave(ENDS, 'position_on_start = "keep"\nstep.on_start = "keep"')
    ended = [(0, 0), (8, 9), (9, 3), (13, 12), (17, 6), (21, 0)]
    assert sounds(chip, [*NOTE, (8, GO, START)], 30) == ended
    assert sounds(chip, [*NOTE, (8, GO, START), (21, GO, START)], 30) == [*ended[:-1], (21, 9), (25, 3), (29, 12)]


def test_a_wave_on_a_prescaler_ends_too() -> None:
    # "t" at 20, 30, 40, 50, 60; a sample each tick.
    chip = tiny(f'[channel.x]\nkind = "wave"\nstep.clocked_by = "t"\ntable = {{ samples = 4, bits = 4{ENDS} }}')
    writes = [*NOTE[:-1], (12, GO, START)]
    assert sounds(chip, writes, 99) == [(0, 0), (12, 9), (20, 3), (30, 12), (40, 6), (50, 0)]


# --- bypassed envelopes -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("writes", "expected"),
    [
        # Falling by 1 at each tick: 4 at 10, 3 at 20, 2 at 30. Bypassed from 12 to 25.
        ([], [(4, 5), (10, 4), (20, 3), (30, 2)]),
        ([(12, BYPASS, 1), (25, BYPASS, 0)], [(4, 5), (10, 4), (12, 5), (25, 3), (30, 2)]),
        # A volume written meanwhile is heard at once, and not afterwards.
        ([(12, BYPASS, 1), (15, VOLUME, 7), (25, BYPASS, 0)], [(4, 5), (10, 4), (12, 5), (15, 7), (25, 3), (30, 2)]),
        # Bypassed from before the start.
        ([(0, BYPASS, 1), (15, VOLUME, 1), (32, BYPASS, 0)], [(4, 5), (15, 1), (32, 2)]),
        # At the edge of a step.
        ([(10, BYPASS, 1), (20, BYPASS, 0)], [(4, 5), (20, 3), (30, 2)]),
    ],
)
def test_a_bypass_puts_the_volume_in_the_place_of_the_envelope(writes: list[Write], expected: Table) -> None:
    chip = tiny("channel.x.envelope.bypass = true")
    assert sounds(chip, [LOUD, (0, FADE, 1), (4, GO, START), *writes], 35) == [(0, 0), *expected]


def test_a_bypassed_envelope_counts_on_and_may_stop_the_channel() -> None:
    chip = tiny('channel.x.envelope = { bypass = true, at_zero = "stop" }')
    writes = [(0, VOLUME, 2), (0, FADE, 1), (0, BYPASS, 1), (4, GO, START)]
    assert sounds(chip, writes, 35) == [(0, 0), (4, 2), (20, 0)]


def test_without_the_option_there_is_no_bypass() -> None:
    assert "x.envelope.bypass" not in tiny("channel.x.envelope = {}").fields
    assert "x.envelope.bypass" not in tiny("channel.x.envelope.bypass = false").fields


# --- sweeps by a constant ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sweep", "setup", "periods", "active"),
    [
        # After 10, 20 and 30; shift 3.
        ("", [(0, PERIOD, 8)], [9, 10, 11], 1),
        ('moves_by = "fraction"', [(0, PERIOD, 8)], [9, 10, 11], 1),
        ('moves_by = "constant"', [(0, PERIOD, 2)], [5, 8, 11], 1),
        ('moves_by = "constant"', [(0, PERIOD, 12)], [15, 15, 15], 0),  # 18 does not fit
        ('moves_by = "constant", overflow = "hold"', [(0, PERIOD, 12)], [15, 15, 15], 1),
        ('moves_by = "constant", overflow = "wrap"', [(0, PERIOD, 12)], [15, 2, 5], 1),
        ('moves_by = "constant"', [(0, PERIOD, 8), (0, FALLING, 1)], [5, 2, 2], 0),  # nor does -1
        ('moves_by = "constant", overflow = "hold"', [(0, PERIOD, 8), (0, FALLING, 1)], [5, 2, 2], 1),
        ('moves_by = "constant", overflow = "wrap"', [(0, PERIOD, 8), (0, FALLING, 1)], [5, 2, 15], 1),
        ('moves_by = "constant", subtract = "ones-complement"', [(0, PERIOD, 8), (0, FALLING, 1)], [4, 0, 0], 0),
        ('moves_by = "constant"', [(0, PERIOD, 6), (0, FALLING, 1)], [3, 0, 0], 0),
        # Looked for ahead: 12 + 3 fits, 15 + 3 does not; 5 - 3 fits, 2 - 3 does not.
        ('moves_by = "constant", check = "after-step-too"', [(0, PERIOD, 12)], [15, 15, 15], 0),
        ('moves_by = "constant", check = "after-step-too"', [(0, PERIOD, 5), (0, FALLING, 1)], [2, 2, 2], 0),
        ('moves_by = "constant", check = "at-start-too"', [(0, PERIOD, 2), (0, FALLING, 1)], [2, 2, 2], 0),
    ],
)
def test_a_sweep_moves_by_a_fraction_or_by_a_constant(
    sweep: str, setup: list[Write], periods: list[int], active: int
) -> None:
    chip = tiny(f"channel.x.sweep = {{ {sweep} }}")
    writes = [LOUD, (0, GLIDE, 1), (0, SHIFT, 3), *setup, (4, GO, START)]
    states = [play(chip, writes, end).state for end in (11, 21, 31)]
    assert [state.registers[PERIOD] for state in states] == periods
    assert states[-1].channels["x"].active == active


def test_a_constant_may_be_as_wide_as_a_period() -> None:
    chip = tiny('channel.x = { step = { bits = 12 }, sweep = { moves_by = "constant", shift_bits = 10 } }')
    writes = [LOUD, (0, GLIDE, 1), (0, SHIFT, 1000), (0, PERIOD, 77), (4, GO, START)]
    assert play(chip, writes, 31).state.registers[PERIOD] == 3077


# --- routes -----------------------------------------------------------------------------------------------------------

PAN = """
unit.outputs = ["left", "right"]
mixer = { bits = 16, routes = [0, 3, 1, 10], gains = { x = 2 } }
[[register]]
name = "PAN"
address = 20
fields = [{ bits = "1:0", drives = "mixer.left.x" }]
"""


def test_routes_are_multipliers_that_each_output_chooses_for_each_channel() -> None:
    trace = play(tiny(PAN), [LOUD, (4, GO, START), (6, 20, 1), (8, 20, 2), (10, 20, 3), (12, 20, 0)], 15)
    assert table_of(trace["left"]) == [(0, 0), (6, 30), (8, 10), (10, 100), (12, 0)]  # 5 x 2 x 3, 1, 10
    assert table_of(trace["right"]) == [(0, 0), (4, 30)]  # not wired: 1, which is a multiplier of 3


def test_without_routes_a_channel_is_let_through_or_not() -> None:
    text = PAN.replace("routes = [0, 3, 1, 10], ", "").replace("1:0", "0")
    trace = play(tiny(text), [LOUD, (4, GO, START), (6, 20, 1), (8, 20, 0)], 15)
    assert table_of(trace["left"]) == [(0, 0), (6, 10), (8, 0)]
    assert table_of(trace["right"]) == [(0, 0), (4, 10)]


@pytest.mark.parametrize("routes", ["[1]", "[]", "[0, 1, 2]"])
def test_routes_are_as_many_as_a_field_can_choose_from(routes: str) -> None:
    with pytest.raises(ChipError, match=r"mixer\.routes: found \d entries, accepted: 2, 4, \.\.\. 256"):
        tiny(f"mixer.routes = {routes}")
