"""Three invented units, as different as could be thought of, written in the description language and played.

Their prose stands in the files. Every expected number was worked out by hand from it and the numbered list in
`psgmodel.engine`; both engines must give it.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from random import Random

import pytest

from psgmodel.chip import Chip, load_chip
from psgmodel.engine import run
from psgmodel.report.registers import registers_text
from tests.engine.linnet_plays import Write, table_of
from tests.engine.tiny_units import play, reads
from tests.laws.generated_logs import draw_log

UNITS = Path(__file__).parent / "units"


@cache
def unit(name: str) -> Chip:
    return load_chip(UNITS / f"{name}.toml")


@pytest.mark.parametrize("name", ["dunnock", "pipit", "whinchat"])
def test_an_invented_unit_has_a_register_map_and_plays_alike_in_both_engines(name: str) -> None:
    chip = unit(name)
    assert chip.unit.name in registers_text(chip)
    for seed in range(4):
        log = draw_log(Random(seed), chip, 6000, 80)
        fast, slow = run(chip, log), run(chip, log, engine="reference")
        assert {n: table_of(fast[n]) for n in chip.channels} == {n: table_of(slow[n]) for n in chip.channels}
        assert {n: table_of(fast[n]) for n in fast.outputs} == {n: table_of(slow[n]) for n in slow.outputs}
        assert fast.state == slow.state


# --- Whinchat: bell and siren -----------------------------------------------------------------------------------------

BELL, BELL_PITCH, SIREN, SIREN_HIGH, SIREN_LOW, SIREN_BEND, CROSSING = 0, 1, 2, 3, 4, 5, 7


def test_the_bell_of_whinchat_rings_from_reset_on_and_is_only_made_loud() -> None:
    # Steps of 17 cycles from reset: 16, 33, 50 (a 0), 67, 84, 101, 118 (a 0), 135.
    trace = play(unit("whinchat"), [(5, BELL, 0x40 | 20)], 140)
    assert table_of(trace["bell"]) == [(0, 0), (5, 20), (50, 0), (67, 20), (118, 0), (135, 20)]


def test_the_envelope_of_whinchats_bell_falls_every_4096_cycles_unless_it_is_bypassed() -> None:
    # 240 steps up to 4095, so position 0, a 1; the ticks are at 4095 and 8191.
    loud = play(unit("whinchat"), [(5, BELL, 0x40 | 20)], 4100)["bell"]
    assert loud.at([4094, 4095]).tolist() == [20, 20]
    falling = play(unit("whinchat"), [(5, BELL, 0x40 | 20), (200, BELL, 20)], 4100)["bell"]
    assert falling.at([4094, 4095]).tolist() == [20, 19]


CALL = [
    (5, BELL, 0x40 | 20),
    (10, SIREN_HIGH, 0x1),
    (12, SIREN_LOW, 0x2C),  # period 0x12C: steps of 602 cycles
    (15, SIREN_BEND, 1 << 6 | 5),  # 5 more at 1000, 2000 and so on
    (20, SIREN, 0x80 | 10),
    (2500, SIREN, 10),
]


def test_the_siren_of_whinchat_howls_while_its_gate_is_open() -> None:
    # 20 + 602 = 622, 1224; period 305 by then: 612 to 1836 and 2448.
    trace = play(unit("whinchat"), CALL, 2600)
    siren = [(0, 0), (20, 10), (622, -10), (1224, 10), (1836, -10), (2448, 10), (2500, 0)]
    assert table_of(trace["siren"]) == siren
    assert (trace.state.registers[SIREN_HIGH], trace.state.registers[SIREN_LOW]) == (0x1, 0x36)  # 310
    # 128 + bell + 2 x siren; the bell is at position 1, 3 and 1.
    assert trace["horn"].at([30, 60, 630]).tolist() == [168, 148, 128]
    reads(unit("whinchat"), CALL, [(20, CROSSING, 0), (21, CROSSING, 1), (2501, CROSSING, 0)], 2600)


def test_the_siren_of_whinchat_never_sounds_with_half_of_a_new_period_and_stays_at_its_end() -> None:
    writes = [*CALL[:4], (20, SIREN, 0x80 | 10), (30, SIREN_HIGH, 0xF), (40, SIREN_LOW, 0xFD)]
    registers = play(unit("whinchat"), writes[:-1], 35).state.registers
    assert (registers[SIREN_HIGH], registers[SIREN_LOW]) == (0x1, 0x2C)
    registers = play(unit("whinchat"), writes, 3500).state.registers
    assert (registers[SIREN_HIGH], registers[SIREN_LOW]) == (0xF, 0xFD)  # 4093 + 5 does not fit


# --- Dunnock: starting gate -------------------------------------------------------------------------------------------

READY, GO, RATTLE, RATTLE_STOP, PLACES, GATE = range(6)
READY_WORDS, GO_WORDS = 0x10, 0x18
STRIKE = 1 << 31
WORDS: list[Write] = [
    (0, READY_WORDS, 0x89AB_CDEF),
    (0, GO_WORDS, 0xF0F0_F0F0),
    (0, GO_WORDS + 1, 0x8888_8888),
]


def test_dunnock_says_ready_once() -> None:
    # A sample every 2 cycles from 4: 8 to 15, counted from 8; then 56 samples of 0, to 4 + 128.
    chip = unit("dunnock")
    writes = [*WORDS, (4, READY, STRIKE | 3 << 12 | 1), (16, PLACES, 0x1417), (50, READY_WORDS, 0)]
    trace = play(chip, writes, 150)
    rising = [(4 + 2 * k, k) for k in range(1, 8)]
    assert table_of(trace["ready"]) == [(0, 0), *rising, (20, -8), (132, 0)]
    assert trace.state.memories["ready"][:8] == [8, 9, 10, 11, 12, 13, 14, 15]  # the write at 50 was ignored
    # 512 + 4 x level x place: 1 on both sides, then 4 on the left and 0 on the right.
    assert trace["left"].at([6, 14, 18]).tolist() == [516, 532, 624]
    assert trace["right"].at([6, 14, 18]).tolist() == [516, 532, 512]
    last = READY_WORDS + 7
    wanted = [(9, last, 0x89AB_CDEF), (19, GATE, 0x8000_0001), (20, 0x3F, 0xFFFF_FFFF), (140, last, 0)]
    reads(chip, writes, wanted, 150)


def test_dunnock_says_go_from_a_memory_that_is_filled_meanwhile() -> None:
    # A sample a cycle, from 201: 7 and -8, halved; the second word, written at 205, is heard from 209 to 216.
    writes = [*WORDS, (200, GO, STRIKE | 2 << 12), (205, GO_WORDS + 1, 0xFFFF_FFFF)]
    word = [(201 + k, 3 if k % 2 == 0 else -4) for k in range(8)]
    assert table_of(play(unit("dunnock"), writes, 230)["go"]) == [(0, 0), *word, (209, 3), (217, 0)]


def test_dunnock_rattles_alike_each_time() -> None:
    # The prescaler ticks at 300 itself, 303, 308, 313: shifts at 308, 318 and so on. The register fills with
    # ones from 1 up, and the 14th shift brings them to position 15: 438.
    writes = [*WORDS, (300, RATTLE, 0x51), (480, RATTLE_STOP, 0), (700, RATTLE, 0x51)]
    expected = [(0, 0), (300, -5), (438, 5), (480, 0), (700, -5), (838, 5)]
    assert table_of(play(unit("dunnock"), writes, 900)["rattle"]) == expected


# --- Pipit: quiz buzzers ----------------------------------------------------------------------------------------------

POWER, BUZZ, SOUND, ROUTE, STATUS, CLOCK_WORDS = 0, 1, 2, 3, 4, 16


def through_ports(rows: list[Write], index: int = 2, data: int = 3) -> list[Write]:
    """Each write as one to the index port and one to the data port."""
    return [write for cycle, address, value in rows for write in ((cycle, index, address), (cycle, data, value))]


ON = through_ports([(0, POWER, 1), (10, SOUND, 0b0100)])
"""The power on at 2; steps of 2 cycles for amber, of 4 for blue."""


def test_pipit_buzzes_for_amber() -> None:
    # Takes place at 22, which is step 0; "hold" at 40 (step 3), 61 and 82, where the timer, loaded with 3, runs out.
    # s7 of the register that shifts every 2 cycles from all ones: 0 from shift 7 on, 1 at 13, 19, 20, 25 and 27.
    writes = [*ON, *through_ports([(20, BUZZ, 5 << 8 | 1)], 10, 11)]
    trace = play(unit("pipit"), writes, 100)
    on = [(22, 36), (48, 50), (60, 64), (72, 74), (76, 78)]
    assert table_of(trace["amber"]) == [(0, 0), *(row for a, b in on for row in ((a, 5), (b, 0)))]
    # Half of 5 is 2, which the table makes 4; a register later.
    assert table_of(trace["table"]) == [(0, 0), *(row for a, b in on for row in ((a + 1, 4), (b + 1, 0)))]
    ports = [(50, 2, BUZZ), (50, 3, 0x500)]
    reads(unit("pipit"), writes, ports, 100)


def test_pipit_buzzes_for_blue() -> None:
    # s1, inverted, of the register that shifts every 4 cycles from zeros: down at shift 7, up at 11, down at 14.
    writes = [*ON, *through_ports([(20, BUZZ, 7 << 12 | 2)])]
    assert table_of(play(unit("pipit"), writes, 100)["blue"]) == [(0, 0), (22, 7), (50, 0), (66, 7), (78, 0)]


@pytest.mark.parametrize(("end", "active"), [(89, 1), (90, 0)])
def test_pipits_buzz_on_a_buzz_does_not_last_longer(end: int, active: int) -> None:
    # At 50 the timer stands at 2 and is left there; the sequencer begins anew: "hold" at 68 and 89.
    writes = [*ON, *through_ports([(20, BUZZ, 5 << 8 | 1), (48, BUZZ, 5 << 8 | 1)])]
    assert play(unit("pipit"), writes, end).state.channels["amber"].active == active


TICKING = [*ON, *through_ports([(50, CLOCK_WORDS, 0b11_10_01_00), (100, BUZZ, 4)])]


def test_pipits_clock_ticks_ever_softer() -> None:
    # From 102, samples 0 1 2 every 36 cycles. "fade" at 106, 113, 127, 148, 155, 169, 190, 197: 13 11 9 7 5 3 1 0.
    expected = [(0, 0), (138, 4), (148, 3), (155, 2), (169, 1), (174, 3), (190, 1), (197, 0)]
    assert table_of(play(unit("pipit"), TICKING, 300)["clock"]) == expected


def test_pipit_without_power_forgets_all_and_says_who_is_there() -> None:
    writes = [*TICKING, *through_ports([(150, POWER, 2), (160, BUZZ, 4)])]
    trace = play(unit("pipit"), writes, 300)
    assert table_of(trace["clock"])[-2:] == [(148, 3), (152, 0)]
    assert trace.state.memories["clock"] == [0, 0, 0, 0]
    assert trace.state.registers == {POWER: 2, BUZZ: 0, SOUND: 0, ROUTE: 7, STATUS: 0}
    looks = [(170, 2, ROUTE), (180, 2, STATUS), (190, 2, 9)]
    wanted = [(175, 3, 3), (185, 3, 0), (195, 3, 0xDEAD), (196, 2, 9), (197, 1, 0xDEAD)]
    reads(unit("pipit"), [*writes, *looks], wanted, 300)
