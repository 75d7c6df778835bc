"""What each option of steps, patterns, wave tables, noise registers, bus and mixer means, edge by edge.

Every expected number was worked out by hand from the option's sentence in `psgmodel.chip.records` and the numbered list
in `psgmodel.engine`. Both engines must give it.
"""

from __future__ import annotations

import pytest

from tests.engine.linnet_plays import Table, table_of
from tests.engine.one_channel import (
    CLOCK_SHIFT,
    DIVISOR,
    GO,
    MEMORY,
    PATTERN,
    PERIOD,
    SHORT,
    START,
    STOP,
    TRIM,
    VOLUME,
    run_all,
    sounds,
    unit,
)

LOUD = (VOLUME, 5)

# --- step clock of squares and wave tables --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("step", "period", "length"),
    [
        ("bits = 4", 5, 6),  # 1 * (5 + 1)
        ("bits = 4, scale = 3, offset = 2", 1, 9),  # 3 * (1 + 2)
        ('bits = 4, rule = "down-from", scale = 2, top = 16', 13, 6),  # 2 * (16 - 13)
        ('bits = 4, rule = "down-from", top = 20', 15, 5),
    ],
)
def test_the_length_of_a_step(step: str, period: int, length: int) -> None:
    table = sounds(unit(step=step), [LOUD, (PERIOD, period)], [(4, GO, START)], 4 + 2 * length + 1)
    assert table == [(0, 0), (4, 5), (4 + length, 0), (4 + 2 * length, 5)]


@pytest.mark.parametrize(
    ("rule", "period", "write", "expected"),
    [
        # L = 6, then 2 from the write at 5 on; old fields at its edge.
        ("next-step", 5, (5, PERIOD, 1), [(0, 0), (4, 5), (10, 0), (12, 5), (14, 0)]),
        ("at-once", 5, (5, PERIOD, 1), [(0, 0), (4, 5), (6, 0), (8, 5), (10, 0), (12, 5), (14, 0)]),
        # L = 2, then 6: one cycle elapsed after 5.
        ("next-step", 1, (5, PERIOD, 5), [(0, 0), (4, 5), (6, 0), (12, 5)]),
        ("at-once", 1, (5, PERIOD, 5), [(0, 0), (4, 5), (10, 0)]),
        # Shorter than what has elapsed: the step ends at the next edge.
        ("at-once", 5, (7, PERIOD, 0), [(0, 0), (4, 5), (8, 0), (9, 5), (10, 0), (11, 5), (12, 0), (13, 5), (14, 0)]),
    ],
)
def test_when_a_new_period_counts(rule: str, period: int, write: tuple[int, int, int], expected: Table) -> None:
    chip = unit(step=f'bits = 4, new_value = "{rule}"')
    assert sounds(chip, [LOUD, (PERIOD, period)], [(4, GO, START), write], 15) == expected


@pytest.mark.parametrize(
    ("new_value", "seen", "write", "expected"),
    [
        ("next-step", "old", (10, PERIOD, 1), [(0, 0), (4, 5), (10, 0), (16, 5)]),
        ("next-step", "new", (10, PERIOD, 1), [(0, 0), (4, 5), (10, 0), (12, 5), (14, 0), (16, 5)]),
        ("at-once", "old", (6, PERIOD, 1), [(0, 0), (4, 5), (7, 0), (9, 5), (11, 0), (13, 5), (15, 0)]),
        ("at-once", "new", (6, PERIOD, 1), [(0, 0), (4, 5), (6, 0), (8, 5), (10, 0), (12, 5), (14, 0), (16, 5)]),
    ],
)
def test_which_fields_a_step_sees_at_the_edge_of_a_write(
    new_value: str, seen: str, write: tuple[int, int, int], expected: Table
) -> None:
    chip = unit(step=f'bits = 4, new_value = "{new_value}", write_and_step = "{seen}"')
    assert sounds(chip, [LOUD, (PERIOD, 5)], [(4, GO, START), write], 17) == expected


@pytest.mark.parametrize(
    ("step", "position", "restart", "expected"),
    [
        # L = 6; step edges 10, 16, 22. Pattern 10: up, down.
        ("reload", "reset", 8, [(0, 0), (4, 5), (14, 0), (20, 5)]),
        ("reload", "keep", 12, [(0, 0), (4, 5), (10, 0), (18, 5)]),
        ("reload", "reset", 12, [(0, 0), (4, 5), (10, 0), (12, 5), (18, 0)]),
        # Never run, the count is 0: the first step lasts to the next edge.
        ("keep", "keep", 8, [(0, 0), (4, 5), (5, 0), (11, 5), (17, 0)]),
        ("keep", "reset", 8, [(0, 0), (4, 5), (5, 0), (8, 5), (11, 0), (17, 5)]),
        # The restart meets the step edge 17, which would go to position 1: reset, it does not also advance.
        ("keep", "reset", 17, [(0, 0), (4, 5), (5, 0), (11, 5)]),
        ("keep", "keep", 17, [(0, 0), (4, 5), (5, 0), (11, 5), (17, 0)]),
        # With reload it does not advance at a step edge either.
        ("reload", "keep", 10, [(0, 0), (4, 5), (16, 0), (22, 5)]),
    ],
)
def test_what_a_start_does_to_step_and_position(step: str, position: str, restart: int, expected: Table) -> None:
    chip = unit(step=f'bits = 4, on_start = "{step}"', options=f'position_on_start = "{position}"')
    table = sounds(chip, [LOUD, (PERIOD, 5)], [(4, GO, START), (restart, GO, START)], 23)
    assert table == [row for row in expected if row[0] < 23]


@pytest.mark.parametrize(("delay", "volume"), [(0, 7), (1, 5)])
def test_a_start_without_delay_sees_what_its_own_edge_writes(delay: int, volume: int) -> None:
    chip = unit(patterns='["1"]', options=f"start_delay = {delay}", envelope="period_bits = 2")
    writes = [(10 - delay, GO, START), (10, VOLUME, 7)]
    assert sounds(chip, [LOUD], writes, 20) == [(0, 0), (10, volume)]


def test_writes_and_strobes_arrive_later_by_latency_and_delay() -> None:
    # Latency 2: the volume changes at 9 + 2, the start written at 4 acts at 4 + 2 + 3, the stop at 8 + 2 + 3.
    chip = unit(patterns='["1"]', options="start_delay = 3", bus="write_latency = 2")
    writes = [(4, GO, START), (8, GO, STOP), (9, VOLUME, 7)]
    assert sounds(chip, [LOUD], writes, 20) == [(0, 0), (9, 5), (11, 7), (13, 0)]


def test_patterns_are_chosen_by_their_field() -> None:
    chip = unit(patterns='["1000", "1100", "0011", "0110"]', wires=(("x.pattern", PATTERN, "1:0"),))
    # One cycle a step from 4: positions 0..3. Pattern 3 until 8 (0110), pattern 2 from there (0011).
    table = sounds(chip, [LOUD, (PATTERN, 3)], [(4, GO, START), (8, PATTERN, 2)], 12)
    assert table == [(0, 0), (5, 5), (7, 0), (10, 5)]


# --- wave table -----------------------------------------------------------------------------------------------------

SAMPLES = [(MEMORY, 9), (MEMORY + 1, 3), (MEMORY + 2, 12), (MEMORY + 3, 6)]
WAVE = "samples = 4, bits = 4, volume_shift = 3"


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        (WAVE, [(0, 0), (8, 9), (12, 3), (16, 12), (20, 6), (24, 9)]),
        (WAVE + ', first_sample = "stale"', [(0, 0), (12, 3), (16, 12), (20, 6), (24, 9)]),
        (WAVE + ', fetch = "direct"', [(0, 0), (8, 9), (9, 1), (12, 3), (16, 12), (20, 6), (24, 1)]),
    ],
    ids=["fresh", "stale", "direct"],
)
def test_when_samples_are_fetched(table: str, expected: Table) -> None:
    # L = 4, volume 8 of 4 bits: 8 >> 3 = 1. Sample 0 is written while it sounds, at 9, and back at 22.
    chip = unit("wave", table=table, volume_bits=4)
    back = [] if "direct" in table else [(22, MEMORY, 9)]
    writes = [(8, GO, START), (9, MEMORY, 1), *back]
    assert sounds(chip, [(VOLUME, 8), (PERIOD, 3), *SAMPLES], writes, 26) == expected


@pytest.mark.parametrize(
    ("first", "position", "expected"),
    [
        # Restarted at 18, where position 2 (12) sounds.
        ("fresh", "keep", [(0, 0), (8, 9), (12, 3), (16, 12), (22, 6)]),
        ("fresh", "reset", [(0, 0), (8, 9), (12, 3), (16, 12), (18, 9), (22, 3)]),
        ("stale", "keep", [(0, 0), (12, 3), (16, 12), (22, 6)]),
        ("stale", "reset", [(0, 0), (12, 3), (16, 12), (22, 3)]),
    ],
)
def test_the_first_sample_of_a_restart(first: str, position: str, expected: Table) -> None:
    options = f'position_on_start = "{position}"'
    chip = unit("wave", table=f'{WAVE}, first_sample = "{first}"', volume_bits=4, options=options)
    writes = [(8, GO, START), (18, GO, START)]
    assert sounds(chip, [(VOLUME, 8), (PERIOD, 3), *SAMPLES], writes, 26) == expected


@pytest.mark.parametrize(
    ("table", "volume", "levels"),
    [
        ("samples = 4, bits = 4", 3, [27, 9, 36, 18]),
        ("samples = 4, bits = 4, volume_shift = 1", 3, [13, 4, 18, 9]),
        ('samples = 4, bits = 4, volume = "shift"', 3, [9, 3, 12, 6]),
        ('samples = 4, bits = 4, volume = "shift"', 2, [4, 1, 6, 3]),
        ('samples = 4, bits = 4, volume = "shift"', 0, [1, 0, 1, 0]),
    ],
)
def test_samples_and_volume_make_a_level(table: str, volume: int, levels: list[int]) -> None:
    # Two bits of volume: the shift is 3 - volume.
    chip = unit("wave", table=table, volume_bits=2)
    steps = run_all(chip, [(VOLUME, volume), *SAMPLES], [(8, GO, START)], 12)["x"]
    assert steps.at(range(8, 12)).tolist() == levels


# --- noise register -------------------------------------------------------------------------------------------------

NOISE = "divisors = [2]"


@pytest.mark.parametrize(
    ("register", "expected"),
    [
        # s3 s2 s1: 111 110 100 001 010 101 011 111; shifts at 6, 8, ... The output is s3.
        ("bits = 3, taps = [3, 2], output = 3", [(0, 0), (4, 5), (10, 0), (14, 5), (16, 0), (18, 5)]),
        ('bits = 3, taps = [3, 2], output = 3, polarity = "low"', [(0, 0), (10, 5), (14, 0), (16, 5), (18, 0)]),
        # The same states, s2.
        ("bits = 3, taps = [3, 2], output = 2", [(0, 0), (4, 5), (8, 0), (12, 5), (14, 0), (16, 5)]),
        # From 101 on: 101 011 111 110 100 001 010 101.
        ("bits = 3, taps = [3, 2], output = 3, seed = 5", [(0, 0), (4, 5), (6, 0), (8, 5), (14, 0), (18, 5)]),
        # Inverse feedback from zeros: the complement of the first.
        (
            'bits = 3, taps = [3, 2], output = 3, feedback = "xnor", seed = 0',
            [(0, 0), (10, 5), (14, 0), (16, 5), (18, 0)],
        ),
        # To the right, s1 and s2 fed back into s3: 111 011 001 100 010 101 110 111. The output is s1.
        ('bits = 3, taps = [1, 2], output = 1, shift = "right"', [(0, 0), (4, 5), (10, 0), (14, 5), (16, 0), (18, 5)]),
        # One tap: 11111 goes round; three positions of 1 in 00111: s3 is 1 1 1 0 0.. as 00111 01110 11100 11001 10011.
        ("bits = 5, taps = [5], output = 3, seed = 7", [(0, 0), (4, 5), (10, 0), (14, 5)]),
    ],
)
def test_shifts_of_a_small_register(register: str, expected: Table) -> None:
    chip = unit("noise", step=NOISE, register=register)
    assert sounds(chip, [LOUD], [(4, GO, START)], 19) == expected


@pytest.mark.parametrize(
    ("on_start", "expected"),
    [
        # Restarted at 11: 001 is kept, shifts at 13 (010), 15 (101), 17 (011).
        ("keep", [(0, 0), (4, 5), (10, 0), (15, 5), (17, 0)]),
        # 111 again, shifts at 13, 15, 17 (001).
        ("reseed", [(0, 0), (4, 5), (10, 0), (11, 5), (17, 0)]),
    ],
)
def test_what_a_start_does_to_the_register(on_start: str, expected: Table) -> None:
    chip = unit("noise", step=NOISE, register=f'bits = 3, taps = [3, 2], output = 3, on_start = "{on_start}"')
    assert sounds(chip, [LOUD], [(4, GO, START), (11, GO, START)], 19) == expected


@pytest.mark.parametrize(
    ("insert", "expected"),
    [
        # s5..s1 11111, fed back s2 xor s1 into 1 and 3: 11010 10101 01111 11010 10101. The output is s3.
        ("insert = [3]", [(0, 0), (4, 5), (6, 0), (8, 5), (12, 0), (14, 5)]),
        # Into 1 alone: 11111 11110 11101 11011 10110 01101.
        ("insert = []", [(0, 0), (4, 5), (10, 0), (12, 5)]),
    ],
)
def test_short_mode_inserts_the_bit_at_more_positions(insert: str, expected: Table) -> None:
    register = f"bits = 5, taps = [5, 3], output = 5, short = {{ taps = [2, 1], output = 3, {insert} }}"
    chip = unit("noise", step=NOISE, register=register, wires=(("x.short", SHORT, "0"),))
    assert sounds(chip, [LOUD, (SHORT, 1)], [(4, GO, START)], 15) == expected


def test_a_noise_step_is_a_divisor_shifted_left() -> None:
    # 6 << 1 = 12 from 4, seed 101: 011 at 16, 111 at 28. At 18 the setting becomes 2 << 0: from the next step on.
    wires = (("x.divisor", DIVISOR, "0"), ("x.shift", CLOCK_SHIFT, "1:0"))
    chip = unit(
        "noise",
        step="divisors = [2, 6], shift_bits = 2",
        register="bits = 3, taps = [3, 2], output = 3, seed = 5",
        wires=wires,
    )
    writes = [(4, GO, START), (18, DIVISOR, 0), (18, CLOCK_SHIFT, 0)]
    # 28: 111, 30: 110, 32: 100, 34: 001.
    expected = [(0, 0), (4, 5), (16, 0), (28, 5), (34, 0)]
    assert sounds(chip, [LOUD, (DIVISOR, 1), (CLOCK_SHIFT, 1)], writes, 36) == expected


def test_a_stopped_code_halts_a_down_counter_too() -> None:
    # L = 2, seed 101. Stopped by the write at 5: that edge still counts (1 to 0), 6 does not. Let go at 9: 10 shifts.
    chip = unit(
        "noise",
        step="divisors = [2], shift_bits = 2, stopped = [3]",
        register="bits = 3, taps = [3, 2], output = 3, seed = 5",
        wires=(("x.shift", CLOCK_SHIFT, "1:0"),),
    )
    writes = [(4, GO, START), (5, CLOCK_SHIFT, 3), (9, CLOCK_SHIFT, 0)]
    assert sounds(chip, [LOUD], writes, 13) == [(0, 0), (4, 5), (10, 0), (12, 5)]


# --- mixer ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mixer", "code"),
    [
        ("bits = 16", 5),
        ("bits = 16, gains = { x = 3 }", 15),
        ("bits = 3, gains = { x = 2 }", 7),  # 10 past 7
        ('bits = 3, gains = { x = 2 }, overflow = "wrap"', 2),  # 10 - 8
        ("bits = 16, gains = { x = 3 }, trims = [7], trim_shift = 2", 26),  # 105 >> 2
        ("bits = 16, trims = [0]", 0),
    ],
)
def test_from_level_to_code(mixer: str, code: int) -> None:
    trace = run_all(unit(patterns='["1"]', mixer=mixer), [LOUD], [(4, GO, START)], 10)
    assert table_of(trace["out"]) == ([(0, 0), (4, code)] if code else [(0, 0)])


def test_output_registers_delay_the_code() -> None:
    trace = run_all(unit(patterns='["1"]', mixer="bits = 16, latency = 3"), [LOUD], [(4, GO, START)], 10)
    assert table_of(trace["out"]) == [(0, 0), (7, 5)]
    assert trace.state.outputs == {"out": [5, 5, 5]}


def test_a_trim_field_chooses_a_multiplier() -> None:
    chip = unit(patterns='["1"]', mixer="bits = 16, trims = [1, 2, 4, 8]", wires=(("mixer.out.trim", TRIM, "5:4"),))
    trace = run_all(chip, [LOUD], [(4, GO, START), (6, TRIM, 0x20), (8, TRIM, 0xFFFF)], 10)
    assert table_of(trace["out"]) == [(0, 0), (4, 5), (6, 20), (8, 40)]
