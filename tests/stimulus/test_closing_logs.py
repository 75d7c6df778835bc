"""Closing logs: every behaviour within reach is shown, of every chip there is, with writes that a bus can make."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from random import Random

import numpy as np
import pytest

from psgmodel.chip import Chip, load_chip, parse_chip
from psgmodel.coverage import cover
from psgmodel.engine import run
from psgmodel.errors import StimulusError
from psgmodel.reglog import RegisterLog, check_log, make_log
from psgmodel.stimulus import closing_logs
from psgmodel.stimulus.verilog import PERIOD, PHASE
from tests.laws.generators import draw_chip
from tests.stimulus.exported import LINNET_BENCH, LINNET_CHIP, assert_agrees, compared, run_verilator, write_export

ROOT = Path(__file__).parents[2]
FILES = {
    path.stem: path
    for path in (
        ROOT / "patches" / "linnet.toml",
        ROOT / "patches" / "siskin.toml",
        *(ROOT / "tests/chip/units").glob("*"),
    )
}
LONGEST_S = {"linnet": 5, "siskin": 1.4}
"""Seconds of sound; notes of Linnet's timer that have one bit in their length, or none, take 1023 ticks of 300 Hz."""
MOST_CHANGES = 0.035
"""Changes of level a cycle, of all channels together: what a dump of a long wait is made of."""


DIVISORS = [4, 6, 10, 14, 22, 34, 52, 80]


def _one_more(number: int) -> str:
    """Linnet's divisors with two clocks more for one of them."""
    wrong = [divisor + 2 * (place == number) for place, divisor in enumerate(DIVISORS)]
    return f"divisors = [{', '.join(map(str, wrong))}]"


@cache
def linnet_log() -> RegisterLog:
    return closing_log(chip_of("linnet"))


def chip_of(name: str) -> Chip:
    return load_chip(FILES[name])


def closing_log(chip: Chip, seed: int = 1, *, spacing: int = 4) -> RegisterLog:
    """Return the closing log of a chip for which one is enough."""
    (log,) = closing_logs(chip, seed, spacing=spacing)
    return log


@pytest.mark.parametrize("name", sorted(FILES))
def test_a_closing_log_shows_every_behaviour_within_reach(name: str) -> None:
    chip = chip_of(name)
    log = closing_log(chip, 2)
    check_log(log, chip)
    coverage = cover(chip, [log])
    assert [b.name for b in coverage.missing] == []
    assert coverage.against_reason == ()
    assert len(coverage.reachable) > 140
    assert log.end < LONGEST_S.get(name, 1) * chip.clock_hz


@pytest.mark.parametrize("name", ["linnet", "siskin"])
def test_long_waits_of_a_closing_log_make_small_dumps(name: str) -> None:
    chip = chip_of(name)
    log = closing_log(chip)
    trace = run(chip, log)
    assert sum(len(signal) for signal in trace.channels.values()) < MOST_CHANGES * log.end


@pytest.mark.parametrize(
    ("was", "wrong", "where"),
    [
        *((f"divisors = [{', '.join(map(str, DIVISORS))}]", _one_more(number), "noise") for number in range(8)),
        ("reset = 0xFF", "reset = 0xFE", "left"),
    ],
)
def test_each_length_of_a_noise_step_and_each_reset_value_is_heard(was: str, wrong: str, where: str) -> None:
    text = FILES["linnet"].read_text(encoding="utf-8")
    assert text.count(was) == 1
    log = linnet_log()
    assert run(parse_chip(text.replace(was, wrong), "wrong.toml"), log)[where] != run(chip_of("linnet"), log)[where]


def _upper_bits_lost(log: RegisterLog) -> RegisterLog:
    """What Linnet would be told if a write to B_PITCH, at 0x10, cleared the lower four bits of B_TONE, at 0x11."""
    rows, tone = [], 0
    for row in zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True):
        tone = row[2] if row[1] == 0x11 else tone
        rows += [row, (row[0], 0x11, tone & 0x30)] if row[1] == 0x10 else [row]
    return _of_rows(rows, log)


def _index_kept(log: RegisterLog) -> RegisterLog:
    """What Siskin would be told if its index, port 0, stayed where it is after a write to a memory, 0x40 to 0x5F."""
    rows, index = [], 0
    for row in zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True):
        inside = row[1] == 1 and 0x40 <= index < 0x60
        rows += [row, (row[0], 0, index)] if inside else [row]
        if row[1] == 0:
            index = row[2] % 128
        elif not inside:
            index = (index + 1) % 128
    return _of_rows(rows, log)


def _route_kept(log: RegisterLog) -> RegisterLog:
    """What Siskin would be told if the power bit, CONTROL bit 0 at index 0, left ROUTE, at index 2, as it is."""
    rows, index, power, route = [], 0, 1, 0x3F
    for row in zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True):
        rows.append(row)
        if row[1] == 0:
            index = row[2] % 128
            continue
        if index == 0:
            if row[2] & 1 and not power:
                rows += [(row[0], 0, 2), (row[0], 1, route), (row[0], 0, 1)]
            power = row[2] & 1
        elif index == 2 and power:
            route = row[2]
        index = (index + 1) % 128
    return _of_rows(rows, log)


def _of_rows(rows: list[tuple[int, int, int]], log: RegisterLog) -> RegisterLog:
    return make_log(*([row[i] for row in rows] for i in range(3)), end=log.end)


@pytest.mark.parametrize(
    ("name", "wrong", "where"),
    [
        ("linnet", _upper_bits_lost, "b"),
        ("siskin", _index_kept, "u"),
        ("siskin", _index_kept, "v"),
        ("siskin", _route_kept, "main"),
    ],
)
def test_what_a_write_or_the_power_bit_leaves_alone_is_heard_to_be_left_alone(
    name: str, wrong: Callable[[RegisterLog], RegisterLog], where: str
) -> None:
    log = closing_log(chip_of(name))
    assert run(chip_of(name), wrong(log))[where] != run(chip_of(name), log)[where]


@pytest.mark.parametrize("spacing", [1, 4, 9])
def test_writes_keep_their_spacing_and_the_same_seed_gives_the_same_log(spacing: int) -> None:
    chip = chip_of("dunnock")
    log = closing_log(chip, 5, spacing=spacing)
    assert int(np.diff(log.cycle).min()) == spacing
    assert log == closing_log(chip, 5, spacing=spacing)
    assert log != closing_log(chip, 6, spacing=spacing)
    assert not cover(chip, [log], spacing=spacing).missing


def test_a_fast_bus_closes_what_a_slow_one_cannot_reach() -> None:
    chip = chip_of("pipit")
    names = {b.name for b in cover(chip, []).unreachable} - {b.name for b in cover(chip, [], spacing=1).unreachable}
    assert names == {"bus.write-behind"}
    assert not cover(chip, [closing_log(chip, 1, spacing=1)], spacing=1).missing


@pytest.mark.parametrize(
    ("seed", "spacing", "told"),
    [(-1, 4, "seed -1, accepted: 0 and more"), (1, 0, "spacing 0, accepted: 1 and more")],
)
def test_numbers_out_of_range_are_refused(seed: int, spacing: int, told: str) -> None:
    with pytest.raises(StimulusError, match=told):
        closing_log(chip_of("pipit"), seed, spacing=spacing)


def test_a_chip_that_takes_no_writes_is_refused() -> None:
    text = (
        'format = 1\n[unit]\nname = "Mute"\nclock_hz = 1\noutputs = ["o"]\n[bus]\n[mixer]\nbits = 4\n'
        '[channel.a]\nkind = "square"\nvolume_bits = 1\npatterns = ["10"]\nat_reset = "active"\n'
        'step = { bits = 1 }\n[constants]\n"a.volume" = 1\n"a.period" = 1\n'
    )
    with pytest.raises(StimulusError, match="nothing can be written to this chip"):
        closing_log(parse_chip(text))


@pytest.mark.long
def test_the_rtl_does_all_that_a_closing_log_asks_in_an_exported_bench(tmp_path: Path) -> None:
    log = closing_log(LINNET_CHIP, 1)
    write_export(tmp_path, log, LINNET_BENCH, "verilog")
    run_verilator(tmp_path, len(log) + 1, "-DNO_CLOCK")
    assert_agrees(compared(LINNET_CHIP, log, tmp_path, f"[clock]\nperiod = {PERIOD}\nphase = {PHASE}\n"), log, 6)


def told(seed: int) -> tuple[set[str], set[str], int]:
    """What the closing log of a generated chip shows though it is said to be out of reach, what it leaves open, and
    how much it shows."""
    chip = draw_chip(Random(seed))
    coverage = cover(chip, closing_logs(chip, 1))
    missing = {b.name for b in coverage.missing}
    return {b.name for b in coverage.against_reason}, missing, len(coverage.reachable) - len(missing)


@pytest.mark.parametrize("seed", [3, 8, 18, 22, 66])
def test_no_closing_log_of_a_generated_chip_shows_what_is_said_to_be_out_of_reach(seed: int) -> None:
    wrong, _, shown = told(seed)
    assert wrong == set()
    assert shown > 70


@pytest.mark.parametrize("seed", [1, 4, 11, 30])
def test_what_is_only_found_by_chance_is_closed_too(seed: int) -> None:
    assert told(seed)[1] == set()


@pytest.mark.parametrize("seed", [8, 18, 21, 37])
def test_notes_of_a_few_cycles_and_strobes_that_wait_for_another_write_are_closed_too(seed: int) -> None:
    assert told(seed)[1] == set()


@pytest.mark.parametrize("seed", [3, 16, 19, 29, 48])
def test_what_happens_once_after_reset_and_what_no_note_lasts_for_leaves_nothing_open(seed: int) -> None:
    assert told(seed)[1] == set()


@pytest.mark.parametrize("spacing", [1, 2, 4])
def test_a_clock_of_one_wave_is_closed_at_any_spacing_at_which_restarts_keep_it_going(spacing: int) -> None:
    chip = chip_of("pipit")
    assert not cover(chip, [closing_log(chip, 1, spacing=spacing)], spacing=spacing).missing


TOO_SLOW = {81}
"""Its envelopes tick at every clock cycle: five million edges are looked at one by one, with gigabytes of rows."""


@pytest.mark.long
@pytest.mark.parametrize("tens", range(30))
def test_the_same_of_many_generated_chips(tens: int) -> None:
    found = {seed: told(seed) for seed in range(10 * tens, 10 * tens + 10) if seed not in TOO_SLOW}
    assert {seed: wrong for seed, (wrong, _, _) in found.items() if wrong} == {}
    shown = sum(shown for _, _, shown in found.values())
    assert shown > 500
    assert sum(len(missing) for _, missing, _ in found.values()) < 0.01 * shown
