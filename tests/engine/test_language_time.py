"""What each option of ticks, sequencers and prescalers means, edge by edge.

Every expected number was worked out by hand from the option's sentence and the numbered list in `psgmodel.engine`.
"""

from __future__ import annotations

import pytest

from tests.engine.linnet_plays import Table, Write
from tests.engine.tiny_units import DIVISOR, FADE, GO, PERIOD, START, VOLUME, play, sounds, tiny

AGAIN = 15
"""Address of the register whose bit 0 restarts a divider."""


def ticks_seen(time: str, writes: list[Write], end: int, *, restarts: str = "t", more: str = "") -> list[int]:
    """Edges after 0 at which the tick "t" ticks: each lowers a volume of 7, which wraps, by 1."""
    again = (
        f'[[register]]\nname = "AGAIN"\naddress = {AGAIN}\nfields = [{{ bits = "0", strobes = "{restarts}.restart" }}]'
    )
    chip = tiny(f'{time}\n[channel.x]\nenvelope = {{ at_end = "wrap" }}\n{more}\n{again}')
    table = sounds(chip, [(0, VOLUME, 7), (0, FADE, 1), (0, GO, START), *writes], end)
    assert table[0][0] == 0
    return [edge for edge, _ in table[1:] if edge > 0]


@pytest.mark.parametrize(
    ("tick", "edges"),
    [
        ("every = 7", [6, 13, 20, 27]),  # first left out: every - 1
        ("every = 7, first = 3", [3, 10, 17, 24]),
        ("every = 7, first = 1", [1, 8, 15, 22, 29]),
        ("every = 5, first = 12", [12, 17, 22, 27]),
        ("every = 13, first = 0", [13, 26]),  # the one at edge 0 meets the start and is lost
        ("every = 1, first = 26", [26, 27, 28, 29]),
    ],
)
def test_a_tick_comes_first_at_its_first_edge_and_then_every_so_many_cycles(tick: str, edges: list[int]) -> None:
    assert ticks_seen(f"[ticks]\nt = {{ {tick} }}", [], 30) == edges


@pytest.mark.parametrize(
    ("options", "restart", "edges"),
    [
        # Ticks at 3, 10, 17, 24 without a restart.
        ("", 12, [3, 10, 19, 26]),  # 12 + 7
        (', at_restart = "silent"', 12, [3, 10, 19, 26]),
        (', at_restart = "tick"', 12, [3, 10, 12, 19, 26]),
        (', at_restart = "silent", after_restart = 2', 12, [3, 10, 14, 21, 28]),
        (', at_restart = "tick", after_restart = 2', 12, [3, 10, 12, 14, 21, 28]),
        (', at_restart = "tick", after_restart = 11', 12, [3, 10, 12, 23]),
        # Where a tick is due.
        (', at_restart = "silent"', 10, [3, 17, 24]),
        (', at_restart = "tick"', 10, [3, 10, 17, 24]),
        (', at_restart = "silent", after_restart = 1', 10, [3, 11, 18, 25]),
        # Before the first tick.
        (', at_restart = "silent"', 1, [8, 15, 22, 29]),
        (', at_restart = "tick"', 1, [1, 8, 15, 22, 29]),
    ],
)
def test_what_a_restart_makes_of_a_tick(options: str, restart: int, edges: list[int]) -> None:
    time = f"[ticks]\nt = {{ every = 7, first = 3{options} }}"
    assert ticks_seen(time, [(restart, AGAIN, 1)], 30) == edges


def test_a_restart_waits_for_the_write_but_not_for_the_delay_of_a_start() -> None:
    # Written at 10, it takes place at 12. The volume begins to fall with the note: at 2, or 5 cycles later.
    time = "[bus]\nwrite_latency = 2\n[ticks]\nt = { every = 7, first = 3 }"
    start, *ticks = ticks_seen(time, [(10, AGAIN, 1)], 30)
    assert (start, ticks) == (2, [3, 10, 19, 26])
    start, *ticks = ticks_seen(time, [(10, AGAIN, 1)], 30, more="start_delay = 5")
    assert (start, ticks) == (7, [10, 19, 26])


def test_writing_a_0_to_the_strobe_or_to_another_bit_restarts_nothing() -> None:
    time = "[ticks]\nt = { every = 7, first = 3 }"
    assert ticks_seen(time, [(5, AGAIN, 0), (6, AGAIN, 0xFFFE)], 20) == [3, 10, 17]


def test_two_restarts_after_one_another_and_two_at_one_edge() -> None:
    time = '[ticks]\nt = { every = 7, first = 3, at_restart = "tick" }'
    assert ticks_seen(time, [(12, AGAIN, 1), (13, AGAIN, 1), (13, AGAIN, 1)], 30) == [3, 10, 12, 13, 20, 27]


# --- sequencers -----------------------------------------------------------------------------------------------------

MARCH = "every = 5, first = 2, steps = 4"
"""Step 0 at 2, 1 at 7, 2 at 12, 3 at 17, 0 at 22, 1 at 27, 2 at 32, 3 at 37, 0 at 42."""


def march(options: str, at: str, restart: int | None, end: int = 47) -> list[int]:
    time = f'[sequencers]\nmarch = {{ {options} }}\n[ticks]\nt = {{ sequencer = "march", at = {at} }}'
    return ticks_seen(time, [] if restart is None else [(restart, AGAIN, 1)], end, restarts="march")


@pytest.mark.parametrize(
    ("options", "at", "edges"),
    [
        (MARCH, "[0]", [2, 22, 42]),
        (MARCH, "[3]", [17, 37]),
        (MARCH, "[0, 3]", [2, 17, 22, 37, 42]),
        (MARCH, "[3, 0]", [2, 17, 22, 37, 42]),
        (MARCH, "[0, 1, 2, 3]", [2, 7, 12, 17, 22, 27, 32, 37, 42]),
        ("every = 5, first = 2, steps = 3", "[0]", [2, 17, 32]),
        ("every = 5, first = 2, steps = 1", "[0]", [2, 7, 12, 17, 22, 27, 32, 37, 42]),
        ("every = 9, first = 2, steps = 2", "[1]", [11, 29]),
        ("every = 5, first = 21, steps = 4", "[0, 1]", [21, 26, 41, 46]),
    ],
)
def test_a_sequencer_walks_through_its_steps_and_ticks_at_those_named(options: str, at: str, edges: list[int]) -> None:
    assert march(options, at, None) == edges


@pytest.mark.parametrize(
    ("options", "restart", "edges"),
    [
        # Steps 0 and 3 tick. Silent: step 0 follows at 25, 1 at 30, 2 at 35, 3 at 40, 0 at 45.
        ("", 20, [2, 17, 25, 40, 45]),
        (', at_restart = "silent"', 20, [2, 17, 25, 40, 45]),
        # Step 0 at 20 itself, 1 at 25, 2 at 30, 3 at 35, 0 at 40.
        (', at_restart = "step"', 20, [2, 17, 20, 35, 40]),
        # Step 0 at 23, 3 at 38, 0 at 43.
        (', at_restart = "silent", after_restart = 3', 20, [2, 17, 23, 38, 43]),
        # Step 0 at 20, 1 at 23, 2 at 28, 3 at 33, 0 at 38.
        (', at_restart = "step", after_restart = 3', 20, [2, 17, 20, 33, 38]),
        # Step 3 is due at 17. Silent: step 0 at 22, 3 at 37, 0 at 42. Else step 0 in its place, 3 at 32, 0 at 37.
        (', at_restart = "silent"', 17, [2, 22, 37, 42]),
        (', at_restart = "step"', 17, [2, 17, 32, 37]),
        # Step 1, which does not tick, is due at 7. Silent: 0 at 12, 3 at 27, 0 at 32. Else 0 at 7, 3 at 22, 0 at 27 ...
        (', at_restart = "silent"', 7, [2, 12, 27, 32]),
        (', at_restart = "step"', 7, [2, 7, 22, 27, 42]),
    ],
)
def test_what_a_restart_makes_of_a_sequencer(options: str, restart: int, edges: list[int]) -> None:
    assert march(MARCH + options, "[0, 3]", restart) == edges


def test_a_sequencer_of_one_step_that_restarts_goes_on_with_step_0() -> None:
    options = 'every = 5, first = 2, steps = 1, at_restart = "step"'
    assert march(options, "[0]", 9, end=25) == [2, 7, 9, 14, 19, 24]


def test_ticks_of_one_sequencer_meet_only_where_they_share_a_step() -> None:
    # The timer counts steps 1, from 2 at 0: 1 at 7, 0 at 27. The envelope falls at steps 1 and 2: 7, 12, 27.
    chip = tiny(
        """
        sequencers.march = { every = 5, first = 2, steps = 4 }
        ticks.long = { sequencer = "march", at = [1] }
        ticks.fast = { sequencer = "march", at = [2, 1] }
        [channel.x]
        timer = { ticks = "long" }
        envelope = { ticks = "fast" }
        """
    )
    length = 3
    writes = [(0, VOLUME, 7), (0, FADE, 1), (0, length, 2), (0, GO, START)]
    assert sounds(chip, writes, 40) == [(0, 7), (7, 6), (12, 5), (27, 0)]


# --- prescalers of the step ------------------------------------------------------------------------------------------

PRESCALED = """
[ticks]
p = {{ every = 3, first = 1{tick} }}
[channel.x]
patterns = ["10"]
step = {{ clocked_by = "p"{step} }}
[[register]]
name = "AGAIN"
address = 15
fields = [{{ bits = "0", strobes = "p.restart" }}]
"""


@pytest.mark.parametrize(
    ("tick", "step", "writes", "expected"),
    [
        # "p" ticks at 1, 4, 7, 10, 13, 16, 19, 22; period 1 is 2 counts. Begun at 5: 7 counts, 10 steps.
        ("", "", [(5, GO, START)], [(5, 5), (10, 0), (16, 5), (22, 0)]),
        ("", ', new_value = "at-once"', [(5, GO, START)], [(5, 5), (10, 0), (16, 5), (22, 0)]),
        # A start loads wherever it is, and the tick at its edge does not count: 10 counts, 13 steps.
        ("", "", [(7, GO, START)], [(7, 5), (13, 0), (19, 5)]),
        ("", ', new_value = "at-once"', [(7, GO, START)], [(7, 5), (13, 0), (19, 5)]),
        # The count goes on from 0: the first tick after the start steps.
        ("", ', on_start = "keep"', [(5, GO, START)], [(5, 5), (7, 0), (13, 5), (19, 0)]),
        # Period 3, 4 counts, written at 8: from the step at 10 on, or for the one that has run since 5 (16).
        ("", "", [(5, GO, START), (8, PERIOD, 3)], [(5, 5), (10, 0), (22, 5)]),
        ("", ', new_value = "at-once"', [(5, GO, START), (8, PERIOD, 3)], [(5, 5), (16, 0)]),
        # Period 0, one count, written at 8, between ticks: nothing before the tick at 10.
        (
            "",
            ', new_value = "at-once"',
            [(5, GO, START), (8, PERIOD, 0)],
            [(5, 5), (10, 0), (13, 5), (16, 0), (19, 5), (22, 0)],
        ),
        # Restarted at 8: ticks at 11, 14, 17, 20, 23; or at 8 too.
        ("", "", [(5, GO, START), (8, 15, 1)], [(5, 5), (11, 0), (17, 5), (23, 0)]),
        (', at_restart = "tick"', "", [(5, GO, START), (8, 15, 1)], [(5, 5), (8, 0), (14, 5), (20, 0)]),
        # Restarted at the tick 7, which then does not count: 10 counts, 13 steps.
        ("", "", [(5, GO, START), (7, 15, 1)], [(5, 5), (13, 0), (19, 5)]),
    ],
)
def test_a_step_counts_the_ticks_of_its_prescaler(tick: str, step: str, writes: list[Write], expected: Table) -> None:
    chip = tiny(PRESCALED.format(tick=tick, step=step))
    assert sounds(chip, [(0, VOLUME, 5), (0, PERIOD, 1), *writes], 24) == [(0, 0), *expected]


def test_without_a_prescaler_a_step_counts_every_cycle() -> None:
    chip = tiny('channel.x = { kind = "square", patterns = ["10"] }')
    writes = [(0, VOLUME, 5), (0, PERIOD, 1), (5, GO, START)]
    assert sounds(chip, writes, 12) == [(0, 0), (5, 5), (7, 0), (9, 5), (11, 0)]


NOISE = """
[ticks]
p = {{ every = 3, first = 1 }}
[channel.x]
kind = "noise"
step = {{ {step} }}
register = {{ bits = 3, taps = [3, 2], output = 3, seed = 5{register} }}
"""
# From 101 on, s3 s2 s1: 101 011 111 110 100 001 010 101; the output is s3: 1 0 1 1 1 0 0 1.


@pytest.mark.parametrize(
    ("step", "expected"),
    [
        ("divisors = [1]", [(5, 5), (6, 0), (7, 5), (10, 0), (12, 5)]),
        ('divisors = [1], clocked_by = "p"', [(5, 5), (7, 0), (10, 5), (19, 0)]),
        ('divisors = [2], clocked_by = "p"', [(5, 5), (10, 0), (16, 5)]),
    ],
)
def test_a_noise_step_counts_cycles_or_the_ticks_of_its_prescaler(step: str, expected: Table) -> None:
    chip = tiny(NOISE.format(step=step, register=""))
    table = sounds(chip, [(0, VOLUME, 5), (5, GO, START)], 20)
    assert [row for row in table if row[0] < 13 or "p" in step] == [(0, 0), *expected]


@pytest.mark.parametrize(
    ("option", "writes", "expected"),
    [
        # Divisor 6, from 5 on 2; started at 4.
        ("", [(4, GO, START), (5, DIVISOR, 1)], [(4, 5), (10, 0), (12, 5), (18, 0)]),
        ('new_value = "next-step"', [(4, GO, START), (5, DIVISOR, 1)], [(4, 5), (10, 0), (12, 5), (18, 0)]),
        ('new_value = "at-once"', [(4, GO, START), (5, DIVISOR, 1)], [(4, 5), (6, 0), (8, 5), (14, 0), (18, 5)]),
        # Started again at 8.
        ("", [(4, GO, START), (8, GO, START)], [(4, 5), (14, 0)]),
        ('on_start = "reload"', [(4, GO, START), (8, GO, START)], [(4, 5), (14, 0)]),
        ('on_start = "keep"', [(4, GO, START), (8, GO, START)], [(4, 5), (5, 0), (11, 5)]),
        # Divisor 2 written at the edge of a step.
        ("", [(4, GO, START), (10, DIVISOR, 1)], [(4, 5), (10, 0), (16, 5)]),
        ('write_and_step = "old"', [(4, GO, START), (10, DIVISOR, 1)], [(4, 5), (10, 0), (16, 5)]),
        ('write_and_step = "new"', [(4, GO, START), (10, DIVISOR, 1)], [(4, 5), (10, 0), (12, 5), (18, 0)]),
    ],
)
def test_when_a_new_divisor_counts_and_what_a_start_does_to_the_count(
    option: str, writes: list[Write], expected: Table
) -> None:
    chip = tiny(NOISE.format(step=", ".join(filter(None, ("divisors = [6, 2]", option))), register=""))
    assert sounds(chip, [(0, VOLUME, 5), *writes], 19) == [(0, 0), *expected]


@pytest.mark.parametrize(("rule", "shifts"), [("old", True), ("new", False)])
def test_a_clock_stopped_at_the_edge_of_a_step_still_shifts_or_no_longer(rule: str, shifts: bool) -> None:
    step = f'divisors = [6], shift_bits = 1, stopped = [1], write_and_step = "{rule}"'
    chip = tiny(NOISE.format(step=step, register=""))
    clock_shift = 11
    expected = [(0, 0), (4, 5), (10, 0)] if shifts else [(0, 0), (4, 5)]
    assert sounds(chip, [(0, VOLUME, 5), (4, GO, START), (10, clock_shift, 1)], 30) == expected


@pytest.mark.parametrize("rule", ["old", "new"])
def test_a_shift_at_the_edge_of_a_write_goes_by_the_short_bit_from_before(rule: str) -> None:
    # 101: taps 3 and 2 feed back 1 xor 0 = 1 and make 011; taps 3 and 1 would feed back 0 and make 010.
    short = ", short = { taps = [3, 1], output = 3 }"
    chip = tiny(NOISE.format(step=f'divisors = [6], write_and_step = "{rule}"', register=short))
    writes = [(0, VOLUME, 5), (4, GO, START), (10, 12, 1)]
    assert play(chip, writes, 11).state.channels["x"].shift_register == 0b011
    # 011: taps 3 and 1 feed back 0 xor 1 = 1.
    assert play(chip, writes, 17).state.channels["x"].shift_register == 0b111
