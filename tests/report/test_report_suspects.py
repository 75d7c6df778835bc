"""Suspects told: texts of records written by hand, no engine and no dump involved."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from psgmodel.diagnose.changes import Change
from psgmodel.diagnose.edits import Edit
from psgmodel.diagnose.moves import Move
from psgmodel.diagnose.standing import Standing
from psgmodel.diagnose.suspicion import Certainty, Suspect, Suspicion
from psgmodel.report.suspects import suspects_json, suspects_text


def change(key: str, old: object, new: object, *channels: str) -> Change:
    edits = [
        Edit(("channels", name, "x"), f"channel.{name}.{key}", old, new)
        if channels
        else Edit(("mixer", "x"), key, old, new)
        for name in channels or ("",)
    ]
    return Change(tuple(edits), Move.ENTRY, 1, 0)


def words(text: str, move: Move = Move.WIRING) -> Change:
    return Change((), move, 1, 0, text)


def suspect(*changes: Change, explained: int = 48_211, left: int = 0, alternatives: tuple[str, ...] = ()) -> Suspect:
    return Suspect(changes, explained, left, ("noise",), None if not left else 900, alternatives)


TAPS = change("register.taps", (17, 14), (17, 11), "noise")
FOUND = Suspicion({"noise": Standing(700, 48_211, 312)}, 48_211, 312, (suspect(TAPS),), 712, 0, False)


def test_one_sure_suspect_is_told_in_a_sentence_as_the_description_writes_it() -> None:
    assert FOUND.certainty is Certainty.SURE
    assert (
        suspects_text(FOUND, None)
        == """\
The dump behaves as if `channel.noise.register.taps = [17, 11]` instead of `[17, 14]`:
explains all 48,211 differing cycles. Nothing else that was tried explains all of them.

   1  explains all 48,211 differing cycles: `channel.noise.register.taps = [17, 11]`
      instead of `[17, 14]`

712 single changes tried.
"""
    )


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (
            change("timer.bits", 9, 8, "a", "b", "wave"),
            "as if `timer.bits = 8` instead of `9` in the channels a, b and wave:",
        ),
        (
            change("mixer.trims", (8, 6, 4, 3), (8, 7, 4, 3)),
            "as if `mixer.trims = [8, 7, 4, 3]` instead of `[8, 6, 4, 3]`:",
        ),
        (
            change("step.divisors", (4, 6, 10, 14, 22, 34, 52, 80), (4, 6, 10, 16, 22, 34, 52, 80), "noise"),
            "as if `channel.noise.step.divisors[3] = 16` instead of `14`:",
        ),
        (change("register.short", object(), None, "noise"), "as if `channel.noise.register.short` were left out:"),
        (
            change("timer.loads", "field", "top-minus-field", "b"),
            'timer.loads = "top-minus-field"` instead of `"field"`:',
        ),
        (words("bit 3 and bit 5 of ROUTE were exchanged"), "as if bit 3 and bit 5 of ROUTE were exchanged:"),
    ],
)
def test_every_sort_of_change_reads_after_as_if(change: Change, told: str) -> None:
    text = " ".join(suspects_text(replace(FOUND, ranked=(suspect(change),)), None).split())
    assert told in text


@pytest.mark.parametrize(
    ("ranked", "more", "certainty", "told"),
    [
        ((), {}, Certainty.NOTHING, "Nothing in the description language explains this:"),
        (
            (suspect(TAPS, explained=20_000, left=28_211),),
            {},
            Certainty.PARTLY,
            "Nothing that was tried explains everything. The nearest: as if `channel.noise.register.taps = [17, 11]` "
            "instead of `[17, 14]`, which explains 20,000 of 48,211 differing cycles (41.5 %)",
        ),
        (
            (suspect(TAPS),),
            {"stretches": 2},
            Certainty.FEW_PLACES,
            "But that is in 2 stretches only, so take it as a hint",
        ),
        ((suspect(TAPS), suspect(words("x"))), {}, Certainty.SEVERAL, "a log that tells them apart is needed."),
        ((suspect(TAPS, alternatives=("y = 3", "y = 4")),), {}, Certainty.SEVERAL, "exactly as well: y = 3; y = 4"),
        ((suspect(TAPS, words("z were so")),), {"pairs": 9}, Certainty.TWO_AT_ONCE, "No single change does."),
        (
            (suspect(words("the write at cycle 4 (GO) had been lost", Move.WRITE)),),
            {},
            Certainty.WRITES,
            "either the unit was told something else, or it does something here that the language does not describe.",
        ),
        ((), {"cycles": 0}, Certainty.AGREES, "Nothing to explain: every known level agrees to the cycle."),
    ],
)
def test_how_sure_that_is_stands_in_the_first_sentences(
    ranked: tuple[Suspect, ...], more: dict[str, int], certainty: Certainty, told: str
) -> None:
    found = replace(FOUND, ranked=ranked, **more)
    assert found.certainty is certainty
    assert told in " ".join(suspects_text(found, None).split())


def test_a_share_that_is_not_everything_is_never_shown_as_100() -> None:
    text = suspects_text(replace(FOUND, ranked=(suspect(TAPS, explained=48_210, left=1),)), None)
    assert "(99.99 %)" in text
    assert "100" not in text


def test_a_search_that_was_stopped_says_so_with_the_option() -> None:
    text = suspects_text(replace(FOUND, stopped=True, pairs=40), None)
    assert text.endswith(
        "712 single changes tried, and 40 on top of another; "
        "stopped before the end, so more may\nbe found (--seconds).\n"
    )


def test_a_long_list_is_cut_and_counted() -> None:
    many = tuple(suspect(words(f"thing {n}"), explained=100 - n, left=n + 1) for n in range(14))
    text = suspects_text(replace(FOUND, ranked=many), None)
    assert "  10  " in text
    assert "  11  " not in text
    assert "and 4 more that explain less" in text


def test_the_json_holds_keys_values_and_shares() -> None:
    data = json.loads(json.dumps(suspects_json(FOUND, None)))
    assert data["certainty"] == "sure"
    assert data["differing_cycles"] == 48_211
    (first,) = data["suspects"]
    assert first["share"] == 1.0
    assert first["changes"][0]["edits"] == [
        {"key": "channel.noise.register.taps", "new": "[17, 11]", "old": "[17, 14]"}
    ]
    assert data["tried"] == {"single": 712, "on_top_of_another": 0, "stopped": False}
