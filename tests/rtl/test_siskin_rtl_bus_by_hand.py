"""Siskin's RTL at its edges: ports, reads, memories, power and the mixer.

Every expected number below was worked out by hand from the prose of patches/siskin.md (the section is named beside the
tests), with no program of this project. A list such as ``[(0, 0), (11, 7)]`` reads: 0 from cycle 0 on, 7 from cycle 11
on.
"""

from __future__ import annotations

import pytest

from tests.rtl.linnet_runs import value_at
from tests.rtl.siskin_runs import (
    BEAT,
    CONTROL,
    ON,
    P_KEY,
    P_LEVEL,
    P_SLIDE,
    P_TUNE,
    Q_KEY,
    ROUTE,
    START,
    STATUS,
    STOP,
    U_KEY,
    U_LEVEL,
    U_MEMORY,
    U_TUNE,
    V_KEY,
    V_MEMORY,
    V_TUNE,
    X_KEY,
    X_LEVEL,
    X_TIME,
    X_TUNE,
    Y_TUNE,
    Siskin,
    Write,
    channel_bits,
    siskin_in,
)

Setup = list[tuple[int, int]]

STEADY_X = [(X_TUNE, 0x70), (X_LEVEL, 63)]
"""Noise X with its clock stopped: its level is the loudness of its envelope level."""


@pytest.fixture(scope="module")
def siskin(tmp_path_factory: pytest.TempPathFactory) -> Siskin:
    return siskin_in(tmp_path_factory.getbasetemp())


def read_all(siskin: Siskin, indices: list[int], bus: list[tuple[int, str, int, int]], first: int) -> list[int]:
    """Return what the registers read, one after the other from cycle `first` on."""
    looks = [(first + 3 * n, index) for n, index in enumerate(indices)]
    run = siskin([], cycles=looks[-1][0] + 2, looks=looks, bus=bus)
    return [value_at(run["dout"], cycle) for cycle, _ in looks]


# --- Sections 1, 2 and 4, the ports -----------------------------------------------------------------------------------


def test_index_written_at_the_bus_in_cycle_10_shows_from_edge_11_on_with_7_bits(siskin: Siskin) -> None:
    run = siskin([], cycles=20, bus=[(10, "w", 0, 0xFF95)])
    assert run["dout"] == [(0, 0), (11, 0x15)]


def test_data_port_writes_at_the_index_which_then_goes_up_by_one_and_wraps(siskin: Siskin) -> None:
    # Port 0 selected by the reads in cycles 20 and 30. Index 0x7F takes nothing; then 0 is CONTROL.
    bus = [(10, "w", 0, 0x7F), (11, "w", 1, 7), (20, "r", 0, 0), (25, "w", 1, 0x21), (30, "r", 0, 0), (40, "w", 0, 0)]
    run = siskin([], cycles=50, bus=[*bus, (41, "r", 1, 0)])
    assert value_at(run["dout"], 19) == 0
    assert value_at(run["dout"], 30) == 1
    assert value_at(run["dout"], 41) == 0x21


def test_index_and_data_at_neighbouring_edges_each_take_place_one_edge_later(siskin: Siskin) -> None:
    # V_TUNE is at 0x28, U_LEVEL at 0x21: the data of cycle 11 goes to the index of cycle 10, that of 13 to 12's.
    bus = [(10, "w", 0, U_LEVEL), (11, "w", 1, 0x155), (12, "w", 0, ROUTE), (13, "w", 1, 0x2A)]
    run = siskin([], cycles=40, bus=bus, looks=[(20, U_LEVEL), (30, ROUTE)])
    assert [value_at(run["dout"], cycle) for cycle in (20, 30)] == [0x155, 0x2A]


def test_dout_follows_port_sel_index_and_value_without_a_clock_edge_in_between(siskin: Siskin) -> None:
    # Port 1 is selected for edge 20 (so after edge 19), port 0 for edge 30. X dies at 60: STATUS after that edge.
    then: list[Write] = [(10, X_KEY, START)]
    bus = [(18, "w", 0, STATUS), (20, "r", 1, 0), (30, "r", 0, 0), (40, "r", 1, 0)]
    run = siskin(STEADY_X, then, cycles=50, bus=bus)
    assert [pair for pair in run["dout"] if pair[0] > 18] == [(19, 0x8010), (29, STATUS), (39, 0x8010)]


def test_read_moves_no_index(siskin: Siskin) -> None:
    run = siskin([], cycles=40, bus=[(10, "w", 0, STATUS), *((12 + n, "r", 1, 0) for n in range(9)), (30, "r", 0, 0)])
    assert run["dout"] == [(0, 0), (11, 0x8000), (29, STATUS)]


def test_nothing_in_reset_is_unknown_after_its_first_edge(siskin: Siskin) -> None:
    run = siskin([], cycles=10)
    first_edge = run.edges.phase - 5 * run.edges.period
    for name in ("dout", "level_p", "level_q", "level_u", "level_v", "level_x", "level_y", "out_main"):
        changes = run.raw.signals[name]
        assert [set(text) for time, text in changes if time < first_edge] == [{"U"}]
        assert [text for time, text in changes if time == first_edge] == ["0"]
        assert all(set(text) <= {"0", "1"} for time, text in changes if time >= first_edge)


def test_registers_read_their_reset_values(siskin: Siskin) -> None:
    listed = [*range(4), *range(0x10, 0x15), *range(0x18, 0x1D), 0x20, 0x21, 0x22, 0x24, 0x28, 0x2A, 0x2C]
    listed += [0x30, 0x31, 0x32, 0x34, 0x38, 0x3A, 0x3C, *range(0x40, 0x60)]
    expected = [0 if index in listed else 0xFFFF for index in range(128)]
    expected[:4] = [1, 0, 0x3F, 0x8000]
    assert read_all(siskin, list(range(128)), [], 10) == expected


def test_registers_read_the_bits_that_exist(siskin: Siskin) -> None:
    # All ones to every index in a burst of neighbouring edges. P, Q, U and X start (falling sweeps refuse nothing), V
    # is started at 0x28 and stopped at 0x2C, Y started at 0x38 and stopped at 0x3C: STATUS 1 + 2 + 4 + 16. U is active
    # when its memory is written, so all goes to the pair of position 16.
    burst = [(10, "w", 0, 0), *((11 + n, "w", 1, 0xFFFF) for n in range(128))]
    expected = {CONTROL: 0x31, BEAT: 0, ROUTE: 0x3F, STATUS: 0x8017}
    for base in (0x10, 0x18):
        expected |= dict(zip(range(base, base + 5), [0xFFF, 0x3FF, 0, 0x7F, 0], strict=True))
    expected |= {0x20: 0xFFF, 0x21: 0x3FF, 0x22: 0, 0x24: 0, 0x28: 0x7FFF, 0x2A: 0, 0x2C: 0}
    expected |= {0x30: 0x73, 0x31: 0x3FF, 0x32: 0, 0x34: 0, 0x38: 0x3F07, 0x3A: 0, 0x3C: 0}
    expected |= dict.fromkeys(range(0x50, 0x60), 0)
    assert read_all(siskin, list(range(128)), burst, 200) == [expected.get(index, 0xFFFF) for index in range(128)]


def test_every_register_holds_its_own_value(siskin: Siskin) -> None:
    # No start among them; index 0x28, V_TUNE, without its bit 15, and 0x38, Y_TUNE, apart, since its write starts Y.
    own = {P_TUNE: 0xA11, P_LEVEL: 0x122, P_SLIDE: 0x33, 0x18: 0x544, 0x19: 0x255, 0x1B: 0x46, U_TUNE: 0x777}
    own |= {U_LEVEL: 0x188, V_TUNE: 0x2999, X_TUNE: 0x22, X_LEVEL: 0x3BB, 0x38: 0x2C05, ROUTE: 0x2D, CONTROL: 0x21}
    looks = [(100 + 3 * n, index) for n, index in enumerate(own)]
    run = siskin(list(own.items()), cycles=150, looks=looks)
    assert {index: value_at(run["dout"], cycle) for cycle, index in looks} == own


def test_tune_register_of_an_active_table_v_reads_no_start(siskin: Siskin) -> None:
    assert siskin.read([(V_TUNE, 0xF123)], [], V_TUNE, 20) == 0x7123


@pytest.mark.parametrize(
    ("start", "name"),
    [
        ((P_KEY, START), "P"),
        ((Q_KEY, START), "Q"),
        ((U_KEY, START), "U"),
        ((V_TUNE, 0x8000), "V"),
        ((X_KEY, START), "X"),
        ((Y_TUNE, 0), "Y"),
    ],
)
def test_status_names_the_active_channels(siskin: Siskin, start: tuple[int, int], name: str) -> None:
    run = siskin([], [(20, *start)], cycles=40, watch=(30, STATUS))
    assert channel_bits(run, 30) == name


# --- Sections 4 and 6, the memories -----------------------------------------------------------------------------------


def test_memory_of_u_holds_the_even_sample_in_the_low_byte_and_v_in_the_high_byte(siskin: Siskin) -> None:
    # U from position 16: 0x10, then 0x20, at loudness 255: 16 * 255 >> 8 = 15, 32 * 255 >> 8 = 31. V from position 0:
    # 0x90 is 16, 0xA0 is 32.
    setup = [(U_MEMORY + 8, 0x2010), (U_TUNE, 9), (U_LEVEL, 63), (V_MEMORY, 0x90A0)]
    run = siskin(setup, [(20, U_KEY, START), (30, V_TUNE, 0xF009)], cycles=60)
    assert run["level_u"] == [(0, 0), (20, 15), (40, 31)]
    assert run["level_v"] == [(0, 0), (30, 16), (50, 32)]


WAVE_U = [(U_MEMORY + n, 0x1100 * (n % 15 + 1) + n) for n in range(16)]


def test_memory_of_u_reads_at_the_index_while_inactive_and_at_the_position_while_active(siskin: Siskin) -> None:
    # Period 24 is 50 cycles a step: started at 60, positions 16 and 17 until 160, 18 and 19 (pair 9) until 260.
    looks = [(40, U_MEMORY + 3), (50, U_MEMORY + 8), (70, U_MEMORY + 3), (155, U_MEMORY + 15), (165, U_MEMORY)]
    looks += [(255, U_MEMORY + 8), (265, U_MEMORY + 8), (290, U_MEMORY + 1)]
    run = siskin([*WAVE_U, (U_TUNE, 24)], [(60, U_KEY, START), (280, U_KEY, STOP)], cycles=300, looks=looks)
    pairs = [3, 8, 8, 8, 9, 9, 10, 1]
    assert [value_at(run["dout"], cycle) for cycle, _ in looks] == [0x1100 * (n % 15 + 1) + n for n in pairs]


@pytest.mark.parametrize(("written_at", "pair"), [(159, 8), (160, 8), (161, 9)])
def test_write_to_memory_of_u_while_active_goes_to_the_pair_of_the_position_before_the_edge(
    siskin: Siskin, written_at: int, pair: int
) -> None:
    # Position 18 begins at 160. Stopped at 180, all pairs can be read again.
    then: list[Write] = [(60, U_KEY, START), (written_at, U_MEMORY + 2, 0xABCD), (180, U_KEY, STOP)]
    looks = [(200 + 3 * n, U_MEMORY + n) for n in range(16)]
    run = siskin([*WAVE_U, (U_TUNE, 24)], then, cycles=260, looks=looks)
    found = [value_at(run["dout"], cycle) for cycle, _ in looks]
    assert [n for n in range(16) if found[n] == 0xABCD] == [pair]
    assert [found[n] for n in range(16) if n != pair] == [value for n, (_, value) in enumerate(WAVE_U) if n != pair]


def test_memory_of_u_written_at_the_edge_of_its_stop_still_goes_to_the_position(siskin: Siskin) -> None:
    # Timer: length 255, the span at 7499 ends the note.
    setup = [*WAVE_U, (U_TUNE, 4095), (0x22, 0x1FF)]
    then: list[Write] = [(60, U_KEY, START), (7499, U_MEMORY + 2, 0xABCD)]
    looks = [(7510, U_MEMORY + 2), (7520, U_MEMORY + 8), (7530, STATUS)]
    run = siskin(setup, then, cycles=7540, looks=looks)
    assert [value_at(run["dout"], cycle) for cycle, _ in looks] == [WAVE_U[2][1], 0xABCD, 0x8000]


def test_memory_of_v_takes_no_write_while_active(siskin: Siskin) -> None:
    # 200 is 72. Written in vain at 50 and, the note stopping at 60, in time at 61: 100 is -28 (228).
    then: list[Write] = [(40, V_TUNE, 0xFFFF), (50, V_MEMORY, 0x0000), (60, V_KEY, STOP), (62, V_MEMORY, 0x6400)]
    run = siskin([(V_MEMORY, 0xC800)], [*then, (70, V_TUNE, 0xFFFF)], cycles=80, watch=(75, V_MEMORY))
    assert run["level_v"] == [(0, 0), (40, 72), (60, 0), (70, 228)]
    assert value_at(run["dout"], 75) == 0


# --- Section 4, power -------------------------------------------------------------------------------------------------

OFF = 0


def test_power_off_silences_and_resets_registers_and_channels(siskin: Siskin) -> None:
    # Noise X: 255 * 2 = 510. The output register follows three edges later.
    setup = [*STEADY_X, (P_TUNE, 77), (P_SLIDE, 0x49), (ROUTE, 0x30), (V_TUNE, 0x7123)]
    looks = [(60 + 3 * n, index) for n, index in enumerate([CONTROL, ROUTE, STATUS, X_TUNE, X_LEVEL, P_TUNE, P_SLIDE])]
    looks.append((90, V_TUNE))
    run = siskin(setup, [(30, X_KEY, START), (50, CONTROL, 0x20)], cycles=100, looks=looks)
    assert run["level_x"] == [(0, 0), (30, 255), (50, 0)]
    assert run["out_main"] == [(0, 0), (2, 512), (33, 1022), (53, 512)]
    assert [value_at(run["dout"], cycle) for cycle, _ in looks] == [0x20, 0x3F, 0x8000, 0, 0, 0, 0, 0]


def test_writes_without_power_are_lost_but_for_control_and_the_index_goes_up_all_the_same(siskin: Siskin) -> None:
    # From index 0: CONTROL (trim 3, no power), BEAT, ROUTE; then CONTROL again with power.
    bus = [(10, "w", 0, 0), (11, "w", 1, OFF), (20, "w", 0, 0), (21, "w", 1, 0x30), (22, "w", 1, 0), (23, "w", 1, 0)]
    bus += [(30, "r", 0, 0), (40, "w", 0, Y_TUNE), (41, "w", 1, 0x3F00), (42, "w", 0, U_MEMORY), (43, "w", 1, 0xFFFF)]
    looks = [(50, CONTROL), (60, ROUTE), (70, STATUS), (80, U_MEMORY)]
    run = siskin([], [(95, CONTROL, ON)], cycles=130, bus=bus, looks=[*looks, (105, ROUTE), (110, U_MEMORY)])
    assert value_at(run["dout"], 30) == 3
    assert [value_at(run["dout"], cycle) for cycle, _ in looks] == [0x30, 0x3F, 0x8000, 0]
    assert [value_at(run["dout"], cycle) for cycle in (105, 110)] == [0x3F, 0]
    assert run["level_y"] == [(0, 0)]


def test_power_off_by_the_data_port_leaves_the_index_at_1(siskin: Siskin) -> None:
    run = siskin([], cycles=40, bus=[(10, "w", 0, 0), (11, "w", 1, OFF), (20, "r", 0, 0)])
    assert value_at(run["dout"], 20) == 1


def test_first_write_after_power_on_counts(siskin: Siskin) -> None:
    # Neighbouring edges: CONTROL, BEAT and ROUTE.
    bus = [(10, "w", 0, 0), (11, "w", 1, OFF), (20, "w", 0, 0), (21, "w", 1, ON), (22, "w", 1, 0), (23, "w", 1, 5)]
    run = siskin([], cycles=40, bus=bus, watch=(30, ROUTE))
    assert value_at(run["dout"], 30) == 5


def test_control_written_with_power_on_before_and_after_clears_nothing(siskin: Siskin) -> None:
    run = siskin(STEADY_X, [(30, X_KEY, START), (50, CONTROL, ON)], cycles=100)
    assert run["level_x"] == [(0, 0), (30, 255)]


def test_power_off_goes_back_to_the_first_position_and_noise_bits_but_keeps_the_memories(siskin: Siskin) -> None:
    # V at position 2 when the power goes: position 0 again afterwards (72). Noise Y: 11 shifts of ones again.
    setup = [(V_MEMORY, 0xC832), (V_MEMORY + 1, 0xE480), (U_MEMORY + 1, 0x1234)]
    then: list[Write] = [(100, V_TUNE, 0xF003), (107, Y_TUNE, 0x3F00), (240, CONTROL, OFF), (250, CONTROL, ON)]
    then += [(260, V_TUNE, 0xF003), (267, Y_TUNE, 0x3F00)]
    run = siskin(setup, then, cycles=380, watch=(300, U_MEMORY + 1))
    assert [pair for pair in run["level_v"] if pair[0] < 124] == [(0, 0), (100, 72), (108, 178), (116, 100)]
    assert [pair for pair in run["level_v"] if 240 <= pair[0] < 284] == [(240, 0), (260, 72), (268, 178), (276, 100)]
    assert run["level_y"] == [(0, 0), (107, 255), (195, 0), (267, 255), (355, 0)]
    assert value_at(run["dout"], 300) == 0x1234


@pytest.mark.parametrize("lost_restart", [None, 80])
def test_sequencer_and_quarter_go_on_without_power_and_the_restart_is_lost(
    siskin: Siskin, lost_restart: int | None
) -> None:
    # Off from 51 to 102: the span stays at 7499, and quarter at 3 + 4 n: P starts at 120 and falls at tick 18 after it,
    # 123 + 17 * 4 = 191.
    then: list[Write] = [(51, CONTROL, OFF), *([(lost_restart, BEAT, 0)] if lost_restart else []), (102, CONTROL, ON)]
    then += [(104, P_TUNE, 1023), (106, P_LEVEL, 63), (108, X_TUNE, 0x70), (110, X_LEVEL, 63), (112, X_TIME, 0x1FF)]
    run = siskin([], [*then, (120, P_KEY, START), (130, X_KEY, START)], cycles=7505)
    assert run["level_p"][:3] == [(0, 0), (120, 255), (191, 0)]
    assert run["level_x"] == [(0, 0), (130, 255), (7499, 0)]


def test_sweep_step_due_where_the_power_goes_leaves_the_tune_register_at_0(siskin: Siskin) -> None:
    # A falling sweep of period 1 and shift 2 would make P_TUNE 599 at 52499.
    setup = [(P_TUNE, 800), (P_SLIDE, 0x4A)]
    run = siskin(setup, [(20, P_KEY, START), (52499, CONTROL, OFF)], cycles=52510, watch=(52505, P_TUNE))
    assert value_at(run["dout"], 52505) == 0


def test_step_of_a_table_due_where_the_power_goes_is_not_made(siskin: Siskin) -> None:
    # V's step to position 1 is due at 108, where the power goes: it starts at position 0 again.
    then: list[Write] = [(100, V_TUNE, 0xF003), (108, CONTROL, OFF), (112, CONTROL, ON), (120, V_TUNE, 0xF003)]
    run = siskin([(V_MEMORY, 0xC832)], then, cycles=126)
    assert run["level_v"] == [(0, 0), (100, 72), (108, 0), (120, 72)]
