"""Faults put into the RTL of both demo chips on purpose: detected, told where they are, named, shrunk to a few writes.

The RTL was written from the prose by somebody who had not read the engine; Icarus Verilog, Verilator and GHDL simulate
it. The true cause of each fault stands in its file, written by hand from what the changed line does.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from statistics import median

import pytest

from psgmodel.comparison import Status, compare
from psgmodel.diagnose.changes import changes_of
from tests.quality.fault_benches import bench_of
from tests.quality.fault_judging import MOST_RUNS, Outcome, compared, dump_of, searched, texts_of
from tests.quality.fault_library import RTL, load_faults, whole_library
from tests.quality.fault_logs import log_for, short_log
from tests.quality.fault_runs import confident, outcomes_of, summary

FAULTS = whole_library()
SAMPLE = (
    "linnet/mixer-b-gain",
    "linnet/noise-tap-moved",
    "linnet/square-glitches",
    "linnet/wave-first-sample-fresh",
    "siskin/mixer-offset-low",
    "siskin/v-rounds-to-zero",
)


def test_there_are_enough_faults_of_every_sort() -> None:
    assert len(load_faults("linnet")) >= 48
    assert len(load_faults("siskin")) >= 12
    assert sum(not f.expressible for f in FAULTS.values()) >= 8
    blocks = Counter(f.block for f in FAULTS.values())
    wanted = "start step phase pattern table register timer envelope loudness sweep ticks mixer wiring bus power"
    assert set(wanted.split()) <= set(blocks)


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_changes_lines_that_stand_in_the_rtl_once_each(name: str) -> None:
    assert FAULTS[name].rtl() != RTL[FAULTS[name].unit].read_text(encoding="utf-8")


@pytest.mark.parametrize("unit", RTL)
def test_every_fault_that_can_be_expressed_is_among_the_changes_that_are_tried(unit: str) -> None:
    tried = set()
    for change in changes_of(bench_of(unit).chip):
        tried |= texts_of(change) if len(texts_of(change)) == 1 else set()
    missing = {name: fault.wanted() - tried for name, fault in load_faults(unit).items() if fault.wanted() - tried}
    assert not missing


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("faults")


@pytest.mark.parametrize("name", SAMPLE)
def test_a_fault_is_detected_located_and_its_true_cause_is_first(name: str, folder: Path) -> None:
    fault = FAULTS[name]
    dump = dump_of(fault, short_log(fault.unit), folder, icarus=True)
    found = compared(fault, dump)
    assert found.status == 1
    assert found.first in fault.signals
    assert found.block == fault.block
    found = searched(fault, dump, found, pairs=fault.expressible)
    if fault.expressible:
        assert (found.rank, found.exact) == (1, True)
    else:
        assert found.certainty in ("nothing", "partly")


@pytest.mark.long
@pytest.mark.parametrize("unit", RTL)
def test_the_rtl_without_a_fault_agrees_over_the_log(unit: str, folder: Path) -> None:
    bench = bench_of(unit)
    rtl = bench.write_rtl(RTL[unit].read_text(encoding="utf-8"), folder, f"whole-{unit}")
    dump = bench.dump(rtl, log_for(unit), folder / f"whole-{unit}.vcd")
    assert compare(bench.chip, bench.observed(dump)).status is Status.AGREE


@pytest.fixture(scope="module")
def outcomes(folder: Path, request: pytest.FixtureRequest) -> list[Outcome]:
    kept = request.config.getoption("--kept-faults")
    return list(outcomes_of(list(FAULTS.values()), Path(kept) if kept else folder))


@pytest.mark.long
def test_every_fault_is_detected_in_the_right_channel_and_nearly_always_in_the_right_block(
    outcomes: list[Outcome],
) -> None:
    told = summary(outcomes)
    assert all(o.status == 1 for o in outcomes), told
    assert all(o.first in FAULTS[o.name].signals for o in outcomes), told
    assert sum(o.block == FAULTS[o.name].block for o in outcomes) >= 0.95 * len(outcomes), told


@pytest.mark.long
def test_nine_of_ten_true_causes_are_first_and_no_cause_is_named_for_a_fault_without_one(
    outcomes: list[Outcome],
) -> None:
    told = summary(outcomes)
    known = [o for o in outcomes if FAULTS[o.name].expressible]
    assert sum(o.rank == 1 for o in known) >= 0.9 * len(known), told
    assert sum(0 < o.rank <= 3 for o in known) >= 0.98 * len(known), told
    assert not [o.name for o in outcomes if confident(o) and o.rank != 1], told


@pytest.mark.long
def test_logs_shrink_to_six_writes_in_the_median_and_fifteen_at_worst(outcomes: list[Outcome]) -> None:
    told = summary(outcomes)
    assert median(o.writes for o in outcomes) <= 6, told
    assert max(o.writes for o in outcomes) <= 15, told
    assert max(o.runs for o in outcomes) <= MOST_RUNS, told
