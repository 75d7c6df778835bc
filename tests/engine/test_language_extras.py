"""What gates, channels active at reset, waves that end, bypassed envelopes, constant sweeps and routes mean.

Every expected number was worked out by hand from the option's sentence and the numbered list in `psgmodel.engine`. The
tick is at edges 10, 20, 30 and so on.
"""

from __future__ import annotations

import pytest

from psgmodel.chip import Chip
from psgmodel.engine import run, state_from_json, state_to_json
from psgmodel.errors import ChipError
from psgmodel.reglog import make_log
from tests.engine.linnet_plays import Table, Write, table_of
from tests.engine.tiny_units import (
    BYPASS,
    FADE,
    FALLING,
    GATE,
    GLIDE,
    GO,
    MEMORY,
    PERIOD,
    SHIFT,
    START,
    STOP,
    VOLUME,
    play,
    reads,
    sounds,
    tiny,
)

LOUD = (0, VOLUME, 5)

# --- gates ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "writes", "expected"),
    [
        ("", [(4, GATE, 1), (9, GATE, 0)], [(4, 5), (9, 0)]),
        ("start_delay = 3", [(4, GATE, 1), (9, GATE, 0)], [(7, 5), (12, 0)]),
        # Only a change strobes: what is stopped in between stays so until the gate has been 0.
        ("", [(4, GATE, 1), (6, GO, STOP), (8, GATE, 1), (10, GATE, 0), (12, GATE, 1)], [(4, 5), (6, 0), (12, 5)]),
        ("", [(4, GO, START), (6, GATE, 0), (8, GO, STOP)], [(4, 5), (8, 0)]),
        # What counts is the gate before and after the edge, not what it was in between.
        ("", [(4, GATE, 1), (6, GATE, 0), (6, GATE, 1), (8, GATE, 0)], [(4, 5), (8, 0)]),
        ("", [(4, GATE, 1), (4, GATE, 0), (6, GO, START)], [(6, 5)]),
        # A start strobe and a gate that falls: where start and stop meet, the stop is ignored.
        ("", [(4, GATE, 1), (6, GATE, 0), (6, GO, START), (8, GO, STOP)], [(4, 5), (8, 0)]),
    ],
)
def test_a_gate_starts_where_it_opens_and_stops_where_it_closes(
    options: str, writes: list[Write], expected: Table
) -> None:
    assert sounds(tiny(f"[channel.x]\ngate = true\n{options}"), [LOUD, *writes], 20) == [(0, 0), *expected]


def test_a_gate_that_is_1_after_reset_opens_nothing_and_power_off_closes_it_silently() -> None:
    text = """
    power = {}
    channel.x.gate = true
    [[register]]
    name = "G"
    address = 20
    reset = 1
    fields = [{ bits = "0", drives = "x.gate" }]
    """
    power = 14
    writes = [LOUD, (4, 20, 0), (6, 20, 1), (8, power, 0), (10, power, 1), (10, VOLUME, 5), (12, 20, 0), (14, 20, 1)]
    assert sounds(tiny(text), writes, 20) == [(0, 0), (6, 5), (8, 0), (14, 5)]


def test_a_gate_beside_the_power_bit_moves_silently_while_the_power_is_off() -> None:
    text = """
    power = {}
    channel.x.gate = true
    [[register]]
    name = "G"
    address = 20
    reset = 1
    fields = [
      { bits = "0", drives = "power" }, { bits = "1", drives = "x.gate" }, { bits = "4:2", drives = "x.volume" },
    ]
    """
    on, gate, loud = 1, 2, 5 << 2
    # Off at 6 with the gate closed, opened at 8 while off; on at 10 with the gate as it was. Closed, opened: a note.
    writes = [(4, 20, loud | gate | on), (6, 20, loud), (8, 20, loud | gate), (10, 20, loud | gate | on)]
    assert sounds(tiny(text), writes, 20) == [(0, 0), (4, 5), (6, 0)]
    writes += [(12, 20, loud | on), (14, 20, loud | gate | on)]
    assert sounds(tiny(text), writes, 20) == [(0, 0), (4, 5), (6, 0), (14, 5)]
    # On and open by one write.
    writes = [(4, 20, 0), (6, 20, loud | gate | on)]
    assert sounds(tiny(text), writes, 20) == [(0, 0), (6, 5)]


def test_there_is_no_gate_where_none_is_asked_for() -> None:
    assert "x.gate" not in tiny("channel.x.gate = false").fields
    assert "x.gate" not in tiny("").fields


# --- registers that are held ------------------------------------------------------------------------------------------

HELD = """
[channel.x]
patterns = ["10"]
step.bits = 12
[[register]]
name = "HIGH"
address = 20
held_until = "LOW"
on_write = [STROBES]
fields = [{ bits = "3:0", drives = "x.period[11:8]" }]
[[register]]
name = "LOW"
address = 21
fields = [{ bits = "7:0", drives = "x.period[7:0]" }]
"""
HIGH, LOW = 20, 21


@pytest.mark.parametrize(
    ("writes", "period", "held"),
    [
        ([], 0, {}),
        ([(2, HIGH, 3)], 0, {HIGH: 3}),
        ([(2, HIGH, 3), (4, LOW, 0x21)], 0x321, {}),
        ([(2, LOW, 0x21)], 0x021, {}),
        # The last of several; used up; held again.
        ([(2, HIGH, 3), (3, HIGH, 5), (4, LOW, 0x21)], 0x521, {}),
        ([(2, HIGH, 3), (4, LOW, 0x21), (5, LOW, 0x43)], 0x343, {}),
        ([(2, HIGH, 3), (4, LOW, 0x21), (6, HIGH, 7)], 0x321, {HIGH: 7}),
        # Within one cycle, in this order and in the other.
        ([(4, HIGH, 3), (4, LOW, 0x21)], 0x321, {}),
        ([(4, LOW, 0x21), (4, HIGH, 3)], 0x021, {HIGH: 3}),
    ],
)
def test_a_write_is_held_until_another_register_is_written(
    writes: list[Write], period: int, held: dict[int, int]
) -> None:
    state = play(tiny(HELD.replace("STROBES", "")), writes, 9).state
    assert (state.registers[HIGH] << 8 | state.registers[LOW], state.held) == (period, held)


def test_what_is_held_strobes_when_it_happens_and_just_before_what_lets_it_go() -> None:
    chip = tiny(HELD.replace("STROBES", '"x.start"'))
    # The start is at 6, of a period of 1: down at 8, up at 10.
    assert sounds(chip, [LOUD, (2, HIGH, 0), (6, LOW, 1)], 11) == [(0, 0), (6, 5), (8, 0), (10, 5)]
    # Both hold bits of the volume: the later write, LOW, wins.
    text = """
    [[register]]
    name = "A"
    address = 20
    held_until = "B"
    fields = [{ bits = "2:0", drives = "x.period[2:0]" }, { bits = "5", strobes = "x.stop" }]
    [[register]]
    name = "B"
    address = 21
    fields = [{ bits = "0", drives = "x.period[3]" }, { bits = "5", strobes = "x.start" }]
    """
    # Where start and stop meet, the stop is ignored; alone, it stops.
    assert sounds(tiny(text), [LOUD, (2, 20, 32), (6, 21, 32)], 9) == [(0, 0), (6, 5)]
    assert sounds(tiny(text), [LOUD, (2, 21, 32), (4, 20, 32), (6, 21, 0)], 9) == [(0, 0), (2, 5), (6, 0)]


def test_a_run_cut_while_a_write_is_held_goes_on_with_it() -> None:
    chip = tiny(HELD.replace("STROBES", ""))
    log = make_log([2, 6], [HIGH, LOW], [3, 0x21], end=9)
    for engine in ("fast", "reference"):
        state = state_from_json(state_to_json(run(chip, log, end=4, engine=engine).state), chip)
        assert state.held == {HIGH: 3}
        assert run(chip, log, state=state, engine=engine).state.registers[HIGH] == 3


def test_power_off_drops_what_is_held() -> None:
    chip = tiny("power = {}\n" + HELD.replace("STROBES", ""))
    power = 14
    writes = [(2, HIGH, 3), (3, power, 0), (4, HIGH, 5), (5, power, 1), (6, LOW, 0x21)]
    state = play(chip, writes, 9).state
    assert (state.registers[HIGH], state.registers[LOW], state.held) == (0, 0x21, {})


def test_a_held_register_reads_what_it_was_until_then() -> None:
    reads(tiny(HELD.replace("STROBES", "")), [(2, HIGH, 3), (6, LOW, 0x21)], [(5, HIGH, 0), (7, HIGH, 3)])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            ('LOW"\non_write', 'LOWER"\non_write'),
            r'held_until: no register "LOWER" that is not held itself \(did you mean "LOW"',
        ),
        (('LOW"\non_write', 'HIGH"\non_write'), 'held_until: no register "HIGH" that is not held itself'),
        (
            ('"x.period[11:8]" }', '"x.period[11:8]" }, { bits = "7", drives = "power" }'),
            "the register of the power bit cannot be held",
        ),
    ],
)
def test_a_register_is_held_until_one_that_is_not(change: tuple[str, str], message: str) -> None:
    with pytest.raises(ChipError, match=message):
        tiny("power = {}\n" + HELD.replace("STROBES", "").replace(*change))


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
