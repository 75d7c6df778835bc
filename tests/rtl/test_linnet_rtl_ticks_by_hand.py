"""Linnet's RTL at its ticks: note timer, envelope, sweep.

Every expected number below was worked out by hand from the prose of patches/linnet.md (the section is named beside the
tests), with no program of this project. A list such as ``[(0, 0), (11, 7)]`` reads: 0 from cycle 0 on, 7 from cycle 11
on. Both simulators must give it.
"""

from __future__ import annotations

import pytest

from tests.rtl.linnet_runs import (
    A_BEND,
    A_GO,
    A_NOTE,
    A_PITCH,
    A_TONE,
    BUILDERS,
    N_CLOCK,
    N_GO,
    N_LENGTH,
    N_NOTE,
    N_SHAPE,
    ROUTE,
    START,
    STATE,
    STOP,
    Linnet,
    linnet_in,
    value_at,
)


@pytest.fixture(scope="module", params=sorted(BUILDERS))
def linnet(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Linnet:
    return linnet_in(request.param, tmp_path_factory.getbasetemp())


# A steady level: the noise clock stopped (shift 14), the shift register still all ones; the level is the envelope.
STEADY_NOISE = [(N_CLOCK, 14)]


# --- Sections 3, 7, 8, 9: ticks ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "expected"),
    [(1, [(0, 0), (11, 3), (20479, 0)]), (2, [(0, 0), (11, 3), (40959, 0)]), (0, [(0, 0), (11, 3)])],
    ids=["length 1", "length 2", "length 0 is 512"],
)
def test_note_timer_ends_the_note_at_the_tick_that_makes_it_zero(
    linnet: Linnet, length: int, expected: list[tuple[int, int]]
) -> None:
    setup = [*STEADY_NOISE, (N_NOTE, 0x83), (N_LENGTH, length)]
    assert linnet(setup, [(10, N_GO, START)], cycles=40965)["level_n"] == expected


def test_note_timer_that_is_not_enabled_does_not_end_the_note(linnet: Linnet) -> None:
    setup = [*STEADY_NOISE, (N_NOTE, 0x03), (N_LENGTH, 1)]
    assert linnet(setup, [(10, N_GO, START)], cycles=20485)["level_n"] == [(0, 0), (11, 3)]


def test_note_of_length_1_started_at_a_tick_does_not_sound_and_ends_the_note_before_it(linnet: Linnet) -> None:
    # The note of length 256 (bit 6 of the note register) is active when the start of length 1 acts at 20479.
    setup = [*STEADY_NOISE, (N_NOTE, 0xC3)]
    then = [(10, N_GO, START), (20, N_NOTE, 0x84), (21, N_LENGTH, 1), (20478, N_GO, START)]
    assert linnet(setup, then, cycles=20485)["level_n"] == [(0, 0), (11, 3), (20479, 0)]


def test_note_of_length_2_started_at_a_tick_lasts_one_tick(linnet: Linnet) -> None:
    setup = [*STEADY_NOISE, (N_NOTE, 0x83), (N_LENGTH, 2)]
    assert linnet(setup, [(20478, N_GO, START)], cycles=40965)["level_n"] == [(0, 0), (20479, 3), (40959, 0)]


@pytest.mark.parametrize(
    ("volume", "shape", "expected"),
    [
        (5, 0x81, [(0, 0), (11, 5), (9999, 6), (42767, 7)]),
        (5, 0x01, [(0, 0), (11, 5), (9999, 4), (42767, 3)]),
        (5, 0x82, [(0, 0), (11, 5), (42767, 6)]),
        (30, 0x81, [(0, 0), (11, 30), (9999, 31)]),
        (1, 0x01, [(0, 0), (11, 1), (9999, 0)]),
        (5, 0x80, [(0, 0), (11, 5)]),
    ],
    ids=["louder", "softer", "period 2", "held at 31", "held at 0", "period 0"],
)
def test_envelope_moves_at_9999_and_32768_cycles_later(
    linnet: Linnet, volume: int, shape: int, expected: list[tuple[int, int]]
) -> None:
    run = linnet([*STEADY_NOISE, (N_NOTE, volume), (N_SHAPE, shape)], [(10, N_GO, START)], cycles=42770)
    assert run["level_n"] == expected


def test_envelope_tick_that_meets_a_start_is_lost(linnet: Linnet) -> None:
    run = linnet([*STEADY_NOISE, (N_NOTE, 5), (N_SHAPE, 0x81)], [(9998, N_GO, START)], cycles=42770)
    assert run["level_n"] == [(0, 0), (9999, 5), (42767, 6)]


@pytest.mark.parametrize(
    ("bend", "period", "write", "expected"),
    [
        (0x12, 0x400, (0, ROUTE, 0xFF), (0x00, 0x05, 1)),  # 1024 + 256 = 0x500
        (0x1A, 0x400, (0, ROUTE, 0xFF), (0x00, 0x03, 1)),  # 1024 - 256 = 0x300
        (0x11, 0xBB8, (0, ROUTE, 0xFF), (0xB8, 0x0B, 0)),  # 3000 + 1500 > 4095: kept, and the note ends
        (0x19, 0xBB8, (0, ROUTE, 0xFF), (0xDC, 0x05, 1)),  # 3000 - 1500 = 0x5DC: too big a sum does not matter
        (0x10, 0x7FF, (0, ROUTE, 0xFF), (0xFE, 0x0F, 1)),  # 2047 + 2047 = 4094 fits
        (0x12, 0x444, (30000, A_TONE, 0x09), (0x44, 0x09, 1)),  # a write to one half loses the whole sweep step
        (0x12, 0x444, (30000, A_PITCH, 0x09), (0x09, 0x04, 1)),
        (0x11, 0xBB8, (30000, A_PITCH, 0x09), (0x09, 0x0B, 0)),  # lost, but the note ends
        (0x12, 0x444, (29999, A_GO, START), (0x44, 0x04, 1)),  # a start at the tick: no sweep step
        (0x12, 0x444, (29999, A_GO, STOP), (0x55, 0x05, 0)),  # a stop at the tick: the step is made all the same
        (0x22, 0x444, (0, ROUTE, 0xFF), (0x44, 0x04, 1)),  # sweep period 2: not at the first tick
        (0x02, 0x444, (0, ROUTE, 0xFF), (0x44, 0x04, 1)),  # sweep period 0: never
    ],
    ids=[
        "grows",
        "falls",
        "too big",
        "no sum",
        "just fits",
        "tone",
        "pitch",
        "too big, pitch",
        "start",
        "stop",
        "2",
        "0",
    ],
)
def test_sweep_step_at_30000(
    linnet: Linnet, bend: int, period: int, write: tuple[int, int, int], expected: tuple[int, int, int]
) -> None:
    """Reads at 29998 see the old period; reads at 30002 on see the period and STATE that section 9 gives."""
    setup = [(write[1], write[2])] if write[0] == 0 else []
    setup += [(A_PITCH, period & 0xFF), (A_TONE, period >> 8), (A_BEND, bend), (A_NOTE, 1)]
    then = [(10, A_GO, START)] + ([write] if write[0] else [])
    reads = [(29997, A_TONE), (29998, A_PITCH), (30002, A_PITCH), (30003, A_TONE), (30004, STATE)]
    run = linnet(setup, then, reads=reads, cycles=30010)
    value = {cycle: value_at(run["rdata"], cycle) for cycle, _ in reads}
    assert (value[29998], value[29997]) == (period & 0xFF, period >> 8)
    assert (value[30002], value[30003], value[30004]) == expected


@pytest.mark.parametrize(
    ("bend", "high", "low"), [(0x12, 0x06, 0x40), (0x22, 0x05, 0x00)], ids=["period 1", "period 2"]
)
def test_second_sweep_tick_is_at_81200(linnet: Linnet, bend: int, high: int, low: int) -> None:
    # Sweep period 1: 1024 + 256 = 1280 at 30000, + 320 = 1600 = 0x640 at 81200. Sweep period 2: 1280 at 81200.
    setup = [(A_PITCH, 0x00), (A_TONE, 0x04), (A_BEND, bend), (A_NOTE, 1)]
    reads = [(81200, A_PITCH), (81201, A_PITCH), (81202, A_TONE)]
    run = linnet(setup, [(10, A_GO, START)], reads=reads, cycles=81205)
    assert [value_at(run["rdata"], cycle) for cycle, _ in reads] == [0x00, low, high]


def test_sweep_stands_still_while_a_is_inactive(linnet: Linnet) -> None:
    setup = [(A_PITCH, 0x44), (A_TONE, 0x04), (A_BEND, 0x12)]
    run = linnet(setup, [(10, A_GO, START), (29998, A_GO, STOP)], reads=[(30005, A_PITCH)], cycles=30010)
    assert value_at(run["rdata"], 30005) == 0x44
