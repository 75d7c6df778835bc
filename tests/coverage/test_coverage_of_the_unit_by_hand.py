"""Behaviours of the unit around Siskin's channels, on logs worked out by hand from patches/siskin.md.

The index port is 0, the data port 1; the index steps on (section 4). P's registers are at 0x10: TUNE, LEVEL, TIME,
SLIDE, KEY. With TUNE 0 a step of P lasts 3 x 1024 ticks of quarter, 12 288 cycles (section 6); a tick of span comes
every 30 000 cycles, of fade every 75 000 (section 3).
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from psgmodel.chip import load_chip
from psgmodel.coverage import cover
from psgmodel.reglog import make_log
from tests.engine.tiny_units import GO, START, VOLUME, tiny

SISKIN = load_chip(Path(__file__).parents[2] / "patches" / "siskin.toml")
CONTROL, ROUTE, P_TUNE, P_LEVEL, P_TIME, P_KEY = 0x00, 0x02, 0x10, 0x11, 0x12, 0x14
U_TUNE, U_LEVEL, U_KEY, U_MEMORY = 0x20, 0x21, 0x24, 0x40
OFF_AND_ON = [(CONTROL, 0), (CONTROL, 1)]
LOUD, ON = 63, 1


def shown(registers: Sequence[tuple[int, ...]], end: int) -> set[str]:
    """What is shown by register writes 8 cycles apart, each with an index of its own; more values follow without."""
    rows: list[tuple[int, int, int]] = []
    for index, *values in registers:
        for place, value in [(0, index), *((1, v) for v in values)]:
            rows.append((4 * len(rows), place, value))
    log = make_log([c for c, _, _ in rows], [a for _, a, _ in rows], [v for _, _, v in rows], end=end)
    coverage = cover(SISKIN, [log])
    return {b.name for b in coverage.bins if coverage.count(b)}


@pytest.mark.parametrize("rows", [[], [(CONTROL, 1)]])
def test_nothing_happens_where_nothing_is_written_to_a_register(rows: list[tuple[int, int]]) -> None:
    log = make_log([4 * i for i in range(len(rows))], [a for a, _ in rows], [v for _, v in rows], end=50_000)
    assert cover(SISKIN, [log]).logs[0].hits == {}  # 0 is the index port


@pytest.mark.parametrize(
    ("before", "after", "cleared"),
    [
        ([(ROUTE, 0)], [], True),
        ([(ROUTE, 0x3E)], [], True),
        ([(ROUTE, 0x3D)], [], False),
        ([(ROUTE, 0)], [(ROUTE, 0x3F)], False),
        ([], [], False),
    ],
)
def test_a_route_counts_as_cleared_where_its_channel_is_heard_before_it_is_written(
    before: list[tuple[int, int]], after: list[tuple[int, int]], cleared: bool
) -> None:
    found = shown([*before, *OFF_AND_ON, *after, (P_TUNE, 1000), (P_LEVEL, LOUD), (P_KEY, ON)], 2000)
    assert ("power.mixer.main.p-cleared" in found) == cleared
    assert "power.mixer.main.q-cleared" not in found


@pytest.mark.parametrize(("end", "cleared"), [(25_000, True), (24_500, False)])
def test_a_period_counts_as_cleared_after_two_steps_of_what_it_is_reset_to(end: int, cleared: bool) -> None:
    begun = [(P_TUNE, 1000), *OFF_AND_ON, (P_LEVEL, LOUD), (P_KEY, ON)]
    assert ("power.p.P_TUNE-cleared" in shown(begun, end)) == cleared
    assert "power.p.P_TUNE-cleared" not in shown([*begun, (P_TUNE, 1000)], end)


def test_a_period_counts_as_cleared_only_where_the_mixer_lets_its_channel_through() -> None:
    begun = [(P_TUNE, 1000), *OFF_AND_ON, (P_LEVEL, LOUD)]
    assert "power.p.P_TUNE-cleared" in shown([*begun, (ROUTE, 0x3D), (P_KEY, ON)], 25_000)
    assert "power.p.P_TUNE-cleared" not in shown([*begun, (ROUTE, 0x3E), (P_KEY, ON)], 25_000)


def test_a_note_timer_counts_as_cleared_after_two_ticks_in_which_it_could_have_ended_the_note() -> None:
    begun = [(P_TIME, 0x1FF), *OFF_AND_ON, (P_TUNE, 1000), (P_LEVEL, LOUD), (P_KEY, ON)]
    assert "power.p.P_TIME-cleared" in shown(begun, 60_200)
    assert "power.p.P_TIME-cleared" not in shown(begun, 59_900)


def test_a_volume_counts_as_cleared_where_its_channel_plays_without_being_heard() -> None:
    begun = [(P_LEVEL, LOUD), *OFF_AND_ON, (P_TUNE, 1000)]
    assert "power.p.P_LEVEL-cleared" in shown([*begun, (P_KEY, ON)], 151_000)
    assert "power.p.P_LEVEL-cleared" not in shown(begun, 151_000)


@pytest.mark.parametrize(
    ("memory", "steps"),
    [
        ([(U_MEMORY, 0x1111, 0x2222)], True),
        ([(U_MEMORY, 0x1111, 0x1111)], False),
        ([(U_MEMORY, 0x1111), (U_MEMORY + 1, 0x2222)], False),
    ],
)
def test_the_index_is_heard_to_step_on_after_a_write_to_a_memory(memory: list[tuple[int, ...]], steps: bool) -> None:
    """A step of U lasts 2 x (TUNE + 1) cycles: TUNE 15, all 32 samples in 1024."""
    begun = [*memory, (U_TUNE, 15), (U_LEVEL, LOUD)]
    assert ("bus.index-steps-U_MEMORY" in shown([*begun, (U_KEY, ON)], 2000)) == steps
    assert "bus.index-steps-U_MEMORY" not in shown(begun, 2000)


@pytest.mark.parametrize(("step", "shown"), [(1, True), (0, False)])
def test_an_index_that_stays_does_not_step_on(step: int, shown: bool) -> None:
    """GO is at 0, VOLUME at 1, the memory from 0x20 on; period 0 is the longest step, 16 cycles."""
    chip = tiny(
        f'bus = {{ access = "index-data", index_bits = 8, index_address = 0, data_address = 1, index_step = {step} }}\n'
        '[channel.x]\nkind = "wave"\ntable = { samples = 4, bits = 4 }\n'
    )
    rows = [(0, 0x20), (1, 5), (1, 9), (0, VOLUME), (1, 7), (0, GO), (1, START)]
    log = make_log([4 * i for i in range(len(rows))], [a for a, _ in rows], [v for _, v in rows], end=400)
    coverage = cover(chip, [log])
    assert coverage.against_reason == ()
    assert ("bus.index-steps-M_x" in coverage.logs[0].hits) == shown
