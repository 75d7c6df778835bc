"""What a dump covers of a log, and when nothing was compared, which is never a pass."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from psgmodel.comparison import Comparison, Status, compare
from psgmodel.dump.signal_map import parse_map
from psgmodel.errors import DumpError, MapError
from tests.comparison.dump_writer import PERIOD, PHASE, write_dump
from tests.comparison.short_run import CHIP, CYCLES, NAMES, TRACE, WRITES, log_of, signals_of


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_dump(tmp_path_factory.mktemp("dump") / "good.vcd", signals_of(TRACE), WRITES, CYCLES)


def nothing(found: Comparison) -> str:
    assert found.status is Status.NOTHING
    assert found.exit_status == 3
    assert found.reasons()[0] == found.nothing[0]
    return found.nothing[0]


def test_a_dump_without_writes_compares_nothing_even_where_all_is_equal(tmp_path: Path) -> None:
    flat = {n: [(-5, 0)] for n in NAMES.values()}
    assert nothing(compare(CHIP, write_dump(tmp_path / "d.vcd", flat, [], 500))) == "no write on the bus"
    early = compare(CHIP, write_dump(tmp_path / "e.vcd", flat, [], 500, bus=False), log=log_of([(600, 0x0E, 1)], 700))
    assert nothing(early) == "no write of the log in the cycles that the dump covers"


def test_a_dump_without_clock_edges_compares_nothing(tmp_path: Path) -> None:
    dump = write_dump(tmp_path / "d.vcd", signals_of(TRACE), WRITES, 300, clock=False)
    text = dump.read_text(encoding="ascii").replace(
        "$var wire 1 ! rst $end", "$var wire 1 ! rst $end\n$var wire 1 ~ clk $end"
    )
    dump.write_text(text, encoding="ascii")
    assert "the clock bench.clk has no rising edge in this dump" in nothing(compare(CHIP, dump))


def test_a_reset_that_is_never_released_compares_nothing(tmp_path: Path, good: Path) -> None:
    text = good.read_text(encoding="ascii").splitlines()
    code = next(line.split()[3] for line in text if line.endswith("rst $end"))
    stuck = tmp_path / "d.vcd"
    stuck.write_text("\n".join(line for line in text if line != f"0{code}") + "\n", encoding="ascii")
    assert "the reset bench.rst is never sampled inactive" in nothing(compare(CHIP, stuck))


def test_levels_that_are_unknown_throughout_compare_nothing(tmp_path: Path) -> None:
    unknown = {n: [(-5, "x")] for n in NAMES.values()}
    found = compare(CHIP, write_dump(tmp_path / "d.vcd", unknown, WRITES, CYCLES))
    assert "expected 0, found an unknown level" in nothing(found)
    one = signals_of(TRACE, level_w=[(-5, "x")])
    found = compare(CHIP, write_dump(tmp_path / "e.vcd", one, WRITES, CYCLES))
    assert found.status is Status.DIFFER
    assert found.first is found["wave"]


def test_a_run_in_which_nothing_sounds_compares_nothing(tmp_path: Path) -> None:
    flat = {n: [(-5, 0)] for n in NAMES.values()}
    found = compare(CHIP, write_dump(tmp_path / "d.vcd", flat, WRITES[:3], 5000))
    assert nothing(found) == "all signals are silent: neither side ever changes"


def test_a_dump_that_stays_silent_where_the_model_sounds_differs(tmp_path: Path) -> None:
    flat = {n: [(-5, 0)] for n in NAMES.values()}
    found = compare(CHIP, write_dump(tmp_path / "d.vcd", flat, WRITES, CYCLES))
    assert found.status is Status.DIFFER
    assert found.first is found["a"]


@pytest.mark.parametrize("share", [0.999, 0.6, 0.31])
def test_a_truncated_dump_is_never_a_pass(good: Path, tmp_path: Path, share: float) -> None:
    data = good.read_bytes()
    cut = int(len(data) * share)
    while data[cut - 1 : cut] in b"\n" or not data[cut - 1 : cut].isdigit() or data[cut : cut + 1] != b" ":
        cut += 1  # in the middle of a vector: behind the value, before its code
    path = tmp_path / "cut.vcd"
    path.write_bytes(data[:cut])
    with pytest.raises(DumpError) as error:
        compare(CHIP, path)
    assert error.value.last_good_time is not None
    assert f"complete up to time {error.value.last_good_time}" in str(error.value)


def test_a_truncated_compressed_dump_is_never_a_pass(good: Path, tmp_path: Path) -> None:
    packed = gzip.compress(good.read_bytes(), mtime=0)
    path = tmp_path / "d.vcd.gz"
    path.write_bytes(packed)
    assert compare(CHIP, path).status is Status.AGREE
    path.write_bytes(packed[:-9])
    with pytest.raises(DumpError, match="the compressed stream is cut"):
        compare(CHIP, path)


def test_the_report_says_how_much_of_the_log_the_dump_covers(good: Path) -> None:
    longer = log_of([*WRITES, (30_000, 0x0E, 2)], 40_000)
    found = compare(CHIP, good, log=longer)
    assert found.status is Status.AGREE
    assert not found.coverage.complete
    assert str(found.coverage) == "20001 of 40000 cycles (50 %) and 12 of 13 writes of the log"
    strict = compare(CHIP, good, log=longer, whole=True)
    assert strict.status is Status.DIFFER
    assert strict.reasons() == ("the dump covers only 20001 of 40000 cycles (50 %) and 12 of 13 writes of the log",)
    assert compare(CHIP, good, log=log_of(WRITES), whole=True).status is Status.AGREE


def test_a_second_reset_ends_the_comparison_and_the_rest_is_not_covered(tmp_path: Path) -> None:
    dump = write_dump(tmp_path / "d.vcd", signals_of(TRACE), WRITES, CYCLES, reset_again=8000)
    found = compare(CHIP, dump)
    assert found.status is Status.AGREE
    assert (found.coverage.cycles, found.coverage.of_cycles) == (8000, CYCLES)
    assert (found.coverage.writes, found.coverage.of_writes) == (10, 12)
    assert any("is not inactive any more at cycle 8000" in note for note in found.notes)
    assert compare(CHIP, dump, whole=True).status is Status.DIFFER


def test_a_write_of_the_log_that_the_bus_does_not_carry_is_told_first(good: Path) -> None:
    longer = sorted([*WRITES, (5000, 0x0A, 0x0F)])
    found = compare(CHIP, good, log=log_of(longer))
    assert found.status is Status.DIFFER
    assert found.bus is not None
    assert (found.bus.missing, found.bus.extra) == (1, 0)
    assert found.reasons() == (
        "1 write of the log missing on the bus, the first at cycle 5000: A_NOTE 0x0A: a.timer.enable = 0, "
        "a.timer.length[8] = 0, a.volume = 15",
    )
    fewer = compare(CHIP, good, log=log_of(WRITES[:-1]))
    assert fewer.bus is not None
    assert (fewer.bus.missing, fewer.bus.extra) == (0, 1)
    assert "1 write on the bus that the log does not have, the first at cycle 12000: ROUTE" in fewer.reasons()[0]


def test_a_bus_that_carries_the_whole_log_later_is_a_note(good: Path) -> None:
    earlier = log_of([(c - 7, a, v) for c, a, v in WRITES])
    found = compare(CHIP, good, log=earlier)
    assert found.status is Status.AGREE
    assert found.bus is not None
    assert found.bus.shift == 7
    assert "the bus carries the log 7 cycles late" in found.notes


def test_without_a_bus_the_log_that_is_given_drives_the_model(tmp_path: Path) -> None:
    dump = write_dump(tmp_path / "d.vcd", signals_of(TRACE), [], CYCLES, bus=False)
    found = compare(CHIP, dump, log=log_of(WRITES, 12_001))
    assert found.status is Status.AGREE
    assert found.bus is None
    assert "the dump goes on for 7999 cycles past the log; the model does so without writes" in found.notes
    with pytest.raises(MapError, match=r"no signal of the dump is named like a write strobe .*\[bus\] write = "):
        compare(CHIP, dump)


def test_a_dump_without_its_clock_is_read_by_a_declared_period(tmp_path: Path) -> None:
    dump = write_dump(tmp_path / "d.vcd", signals_of(TRACE), WRITES, CYCLES, clock=False)
    grid = parse_map(f"[clock]\nperiod = {PERIOD}\nphase = {PHASE % PERIOD}\n", CHIP)
    found = compare(CHIP, dump, signal_map=grid)
    assert found.status is Status.AGREE
    assert f"sampled just before every time {PHASE % PERIOD} + k * {PERIOD}" in found.rule
    off = parse_map(f"[clock]\nperiod = {PERIOD}\nphase = {PHASE % PERIOD + 1}\n", CHIP)
    with pytest.raises(DumpError, match=r"d\.vcd \(byte \d+\): \"bench\.\w+\" changes at time \d+"):
        compare(CHIP, dump, signal_map=off)


def test_writes_to_addresses_that_nobody_owns_do_nothing_and_are_noted(tmp_path: Path) -> None:
    more = sorted([*WRITES, (100, 0x30, 0x55)])
    found = compare(CHIP, write_dump(tmp_path / "d.vcd", signals_of(TRACE), more, CYCLES))
    assert found.status is Status.AGREE
    assert any("1 writes on the bus to addresses that nobody owns" in note for note in found.notes)
