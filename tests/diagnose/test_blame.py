"""The block in which the first divergence arises: by a change that explains it, or by what happens at its edge."""

from __future__ import annotations

import pytest

from psgmodel.chip import Chip, load_chip
from psgmodel.comparison import compare
from psgmodel.diagnose import blame as blaming
from psgmodel.diagnose.blame import block_of
from psgmodel.diagnose.blocks import NAMES
from psgmodel.diagnose.changes import changes_of, write_changes
from psgmodel.diagnose.story import Story, tell
from psgmodel.dump.observe import Kind
from psgmodel.engine import run
from psgmodel.reglog import make_log
from psgmodel.report.story import blame_text, story_json
from psgmodel.steps import steps_from_changes
from tests.diagnose.model_dumps import observation_of
from tests.diagnose.notes_by_hand import (
    END,
    LINNET,
    Levels,
    changed,
    drop,
    later,
    log_of_b,
    played,
    sound_more,
    steps,
    story_of,
)

SISKIN = load_chip("patches/siskin.toml")


def blamed(levels: Levels) -> tuple[str, str]:
    """Return the block and the change that says so."""
    found = story_of(steps(levels)).blame
    assert found is not None
    return found.block, str(found.suspect or "")


@pytest.mark.parametrize(
    ("levels", "block", "change"),
    [
        (played(step=22), "step", "channel.b.step.offset = 2"),
        (played(pattern="1111111110000000"), "pattern", 'channel.b.patterns[2] = "1111111110000000"'),
        (changed(lambda v: later(v, 0, 2)), "start", "channel.b.start_delay = 3"),
    ],
)
def test_a_change_that_explains_everything_names_its_block(levels: Levels, block: str, change: str) -> None:
    assert blamed(levels) == (block, change)


@pytest.mark.parametrize(
    ("levels", "block"),
    [
        (changed(lambda v: drop(v, 50, 51)), "pattern"),
        (changed(lambda v: drop(v, 4011, 7011)), "start"),
        (changed(lambda v: drop(v, 1000, 3011)), "start"),
        (changed(lambda v: sound_more(v, 3011, 3331)), "start"),
        (played(gain=lambda level: level - 3), "envelope"),
        (changed(lambda v: later(v, 1500, 7)), "step"),
    ],
)
def test_where_no_change_explains_it_the_edge_names_a_block(levels: Levels, block: str) -> None:
    assert blamed(levels) == (block, "")


def story_with_tick(after: int) -> Story:
    """B softens at the shaping ticks, 9999 and then every 32768 (linnet.md, section 3); the dump does otherwise."""
    rows = [(0, 0x10, 99), (1, 0x11, 0x20), (2, 0x12, 20), (3, 0x14, 1), (4, 0x16, 1)]
    log = make_log(*zip(*rows, strict=True), end=12_000)
    right = run(LINNET, log)["b"]
    assert int(right.at(9_999)) == 19
    cycles = sorted({*right.cycle.tolist(), 9_999})
    levels = [after if c >= 9_999 and right.at(c) else int(right.at(c)) for c in cycles]
    observation = observation_of({"b": (Kind.CHANNEL, steps_from_changes(cycles, levels, right.end))}, log)
    found = tell(compare(LINNET, observation), observation, LINNET, None)
    assert found is not None
    return found


def test_an_envelope_that_moves_at_the_very_edge_is_blamed() -> None:
    found = story_with_tick(13).blame
    assert found is not None
    assert (found.block, found.suspect, found.why) == ("envelope", None, "it moves or counts at this edge")


def test_an_envelope_that_counts_where_the_dump_alone_changes_is_blamed() -> None:
    # Level of wave is sample x envelope >> 5 (linnet.md, section 6): with 1 x 30 it is 0 whatever the envelope does.
    rows = [*((n, 0x40 + n, 1) for n in range(64)), (64, 0x1A, 30), (65, 0x1C, 1), (66, 0x1E, 1)]
    log = make_log(*zip(*rows, strict=True), end=12_000)
    right = run(LINNET, log)["wave"]
    assert right.at(9_998) == right.at(9_999)
    dump = steps_from_changes([0, 9_999], [int(right.at(9_998)), 5], right.end)
    observation = observation_of({"wave": (Kind.CHANNEL, dump)}, log)
    found = tell(compare(LINNET, observation), observation, LINNET, None)
    assert found is not None
    assert found.blame is not None
    assert (found.divergence.cycle, found.blame.block) == (9_999, "envelope")


def test_an_output_that_differs_from_channels_that_agree_blames_the_mixer() -> None:
    trace = run(LINNET, log_of_b())
    signals = {name: (Kind.CHANNEL, s) for name, s in trace.channels.items()}
    left = trace["left"]
    signals["left"] = (Kind.OUTPUT, steps_from_changes(left.cycle, left.level + (left.level > 100) * 9, left.end))
    observation = observation_of(signals, log_of_b())
    found = tell(compare(LINNET, observation), observation, LINNET, None)
    assert found is not None
    assert found.blame is not None
    assert found.blame.block == "mixer"


def test_a_power_bit_that_is_cleared_where_the_sides_part_is_blamed() -> None:
    # P sounds until CONTROL is written with 0; that takes place at 401, and the dump has 7 there for a while.
    writes = [(0x10, 0x0FF0), (0x11, 0x003F), (0x14, 1), (0x14, 0), (0x00, 0)]
    rows = [row for n, (i, v) in enumerate(writes) for row in ((100 * n, 0, i), (100 * n + 1, 1, v))]
    log = make_log(*zip(*rows, strict=True), end=1_000)
    right = run(SISKIN, log)["p"]
    cycles = sorted({*right.cycle.tolist(), 402, 450})
    levels = [7 if 402 <= c < 450 else int(right.at(c)) for c in cycles]
    observation = observation_of({"p": (Kind.CHANNEL, steps_from_changes(cycles, levels, right.end))}, log)
    found = tell(compare(SISKIN, observation), observation, SISKIN, None)
    assert found is not None
    assert found.blame is not None
    assert (found.divergence.cycle, found.blame.block) == (402, "power")


def test_a_lost_write_names_no_block() -> None:
    change = next(iter(write_changes(LINNET, log_of_b(), "b", 5_000)))
    assert block_of(change, LINNET) == ""


@pytest.mark.parametrize("chip", [LINNET, SISKIN], ids=["linnet", "siskin"])
def test_every_change_is_of_a_block_that_has_a_name(chip: Chip) -> None:
    assert {block_of(change, chip) for change in changes_of(chip)} <= set(NAMES)


def test_the_search_is_bounded_and_the_edge_speaks_where_it_did_not_come_to_an_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(blaming, "MOST_WORK", 0)
    assert blamed(played(step=22)) == ("step", "")


def test_only_a_window_after_the_first_divergence_is_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    levels = played(pattern="1111111110000000")
    drop(levels, 3_500, END)  # which no pattern explains
    monkeypatch.setattr(blaming, "WINDOW", 2_000)
    found = story_of(steps(levels)).blame
    assert found is not None
    assert found.until == 171 + 2_000
    assert found.suspect is not None
    assert found.suspect.complete


def test_the_block_is_told_in_a_line_and_in_json() -> None:
    levels = played(step=22)
    story = story_of(steps(levels))
    count = sum(ours != theirs for ours, theirs in zip(played(), levels, strict=True))
    assert " ".join(blame_text(story).split()) == (
        "block step timer: as if `channel.b.step.offset = 2` instead of `1`, which explains all "
        f"{count:,} differing cycles up to cycle 9000"
    )
    assert story_json(story)["blame"] == {
        "block": "step",
        "as_if": "`channel.b.step.offset = 2` instead of `1`",
        "why": "",
        "until": END,
    }
    guessed = story_of(steps(changed(lambda v: drop(v, 50, 51))))
    assert blame_text(guessed).startswith("  block  perhaps patterns: ")
