"""The first divergence of a large dump is told like that of a small one, from what stands around it."""

from __future__ import annotations

import functools
from pathlib import Path

import pytest

from psgmodel.chip import parse_chip
from psgmodel.comparison import compare
from psgmodel.comparison.departed import Scene
from psgmodel.comparison.kept import Bounds
from psgmodel.comparison.pieces import compare_in_pieces
from psgmodel.diagnose import story as story_module
from psgmodel.diagnose.story import Story, tell
from psgmodel.dump.observe import observe
from psgmodel.engine import run
from psgmodel.report.story import story_json
from tests.comparison.differing_dumps import DIFFERING, GRID, held, write_differing
from tests.comparison.dump_writer import write_dump
from tests.comparison.short_run import CHIP, CYCLES, WRITES, log_of, signals_of

FROM_THERE_ON = Bounds(opening=30, past_changes=100)
"""Little is kept of what comes before the first difference, all of what follows."""
TIGHT = Bounds(opening=30, around=2000, entries=200, changes=60, cycles=3000, past_changes=16)


@pytest.fixture(autouse=True)
def small_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("psgmodel.comparison.pieces.SPAN_CYCLES", 100)
    monkeypatch.setattr("psgmodel.diagnose.before.STRETCH", 1000)
    monkeypatch.setattr("psgmodel.comparison.pieces.observe", functools.partial(observe, chunk_bytes=1000))


def told_in_pieces(path: Path, bounds: Bounds) -> Story:
    found = compare_in_pieces(CHIP, str(path), signal_map=GRID, piece_entries=1, bounds=bounds)
    assert found is not None
    assert isinstance(found.seen, Scene)
    story = tell(found.comparison, found.seen, CHIP, None)
    assert story is not None
    return story


def told_at_once(path: Path) -> Story:
    seen = observe(str(path), CHIP, GRID)
    story = tell(compare(CHIP, seen), seen, CHIP, None)
    assert story is not None
    return story


@pytest.mark.parametrize("sort", DIFFERING)
def test_kind_surroundings_blocks_and_shares_are_those_of_the_whole(
    sort: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(story_module, "blame", lambda *_: None)  # takes long; see below
    path = write_differing(tmp_path / "d.vcd", sort)
    assert story_json(told_in_pieces(path, FROM_THERE_ON)) == story_json(told_at_once(path))


@pytest.mark.parametrize("sort", ["a level bit throughout", "outputs a cycle late"])
def test_the_block_is_that_of_the_whole_where_the_difference_comes_early(sort: str, tmp_path: Path) -> None:
    path = write_differing(tmp_path / "d.vcd", sort)
    whole = told_at_once(path)
    assert whole.blame is not None
    found = told_in_pieces(path, Bounds(opening=150))
    assert story_json(found)["blame"] == story_json(whole)["blame"]


def test_the_block_is_that_of_the_whole_where_the_difference_comes_late(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # From cycle 9000 on A plays its second pattern; one bit of it is another in this hardware.
    text = Path("patches/linnet.toml").read_text(encoding="utf-8")
    chip = parse_chip(text.replace('"1111000000000000"', '"1110000000000000"'))
    wrong = run(chip, log_of(WRITES))
    path = write_dump(tmp_path / "d.vcd", signals_of(wrong), WRITES, CYCLES, clock=False)
    whole = told_at_once(path)
    assert whole.divergence.cycle > 9000
    assert whole.blame is not None
    assert whole.blame.block == "pattern"
    monkeypatch.setattr("psgmodel.diagnose.late.STRETCH", 1000)
    found = told_in_pieces(path, Bounds(opening=30))
    assert story_json(found)["blame"] == story_json(whole)["blame"]


@pytest.mark.parametrize(
    ("name", "begin", "value", "detail"),
    [
        ("level_b", 7000, "x", "the dump has X or Z here, up to cycle {end} at least; it is unknown in 13000 cycles"),
        (
            "level_a",
            0,
            0,
            "the model plays a note from cycle 21 to 20000; the dump is silent, up to cycle {end} at least",
        ),
        ("level_a", 7000, 0, "the dump is silent from cycle 7000 on, up to cycle {end} at least; the model plays its"),
    ],
)
def test_what_was_not_kept_is_not_claimed(
    name: str, begin: int, value: int | str, detail: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(story_module, "blame", lambda *_: None)
    path = write_dump(tmp_path / "d.vcd", held(name, begin, CYCLES, value), WRITES, CYCLES, clock=False)
    found = told_in_pieces(path, TIGHT)
    end = int(found.detail.split(" at least")[0].rsplit(" ", 1)[1])
    assert 3000 < end < CYCLES - 1
    assert found.detail.startswith(detail.format(end=end))
    assert found.kind is told_at_once(path).kind
