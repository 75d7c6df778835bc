"""From writes on the bus to registers: checks, mirrors, and an index/data port pair.

Expected values were worked out by hand from the sentences of the options in `psgmodel.chip.records.Bus`.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from psgmodel.chip import Chip, load_chip, parse_chip
from psgmodel.errors import RegisterLogError
from psgmodel.reglog import check_log, load_log, make_log
from psgmodel.reglog.bus import register_writes, unmirrored

PATCHES = Path(__file__).parents[2] / "patches"

TEXT = """format = 1
[unit]
name = "Bus"
clock_hz = 1000
outputs = ["out"]
[bus]
data_bits = 8
{bus}
[channel.x]
kind = "square"
volume_bits = 4
patterns = ["10"]
step = {{ bits = 8 }}
[mixer]
bits = 8
[[register]]
name = "PITCH"
address = 0x02
fields = [{{ bits = "7:0", drives = "x.period" }}]
[[register]]
name = "LOUD"
address = 0x03
fields = [{{ bits = "3:0", drives = "x.volume" }}]
{more}
"""


@cache
def chip(bus: str = "", more: str = "") -> Chip:
    return parse_chip(TEXT.format(bus=bus, more=more))


PORTS = 'access = "index-data"\nindex_address = 4\ndata_address = 6\nindex_bits = 3\n'


def reached(unit: Chip, writes: list[tuple[int, int]], index: int = 0) -> tuple[list[tuple[int, int]], int]:
    """Register addresses and values that (bus address, value) writes reach, and the index after them."""
    log = make_log(range(len(writes)), [a for a, _ in writes], [v for _, v in writes])
    found, after = register_writes(unit, log, index)
    return list(zip(found.address.tolist(), found.value.tolist(), strict=True)), after


def test_a_direct_bus_reaches_what_it_names() -> None:
    assert reached(chip(), [(2, 7), (3, 9)]) == ([(2, 7), (3, 9)], 0)


@pytest.mark.parametrize(
    ("step", "writes", "expected", "after"),
    [
        # The index stays.
        (0, [(4, 2), (6, 0x11), (6, 0x22), (4, 3), (6, 0x33)], [(2, 0x11), (2, 0x22), (3, 0x33)], 3),
        # It moves on by one with each write to the data port.
        (1, [(4, 2), (6, 0x11), (6, 0x22), (4, 3), (6, 0x33)], [(2, 0x11), (3, 0x22), (3, 0x33)], 4),
        # Three bits: 7 + 3 = 10 is 2, 0xFA is 2.
        (3, [(4, 7), (6, 1), (6, 2), (4, 0xFA), (6, 3)], [(7, 1), (2, 2), (2, 3)], 5),
        # Before the first choice the index is what it was.
        (1, [(6, 1), (6, 2)], [(5, 1), (6, 2)], 7),
        (1, [(4, 1)], [], 1),
        (1, [], [], 5),
    ],
)
def test_an_index_port_chooses_and_a_data_port_reaches(
    step: int, writes: list[tuple[int, int]], expected: list[tuple[int, int]], after: int
) -> None:
    unit = chip(PORTS + f"index_step = {step}")
    assert reached(unit, writes, 5) == (expected, after)


@settings(deadline=None, database=None, derandomize=True, max_examples=200)
@given(
    st.integers(0, 9),
    st.integers(0, 7),
    st.lists(st.tuples(st.sampled_from([4, 6]), st.integers(0, 255)), max_size=30),
)
def test_ports_walked_in_one_go_are_ports_walked_one_by_one(
    step: int, index: int, writes: list[tuple[int, int]]
) -> None:
    expected, now = [], index
    for address, value in writes:
        if address == 4:
            now = value % 8
        else:
            expected.append((now, value))
            now = (now + step) % 8
    assert reached(chip(PORTS + f"index_step = {step}"), writes, index) == (expected, now)


def test_mirrors_stand_for_other_addresses() -> None:
    mirrors = "[[mirror]]\naddress = 0x10\nsize = 8\nof = 0x00\n[[mirror]]\naddress = 0x40\nsize = 1\nof = 0x03\n"
    unit = chip(more=mirrors)
    asked = np.array([0x02, 0x0F, 0x10, 0x12, 0x17, 0x18, 0x3F, 0x40, 0x41])
    assert unmirrored(unit, asked).tolist() == [0x02, 0x0F, 0x00, 0x02, 0x07, 0x18, 0x3F, 0x03, 0x41]
    check_log(make_log([0, 0, 0], [0x12, 0x13, 0x40], [1, 2, 3]), unit)
    with pytest.raises(RegisterLogError, match=r"^log, write 1: nobody owns address 0x00 \("):
        check_log(make_log([0], [0x10], [1]), unit)


def test_a_mirror_of_the_ports() -> None:
    unit = chip(PORTS, more="[[mirror]]\naddress = 0xA0\nsize = 4\nof = 4\n")
    assert reached(unit, [(0xA0, 2), (0xA2, 9), (6, 8)]) == ([(2, 9), (2, 8)], 2)


@pytest.mark.parametrize(
    ("bus", "rows", "messages"),
    [
        ("", [(0, 2, 0x100)], ["log, write 1: value 0x100 is wider than the 8 data bits"]),
        ("", [(0, 2, 1), (0, 4, 1)], ["log, write 2: nobody owns address 0x04 (the nearest register is LOUD at 0x03)"]),
        (
            "",
            [(0, 9, 0x200), (1, 2, 0x300)],
            [
                "log, write 1: value 0x200 is wider than the 8 data bits",
                "log, write 1: nobody owns address 0x09 (the nearest register is LOUD at 0x03)",
                "log, write 2: value 0x300 is wider than the 8 data bits",
            ],
        ),
        (
            PORTS,
            [(0, 5, 1)],
            ["log, write 1: no port at address 0x05 (the index port is 0x04, the data port 0x06)"],
        ),
        (
            PORTS,
            [(0, 4, 1), (1, 6, 7), (2, 4, 2), (3, 6, 7)],
            ["log, write 2: nobody owns address 0x01 (the nearest register is PITCH at 0x02)"],
        ),
    ],
)
def test_writes_that_the_bus_cannot_have(bus: str, rows: list[tuple[int, int, int]], messages: list[str]) -> None:
    with pytest.raises(RegisterLogError) as caught:
        check_log(make_log(*zip(*rows, strict=True)), chip(bus))
    assert [str(problem) for problem in caught.value.problems] == messages


def test_the_first_twenty_faults_are_told_and_the_rest_counted() -> None:
    log = make_log(range(50), [9] * 50, [0] * 50)
    with pytest.raises(RegisterLogError) as caught:
        check_log(log, chip())
    assert len(caught.value.problems) == 21
    assert str(caught.value.problems[20]) == "and 30 more"


@pytest.mark.parametrize("path", sorted(PATCHES.glob("*.csv")), ids=lambda path: path.stem)
def test_a_demo_log_fits_its_unit(path: Path) -> None:
    unit = load_chip(PATCHES / ("siskin.toml" if path.stem.startswith("siskin") else "linnet.toml"))
    log = load_log(path)
    check_log(log, unit)
    assert len(log) > 0
    assert np.all(np.diff(log.cycle) > 0), "one write a cycle, as a bus has"
