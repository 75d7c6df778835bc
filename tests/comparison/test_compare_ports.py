"""Registers behind an index port and behind a mirror: writes are told by the register that they reach."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from psgmodel.chip import parse_chip
from psgmodel.comparison import Status, compare
from psgmodel.comparison.notes import notes_of
from psgmodel.comparison.reads import compare_reads, value_at
from psgmodel.comparison.writes import describe_bus_write, describe_write, last_writes
from psgmodel.dump import BusTraffic
from psgmodel.dump.signal_map import parse_map
from psgmodel.engine import run
from psgmodel.reglog import make_log
from tests.comparison.dump_writer import changes_of, write_dump

TEXT = Path("patches/linnet.toml").read_text(encoding="utf-8")
PORTS = """address_bits = 7
access = "index-data"
index_bits = 7
index_address = 2
data_address = 3
index_step = 1
"""
MIRROR = "\n[[mirror]]\naddress = 10\nsize = 2\nof = 2\n"
CHIP = parse_chip(TEXT.replace("address_bits = 7\n", PORTS) + MIRROR, "ports.toml")
DIRECT = parse_chip(TEXT, "linnet.toml")

# Index 8, then three data: A_PITCH, A_TONE, A_NOTE by the step of the index; then through the mirror index 14: A_GO.
WRITES = [(5, 2, 0x08), (6, 3, 0x40), (7, 3, 0x20), (8, 3, 0x14), (9, 10, 0x0E), (10, 11, 0x01), (11, 0x50, 0x07)]
REACHED = [(6, 0x08, 0x40), (7, 0x09, 0x20), (8, 0x0A, 0x14), (10, 0x0E, 0x01)]
CYCLES = 9000


def test_a_dump_of_a_unit_behind_ports_is_compared_and_writes_are_told_by_register(tmp_path: Path) -> None:
    trace = run(DIRECT, make_log(*zip(*REACHED, strict=True), end=CYCLES))
    signals = {"level_a": changes_of(trace["a"].cycle, trace["a"].level)}
    named = parse_map('[channels]\na = "level_a"\n[outputs]\n', CHIP)
    dump = write_dump(tmp_path / "d.vcd", signals, WRITES, CYCLES)
    found = compare(CHIP, dump, signal_map=named)
    assert found.status is Status.AGREE, found.reasons()
    assert found.coverage.of_writes == 7
    assert any("1 writes on the bus to addresses that nobody owns" in note for note in found.notes)
    assert any(note.endswith("at cycle 11, is no port 0x50 = 0x07") for note in found.notes)
    signals["level_a"] = [(c, v) if c < 4000 else (c, 21 if v == 20 else v) for c, v in signals["level_a"]]
    found = compare(CHIP, write_dump(tmp_path / "e.vcd", signals, WRITES, CYCLES), signal_map=named)
    exact = found["a"].exact
    assert exact is not None
    assert [str(w) for w in exact.writes] == [
        "cycle 6: A_PITCH 0x08: a.period[7:0] = 64",
        "cycle 7: A_TONE 0x09: a.pattern = 2, a.period[11:8] = 0",
        "cycle 8: A_NOTE 0x0A: a.timer.enable = 0, a.timer.length[8] = 0, a.volume = 20",
        "cycle 10: A_GO 0x0E: a.start",
    ]


def test_a_write_on_the_bus_is_told_by_its_port() -> None:
    assert describe_bus_write(CHIP, 2, 0x08) == "index port 0x02 = 0x08"
    assert describe_bus_write(CHIP, 11, 0x40) == "data port 0x0B = 0x40"
    mirrored = parse_chip(TEXT + "\n[[mirror]]\naddress = 0x30\nsize = 8\nof = 0x08\n", "mirror.toml")
    assert describe_bus_write(mirrored, 0x36, 1) == "A_GO 0x0E: a.start"
    log = make_log([5, 6], [0x30, 0x36], [0x40, 1], end=100)
    assert [w.address for w in last_writes(mirrored, log, "a", 50)] == [0x08, 0x0E]


def test_packed_samples_are_told_and_read_as_the_memory_holds_them() -> None:
    text = TEXT.replace("samples = 64, bits = 6,", 'samples = 64, bits = 4, per_address = 2, order = "high-first",')
    packed = parse_chip(text, "packed.toml")
    assert describe_write(packed, 0x42, 0x3F) == "W_MEMORY[2] 0x42: wave samples 4 to 5 = 3, 15"
    state = run(packed, make_log([5, 6], [0x42, 0x43], [0x3F, 0x81], end=10)).state
    assert [value_at(packed, state, address) for address in (0x41, 0x42, 0x43)] == [0x00, 0x3F, 0x81]


def test_reads_through_ports_give_the_index_the_register_and_what_nobody_owns() -> None:
    chip = parse_chip(TEXT.replace("address_bits = 7\n", PORTS + "unowned_reads = 0xEE\n") + MIRROR, "ports.toml")
    log = make_log(*zip(*WRITES[:3], strict=True), end=100)  # index 8, 0x40 to A_PITCH, 0x20 to A_TONE: index 10
    cycles = np.array([6, 7, 7, 8, 20, 20, 20])
    ports = np.array([3, 2, 3, 10, 2, 11, 4])
    values = np.array([0x00, 0x09, 0x00, 0x0A, 0x0A, 0x00, 0xEE])
    good = BusTraffic(cycles, ports, values, 100, 0, 0, 0, ())
    assert compare_reads(chip, log, good, 100).wrong == 0
    wrong = compare_reads(chip, log, replace(good, value=values + 1), 100)
    assert [str(w).partition(": ")[2] for w in wrong.first_wrong] == [
        "A_PITCH 0x08: expected 0x00, found 0x01",
        "index port 0x02: expected 0x09, found 0x0A",
        "A_TONE 0x09: expected 0x00, found 0x01",
        "index port 0x02: expected 0x0A, found 0x0B",
        "index port 0x02: expected 0x0A, found 0x0B",
    ]
    assert (wrong.compared, wrong.wrong) == (7, 7)


def test_every_read_of_a_long_dump_is_compared() -> None:
    # A_PITCH is read 2500 times; at 30 000 a sweep step makes 0x140 of 0x100. The very last read shows the old period.
    rows = [(0, 0x08, 0x00), (1, 0x09, 0x01), (2, 0x0A, 20), (3, 0x0D, 0x12), (4, 0x0E, 1)]
    cycles = np.arange(2500) * 16 + 8
    values = np.where(cycles > 30_000, 0x40, 0x00)
    values[-1] = 0
    polled = BusTraffic(cycles, np.full(2500, 0x08), values, 50_000, 0, 0, 0, ())
    found = compare_reads(DIRECT, make_log(*zip(*rows, strict=True), end=50_000), polled, 50_000)
    assert (found.reads, found.compared, found.wrong) == (2500, 2500, 1)
    assert (found.first_wrong[0].cycle, found.first_wrong[0].expected) == (39_992, 0x40)


def test_wave_memory_is_read_and_what_comes_after_the_end_is_not_compared() -> None:
    log = make_log([5, 6], [0x42, 0x43], [0x15, 0x2A], end=100)
    cycles, addresses, values = (
        np.array(column) for column in ([6, 7, 50, 99], [0x42, 0x43, 0x44, 0x42], [21, 42, 0, 9])
    )
    polled = BusTraffic(cycles, addresses, values, 100, 0, 0, 0, ())
    whole, part = compare_reads(DIRECT, log, polled, 100), compare_reads(DIRECT, log, polled, 99)
    assert (whole.reads, whole.compared, whole.wrong) == (4, 4, 1)
    assert (part.reads, part.compared, part.wrong) == (4, 3, 0)


def test_what_a_read_shows_follows_the_register_map() -> None:
    text = TEXT.replace(
        'name = "A_TONE"\naddress = 0x09', 'name = "A_TONE"\naddress = 0x09\nread_mask = 0x0F\nread_ones = 0xC0'
    )
    masked = parse_chip(text, "masked.toml")
    state = run(masked, make_log([5, 6, 7], [0x09, 0x0A, 0x0E], [0x25, 0x14, 1], end=100)).state
    assert value_at(masked, state, 0x09) == 0xC5
    assert value_at(masked, state, 0x02) == 1  # STATE: a is active
    assert value_at(DIRECT, run(DIRECT, make_log([5], [0x09], [0x25], end=100)).state, 0x09) == 0x25


def test_a_register_that_starts_at_any_write_says_so_and_begins_a_note() -> None:
    text = TEXT.replace(
        'name = "A_LENGTH"\naddress = 0x0B', 'name = "A_LENGTH"\naddress = 0x0B\non_write = ["a.start"]'
    )
    chip = parse_chip(text, "any.toml")
    assert describe_write(chip, 0x0B, 9) == "A_LENGTH 0x0B: a.timer.length[7:0] = 9, a.start"
    log = make_log([5, 6, 7, 8], [0x08, 0x09, 0x0A, 0x0B], [0x20, 0x20, 0x14, 0], end=50_000)
    (note,) = notes_of(chip, log, "a", run(chip, log)["a"])
    assert (note.start, note.end) == (9, 50_000)  # written at 8, acts one cycle later
