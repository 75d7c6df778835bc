"""Siskin's ticks in RTL: the sequencer and the note timers, envelopes and sweeps that it drives.

Every expected number below was worked out by hand from the prose of patches/siskin.md (the section is named beside the
tests), with no program of this project. Left alone, step n of the sequencer is at 7499 + 15000 n: `span` at 7499,
37499, 67499 and so on; `fade` at 22499, 97499, 172499, 247499; `slide` at 52499, 112499, 202499, 262499.
"""

from __future__ import annotations

import pytest

from tests.rtl.linnet_runs import value_at
from tests.rtl.siskin_runs import (
    BEAT,
    P_KEY,
    P_LEVEL,
    P_TIME,
    P_TUNE,
    Q_KEY,
    Q_LEVEL,
    Q_TIME,
    START,
    STATUS,
    STOP,
    U_KEY,
    U_LEVEL,
    U_MEMORY,
    U_TIME,
    U_TUNE,
    V_MEMORY,
    V_TIME,
    V_TUNE,
    X_KEY,
    X_LEVEL,
    X_TIME,
    X_TUNE,
    Y_TIME,
    Y_TUNE,
    Siskin,
    Write,
    channel_bits,
    siskin_in,
)

SPAN_1, SPAN_2, SPAN_3 = 7499, 37499, 67499
FADE_1, FADE_2, FADE_3, FADE_4 = 22499, 97499, 172499, 247499

# A steady level: noise X with its clock stopped, so that its output bit stays 0.
STEADY_X = [(X_TUNE, 0x70), (X_LEVEL, 63)]
TIMED = 0x100


@pytest.fixture(scope="module")
def siskin(tmp_path_factory: pytest.TempPathFactory) -> Siskin:
    return siskin_in(tmp_path_factory.getbasetemp())


def envelope(volume: int, period: int, *, louder: bool = False) -> int:
    return volume + (period << 6) + (512 if louder else 0)


# --- Sections 3 and 8, note timers ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "ends"), [(255, 7499), (254, 37499), (253, 67499), (252, 97499), (251, 127499), (250, 157499)]
)
def test_timer_counts_256_minus_length_spans(siskin: Siskin, length: int, ends: int) -> None:
    # Steps 0, 2, 4, 6, 8 and 0 again, which is step 10.
    run = siskin([*STEADY_X, (X_TIME, TIMED + length)], [(20, X_KEY, START)], cycles=ends + 3)
    assert run["level_x"] == [(0, 0), (20, 255), (ends, 0)]


@pytest.mark.parametrize(("start", "ends"), [(SPAN_1 - 1, SPAN_1), (SPAN_1, SPAN_2), (SPAN_1 + 1, SPAN_2)])
def test_span_at_the_edge_of_a_start_is_lost(siskin: Siskin, start: int, ends: int) -> None:
    run = siskin([*STEADY_X, (X_TIME, TIMED + 255)], [(start, X_KEY, START)], cycles=ends + 3)
    assert run["level_x"] == [(0, 0), (start, 255), (ends, 0)]


def test_timer_that_is_not_enabled_does_not_count(siskin: Siskin) -> None:
    # Enabled between the spans, which counts once: 254 is 2 counts, one of them at 37499.
    then = [(20, X_KEY, START), (20000, X_TIME, TIMED + 254)]
    run = siskin([*STEADY_X, (X_TIME, 254)], then, cycles=37502)
    assert run["level_x"] == [(0, 0), (20, 255), (SPAN_2, 0)]


def test_length_0_lasts_256_ticks_each_of_them_a_restart_of_the_sequencer(siskin: Siskin) -> None:
    # Every write to BEAT is step 0 at its edge, a span: the 256th is at 40 + 2 * 255.
    then = [(20, X_KEY, START), *((40 + 2 * n, BEAT, 0) for n in range(260))]
    run = siskin([*STEADY_X, (X_TIME, TIMED)], then, cycles=570)
    assert run["level_x"] == [(0, 0), (20, 255), (550, 0)]


@pytest.mark.parametrize("restart", [7499, 15099, 15100, 15101])
def test_restart_of_the_sequencer_begins_the_steps_anew(siskin: Siskin, restart: int) -> None:
    # Length 253, 3 counts: the restarts at 100 (so that nothing is due at 7499, but step 1 at 15100) and at `restart`,
    # and step 2 after it.
    then = [(20, X_KEY, START), (100, BEAT, 0), (restart, BEAT, 0xFFFF)]
    run = siskin([*STEADY_X, (X_TIME, TIMED + 253)], then, cycles=restart + 30003)
    assert run["level_x"] == [(0, 0), (20, 255), (restart + 30000, 0)]


@pytest.mark.parametrize("restart", [20, 21, 22, 23])
def test_restart_of_the_sequencer_does_not_disturb_quarter(siskin: Siskin, restart: int) -> None:
    # Ticks at 11, 15 and so on: the eighteenth, which ends position 5, at 11 + 17 * 4.
    run = siskin([(P_TUNE, 1023), (P_LEVEL, 63)], [(10, P_KEY, START), (restart, BEAT, 0)], cycles=90)
    assert run["level_p"] == [(0, 0), (10, 255), (79, 0)]


def test_restart_at_the_edge_of_a_step_is_step_0_and_no_other(siskin: Siskin) -> None:
    # Step 1, a fade, is due at 22499: the restart makes it a span, and step 1 is at 37499. P's timer has 2 counts: 7499
    # and 22499.
    level, setup = envelope(10, 1), [(P_LEVEL, envelope(10, 1)), (P_TIME, TIMED + 254), (X_TUNE, 0x70)]
    then = [(20, P_KEY, START), (30, X_KEY, START), (FADE_1, BEAT, 0)]
    run = siskin([*setup, (X_LEVEL, level)], then, cycles=37502)
    assert run["level_p"] == [(0, 0), (20, 3), (22499, 0)]
    assert run["level_x"] == [(0, 0), (30, 3), (37499, 2)]


def test_enabling_the_timer_counts_once_each_time(siskin: Siskin) -> None:
    # 252 is 4 counts: enabled at 40, 60, 80 and 100; what is written to an enabled timer or disables it counts nothing.
    then = [(20, X_KEY, START)]
    then += [(40 + 10 * n, X_TIME, (TIMED if n % 2 == 0 else 0) + 252) for n in range(8)]
    run = siskin([*STEADY_X, (X_TIME, 252)], then, cycles=200)
    assert run["level_x"] == [(0, 0), (20, 255), (100, 0)]


def test_new_length_alone_neither_loads_nor_counts(siskin: Siskin) -> None:
    then = [(20, X_KEY, START), (40, X_TIME, TIMED + 255), (50, X_TIME, TIMED + 1)]
    run = siskin([*STEADY_X, (X_TIME, TIMED + 254)], then, cycles=37502)
    assert run["level_x"] == [(0, 0), (20, 255), (SPAN_2, 0)]


@pytest.mark.parametrize(
    ("before", "written", "ends"),
    [(254, TIMED + 254, SPAN_2), (TIMED + 255, 255, SPAN_1), (TIMED + 254, TIMED + 254, SPAN_2)],
    ids=["enabled: one count", "disabled: the old enable counts", "still enabled: one count"],
)
def test_write_to_the_timer_at_a_span(siskin: Siskin, before: int, written: int, ends: int) -> None:
    run = siskin([*STEADY_X, (X_TIME, before)], [(20, X_KEY, START), (SPAN_1, X_TIME, written)], cycles=ends + 3)
    assert run["level_x"] == [(0, 0), (20, 255), (ends, 0)]


@pytest.mark.parametrize(
    ("name", "setup", "time", "go"),
    [
        ("P", [], P_TIME, (P_KEY, START)),
        ("Q", [], Q_TIME, (Q_KEY, START)),
        ("U", [], U_TIME, (U_KEY, START)),
        ("V", [], V_TIME, (V_TUNE, 0x8000)),
        ("X", [], X_TIME, (X_KEY, START)),
        ("Y", [], Y_TIME, (Y_TUNE, 0)),
    ],
)
def test_timer_of_every_channel_ends_its_own_note_only(
    siskin: Siskin, name: str, setup: list[tuple[int, int]], time: int, go: tuple[int, int]
) -> None:
    everything = [(40, P_KEY, 1), (50, Q_KEY, 1), (60, U_KEY, 1), (70, V_TUNE, 0x8000), (80, X_KEY, 1), (90, Y_TUNE, 0)]
    then = [*everything, (100, *go)]
    run = siskin([*setup, (time, TIMED + 255)], then, cycles=SPAN_1 + 2, watch=(200, STATUS))
    assert channel_bits(run, SPAN_1 - 1) == "PQUVXY"
    assert channel_bits(run, SPAN_1) == "PQUVXY".replace(name, "")


# --- Section 9, envelopes ---------------------------------------------------------------------------------------------


def test_envelope_of_period_2_moves_at_every_second_fade(siskin: Siskin) -> None:
    # Volume 60: 197, 59: 181, 58: 166.
    run = siskin([(X_TUNE, 0x70), (X_LEVEL, envelope(60, 2))], [(20, X_KEY, START)], cycles=FADE_4 + 3)
    assert run["level_x"] == [(0, 0), (20, 197), (FADE_2, 181), (FADE_4, 166)]


def test_envelope_period_0_is_8_fades(siskin: Siskin) -> None:
    # Restarts at 100 + 15001 n put a fade at 15100 + 15001 n: the eighth at 120107, the sixteenth at 240115.
    restarts = [(100 + 15001 * n, BEAT, 0) for n in range(17)]
    setup = [(X_TUNE, 0x70), (X_LEVEL, envelope(60, 0, louder=True))]
    run = siskin(setup, [(20, X_KEY, START), *restarts], cycles=240120)
    assert run["level_x"] == [(0, 0), (20, 197), (120107, 215), (240115, 234)]


def test_louder_envelope_is_held_at_63(siskin: Siskin) -> None:
    setup = [(X_TUNE, 0x70), (X_LEVEL, envelope(62, 1, louder=True))]
    run = siskin(setup, [(20, X_KEY, START)], cycles=FADE_3 + 3)
    assert run["level_x"] == [(0, 0), (20, 234), (FADE_1, 255)]


def test_fade_at_the_edge_of_a_start_is_lost(siskin: Siskin) -> None:
    setup = [(X_TUNE, 0x70), (X_LEVEL, envelope(60, 1))]
    run = siskin(setup, [(FADE_1, X_KEY, START)], cycles=FADE_2 + 3)
    assert run["level_x"] == [(0, 0), (FADE_1, 197), (FADE_2, 181)]


def test_start_loads_level_and_counter_again(siskin: Siskin) -> None:
    # Period 2: one fade is counted at 22499; after the start at 30000 two more are needed.
    setup = [(X_TUNE, 0x70), (X_LEVEL, envelope(60, 2))]
    run = siskin(setup, [(20, X_KEY, START), (30000, X_KEY, START)], cycles=FADE_3 + 3)
    assert run["level_x"] == [(0, 0), (20, 197), (FADE_3, 181)]


@pytest.mark.parametrize("volume", [1, 0])
def test_envelope_at_0_ends_squares_and_table_u_but_not_noise_x(siskin: Siskin, volume: int) -> None:
    levels = [(index, envelope(volume, 1)) for index in (P_LEVEL, Q_LEVEL, U_LEVEL, X_LEVEL)]
    then = [(20, P_KEY, START), (30, Q_KEY, START), (40, U_KEY, START), (50, X_KEY, START)]
    run = siskin(levels, then, cycles=FADE_1 + 2, watch=(200, STATUS))
    assert channel_bits(run, FADE_1 - 1) == "PQUX"
    assert channel_bits(run, FADE_1) == "X"


def test_each_envelope_moves_its_own_channel(siskin: Siskin) -> None:
    # All samples of U 255: volume 50 is loudness 83, 51 is 90: 255 * 83 >> 8 = 82 (82.7), 255 * 90 >> 8 = 89 (89.6).
    # Squares of period 0 stay up for 73728 cycles. Volume 49: 76, 52: 99, 53: 108.
    wave = [(U_MEMORY + n, 0xFFFF) for n in range(16)]
    levels = [(P_LEVEL, envelope(50, 1)), (Q_LEVEL, envelope(52, 1, louder=True)), (U_TUNE, 9)]
    then = [(60, P_KEY, START), (70, Q_KEY, START), (80, U_KEY, START)]
    run = siskin([*wave, *levels, (U_LEVEL, envelope(50, 1, louder=True))], then, cycles=FADE_1 + 3)
    assert run["level_p"] == [(0, 0), (60, 83), (FADE_1, 76)]
    assert run["level_q"] == [(0, 0), (70, 99), (FADE_1, 108)]
    assert run["level_u"] == [(0, 0), (80, 82), (FADE_1, 89)]


# --- Section 9, live volume -------------------------------------------------------------------------------------------


def test_live_volume_is_heard_at_once_on_every_channel_with_an_envelope(siskin: Siskin) -> None:
    # 255 * 35 >> 8 = 34 (34.9).
    wave = [(U_MEMORY + n, 0xFFFF) for n in range(16)]
    setup = [*wave, (P_LEVEL, 63), (Q_LEVEL, 63), (U_LEVEL, 63), (U_TUNE, 9)]
    then = [(60, P_KEY, START), (70, Q_KEY, START), (80, U_KEY, START)]
    then += [(100, P_LEVEL, 40), (110, Q_LEVEL, 41), (120, U_LEVEL, 40)]
    run = siskin(setup, then, cycles=150)
    assert run["level_p"] == [(0, 0), (60, 255), (100, 35)]
    assert run["level_q"] == [(0, 0), (70, 255), (110, 38)]
    assert run["level_u"] == [(0, 0), (80, 254), (120, 34)]


def test_live_volume_0_without_a_tick_ends_nothing(siskin: Siskin) -> None:
    run = siskin([(P_LEVEL, 63)], [(20, P_KEY, START), (40, P_LEVEL, 0), (60, P_LEVEL, 40)], cycles=80)
    assert run["level_p"] == [(0, 0), (20, 255), (40, 0), (60, 35)]


def test_live_volume_at_a_fade_wins_while_the_counter_does_what_the_tick_makes_it_do(siskin: Siskin) -> None:
    # Period 2: 2 -> 1 at 22499, where 40 is written (loudness 35); due at 97499: 39 (32); counted at 172499.
    setup = [(X_TUNE, 0x70), (X_LEVEL, envelope(60, 2))]
    run = siskin(setup, [(20, X_KEY, START), (FADE_1, X_LEVEL, envelope(40, 2))], cycles=FADE_3 + 3)
    assert run["level_x"] == [(0, 0), (20, 197), (FADE_1, 35), (FADE_2, 32)]


def test_live_volume_at_a_fade_that_is_due_wins_over_the_move_and_the_old_period_is_loaded(siskin: Siskin) -> None:
    # Old period 1: due again at 97499, in the new direction: 40 (35) becomes 41 (38). Then the new period, 3, is
    # loaded.
    setup = [(X_TUNE, 0x70), (X_LEVEL, envelope(60, 1))]
    then = [(20, X_KEY, START), (FADE_1, X_LEVEL, envelope(40, 3, louder=True))]
    run = siskin(setup, then, cycles=FADE_4 + 3)
    assert run["level_x"] == [(0, 0), (20, 197), (FADE_1, 35), (FADE_2, 38)]


@pytest.mark.parametrize(
    ("before", "period", "written", "left"),
    [(1, 1, 40, "P"), (20, 1, 0, ""), (1, 2, 0, "P"), (20, 2, 0, "P")],
    ids=["40 where 0 was due", "0 where 19 was due", "0 where no move was due", "0 from 20 where no move was due"],
)
def test_written_level_counts_for_the_end_only_where_a_move_was_due(
    siskin: Siskin, before: int, period: int, written: int, left: str
) -> None:
    then: list[Write] = [(20, P_KEY, START), (FADE_1, P_LEVEL, envelope(written, period))]
    run = siskin([(P_LEVEL, envelope(before, period))], then, cycles=FADE_1 + 9, watch=(FADE_1 + 5, STATUS))
    assert channel_bits(run, FADE_1 + 6) == left


def test_envelope_stands_still_while_the_channel_is_inactive(siskin: Siskin) -> None:
    # Stopped before the fade, X keeps its counter and level; the write at 30000 is no live one: the start loads it.
    setup = [(X_TUNE, 0x70), (X_LEVEL, envelope(60, 1))]
    then = [(20, X_KEY, START), (40, X_KEY, STOP), (30000, X_LEVEL, envelope(40, 1)), (40000, X_KEY, START)]
    run = siskin(setup, then, cycles=40010)
    assert run["level_x"] == [(0, 0), (20, 197), (40, 0), (40000, 35)]


def test_squares_and_tables_go_on_through_ticks(siskin: Siskin) -> None:
    # V with period 7: 16 cycles a step, 512 a round; sample 0, 228 (level 100), sounds from 100 + 512 n on for 16.
    # 100 + 512 * 102 = 52324 is the last round before 52499, a slide, and 52836 the first after it.
    run = siskin([(V_MEMORY, 0xE480), (P_TUNE, 1023)], [(100, V_TUNE, 0xF007)], cycles=53000)
    assert [value_at(run["level_v"], cycle) for cycle in (52324, 52339, 52836, 52851)] == [100] * 4
    assert value_at(run["level_v"], 52340) == value_at(run["level_v"], 52852) == 0
