"""What each option of levels, wave tables, mixer and unit means, edge by edge.

Every expected number was worked out by hand from the option's sentence and the numbered list in `psgmodel.engine`.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from psgmodel.chip import Chip
from psgmodel.report.registers import registers_text
from tests.engine.linnet_plays import Table, Write, table_of
from tests.engine.tiny_units import FADE, GO, MEMORY, PERIOD, RISING, START, STOP, VOLUME, Y, play, sounds, tiny

NOTE = [(0, VOLUME, 5), (4, GO, START)]

# --- the unit ---------------------------------------------------------------------------------------------------------


def test_a_unit_has_a_name_and_an_exact_clock_rate_and_neither_changes_what_happens_in_cycles() -> None:
    one = tiny('unit = { name = "Gong", clock_hz = "100_000_000 / 3" }')
    assert registers_text(one).startswith("Gong: 33.33333 MHz clock")
    assert one.clock_hz == Fraction(100_000_000, 3)
    assert tiny("unit.clock_hz = 12_000_000").clock_hz == 12_000_000
    assert sounds(one, NOTE, 6) == sounds(tiny(""), NOTE, 6) == [(0, 0), (4, 5)]


def test_a_unit_has_one_or_two_outputs_each_with_a_route_for_each_channel() -> None:
    chip = tiny(
        """
        unit.outputs = ["left", "right"]
        channel = { x = {}, y = {} }
        constants = { "mixer.right.y" = 0 }
        [[register]]
        name = "ROUTE"
        address = 20
        reset = 1
        fields = [{ bits = "0", drives = "mixer.left.x" }, { bits = "1", drives = "mixer.left.y" }]
        """
    )
    # Left hears x, then both, then y; right hears x all the time.
    writes = [*NOTE, (0, VOLUME + Y, 2), (4, GO + Y, START), (6, 20, 3), (8, 20, 2)]
    trace = play(chip, writes, 10)
    assert list(trace.outputs) == ["left", "right"]
    assert table_of(trace["left"]) == [(0, 0), (4, 5), (6, 7), (8, 2)]
    assert table_of(trace["right"]) == [(0, 0), (4, 5)]
    assert list(play(tiny('unit.outputs = ["main"]'), NOTE, 6).outputs) == ["main"]


# --- levels of a channel ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ("", [(0, 0), (4, 5), (5, 0), (6, 5)]),
        ('levels = "unipolar"', [(0, 0), (4, 5), (5, 0), (6, 5)]),
        ('levels = "bipolar"', [(0, 0), (4, 5), (5, -5), (6, 5)]),
        ("idle_level = -4", [(0, -4), (4, 5), (5, 0), (6, 5)]),
        ('idle_level = 9, levels = "bipolar"', [(0, 9), (4, 5), (5, -5), (6, 5)]),
    ],
)
def test_levels_of_a_pattern(options: str, expected: Table) -> None:
    more = options.replace(", ", "\n")
    chip = tiny(f'[channel.x]\npatterns = ["10"]\n{more}')
    assert sounds(chip, NOTE, 7) == expected
    assert play(chip, [*NOTE, (6, GO, STOP)], 7)["x"].at(6) == expected[0][1]


@pytest.mark.parametrize(
    ("levels", "polarity", "expected"),
    [
        # 101 011 111 110 ...: s3 is 1 0 1 1.
        ("unipolar", "high", [(4, 5), (5, 0), (6, 5)]),
        ("bipolar", "high", [(4, 5), (5, -5), (6, 5)]),
        ("unipolar", "low", [(5, 5), (6, 0)]),
        ("bipolar", "low", [(4, -5), (5, 5), (6, -5)]),
    ],
)
def test_levels_of_noise(levels: str, polarity: str, expected: Table) -> None:
    register = f'register = {{ bits = 3, taps = [3, 2], output = 3, seed = 5, polarity = "{polarity}" }}'
    chip = tiny(f'[channel.x]\nkind = "noise"\nlevels = "{levels}"\n{register}')
    assert sounds(chip, NOTE, 8) == [(0, 0), *expected]


SAMPLES = [(0, MEMORY, 9), (0, MEMORY + 1, 3), (0, MEMORY + 2, 12), (0, MEMORY + 3, 6)]


def wave(table: str, options: str = "") -> Chip:
    needed = "" if "samples" in table else "samples = 4, "
    return tiny(f'[channel.x]\nkind = "wave"\n{options}\ntable = {{ {needed}bits = 4{table and ", " + table} }}')


@pytest.mark.parametrize(
    ("table", "options", "volume", "levels"),
    [
        # Samples 9 3 12 6; counted from 8: 1 -5 4 -2.
        ("", 'levels = "unipolar"', 3, [27, 9, 36, 18]),
        ("", 'levels = "bipolar"', 3, [3, -15, 12, -6]),
        # Shifted right by 1, down: 1.5, -7.5, 6, -3.
        ("volume_shift = 1", 'levels = "bipolar"', 3, [1, -8, 6, -3]),
        # Three bits of volume: shifted by 7 - 6, down: 0.5, -2.5, 2, -1.
        ('volume = "shift"', 'levels = "bipolar"', 6, [0, -3, 2, -1]),
        ('volume = "shift"', 'levels = "bipolar"', 7, [1, -5, 4, -2]),
        ('volume = "multiply"', "", 2, [18, 6, 24, 12]),
        ("volume_shift = 0", "", 2, [18, 6, 24, 12]),
        ("volume_shift = 2", "volume_table = [0, 1, 2, 3, 4, 5, 6, 50]", 7, [112, 37, 150, 75]),  # x 50 / 4
    ],
)
def test_levels_of_a_wave_table(table: str, options: str, volume: int, levels: list[int]) -> None:
    trace = play(wave(table, options), [*SAMPLES, (0, VOLUME, volume), (4, GO, START)], 8)
    assert trace["x"].at(range(4, 8)).tolist() == levels


def test_a_table_of_loudness_takes_the_place_of_volumes_and_of_envelope_levels() -> None:
    table = "volume_bits = 2\nvolume_table = [0, 1, 3, 20]"
    writes = [(0, VOLUME, 2), (4, GO, START), (6, VOLUME, 3)]
    assert sounds(tiny(f"[channel.x]\n{table}"), writes, 8) == [(0, 0), (4, 3), (6, 20)]
    assert sounds(tiny(f'[channel.x]\n{table}\nlevels = "bipolar"\npatterns = ["0"]'), writes, 8) == [
        (0, 0),
        (4, -3),
        (6, -20),
    ]
    assert sounds(tiny("[channel.x]\nvolume_bits = 2"), writes, 8) == [(0, 0), (4, 2), (6, 3)]
    # Envelope from 3 down at 10, 20, 30.
    fading = [(0, VOLUME, 3), (0, FADE, 1), (4, GO, START)]
    assert sounds(tiny(f"[channel.x]\n{table}\nenvelope = {{}}"), fading, 35) == [
        (0, 0),
        (4, 20),
        (10, 3),
        (20, 1),
        (30, 0),
    ]


@pytest.mark.parametrize(
    ("bits", "expected"), [(2, [(4, 2), (10, 3)]), (3, [(4, 6), (10, 7)]), (4, [(4, 6), (10, 7), (20, 8)])]
)
def test_volumes_and_envelope_levels_are_as_wide_as_is_said(bits: int, expected: Table) -> None:
    # Of a 6 two bits are 2. Rising from there, held at 3, 7 or 15.
    chip = tiny(f"[channel.x]\nvolume_bits = {bits}\nenvelope = {{}}")
    writes = [(0, VOLUME, 6), (0, FADE, 1), (0, RISING, 1), (4, GO, START)]
    assert sounds(chip, writes, 25) == [(0, 0), *expected]


@pytest.mark.parametrize(
    ("options", "later"), [("", 0), ("start_delay = 0", 0), ("start_delay = 3", 3), ("start_delay = 32", 32)]
)
def test_starts_and_stops_act_later_by_their_delay(options: str, later: int) -> None:
    chip = tiny(f"[channel.x]\n{options}")
    writes = [(0, VOLUME, 5), (4, GO, START), (9, GO, STOP), (11, GO, START)]
    assert sounds(chip, writes, 50) == [(0, 0), (4 + later, 5), (9 + later, 0), (11 + later, 5)]


@pytest.mark.parametrize(("bits", "length"), [(2, 3), (4, 15), (6, 31)])
def test_a_period_is_as_wide_as_is_said(bits: int, length: int) -> None:
    # Of a 0b011110 the lowest bits: 2, 14, 30; one cycle more is a step.
    chip = tiny(f'[channel.x]\npatterns = ["10"]\nstep.bits = {bits}')
    assert sounds(chip, [(0, VOLUME, 5), (0, PERIOD, 30), (4, GO, START)], 4 + length + 1) == [
        (0, 0),
        (4, 5),
        (4 + length, 0),
    ]


# --- wave tables ------------------------------------------------------------------------------------------------------

WAVE_NOTE = [*SAMPLES, (0, VOLUME, 1), (0, PERIOD, 3), (8, GO, START)]
"""A sample every 4 cycles from 8: 9 at 8, 3 at 12, 12 at 16, 6 at 20, 9 at 24, 3 at 28."""
WHOLE = [(0, 0), (8, 9), (12, 3), (16, 12), (20, 6), (24, 9), (28, 3)]


def without(table: Table, **changes: int) -> Table:
    """The table with some levels changed, such as ``at_20=1``."""
    return [(edge, changes.get(f"at_{edge}", level)) for edge, level in table]


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        ("", WHOLE),
        ("samples = 3", [(0, 0), (8, 9), (12, 3), (16, 12), (20, 9), (24, 3), (28, 12)]),
        ("start_position = 0", WHOLE),
        ("start_position = 2", [(0, 0), (8, 12), (12, 6), (16, 9), (20, 3), (24, 12), (28, 6)]),
        ("start_position = 3", [(0, 0), (8, 6), (12, 9), (16, 3), (20, 12), (24, 6), (28, 9)]),
    ],
)
def test_where_a_wave_begins_and_ends(table: str, expected: Table) -> None:
    writes = [row for row in WAVE_NOTE if "samples = 3" not in table or row[1] != MEMORY + 3]
    assert sounds(wave(table), writes, 30) == expected


def test_a_start_that_keeps_the_position_does_not_go_to_the_start_position() -> None:
    chip = wave("start_position = 2", 'position_on_start = "keep"')
    assert sounds(chip, WAVE_NOTE, 30) == WHOLE
    # Started again at 18, at position 2: the sample there is fetched anew, the next follows at 22.
    assert sounds(chip, [*WAVE_NOTE, (18, GO, START)], 26) == [(0, 0), (8, 9), (12, 3), (16, 12), (22, 6)]
    chip = wave("start_position = 3")
    assert sounds(chip, [*WAVE_NOTE, (18, GO, START)], 20) == [(0, 0), (8, 6), (12, 9), (16, 3), (18, 6)]


@pytest.mark.parametrize(
    ("option", "write", "expected"),
    [
        # Position 3 is written while 1 sounds.
        ("", (13, MEMORY + 3, 1), without(WHOLE, at_20=1)),
        ('while_playing = "taken"', (13, MEMORY + 3, 1), without(WHOLE, at_20=1)),
        ('while_playing = "ignored"', (13, MEMORY + 3, 1), WHOLE),
        # It goes to position 1 instead: its sample register holds 3 for now, but the memory 1.
        ('while_playing = "redirected"', (13, MEMORY + 3, 1), without(WHOLE, at_28=1)),
        # At the edge at which position 0 gives way to 1: it is 0 that is meant.
        ('while_playing = "redirected"', (12, MEMORY + 3, 1), without(WHOLE, at_24=1)),
        # The start's own edge finds the channel idle.
        ('while_playing = "ignored"', (8, MEMORY + 3, 1), without(WHOLE, at_20=1)),
        ('while_playing = "redirected"', (8, MEMORY + 3, 1), without(WHOLE, at_20=1)),
    ],
)
def test_writes_to_the_memory_of_a_playing_channel(option: str, write: Write, expected: Table) -> None:
    assert sounds(wave(option), [*WAVE_NOTE, write], 30) == expected


def test_a_write_that_is_redirected_goes_to_all_samples_of_the_address_that_sounds() -> None:
    # Two to an address: 9 3 | 12 6. Written while 6 sounds, at 21, to the other address: 7, 2 in the place of 12, 6.
    chip = wave('per_address = 2, while_playing = "redirected", fetch = "direct"')
    packed = [(0, MEMORY, 3 << 4 | 9), (0, MEMORY + 1, 6 << 4 | 12), (0, VOLUME, 1), (0, PERIOD, 3), (8, GO, START)]
    trace = play(chip, [*packed, (21, MEMORY, 2 << 4 | 7)], 30)
    assert table_of(trace["x"]) == [(0, 0), (8, 9), (12, 3), (16, 12), (20, 6), (21, 2), (24, 9), (28, 3)]
    assert trace.state.memories["x"] == [9, 3, 7, 2]


def test_the_edge_of_a_stop_still_ignores_a_write() -> None:
    chip = wave('while_playing = "ignored"')
    for edge, sample in ((18, 6), (19, 1)):
        trace = play(chip, [*WAVE_NOTE, (18, GO, STOP), (edge, MEMORY + 3, 1)], 22)
        assert trace.state.memories["x"][3] == sample


@pytest.mark.parametrize(("fetch", "expected"), [("each-step", WHOLE), ("direct", without(WHOLE, at_12=1, at_28=1))])
def test_a_step_fetches_from_the_memory_as_it_was_before_its_edge(fetch: str, expected: Table) -> None:
    # Position 1 is written at the very edge at which it is reached; the second time round it sounds in any case.
    writes = [*WAVE_NOTE, (12, MEMORY + 1, 1)]
    assert sounds(wave(f'fetch = "{fetch}"'), writes, 28) == [row for row in expected if row[0] < 28]
    assert sounds(wave(f'fetch = "{fetch}"'), writes, 30)[-1] == (28, 1)


# --- the mixer --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mixer", "idle", "code"),
    [
        # The level is 0, then 5.
        ("", 0, 5),
        ("offset = 0", 0, 5),
        ("offset = 7", 7, 12),
        ("offset = -3", 0, 2),  # -3 stays at 0
        ('offset = -3, overflow = "saturate"', 0, 2),
        ('bits = 4, offset = -3, overflow = "wrap"', 13, 2),  # -3 + 16
        ("bits = 3, offset = 4", 4, 7),  # 9 stays at 7
        ('bits = 3, offset = 4, overflow = "wrap"', 4, 1),  # 9 - 8
        ("trims = [3], trim_shift = 1, offset = 2", 2, 9),  # 15 >> 1 is 7
        ("trims = [0], offset = 2", 2, 2),
        # Code 7 for sum 0, k - 1 for any other.
        ("bits = 3, table = [7, 0, 1, 2, 3, 4, 5, 6]", 7, 4),
        ("bits = 3, table = [7, 0, 1, 2, 3, 4, 5, 6], gains = { x = 2 }", 7, 6),  # 10 stays at 7
        ('bits = 3, table = [7, 0, 1, 2, 3, 4, 5, 6], gains = { x = 2 }, overflow = "wrap"', 7, 1),  # 10 - 8 = 2
        ("bits = 3, table = [7, 0, 1, 2, 3, 4, 5, 6], offset = 1", 0, 5),
    ],
)
def test_from_sum_to_code(mixer: str, idle: int, code: int) -> None:
    trace = play(tiny(f"mixer = {{ {mixer} }}"), NOTE, 6)
    assert table_of(trace["out"]) == [(0, idle), *([(4, code)] if code != idle else [])]


def test_a_negative_sum_is_rounded_down() -> None:
    # -5 x 3 = -15, half of it -7.5, so -8; + 20.
    chip = tiny(
        'mixer = { trims = [3], trim_shift = 1, offset = 20 }\nchannel.x = { levels = "bipolar", patterns = ["0"] }'
    )
    assert table_of(play(chip, NOTE, 6)["out"]) == [(0, 20), (4, 12)]


def test_the_level_of_an_idle_channel_goes_into_the_sum() -> None:
    chip = tiny("mixer = { gains = { x = 2 }, offset = 10 }\nchannel.x.idle_level = -4")
    assert table_of(play(chip, NOTE, 6)["out"]) == [(0, 2), (4, 20)]


def test_output_registers_hold_0_after_reset_and_then_codes_one_after_another() -> None:
    chip = tiny("mixer = { bits = 3, table = [7, 0, 1, 2, 3, 4, 5, 6], latency = 2 }")
    trace = play(chip, NOTE, 9)
    # At edge 0 the first register takes in the 7 of the reset state, at 1 the second.
    assert table_of(trace["out"]) == [(0, 0), (1, 7), (6, 4)]
    assert trace.state.outputs == {"out": [4, 4]}
    assert play(chip, NOTE, 5).state.outputs == {"out": [7, 4]}  # the one nearest to the pin first
