"""Siskin's RTL, in VHDL and simulated by GHDL, and the model, cycle by cycle on generated logs.

The RTL was written from the prose by someone who had not read the engines, so neither side is a golden of the other.
"""

from __future__ import annotations

from itertools import count
from pathlib import Path
from random import Random

import pytest

from psgmodel.chip import Chip, load_chip
from psgmodel.comparison import Status, compare
from psgmodel.dump import ResetRule
from psgmodel.dump.signal_map import load_map
from psgmodel.reglog import RegisterLog, load_log
from tests.laws.generated_logs import draw_log
from tests.rtl.against_model import RESET_EDGES, differing_cycles, spread_pairs
from tests.rtl.simulate_vhdl import SISKIN, Built, build_ghdl, simulate_ghdl

PATCHES = Path(__file__).parents[2] / "patches"
SIGNALS = {name: f"bench.level_{name}" for name in "pquvxy"} | {"main": "bench.out_main"}


@pytest.fixture(scope="module")
def chip() -> Chip:
    return load_chip(PATCHES / "siskin.toml")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Built:
    return build_ghdl(SISKIN, tmp_path_factory.mktemp("ghdl"))


def compared(bench: Built, chip: Chip, log: RegisterLog, folder: Path) -> dict[str, int]:
    """Simulate a log and return how many cycles of each channel and the output differ from the model."""
    dump = folder / "dump.vcd"
    bus = zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True)
    actions = [(c, "w", a, v) for c, a, v in bus]
    times = simulate_ghdl(bench, actions, log.end, dump, clock=False, reset_edges=RESET_EDGES)
    reset = ResetRule("bench.reset_n", active=0)
    return differing_cycles(chip, log, dump, times, SIGNALS, reset=reset, signed={"v"})


@pytest.mark.parametrize("seed", range(20))
def test_generated_logs_give_the_same_levels_in_rtl_and_model(
    bench: Built, chip: Chip, seed: int, tmp_path: Path
) -> None:
    drawn = (draw_log(Random(f"siskin {seed} {again}"), chip, 400_000, 700) for again in count())
    log = next(log for log in (spread_pairs(log, 200_000) for log in drawn) if len(log) > 100)
    assert compared(bench, chip, log, tmp_path) == dict.fromkeys(SIGNALS, 0)


@pytest.mark.parametrize(("name", "end"), [("siskin-walk", 1_500_000), ("siskin-fanfare", 1_500_000)])
def test_shipped_logs_give_the_same_levels_in_rtl_and_model(
    bench: Built, chip: Chip, name: str, end: int, tmp_path: Path
) -> None:
    log = load_log(PATCHES / f"{name}.csv").cut(0, end)
    assert compared(bench, chip, log, tmp_path) == dict.fromkeys(SIGNALS, 0)


def test_every_read_of_a_busy_unit_returns_what_the_model_has(bench: Built, chip: Chip, tmp_path: Path) -> None:
    # Reads through the data port, between the writes of the field walk, of whatever register the index port stands at.
    log = load_log(PATCHES / "siskin-walk.csv").cut(0, 500_000)
    bus = zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True)
    actions = [(c, "w", a, v) for c, a, v in bus]
    taken = set(log.cycle.tolist())
    actions += [(c, "r", 1, 0) for c in range(9_001, log.end, 811) if c not in taken]
    dump = tmp_path / "dump.vcd"
    simulate_ghdl(bench, sorted(actions), log.end, dump)
    verdict = compare(chip, dump, log=log, signal_map=load_map(PATCHES / "siskin-bench.toml", chip), whole=True)
    assert verdict.status is Status.AGREE, verdict.reasons()
    assert verdict.reads is not None
    assert (verdict.reads.compared, verdict.reads.wrong) == (verdict.reads.reads, 0)
    assert verdict.reads.reads > 500


@pytest.mark.long
@pytest.mark.parametrize("name", ["siskin-walk", "siskin-fanfare"])
def test_shipped_logs_to_their_end(bench: Built, chip: Chip, name: str, tmp_path: Path) -> None:
    assert compared(bench, chip, load_log(PATCHES / f"{name}.csv"), tmp_path) == dict.fromkeys(SIGNALS, 0)
