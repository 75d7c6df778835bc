"""What the power bit means, edge by edge.

Every expected number was worked out by hand from the sentences about [power] and line 3 of the numbered list in
`psgmodel.engine`.
"""

from __future__ import annotations

import pytest

from psgmodel.chip import Chip
from tests.engine.linnet_plays import Table, Write, table_of
from tests.engine.tiny_units import FADE, GO, MEMORY, PERIOD, POWER, START, VOLUME, play, sounds, tiny

OFF, ON = 0, 1
AGAIN = 15


def powered(text: str = "", options: str = "") -> Chip:
    return tiny(f"{text}\n[power]\n{options}")


NOTE = [(0, VOLUME, 5), (2, GO, START)]


@pytest.mark.parametrize(
    ("writes", "expected"),
    [
        # Off: silent and cleared at once. What is written while it is off is lost: volume and start.
        ([(6, POWER, OFF), (7, VOLUME, 7), (8, GO, START), (10, POWER, ON), (11, VOLUME, 3)], [(2, 5), (6, 0)]),
        # On again, the registers are as after reset: a note of volume 0, until there is one.
        ([(6, POWER, OFF), (10, POWER, ON), (11, GO, START), (12, VOLUME, 3)], [(2, 5), (6, 0), (12, 3)]),
        # Writing 1 to a bit that is 1, or 0 to one that is 0, changes nothing.
        ([(6, POWER, ON)], [(2, 5)]),
        (
            [(6, POWER, OFF), (8, POWER, OFF), (10, POWER, ON), (11, VOLUME, 4), (12, GO, START)],
            [(2, 5), (6, 0), (12, 4)],
        ),
        # Off and on at one edge clears all the same; writes between are lost, those after are made, but strobe nothing.
        ([(6, POWER, OFF), (6, POWER, ON), (8, GO, START), (9, VOLUME, 4)], [(2, 5), (6, 0), (9, 4)]),
        ([(6, POWER, OFF), (6, VOLUME, 7), (6, POWER, ON), (8, GO, START)], [(2, 5), (6, 0)]),
        ([(6, POWER, OFF), (6, POWER, ON), (6, VOLUME, 7), (8, GO, START)], [(2, 5), (6, 0), (8, 7)]),
        ([(6, POWER, OFF), (6, POWER, ON), (6, VOLUME, 7), (6, GO, START)], [(2, 5), (6, 0)]),
        ([(6, VOLUME, 7), (6, GO, START), (6, POWER, OFF), (6, POWER, ON), (8, GO, START)], [(2, 5), (6, 0)]),
        # On and start at one edge, in this order.
        ([(6, POWER, OFF), (8, POWER, ON), (8, VOLUME, 7), (8, GO, START)], [(2, 5), (6, 0), (8, 7)]),
        ([(6, POWER, OFF), (8, VOLUME, 7), (8, GO, START), (8, POWER, ON), (9, VOLUME, 1)], [(2, 5), (6, 0)]),
    ],
)
def test_a_power_bit_clears_and_locks(writes: list[Write], expected: Table) -> None:
    assert sounds(powered(), [*NOTE, *writes], 14) == [(0, 0), *expected]


def test_a_strobe_on_its_way_is_lost() -> None:
    chip = powered("channel.x.start_delay = 3")
    # Started at 2 + 3; the one written at 5 would act at 8.
    assert sounds(chip, [*NOTE, (5, GO, START), (6, POWER, OFF), (7, POWER, ON), (7, VOLUME, 6)], 14) == [
        (0, 0),
        (5, 5),
        (6, 0),
    ]


def test_the_register_that_holds_the_bit_stores_its_other_bits_even_while_it_is_off() -> None:
    chip = powered(
        """
        [[register]]
        name = "CONTROL"
        address = 20
        reset = 1
        fields = [
          { bits = "0", drives = "power" }, { bits = "3:1", drives = "x.volume" }, { bits = "4", strobes = "x.start" },
        ]
        """
    )
    on, start = 1, 1 << 4
    writes = [
        (0, 20, 5 << 1 | on),
        (2, 20, 5 << 1 | on | start),  # a note of volume 5
        (5, 20, 6 << 1 | start),  # off: cleared, but for what is written here; the strobe is lost
        (6, 20, 4 << 1 | start),  # still off
    ]
    trace = play(chip, writes, 7)
    assert table_of(trace["x"]) == [(0, 0), (2, 5), (5, 0)]
    assert trace.state.registers[20] == 4 << 1
    # On again: this write strobes.
    assert sounds(chip, [*writes, (7, 20, 3 << 1 | on | start)], 9) == [(0, 0), (2, 5), (5, 0), (7, 3)]
    # On again without the strobe; the volume written while it was off is there for a start after it.
    later = [*writes, (7, 20, 4 << 1 | on), (9, 20, 4 << 1 | on | start)]
    assert sounds(chip, later, 11) == [(0, 0), (2, 5), (5, 0), (9, 4)]


def test_a_unit_can_come_out_of_reset_with_the_power_off() -> None:
    chip = powered('[[register]]\nname = "P"\naddress = 20\nfields = [{ bits = "3", drives = "power" }]')
    writes = [(1, VOLUME, 5), (2, GO, START), (4, 20, 8), (5, VOLUME, 5), (6, GO, START)]
    assert sounds(chip, writes, 9) == [(0, 0), (6, 5)]


def test_dividers_and_output_registers_go_on() -> None:
    chip = powered(
        """
        mixer = { bits = 16, latency = 3 }
        ticks.t = { every = 7, first = 3 }
        channel.x.envelope = {}
        [[register]]
        name = "AGAIN"
        address = 15
        fields = [{ bits = "0", strobes = "t.restart" }]
        """
    )
    # Ticks at 3, 10, 17, 24. A restart at the edge of the clearing, before or after it, and one while off are lost.
    again = [(0, FADE, 1), (11, AGAIN, 1), (11, POWER, OFF), (11, AGAIN, 1), (12, AGAIN, 1), (13, POWER, ON)]
    writes = [*NOTE, *again, (14, VOLUME, 7), (14, FADE, 1), (15, GO, START)]
    trace = play(chip, writes, 30)
    expected = [(0, 0), (2, 5), (3, 4), (10, 3), (11, 0), (15, 7), (17, 6), (24, 5)]
    assert table_of(trace["x"]) == expected
    assert table_of(trace["out"]) == [(0, 0), *((edge + 3, level) for edge, level in expected[1:])]


def test_an_index_port_goes_on() -> None:
    chip = tiny('bus = { access = "index-data", index_step = 1 }\npower = {}')
    # The index set while off, and moved on by a write that is lost: 0, then VOLUME.
    writes = [(1, 0, POWER), (1, 1, OFF), (3, 0, 0), (4, 1, START)]
    assert play(chip, writes, 6).state.index == VOLUME
    more = [(6, 0, POWER), (6, 1, ON), (7, 0, 0), (8, 1, START), (9, 1, 5)]
    assert sounds(chip, [*writes, *more], 12) == [(0, 0), (9, 5)]


WAVE = '[channel.x]\nkind = "wave"\ntable = { samples = 2, bits = 4, fetch = "direct" }'
SAMPLES = [(0, VOLUME, 1), (0, PERIOD, 15), (0, MEMORY, 9)]
AFTER = [(7, POWER, ON), (7, VOLUME, 1), (7, PERIOD, 15), (8, GO, START)]


@pytest.mark.parametrize(
    ("option", "writes", "sample"),
    [
        ("", [(6, POWER, OFF)], 9),
        ('memory = "keeps"', [(6, POWER, OFF)], 9),
        ('memory = "clears"', [(6, POWER, OFF)], 0),
        # A sample written just before, at the same edge; just after; while off.
        ('memory = "keeps"', [(6, MEMORY, 12), (6, POWER, OFF)], 12),
        ('memory = "clears"', [(6, MEMORY, 12), (6, POWER, OFF)], 0),
        ('memory = "keeps"', [(6, POWER, OFF), (6, MEMORY, 12)], 9),
        ('memory = "clears"', [(6, POWER, OFF), (6, MEMORY, 12)], 0),
        ('memory = "keeps"', [(6, POWER, OFF), (7, MEMORY, 12)], 9),
        ('memory = "clears"', [(6, POWER, OFF), (6, POWER, ON), (6, MEMORY, 12)], 12),
    ],
)
def test_whether_the_wave_memory_is_cleared_too(option: str, writes: list[Write], sample: int) -> None:
    chip = powered(WAVE, option)
    table = sounds(chip, [*SAMPLES, (2, GO, START), *writes, *AFTER], 12)
    assert table == [(0, 0), (2, 9), (6, 0), *([(8, sample)] if sample else [])]


def test_without_the_table_there_is_no_power_bit() -> None:
    assert "power" not in tiny("").fields
    assert "power" in powered().fields
