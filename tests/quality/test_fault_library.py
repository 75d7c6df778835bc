"""Faults put into Linnet's RTL on purpose: found, told where they are, and named.

The RTL was written from the prose by somebody who had not read the engine; Icarus Verilog and Verilator simulate it.
The true cause of each fault stands in its file, written by hand from what the changed line does.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from psgmodel.comparison import Status, compare
from psgmodel.diagnose.changes import changes_of
from psgmodel.diagnose.suspicion import Certainty
from tests.quality.fault_library import SEED, load_faults
from tests.quality.fault_logs import provoking_log
from tests.quality.fault_runs import CHIP, CYCLES, dump_of, observed, outcome_of, summary, texts_of
from tests.rtl.simulate import LINNET

FAULTS = load_faults()
SHORT = 130_000
"""Cycles in which the faults of the sample can be heard."""
SAMPLE = (
    "b-starts-late",
    "envelope-steps-by-two",
    "mixer-b-gain",
    "noise-tap-moved",
    "square-glitches",
    "wave-first-sample-fresh",
)


def test_there_are_enough_faults_of_every_sort() -> None:
    assert len(FAULTS) >= 48
    assert sum(not f.expressible for f in FAULTS.values()) >= 8
    blocks = Counter(f.block for f in FAULTS.values())
    wanted = "start step phase pattern table register timer envelope sweep ticks mixer wiring"
    assert set(wanted.split()) <= set(blocks)


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_changes_lines_that_stand_in_the_rtl_once_each(name: str) -> None:
    assert FAULTS[name].rtl() != LINNET.read_text(encoding="utf-8")


def test_every_fault_that_can_be_expressed_is_among_the_changes_that_are_tried() -> None:
    tried = set()
    for change in changes_of(CHIP):
        tried |= texts_of(change) if len(texts_of(change)) == 1 else set()
    missing = {name: fault.wanted() - tried for name, fault in FAULTS.items() if fault.wanted() - tried}
    assert not missing


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("faults")


@pytest.mark.parametrize("name", SAMPLE)
def test_a_fault_is_detected_located_and_its_true_cause_is_first(name: str, folder: Path) -> None:
    fault = FAULTS[name]
    found = outcome_of(fault, folder, SHORT, icarus=True)
    assert found.first in fault.signals
    if fault.expressible:
        assert (found.rank, found.exact) == (1, True)
        assert found.block == fault.block
    else:
        assert found.certainty in (Certainty.NOTHING, Certainty.PARTLY)


@pytest.mark.long
def test_the_rtl_without_a_fault_agrees_over_the_log_that_provokes(folder: Path) -> None:
    dump = dump_of(None, LINNET.read_text(encoding="utf-8"), folder, provoking_log(SEED, CYCLES))
    assert compare(CHIP, observed(dump)).status is Status.AGREE


@pytest.mark.long
def test_nine_of_ten_true_causes_are_first_and_no_cause_is_named_for_a_fault_without_one(folder: Path) -> None:
    outcomes = [outcome_of(fault, folder) for fault in FAULTS.values()]
    told = summary(outcomes)
    assert all(o.first for o in outcomes), told
    assert all(o.first in o.fault.signals for o in outcomes), told
    known = [o for o in outcomes if o.fault.expressible]
    assert sum(o.rank == 1 for o in known) >= 0.9 * len(known), told
    assert sum(0 < o.rank <= 3 for o in known) >= 0.98 * len(known), told
    assert not [o.fault.name for o in outcomes if o.confident and o.rank != 1], told
