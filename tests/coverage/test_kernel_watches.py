"""The compiled kernel watches as the Python beside it does: the same rows, the same sums, the same behaviours."""

from __future__ import annotations

import gc
from collections import Counter
from dataclasses import replace
from random import Random

import numpy as np
import pytest

from psgmodel.chip import Chip, load_chip
from psgmodel.coverage import cover, covering, happenings
from psgmodel.coverage.covering import watch_channel
from psgmodel.coverage.moments import routed_over_time
from psgmodel.coverage.sums import seen_sums
from psgmodel.engine.actions import mixer_fields
from psgmodel.engine.followed import UnitPlan, Watched, plan_unit
from psgmodel.engine.kernel.library import Found, Library, find_kernel
from psgmodel.engine.state import reset_state
from psgmodel.reglog import RegisterLog, load_log
from psgmodel.steps import Steps, steps_from_changes
from tests.coverage.test_coverage_engines_agree import drawn


def kernel() -> Library:
    library = find_kernel().library
    assert library is not None
    return library


def planned(chip: Chip, log: RegisterLog) -> tuple[UnitPlan, dict[str, Steps]]:
    """A log as coverage lets it run, and the mixer's fields."""
    state = reset_state(chip)
    plan = plan_unit(chip, log.cut(0, log.end - chip.bus.write_latency), state, log.end)
    return plan, mixer_fields(chip, plan.events, state, log.end)


def assert_same_rows(ours: Watched, twins: Watched) -> None:
    assert dict(ours.standing) == dict(twins.standing)
    assert set(ours.columns) == set(twins.columns)
    for mine, other in ((ours.columns, twins.columns), (ours.old, twins.old), (ours.new, twins.new)):
        for name in other:
            assert np.array_equal(mine[name], other[name]), name


def compare(seeds: range) -> int:
    rows = 0
    for seed in seeds:
        chip, log, _ = drawn(seed)
        plan, fields = planned(chip, log)
        levels = {}
        for name in chip.channels:
            marks = routed_over_time(chip, name, fields).cycle
            followed, watched = watch_channel(plan, name, marks, kernel())
            in_python, by_following = watch_channel(plan, name, marks, None)
            assert (followed.level, followed.state) == (in_python.level, in_python.state), (seed, name)
            assert_same_rows(watched, by_following)
            levels[name], rows = followed.level, rows + watched.columns["edge"].size
        assert seen_sums(chip, levels, fields, kernel()) == seen_sums(chip, levels, fields, None), seed
    return rows


def test_rows_and_sums_of_generated_chips_are_those_of_python() -> None:
    assert compare(range(40)) > 5_000


def test_a_wave_that_a_restart_of_its_clock_ends_has_a_row_there() -> None:
    assert compare(range(2149, 2150)) > 50  # drawn: at edge 466 of w0


@pytest.mark.long
@pytest.mark.parametrize("part", range(8))
def test_the_same_on_many_generated_chips(part: int) -> None:
    compare(range(1000 + 250 * part, 1250 + 250 * part))


def test_coverage_says_the_same_without_the_kernel(monkeypatch: pytest.MonkeyPatch) -> None:
    chip, log = load_chip("patches/siskin.toml"), load_log("patches/siskin-fanfare.csv")
    compiled = cover(chip, [log])
    for module in (covering, happenings):
        monkeypatch.setattr(module, "find_kernel", lambda: Found(None, "not built"))
    monkeypatch.setattr(Library, "follow", None)
    monkeypatch.setattr(Library, "see", None)
    assert cover(chip, [log]) == compiled


def test_rows_outlive_what_made_them_and_cannot_be_written_to() -> None:
    chip, log = load_chip("patches/linnet.toml"), load_log("patches/jingle.csv")
    plan, _ = planned(chip, log)
    edges = watch_channel(plan, "a", np.zeros(0, np.int64), kernel())[1].columns["edge"]
    kept = edges.copy()
    for _ in range(20):  # what is given back too early is soon overwritten
        watch_channel(plan, "a", np.zeros(0, np.int64), kernel())
        gc.collect()
    assert np.array_equal(edges, kept)
    assert np.all(np.diff(edges) > 0)
    with pytest.raises(ValueError, match="read-only"):
        edges[0] = 7


def test_a_log_without_writes_has_the_sums_of_silence() -> None:
    chip = load_chip("patches/linnet.toml")
    for end in (0, 1, 5000):
        log = load_log("patches/tiny.csv").cut(0, 0)
        plan, fields = planned(chip, RegisterLog(log.cycle, log.address, log.value, end))
        levels = {n: watch_channel(plan, n, np.zeros(0, np.int64), kernel())[0].level for n in chip.channels}
        assert seen_sums(chip, levels, fields, kernel()) == seen_sums(chip, levels, fields, None)


def drawn_mixer(rng: Random) -> tuple[Chip, dict[str, Steps], dict[str, Steps]]:
    """Levels that are nearly always 0, on a mixer that they nearly never drive past its ends."""
    chip = load_chip("patches/linnet.toml")
    end, most = 4000, rng.choice((3, 40, 400))
    mixer = replace(
        chip.mixer,
        bits=rng.randint(4, 12),
        offset=rng.randint(-20, 60),
        trim_shift=rng.randint(0, 3),
        gains={name: rng.randint(0, 3) for name in chip.channels},
    )

    def signal(levels: list[int], changes: int) -> Steps:
        cycles = [0, *sorted(rng.sample(range(1, end), changes))]
        return steps_from_changes(np.array(cycles), np.array([rng.choice(levels) for _ in cycles]), end)

    levels = {
        name: signal([0] * 8 + [rng.randint(-most, most) for _ in range(4)], rng.choice((0, 5, 60)))
        for name in chip.channels
    }
    fields = {
        name: signal(list(range(1 << field.bits)), rng.choice((0, 3)))
        for name, field in chip.fields.items()
        if name.startswith("mixer.")
    }
    return replace(chip, mixer=mixer), levels, fields


def test_what_happens_once_in_the_sums_is_seen() -> None:
    seen: Counter[str] = Counter()
    for seed in range(300):
        chip, levels, fields = drawn_mixer(Random(seed))
        found = seen_sums(chip, levels, fields, None)
        assert seen_sums(chip, levels, fields, kernel()) == found, seed
        for one in found.values():
            seen.update(what for what in ("over", "under", "fraction") if getattr(one, what))
            seen[f"{len(one.alone)} alone"] += 1
            seen[f"{one.together} together"] += 1
    assert min(seen.values()) > 3, seen
    assert len(seen) == 3 + 5 + 5
