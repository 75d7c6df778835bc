"""Random logs: what a real bus could have made, from the description alone, and the same for a seed for all time."""

from __future__ import annotations

from functools import cache
from random import Random

import numpy as np
import pytest

from psgmodel.chip import parse_chip
from psgmodel.engine import run
from psgmodel.errors import StimulusError
from psgmodel.reglog import check_log
from psgmodel.reglog.bus import register_writes
from psgmodel.stimulus import random_log
from psgmodel.stimulus.chance import ChanceState
from tests.stimulus.exported import LINNET_CHIP, PATCHES, SISKIN_CHIP

CHIPS = {"linnet": LINNET_CHIP, "siskin": SISKIN_CHIP}


@pytest.mark.parametrize("name", CHIPS)
@pytest.mark.parametrize("spacing", [1, 4, 9])
def test_writes_fit_the_chip_and_keep_their_distance_and_number(name: str, spacing: int) -> None:
    for seed in range(8):
        log = random_log(CHIPS[name], seed, length=50_000, writes=301, spacing=spacing)
        check_log(log, CHIPS[name])
        assert (len(log), log.end) == (301, 50_000)
        assert np.diff(log.cycle).min() >= spacing
        assert 0 <= log.cycle[0] <= log.cycle[-1] < 50_000


@pytest.mark.parametrize("name", CHIPS)
def test_a_log_can_be_as_dense_as_its_bus_allows(name: str) -> None:
    log = random_log(CHIPS[name], 3, length=397, writes=100, spacing=4)
    check_log(log, CHIPS[name])
    assert log.cycle.tolist() == list(range(0, 397, 4))


@pytest.mark.parametrize("seed", range(12))
def test_any_generated_chip_can_be_tested_at_random(seed: int) -> None:
    from tests.laws.generators import draw_chip

    chip = draw_chip(Random(f"stimulus {seed}"))
    log = random_log(chip, seed, length=3000, writes=200)
    check_log(log, chip)
    assert len(log) == 200
    assert run(chip, log).end == 3000


def test_the_same_seed_gives_the_same_log_and_another_seed_another() -> None:
    drawn = [random_log(LINNET_CHIP, seed, length=9000, writes=50) for seed in (7, 7, 8)]
    assert drawn[0] == drawn[1]
    assert drawn[0] != drawn[2]


def test_draws_are_the_words_of_the_published_generator() -> None:
    # numpy promises the raw words of PCG64 for good (NEP 19); below() takes their upper part, as a fraction times n.
    words = [int(w) for w in np.random.PCG64(11).random_raw(6)]
    state = ChanceState(11)
    assert [state.below(1000) for _ in range(6)] == [word * 1000 // 2**64 for word in words]


@cache
def long_writes(name: str) -> list[tuple[int, int]]:
    """Return many register writes of a chip."""
    rows = []
    for seed in range(3):
        writes, _ = register_writes(CHIPS[name], random_log(CHIPS[name], seed, length=200_000, writes=30_000))
        rows += list(zip(writes.address.tolist(), writes.value.tolist(), strict=True))
    return rows


def field_values(chip_name: str, name: str) -> set[int]:
    """Every value that a field takes in long logs, read from the writes by hand."""
    chip = CHIPS[chip_name]
    found = set()
    stored = {address: register.reset for address, register in chip.registers.items()}
    for address, value in long_writes(chip_name):
        stored[address] = value
        if any(s.address == address for s in chip.fields[name].segments):
            parts = [(stored[s.address] >> s.low & (1 << s.width) - 1, s) for s in chip.fields[name].segments]
            found.add(sum(part << s.field_low for part, s in parts))
    return found


@pytest.mark.parametrize(("name", "field"), [("linnet", "a.period"), ("siskin", "u.volume"), ("linnet", "b.pattern")])
def test_fields_take_values_of_every_class(name: str, field: str) -> None:
    chip = CHIPS[name]
    bits = chip.fields[field].bits
    found = field_values(name, field)
    assert {0, 1, 2**bits - 1} <= found
    assert {1 << bit for bit in range(bits)} <= found
    assert bits < 5 or len(found) > 2 * bits


def test_strobes_samples_power_and_runs_behind_the_index_port_all_occur() -> None:
    log = random_log(SISKIN_CHIP, 2, length=400_000, writes=3000)
    writes, _ = register_writes(SISKIN_CHIP, log)
    reached = set(writes.address.tolist())
    assert {0x14, 0x1C, 0x24, 0x2C, 0x34, 0x3C} <= reached  # the KEY registers of siskin.md, section 4
    assert reached & set(range(0x40, 0x60))
    power = writes.value[writes.address == 0] & 1
    assert set(power.tolist()) == {0, 1}
    data = np.flatnonzero(log.address == 1)
    assert (np.diff(data) == 1).any(), "two data writes in a row: the index steps on"
    trace = run(SISKIN_CHIP, log)
    assert sum(len(trace[name]) > 10 for name in SISKIN_CHIP.channels) >= 3


def test_many_writes_act_at_a_tick_or_one_cycle_beside_it() -> None:
    # Section 3 of linnet.md: timing ticks at 20479 + k 20480, shaping at 9999 + k 32768, bending at 30000 + k 51200.
    near = 0
    for seed in range(4):
        log = random_log(LINNET_CHIP, seed, length=2_000_000, writes=500)
        for first, every in ((20_479, 20_480), (9_999, 32_768), (30_000, 51_200)):
            for delay in (0, 1, 3):
                near += int((np.abs((log.cycle + delay - first + 1) % every - 1) <= 1).sum())
    assert near > 4 * 500 * 0.15  # by chance it were 9 x 3 cycles of 20480 or more: below 0.4 %


MIRROR = "\n[[mirror]]\naddress = 0x28\nsize = 8\nof = 0x08\n"


def test_mirrored_addresses_are_written_too() -> None:
    text = (PATCHES / "linnet.toml").read_text(encoding="utf-8") + MIRROR
    chip = parse_chip(text, "mirrored.toml")
    log = random_log(chip, 1, length=20_000, writes=500)
    check_log(log, chip)
    assert set(log.address.tolist()) & set(range(0x28, 0x30))
    assert set(log.address.tolist()) & set(range(0x08, 0x10))


@pytest.mark.parametrize(
    ("numbers", "message"),
    [
        ({"seed": -1}, "seed -1, accepted: 0 and more"),
        ({"writes": 0}, "writes 0, accepted: 1 and more"),
        ({"spacing": 0}, "spacing 0, accepted: 1 and more"),
        ({"length": 396}, "100 writes, 4 cycles apart, do not fit into 396 cycles (at most 99 do)"),
    ],
)
def test_numbers_that_make_no_log_are_refused(numbers: dict[str, int], message: str) -> None:
    given = {"seed": 1, "length": 1000, "writes": 100, "spacing": 4, **numbers}
    with pytest.raises(StimulusError) as caught:
        random_log(LINNET_CHIP, given.pop("seed"), **given)
    assert str(caught.value) == message
