"""A large dump that differs is compared piece by piece: whatever is told of every cycle is that of the whole."""

from __future__ import annotations

import functools
from pathlib import Path

import pytest

from psgmodel.comparison import Comparison, SpectralOptions, Status, compare
from psgmodel.comparison.departed import InPieces, Scene
from psgmodel.comparison.kept import Bounds
from psgmodel.comparison.pieces import compare_in_pieces
from psgmodel.comparison.plain import plain
from psgmodel.comparison.spectral import SpectralPart
from psgmodel.dump.observe import Observation, observe
from psgmodel.engine import run
from psgmodel.reglog import RegisterLog
from tests.comparison.differing_dumps import DIFFERING, GRID, RIGHT, changed, write_differing
from tests.comparison.dump_writer import changes_of, write_dump
from tests.comparison.short_run import CHIP, CYCLES, NAMES, WRITES, log_of, signals_of

TIGHT = Bounds(opening=30, around=2000, entries=200, changes=60, cycles=3000, past_changes=16, past_cycles=8192)
LITTLE_BEFORE = Bounds(opening=4, around=100, entries=200, changes=60, cycles=3000, past_changes=2, past_cycles=4200)
SPANS = [100, 12_345]
"""How far the model is run at a time: some end where a dump begins to differ, or the cycle before, or after."""


def in_pieces(
    monkeypatch: pytest.MonkeyPatch,
    path: Path,
    span: int,
    bounds: Bounds = TIGHT,
    *,
    log: RegisterLog | None = None,
    options: SpectralOptions | None = None,
) -> InPieces:
    monkeypatch.setattr("psgmodel.comparison.pieces.SPAN_CYCLES", span)
    monkeypatch.setattr("psgmodel.comparison.pieces.observe", functools.partial(observe, chunk_bytes=1000))
    found = compare_in_pieces(
        CHIP, str(path), log=log, signal_map=GRID, whole=True, piece_entries=1, bounds=bounds, options=options
    )
    assert found is not None
    return found


def exact_facts(found: Comparison) -> dict[str, object]:
    """Return all that is told of every cycle."""
    names = ("status", "agrees_at", "bus", "reads", "coverage", "edges", "skipped_edges", "nothing", "guesses", "rule")
    facts = {name: plain(getattr(found, name)) for name in names}
    return {**facts, "signals": [plain(s.exact) for s in found.signals], "reasons": found.reasons()}


@pytest.mark.parametrize("sort", DIFFERING)
def test_what_is_told_of_every_cycle_is_that_of_the_whole(
    sort: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_differing(tmp_path / "d.vcd", sort)
    whole = compare(CHIP, path, signal_map=GRID, whole=True)
    assert whole.status is not Status.AGREE
    for span in SPANS:
        found = in_pieces(monkeypatch, path, span)
        assert isinstance(found.seen, Scene)
        assert exact_facts(found.comparison) == exact_facts(whole)


def test_the_sorts_of_differences_that_need_the_rest_of_the_dump_are_among_them(tmp_path: Path) -> None:
    def exact(sort: str, name: str) -> dict[str, object]:
        found = compare(CHIP, write_differing(tmp_path / "d.vcd", sort), signal_map=GRID)
        return dict(plain(found[name].exact))

    change = exact("late, then later", "noise")["offset_change"]
    assert isinstance(change, dict)
    assert (change["after"], change["to_the_end"]) == (1, False)
    assert 14_000 < change["agrees_until"] < 16_000
    still = exact("late, then later still", "noise")["offset_change"]
    assert isinstance(still, dict)
    assert (still["after"], still["to_the_end"]) == (3, False)
    assert exact("a channel, and outputs with it", "left")["follows_channels"]
    assert not exact("a channel, and an output by itself too", "left")["follows_channels"]
    assert exact("a channel, and an output by itself too", "right")["follows_channels"]


def test_a_tone_that_was_another_before_is_no_constant_latency(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # From 1000 on the tone has another period; only from there on a move by one period changes nothing.
    writes = [*WRITES[:3], (20, 0x0E, 0x01), (1000, 0x08, 0x60), (16_500, 0x09, 0x10)]
    trace = run(CHIP, log_of(writes))
    tone = changes_of(trace["a"].cycle, trace["a"].level)
    highs = [c for c, v in tone if v and 3000 < c < 16_500]
    period = highs[1] - highs[0]
    late = [*[e for e in tone if e[0] < 3000 + period], *[(c + period, v) for c, v in tone if c >= 3000]]
    path = write_dump(tmp_path / "d.vcd", signals_of(trace, level_a=late), writes, CYCLES, clock=False)
    whole = compare(CHIP, path, signal_map=GRID, whole=True)
    exact = whole["a"].exact
    assert exact is not None
    assert exact.agrees_at is None
    assert in_pieces(monkeypatch, path, 700, LITTLE_BEFORE).comparison["a"].exact == exact


def test_a_tone_that_was_always_the_same_is_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_differing(tmp_path / "d.vcd", "a period late")
    whole = compare(CHIP, path, signal_map=GRID, whole=True)["a"].exact
    assert whole is not None
    assert whole.agrees_at == 2080
    assert in_pieces(monkeypatch, path, 700, LITTLE_BEFORE).comparison["a"].exact == whole


def test_the_log_that_was_given_is_held_against_the_bus_as_ever(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_differing(tmp_path / "d.vcd", "a level bit from a cycle on")
    other = log_of([*WRITES[:-1], (12_001, 0x00, 0x3F)])
    whole = compare(CHIP, path, log=other, signal_map=GRID, whole=True)
    found = in_pieces(monkeypatch, path, 700, log=other)
    assert found.comparison.bus is not None
    assert not found.comparison.bus.agrees
    assert exact_facts(found.comparison) == exact_facts(whole)


def test_a_dump_that_is_kept_as_a_whole_is_compared_as_a_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_differing(tmp_path / "d.vcd", "here and there")
    whole = compare(CHIP, path, signal_map=GRID, whole=True)
    found = in_pieces(monkeypatch, path, 700, Bounds())
    assert isinstance(found.seen, Observation)
    assert found.comparison.to_json() == whole.to_json()
    assert {s.name: s.steps for s in found.seen.signals} == {
        s.name: s.steps for s in observe(str(path), CHIP, GRID).signals
    }


def test_sound_is_compared_around_the_first_difference_and_it_is_said_where(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cycles = 600_001
    trace = run(CHIP, log_of(WRITES, cycles))
    half = changed("level_a", lambda c, v: v // 2 if c > 300_000 else v, signals_of(trace))
    path = write_dump(tmp_path / "d.vcd", half, WRITES, cycles, clock=False)
    bounds = Bounds(opening=30, around=2000, entries=200, changes=60, cycles=100_000, past_changes=16)
    loose = SpectralOptions(band_limit_db=7.0)
    for options, beyond in ((None, True), (loose, False)):
        found = in_pieces(monkeypatch, path, 5200, bounds, options=options).comparison
        part = found["a"].spectral
        assert isinstance(part, SpectralPart)
        assert 300_000 - 5200 - 16 * 2080 < part.start <= 300_000 < 400_000 <= part.end < cycles - 1
        assert part.seconds == pytest.approx((part.end - part.start) / 6_144_000, abs=2 / 48_000)
        assert part.where == f"cycles {part.start} to {part.end}"
        assert part.bands is not None
        assert part.bands.worst_db == pytest.approx(-6.02, abs=0.3)  # half the amplitude, but for the start
        assert any("the band at" in reason for reason in part.reasons()) == beyond
        assert found["b"].spectral is None
        told = "the dump is large: all of its cycles were compared, but the kind of the difference was told from cycles"
        assert found.notes[-1].startswith(told)


def test_what_is_kept_does_not_grow_with_the_way_to_the_first_difference(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_differing(tmp_path / "d.vcd", "the last cycle")
    bounds = Bounds(opening=30, around=2000, entries=30, changes=20, cycles=300, past_changes=8, past_cycles=700)
    found = in_pieces(monkeypatch, path, 100, bounds)
    assert isinstance(found.seen, Scene)
    model, dump = found.seen.sides
    assert CYCLES - 4000 < model.start == dump.start
    assert model.end == dump.end == CYCLES - 1
    kept = [s.steps for s in found.seen.observation.signals]
    right = observe(str(path), CHIP, GRID).signals
    assert kept == [s.steps.cut(kept[0].start, CYCLES) for s in right]
    assert kept[0].start > CYCLES - 4000
    near = in_pieces(monkeypatch, write_differing(tmp_path / "n.vcd", "a level bit throughout"), 100, bounds)
    assert isinstance(near.seen, Scene)
    signals = {s.name: s.steps for s in near.seen.observation.signals}
    end = near.seen.observation.end
    assert end < CYCLES - 1
    assert signals == {s.name: s.steps.cut(0, end) for s in observe(str(tmp_path / "n.vcd"), CHIP, GRID).signals}


def test_the_levels_of_the_right_run_agree(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert set(RIGHT) == set(NAMES.values())
    path = write_dump(tmp_path / "d.vcd", RIGHT, WRITES, CYCLES, clock=False)
    found = in_pieces(monkeypatch, path, 100)
    assert found.comparison.status is Status.AGREE
    assert found.seen is None
