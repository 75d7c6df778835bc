"""The search for suspects: it never loses the true cause, says how sure it is, and stops when it is told to.

A model of a changed description plays the hardware here: what is tested is the search. That it finds causes in real RTL
is tested in tests/quality (test_fault_library.py), by simulators.
"""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from psgmodel.chip import Chip, load_chip
from psgmodel.diagnose.changes import Change, changes_of
from psgmodel.diagnose.moves import Move
from psgmodel.diagnose.suspects import find_suspects
from psgmodel.diagnose.suspicion import Certainty, Suspect, Suspicion, ranked
from psgmodel.dump.observe import Kind
from psgmodel.engine import Trace, run
from psgmodel.engine.run import _run_checked
from psgmodel.reglog import RegisterLog, make_log
from psgmodel.steps import steps_from_changes
from tests.diagnose.model_dumps import observation_of, observed_trace
from tests.laws.generated_logs import draw_log
from tests.laws.generators import draw_chip
from tests.quality.fault_logs import provoking_log

LINNET = load_chip("patches/linnet.toml")
CHANGES = {str(change): change for change in changes_of(LINNET)}
LOG = provoking_log(38, 1_500_000).with_end(400_000)


def played(chip: Chip, log: RegisterLog) -> Trace:
    """A change can leave addresses to nobody; the writes there then do nothing."""
    return _run_checked(chip, log, log.end, None, "fast")


def made(*texts: str) -> Chip:
    chip = LINNET
    for text in texts:
        changed = CHANGES[text].apply(chip, LOG)
        assert changed is not None
        chip = changed[0]
    return chip


def search(chip: Chip, *, pairs: bool = False, hidden: tuple[str, ...] = ()) -> Suspicion:
    return find_suspects(LINNET, observed_trace(played(chip, LOG), LOG, hidden=hidden), LOG, pairs=pairs)


@pytest.mark.parametrize("seed", range(16))
def test_whatever_one_change_does_is_explained_whole_by_it_or_by_its_equals(seed: int) -> None:
    rng = Random(seed)
    chip = draw_chip(rng)
    log = draw_log(rng, chip, 4000, 50)
    right = played(chip, log)
    changes = list(changes_of(chip))
    for change in rng.sample(changes, min(60, len(changes))):
        changed = change.apply(chip, log)
        assert changed is not None
        wrong = played(changed[0], log)
        if any(wrong[name] != right[name] for name in right.outputs):
            break
    else:
        return
    hidden = tuple(chip.channels) if seed % 3 == 0 else ()
    found = find_suspects(chip, observed_trace(wrong, log, hidden=hidden), log, pairs=False)
    assert found.complete, change
    assert found.cycles == found.complete[0].explained
    assert found.certainty not in (Certainty.PARTLY, Certainty.NOTHING, Certainty.AGREES)


@pytest.mark.parametrize(
    "text",
    [
        "channel.noise.register.taps = [17, 11]",
        "channel.wave.start_delay = 2",
        'channel.b.step.new_value = "at-once"',
        'channel.b.patterns[2] = "1111111110000000"',
        "mixer.gains.wave = 2",
        "ticks.shaping.first = 10000",
        "bit 3 and bit 5 of ROUTE were exchanged",
    ],
)
def test_the_true_cause_is_first_and_sure(text: str) -> None:
    found = search(made(text))
    assert str(found.ranked[0]) == text
    assert found.ranked[0].complete
    assert found.certainty is Certainty.SURE


@pytest.mark.parametrize("text", ["channel.wave.start_delay = 2", "channel.noise.register.taps = [17, 11]"])
def test_the_outputs_alone_are_enough(text: str) -> None:
    found = search(made(text), hidden=tuple(LINNET.channels))
    assert str(found.ranked[0]) == text
    assert found.ranked[0].complete


def test_a_block_that_channels_share_is_blamed_once() -> None:
    texts = [f"channel.{name}.envelope.step = 2" for name in LINNET.channels]
    found = search(made(*texts))
    assert set(str(found.ranked[0]).split(" and ")) <= set(texts)
    assert len(found.ranked[0].changes) == 1
    assert len(found.ranked[0].changes[0].edits) >= 3
    assert found.ranked[0].complete


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("channel.wave.start_delay = 2", "channel.noise.register.taps = [17, 11]"),
        ('channel.noise.register.polarity = "low"', "channel.noise.start_delay = 3"),
        ("mixer.gains.b = 2", 'channel.b.position_on_start = "reset"'),
    ],
)
def test_two_faults_are_found_as_a_pair(one: str, other: str) -> None:
    found = search(made(one, other), pairs=True)
    assert found.pairs > 0
    assert {str(change) for change in found.ranked[0].changes} == {one, other}
    assert found.ranked[0].complete
    assert found.certainty is Certainty.TWO_AT_ONCE
    alone = [s for s in found.ranked if len(s.changes) == 1]
    assert all(0 < s.share < 1 for s in alone)


def test_no_pair_is_tried_where_a_single_change_explains_everything() -> None:
    assert search(made("channel.wave.start_delay = 2"), pairs=True).pairs == 0


def test_equals_are_told_as_such_and_the_simpler_one_is_first() -> None:
    # Without its short mode, noise does what it does where the bit of the mode is wired to a bit that nobody writes.
    found = search(made("channel.noise.register.short = left out"))
    assert found.certainty is Certainty.SEVERAL
    equals = [str(s) for s in found.complete]
    assert equals[0] == "channel.noise.register.short = left out"
    assert "noise.short took bit 1 of N_TONE instead of bit 0" in equals
    simplicity = [s.changes[0].simplicity for s in found.complete]
    assert simplicity == sorted(simplicity)


def test_a_difference_in_few_places_is_no_sure_evidence() -> None:
    log = make_log([0, 1, 2], [0x10, 0x12, 0x16], [100, 0x1F, 1], end=600)
    found = find_suspects(LINNET, observed_trace(played(made("channel.b.start_delay = 2"), log), log), log, pairs=False)
    assert found.ranked[0].complete
    assert found.stretches < 8
    assert found.certainty in (Certainty.FEW_PLACES, Certainty.SEVERAL)


def test_a_write_that_got_lost_is_blamed_and_that_is_never_sure() -> None:
    number = int(np.flatnonzero((LOG.address == 0x20) & (LOG.cycle > 100_000))[0])
    keep = np.arange(len(LOG)) != number
    lost = RegisterLog(LOG.cycle[keep], LOG.address[keep], LOG.value[keep], LOG.end)
    dump = observed_trace(run(LINNET, lost), LOG)
    found = find_suspects(LINNET, dump, LOG, pairs=False)
    assert f"the write at cycle {int(LOG.cycle[number])}" in str(found.ranked[0])
    assert str(found.ranked[0]).endswith("had been lost")
    assert found.certainty in (Certainty.WRITES, Certainty.SEVERAL)


def test_nothing_is_blamed_for_a_glitch_that_no_description_can_say() -> None:
    trace = run(LINNET, LOG)
    level = trace["b"]
    at = int(level.cycle[np.flatnonzero(level.durations() > 20)[5]]) + 9
    cycles = np.concatenate([level.cycle, [at, at + 1]])
    levels = np.concatenate([level.level, [int(level.at(at)) ^ 8, int(level.at(at))]])
    order = np.argsort(cycles, kind="stable")
    glitched = steps_from_changes(cycles[order], levels[order], level.end)
    dump = observation_of({"b": (Kind.CHANNEL, glitched)}, LOG)
    found = find_suspects(LINNET, dump, LOG)
    assert found.cycles == 1
    assert found.ranked == ()
    assert found.certainty is Certainty.NOTHING


def test_unknown_levels_are_no_evidence_either_way() -> None:
    wrong = played(made("channel.noise.register.taps = [17, 11]"), LOG)["noise"]
    unknown = np.zeros(len(wrong), dtype=np.bool_)
    unknown[::7] = True
    masked = steps_from_changes(wrong.cycle, wrong.level, wrong.end, unknown=unknown)
    found = find_suspects(LINNET, observation_of({"noise": (Kind.CHANNEL, masked)}, LOG), LOG, pairs=False)
    assert str(found.ranked[0]) == "channel.noise.register.taps = [17, 11]"
    assert found.ranked[0].complete
    right = run(LINNET, LOG)["noise"]
    hidden = steps_from_changes(right.cycle, right.level, right.end, unknown=np.arange(len(right)) % 5 == 0)
    agrees = find_suspects(LINNET, observation_of({"noise": (Kind.CHANNEL, hidden)}, LOG), LOG)
    assert (agrees.cycles, agrees.certainty) == (0, Certainty.AGREES)


def test_a_late_dump_is_searched_at_its_latency() -> None:
    trace = played(made("channel.noise.register.taps = [17, 11]"), LOG)
    late = {
        name: (Kind.CHANNEL, steps_from_changes([0, *(s.cycle[1:] + 3)], s.level, s.end + 3))
        for name, s in trace.channels.items()
    }
    found = find_suspects(LINNET, observation_of(late, LOG), LOG, latency=3, pairs=False)
    assert str(found.ranked[0]) == "channel.noise.register.taps = [17, 11]"
    assert found.ranked[0].complete


def test_the_search_stops_when_it_is_told_to_and_says_so() -> None:
    seen: list[tuple[int, int]] = []

    def go_on(tried: int, of: int) -> bool:
        seen.append((tried, of))
        return tried < 50

    dump = observed_trace(played(made("channel.noise.register.taps = [17, 11]"), LOG), LOG)
    found = find_suspects(LINNET, dump, LOG, progress=go_on)
    assert found.stopped
    assert [tried for tried, _ in seen] == list(range(1, 51))
    assert all(tried <= of for tried, of in seen)


def test_the_same_search_gives_the_same_answer() -> None:
    wrong = made("channel.noise.register.taps = [17, 11]")
    one, other = search(wrong), search(wrong)
    assert [(str(s), s.explained, s.left) for s in one.ranked] == [(str(s), s.explained, s.left) for s in other.ranked]


def suspect(text: str, explained: int, left: int, move: Move = Move.NUDGE, distance: int = 1) -> Suspect:
    return Suspect((Change((), move, distance, 0, text),), explained, left, (), None)


def test_suspects_rank_by_what_they_explain_then_by_simplicity() -> None:
    listed = [
        suspect("far", 90, 10, Move.FAR),
        suspect("nothing", 0, 100),
        suspect("little", 10, 90),
        suspect("choice", 90, 10, Move.CHOICE),
        suspect("worse than before", -5, 105),
        suspect("two off", 90, 10, distance=2),
        suspect("one off", 90, 10),
    ]
    order = [str(s) for s in ranked(listed, 100)]
    assert order == ["choice", "one off", "two off", "far", "little"]


def test_a_pair_that_adds_next_to_nothing_is_left_out() -> None:
    one, other = suspect("one", 80, 20), suspect("other", 3, 97)
    pair = Suspect((*one.changes, *other.changes), 83, 17, (), None)
    better = Suspect((*other.changes, *one.changes), 90, 10, (), None)
    assert [str(s) for s in ranked([one, other, pair], 100)] == ["one", "other"]
    assert str(ranked([one, other, better], 100)[0]) == "other and one"


def test_no_suspect_spoils_a_signal_that_agrees_however_much_it_explains_elsewhere() -> None:
    # Shaping ticks a cycle late for B alone: no description says that, and late ticks for all would spoil A's envelope.
    rows = [(0, 0x08, 1), (1, 0x09, 0x20), (2, 0x0A, 20), (3, 0x0C, 0x04), (4, 0x0E, 1)]
    rows += [(5, 0x10, 200), (6, 0x11, 0x20), (7, 0x12, 31), (8, 0x14, 0x01), (9, 0x16, 1)]
    log = make_log(*zip(*rows, strict=True), end=300_000)
    right, late = run(LINNET, log), played(made("ticks.shaping.first = 10000"), log)
    assert late["a"] != right["a"]
    assert late["b"] != right["b"]
    signals = {"a": (Kind.CHANNEL, right["a"]), "b": (Kind.CHANNEL, late["b"])}
    found = find_suspects(LINNET, observation_of(signals, log), log, pairs=False)
    assert found.cycles > 0
    assert not [str(s) for s in found.ranked if "ticks.shaping" in str(s)]
