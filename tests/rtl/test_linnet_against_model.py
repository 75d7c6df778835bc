"""Linnet's RTL and the model, cycle by cycle: shipped logs and generated ones, in Icarus Verilog and Verilator.

The RTL was written from the prose by someone who had not read the engines, so neither side is a golden of the other.
Generated logs have writes snapped onto ticks, steps and expiries (`tests.laws.generated_logs`).
"""

from __future__ import annotations

from pathlib import Path
from random import Random

import numpy as np
import pytest

from psgmodel.chip import Chip, load_chip
from psgmodel.dump import GridRule, ResetRule, sample
from psgmodel.engine import run
from psgmodel.reglog import RegisterLog, load_log, make_log
from tests.laws.generated_logs import draw_log
from tests.rtl.simulate import LINNET, build_icarus, build_verilator, simulate

PATCHES = Path(__file__).parents[2] / "patches"
RESET_EDGES = 5
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


def one_write_a_cycle(log: RegisterLog, end: int) -> RegisterLog:
    """Keep the last of several writes in one cycle: the bench has one bus."""
    log = log.cut(0, end)
    last = np.append(log.cycle[1:] != log.cycle[:-1], True)[: len(log)]
    return make_log(log.cycle[last], log.address[last], log.value[last], end=end)


def differing_cycles(bench: Path, chip: Chip, log: RegisterLog, folder: Path) -> dict[str, int]:
    """Simulate a log and return how many cycles of each channel and output differ from the model."""
    dump = folder / "dump.vcd"
    bus = zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True)
    times = simulate(bench, [(c, "w", a, v) for c, a, v in bus], log.end, dump, clock=False, reset_edges=RESET_EDGES)
    rule = GridRule(times.period, times.phase - RESET_EDGES * times.period, reset=ResetRule("bench.rst"))
    samples = sample(dump, SIGNALS.values(), rule)
    dump.unlink()
    trace = run(chip, log)
    differing = {}
    for name, signal in SIGNALS.items():
        seen = samples.steps(signal)
        assert (seen.start, seen.end) == (0, log.end), "the dump covers the whole log"
        assert seen.unknown is None
        grid = np.union1d(seen.cycle, trace[name].cycle)
        apart = seen.at(grid) != trace[name].at(grid)
        differing[name] = int(np.diff(np.append(grid, log.end))[apart].sum())
    return differing


NOTHING = dict.fromkeys(SIGNALS, 0)


@pytest.mark.parametrize(("name", "end"), [("tiny", 100_000), ("walk", 900_000), ("jingle", 900_000)])
def test_shipped_logs_give_the_same_levels_in_rtl_and_model(
    bench: Path, chip: Chip, name: str, end: int, tmp_path: Path
) -> None:
    log = one_write_a_cycle(load_log(PATCHES / f"{name}.csv"), end)
    assert differing_cycles(bench, chip, log, tmp_path) == NOTHING


@pytest.mark.parametrize("seed", range(20))
def test_generated_logs_of_200_000_cycles_give_the_same_levels_in_rtl_and_model(
    bench: Path, chip: Chip, seed: int, tmp_path: Path
) -> None:
    rng = Random(f"linnet {seed}")
    log = one_write_a_cycle(draw_log(rng, chip, 400_000, 600), 200_000)
    assert len(log) > 50
    assert differing_cycles(bench, chip, log, tmp_path) == NOTHING


@pytest.mark.long
def test_the_field_walk_to_its_end(bench: Path, chip: Chip, tmp_path: Path) -> None:
    assert differing_cycles(bench, chip, load_log(PATCHES / "walk.csv"), tmp_path) == NOTHING


@pytest.mark.long
def test_the_jingle_to_its_end_in_verilator(chip: Chip, tmp_path: Path) -> None:
    # In Icarus Verilog it takes minutes: its dump is shipped, and the demo compares it.
    bench = build_verilator(LINNET, tmp_path)
    assert differing_cycles(bench, chip, load_log(PATCHES / "jingle.csv"), tmp_path) == NOTHING
