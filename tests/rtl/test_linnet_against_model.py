"""Linnet's RTL and the model, cycle by cycle: shipped logs and generated ones, in Icarus Verilog and Verilator.

The RTL was written from the prose by someone who had not read the engines, so neither side is a golden of the other.
Generated logs have writes snapped onto ticks, steps and expiries (`tests.laws.generated_logs`).
"""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from psgmodel.chip import Chip, load_chip
from psgmodel.dump import ResetRule
from psgmodel.reglog import RegisterLog, load_log
from tests.laws.generated_logs import draw_log
from tests.rtl.against_model import RESET_EDGES, differing_cycles, one_write_a_cycle
from tests.rtl.simulate import LINNET, build_icarus, build_verilator, simulate

PATCHES = Path(__file__).parents[2] / "patches"
SIGNALS = {
    "a": "bench.level_a",
    "b": "bench.level_b",
    "wave": "bench.level_w",
    "noise": "bench.level_n",
    "left": "bench.out_left",
    "right": "bench.out_right",
}


@pytest.fixture(scope="module")
def chip() -> Chip:
    return load_chip(PATCHES / "linnet.toml")


@pytest.fixture(scope="module", params=["icarus", "verilator"])
def bench(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    build = build_icarus if request.param == "icarus" else build_verilator
    return build(LINNET, tmp_path_factory.mktemp(request.param))


def compared(bench: Path, chip: Chip, log: RegisterLog, folder: Path) -> dict[str, int]:
    """Simulate a log and return how many cycles of each channel and output differ from the model."""
    dump = folder / "dump.vcd"
    bus = zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True)
    times = simulate(bench, [(c, "w", a, v) for c, a, v in bus], log.end, dump, clock=False, reset_edges=RESET_EDGES)
    return differing_cycles(chip, log, dump, times, SIGNALS, reset=ResetRule("bench.rst"))


NOTHING = dict.fromkeys(SIGNALS, 0)


@pytest.mark.parametrize(("name", "end"), [("tiny", 100_000), ("walk", 900_000), ("jingle", 900_000)])
def test_shipped_logs_give_the_same_levels_in_rtl_and_model(
    bench: Path, chip: Chip, name: str, end: int, tmp_path: Path
) -> None:
    log = one_write_a_cycle(load_log(PATCHES / f"{name}.csv"), end)
    assert compared(bench, chip, log, tmp_path) == NOTHING


@pytest.mark.parametrize("seed", range(20))
def test_generated_logs_of_200_000_cycles_give_the_same_levels_in_rtl_and_model(
    bench: Path, chip: Chip, seed: int, tmp_path: Path
) -> None:
    rng = Random(f"linnet {seed}")
    log = one_write_a_cycle(draw_log(rng, chip, 400_000, 600), 200_000)
    assert len(log) > 50
    assert compared(bench, chip, log, tmp_path) == NOTHING


@pytest.mark.long
def test_the_field_walk_to_its_end(bench: Path, chip: Chip, tmp_path: Path) -> None:
    assert compared(bench, chip, load_log(PATCHES / "walk.csv"), tmp_path) == NOTHING


@pytest.mark.long
def test_the_jingle_to_its_end_in_verilator(chip: Chip, tmp_path: Path) -> None:
    # In Icarus Verilog it takes minutes: its dump is shipped, and the demo compares it.
    bench = build_verilator(LINNET, tmp_path)
    assert compared(bench, chip, load_log(PATCHES / "jingle.csv"), tmp_path) == NOTHING
