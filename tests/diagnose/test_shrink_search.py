"""The search: what it finds, what it asks for, and that it can be stopped and resumed at any run.

Failures are made by two descriptions of one unit that differ in one place; the model of the second stands in for the
simulator, as what is tested here is the search. `test_shrink_rtl` has a simulator.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from itertools import pairwise
from pathlib import Path

import hypothesis
import numpy as np
import pytest
from hypothesis import strategies as st

from psgmodel.chip import Chip, load_chip, parse_chip
from psgmodel.diagnose.shrinking import (
    Outcome,
    RecordState,
    ShrinkError,
    Verdict,
    is_simpler,
    load_record,
    name_of,
    shrink,
)
from psgmodel.diagnose.shrinking.judging import least_distance
from psgmodel.diagnose.shrinking.search import ShrinkResult
from psgmodel.engine import run
from psgmodel.errors import RegisterLogError
from psgmodel.reglog import RegisterLog, check_log, load_log, make_log
from tests.quality.fault_logs import provoking_log

CHIP = load_chip("patches/linnet.toml")
TEXT = Path("patches/linnet.toml").read_text(encoding="utf-8")
FAULTS = {
    "pattern": ('"1111111100000000"', '"1111111000000000"'),
    "taps": ("taps = [17, 14]", "taps = [17, 11]"),
    "gain": ("wave = 3", "wave = 2"),
    "trim": ("trims = [8, 6, 4, 3]", "trims = [8, 6, 4, 2]"),
}
SEEDS = {"pattern": 2, "taps": 5, "gain": 1, "trim": 0}
"""Of the first provoking log that fails."""


def differing(chip: Chip, other: Chip) -> Callable[[RegisterLog], Verdict]:
    """Return a predicate: a channel or an output of two descriptions differs."""

    def judge(log: RegisterLog) -> Verdict:
        ours, theirs = run(chip, log), run(other, log)
        firsts = []
        for name in (*chip.channels, *chip.unit.outputs):
            a, b = (np.repeat(t[name].level, t[name].durations()) for t in (ours, theirs))
            if (a != b).any():
                firsts.append(int(np.argmax(a != b)))
        return Verdict(Outcome.FAILS, min(firsts)) if firsts else Verdict(Outcome.PASSES)

    return judge


@cache
def failing(fault: str) -> Callable[[RegisterLog], Verdict]:
    """Return a predicate: Linnet with and without a fault differ."""
    old, new = FAULTS[fault]
    return differing(CHIP, parse_chip(TEXT.replace(old, new)))


def failing_log(fault: str) -> RegisterLog:
    """Return a log of about a hundred writes, which ends soon after the failure shows."""
    log = provoking_log(SEEDS[fault], 40_000)
    cycle = failing(fault)(log).cycle
    assert cycle is not None
    return log.cut(0, cycle + 10)


@pytest.mark.parametrize("fault", FAULTS)
def test_the_result_fails_is_legal_and_no_write_can_be_left_out(fault: str) -> None:
    log, judge = failing_log(fault), failing(fault)
    found = shrink(CHIP, log, judge)
    check_log(found.log, CHIP)
    assert found.minimal
    assert judge(found.log) == found.verdict
    assert found.verdict.outcome is Outcome.FAILS
    assert len(found.log) <= 6
    assert (np.diff(found.log.cycle) >= 1).all()
    for gone in range(len(found.log)):
        keep = np.arange(len(found.log)) != gone
        less = make_log(found.log.cycle[keep], found.log.address[keep], found.log.value[keep], end=found.log.end)
        assert judge(less).outcome is Outcome.PASSES


@pytest.mark.parametrize(
    "fault", ["taps", *(pytest.param(name, marks=pytest.mark.long) for name in FAULTS if name != "taps")]
)
def test_hypothesis_as_another_shrinker_is_better_by_two_writes_at_most(fault: str) -> None:
    log, judge = failing_log(fault), failing(fault)

    def part(keep: list[bool]) -> RegisterLog:
        pick = np.array(keep)
        return make_log(log.cycle[pick], log.address[pick], log.value[pick], end=log.end)

    settings = hypothesis.settings(
        max_examples=200,
        deadline=None,
        database=None,
        derandomize=True,
        suppress_health_check=list(hypothesis.HealthCheck),
    )
    masks = st.lists(st.sampled_from([False, True, True, True]), min_size=len(log), max_size=len(log))
    theirs = hypothesis.find(masks, lambda keep: judge(part(keep)).outcome is Outcome.FAILS, settings=settings)
    ours = shrink(CHIP, log, judge)
    assert len(ours.log) <= sum(theirs) + 2


def test_a_log_through_an_index_port_shrinks_to_writes_that_reach_the_same_registers() -> None:
    text = Path("patches/siskin.toml").read_text(encoding="utf-8")
    siskin = parse_chip(text)
    judge = differing(siskin, parse_chip(text.replace('"111111000000"', '"111110000000"')))
    log = load_log("patches/siskin-fanfare.csv").cut(0, 80_000)
    assert judge(log).outcome is Outcome.FAILS
    found = shrink(siskin, log, judge)
    check_log(found.log, siskin)
    assert found.minimal
    assert judge(found.log).outcome is Outcome.FAILS
    # A volume and a start, perhaps one more, each behind an index unless the index moves on by itself.
    assert len(found.log) <= 6
    assert found.log.address[0] == 0
    assert least_distance(found.log) >= least_distance(log)


def needs_three(log: RegisterLog) -> Verdict:
    """Three writes in this order, the last at cycle 1000 or later with bit 2 set; it shows 7 cycles after that."""
    wanted = [(0x08, 0), (0x0A, 0), (0x0E, 4)]
    for cycle, address, value in zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True):
        now, bits = wanted[0]
        if address == now and value & bits == bits and (now != 0x0E or cycle >= 1000):
            wanted.pop(0)
        if not wanted:
            return Verdict(Outcome.FAILS, cycle + 7, "three") if cycle + 7 < log.end else Verdict(Outcome.PASSES)
    return Verdict(Outcome.PASSES)


HAY = make_log(
    range(50, 4050, 50),
    [0x08 + k % 7 if k % 7 != 5 else 0x10 for k in range(80)],
    [(37 * k + 4) % 256 for k in range(80)],
    end=9000,
)


def test_the_exact_minimum_of_a_made_up_failure_and_the_price_in_runs() -> None:
    found = shrink(CHIP, HAY, needs_three)
    # Neighbours keep the least distance of the given log, 50 cycles; the last cannot come before 1000.
    assert found.log == make_log([0, 50, 1000], [0x08, 0x0A, 0x0E], [0, 0, 4], end=1008)
    assert found.runs <= 120
    assert found.runs + found.repeated + found.illegal > found.runs


def data_writes(rows: list[tuple[int, int]], end: int) -> RegisterLog:
    """Siskin's writes to registers, each behind its index, four cycles apart."""
    port = [(0, index) if k == 0 else (1, value) for index, value in rows for k in range(2)]
    return make_log(range(0, 4 * len(port), 4), [a for a, _ in port], [v for _, v in port], end=end)


SISKIN_TEXT = Path("patches/siskin.toml").read_text(encoding="utf-8")
LOUD = [(0x50, 0xFF), (0x28, 0xF00F), (0x11, 63), (0x14, 1), (0x19, 63), (0x1C, 1), (0x31, 63), (0x34, 1)]
"""V, P, Q and X: 3 x 127 + 3 x 2 x 255 = 1911, with 512 more than 2047."""
LATER = [(0x38, 0x3F00)]
"""Y: 255 more; with P, Q and X 1785, with V and two of them 1656."""


def test_a_failure_of_fewer_writes_that_shows_after_the_first_one_is_found() -> None:
    siskin = parse_chip(SISKIN_TEXT)
    judge = differing(siskin, parse_chip(SISKIN_TEXT.replace('overflow = "saturate"', 'overflow = "wrap"')))
    first, both = data_writes(LOUD, 80), data_writes(LOUD + LATER, 300)
    assert judge(first).cycle == judge(both).cycle == 64  # X starts at edge 61; three registers
    assert len(shrink(siskin, first, judge).log) == 16
    found = shrink(siskin, both, judge)
    assert len(found.log) == 14
    assert 0x38 in found.log.value.tolist()


def one_of_three_or_many_of_one(log: RegisterLog) -> Verdict:
    """Fails with a write of a, one of b, and one of the noise; and with a hundred of the noise."""
    for row in range(len(log)):
        now = [int(a) >> 3 for a in log.address[: row + 1]]
        if {1, 2, 4} <= set(now) or now.count(4) == 100:
            return Verdict(Outcome.FAILS, int(log.cycle[row]))
    return Verdict(Outcome.PASSES)


MANY = make_log(range(103), [0x08, 0x09, 0x10] + 100 * [0x20], 103 * [1], end=400)


def test_where_fewer_channels_do_not_lead_to_fewer_writes_the_search_begins_again_with_more() -> None:
    found = shrink(CHIP, MANY, one_of_three_or_many_of_one)
    assert found.minimal
    assert found.log == make_log([0, 1, 2], [0x09, 0x10, 0x20], [0, 0, 0], end=3)


@pytest.mark.parametrize("runs", [2, 3, 5, 9, 20, 50])
def test_a_search_that_is_stopped_has_what_was_simplest_though_it_was_elsewhere(runs: int) -> None:
    told: list[RegisterLog] = []
    found = shrink(CHIP, MANY, one_of_three_or_many_of_one, max_runs=runs, better=lambda log, _: told.append(log))
    assert told[-1] == found.log
    assert all(is_simpler(b, a) for a, b in pairwise(told))
    assert one_of_three_or_many_of_one(found.log) == found.verdict
    assert len(found.log) <= 4


def test_every_log_is_run_once_and_illegal_ones_never() -> None:
    seen: list[str] = []

    def counted(log: RegisterLog) -> Verdict:
        check_log(log, CHIP)
        assert (np.diff(log.cycle) >= 50).all()
        seen.append(name_of(log))
        return needs_three(log)

    found = shrink(CHIP, HAY, counted)
    assert len(seen) == len(set(seen)) == found.runs


def test_each_best_log_is_simpler_than_the_one_before_and_the_last_is_the_result() -> None:
    told: list[RegisterLog] = []
    found = shrink(CHIP, HAY, needs_three, better=lambda log, verdict: told.append(log))
    assert told[0] == HAY
    assert told[-1] == found.log
    assert all(is_simpler(b, a) for a, b in pairwise(told))


@pytest.mark.parametrize("runs", [1, 2, 5, 10, 17, 30, 50, 1000])
def test_a_search_stopped_after_any_run_and_resumed_finds_the_same_with_one_run_more(runs: int, tmp_path: Path) -> None:
    whole = shrink(CHIP, HAY, needs_three)
    with RecordState(tmp_path / "runs", {"log": "x"}, {}) as record:
        part = shrink(CHIP, HAY, needs_three, max_runs=runs, record=record.add)
    assert part.minimal == (whole.runs <= runs)
    known = load_record(tmp_path / "runs", {"log": "x"})
    assert len(known) == part.runs
    rest = shrink(CHIP, HAY, needs_three, known=known)
    assert rest.log == whole.log
    assert part.runs + rest.runs == whole.runs + 1  # the given log is run again


def test_an_interrupted_search_has_told_its_best_log_and_every_run_before() -> None:
    best: list[RegisterLog] = []
    known: dict[str, Verdict] = {}

    def interrupted(log: RegisterLog) -> Verdict:
        if len(known) == 20:
            raise KeyboardInterrupt
        return needs_three(log)

    def kept(log: RegisterLog, verdict: Verdict) -> None:
        best.append(log)

    with pytest.raises(KeyboardInterrupt):
        shrink(CHIP, HAY, interrupted, record=known.__setitem__, better=kept)
    assert len(known) == 20
    assert needs_three(best[-1]).outcome is Outcome.FAILS
    assert len(best[-1]) < len(HAY)
    assert known[name_of(best[-1])].outcome is Outcome.FAILS


def test_time_that_is_up_ends_the_search_with_the_best_so_far() -> None:
    left = iter([True] * 12 + [False])
    found = shrink(CHIP, HAY, needs_three, may_go_on=lambda: next(left))
    assert (found.runs, found.minimal) == (12, False)
    assert needs_three(found.log).outcome is Outcome.FAILS


def refused(log: RegisterLog = HAY, *, max_runs: int | None = None, known: dict[str, Verdict] | None = None) -> str:
    with pytest.raises((ShrinkError, RegisterLogError)) as caught:
        shrink(CHIP, log, needs_three, max_runs=max_runs, known=known)
    return str(caught.value)


def test_a_log_that_does_not_fail_or_fit_and_a_budget_of_nothing_are_told() -> None:
    tiny = make_log([1], [0x08], [1], source="tiny.csv")
    assert refused(tiny) == "tiny.csv: this log does not fail: passes"
    assert "nobody owns address 0x3F" in refused(make_log([1], [0x3F], [1]))
    assert refused(max_runs=0).startswith("the budget allows no run at all")
    other = {name_of(HAY): Verdict(Outcome.FAILS, 3, "noise")}
    assert "does not answer as it did: then noise; now three (the unit has changed" in refused(known=other)


def test_a_record_is_only_taken_for_the_runs_it_is_of(tmp_path: Path) -> None:
    path = tmp_path / "a.runs"
    with RecordState(path, {"log": "1", "command": "2"}, {"n": Verdict(Outcome.PASSES)}) as record:
        record.add("m", Verdict(Outcome.FAILS, 4, "é"))
    both = {"n": Verdict(Outcome.PASSES), "m": Verdict(Outcome.FAILS, 4, "é")}
    assert load_record(path, {"log": "1", "command": "2"}) == both
    with pytest.raises(ShrinkError, match="its runs were made with another command"):
        load_record(path, {"log": "1", "command": "3"})
    text = path.read_text(encoding="utf-8")
    path.write_text(text[:-5], encoding="utf-8")  # the last run was being written
    assert load_record(path, {"log": "1"}) == {"n": Verdict(Outcome.PASSES)}
    path.write_text(text.replace("fails", "falls"), encoding="utf-8")
    with pytest.raises(ShrinkError, match="runs:3: not a line of a record of runs"):
        load_record(path, {"log": "1"})
    path.write_text("", encoding="utf-8")
    with pytest.raises(ShrinkError, match="it is empty"):
        load_record(path, {})
    with pytest.raises(ShrinkError, match="cannot read: No such file"):
        load_record(tmp_path / "none", {})


def test_the_result_is_the_same_in_every_run() -> None:
    first: ShrinkResult = shrink(CHIP, HAY, needs_three)
    again = shrink(CHIP, HAY, needs_three)
    assert (first.log, first.runs, first.repeated) == (again.log, again.runs, again.repeated)
