"""A run can be cut at any cycle, saved as JSON text, read back and resumed: nothing changes.

Whole = part + rest, the law of every stage; the whole run is the independent side.
"""

from __future__ import annotations

import json
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from psgmodel.chip import Chip
from psgmodel.engine import Trace, UnitState, run, run_pieces, state_from_json, state_to_json
from psgmodel.engine.state import reset_state
from psgmodel.errors import EngineError
from psgmodel.reglog import RegisterLog, make_log
from psgmodel.steps import Steps
from tests.engine.engines import ENGINES, QUICK_ENGINES, assert_same_answer
from tests.engine.linnet_plays import linnet
from tests.engine.test_engines_agree import TAME
from tests.laws.generated_logs import draw_log
from tests.laws.generators import chips_and_logs, draw_chip


def saved(state: UnitState, chip: Chip) -> UnitState:
    """Through JSON text and back."""
    text = state_to_json(state)
    again = state_from_json(text, chip)
    assert again == state
    assert state_to_json(again) == text
    return again


def joined(pieces: list[Trace]) -> Trace:
    """Pieces of a run as one trace."""

    def one(name: str) -> Steps:
        whole = pieces[0][name]
        for piece in pieces[1:]:
            whole = whole.then(piece[name])
        return whole

    first, last = pieces[0], pieces[-1]
    return Trace(
        first.chip,
        first.start,
        last.end,
        {name: one(name) for name in first.channels},
        {name: one(name) for name in first.outputs},
        last.state,
    )


def interesting_cuts(log: RegisterLog, whole: Trace, rng: Random, count: int) -> list[int]:
    """Cycles at, just before and just after writes and changes of level, and anywhere."""
    near = [int(c) for c in log.cycle] + [int(c) for name in whole.channels for c in whole[name].cycle]
    near += [rng.randint(0, log.end) for _ in range(4)]
    picked = {min(max(rng.choice(near) + rng.choice((-1, 0, 1, 2)), 0), log.end) for _ in range(count)}
    return sorted(picked)


@settings(TAME, max_examples=60)
@given(pair=chips_and_logs(cycles=800), number=st.integers(0, 2**32))
def test_a_run_cut_saved_and_resumed_by_any_engine_gives_the_same_signals(
    pair: tuple[Chip, RegisterLog], number: int
) -> None:
    chip, log = pair
    rng = Random(number)
    whole = run(chip, log)
    pieces, state = [], None
    for cut in [*interesting_cuts(log, whole, rng, 5), log.end]:
        piece = run(chip, log, end=cut, state=state, engine=rng.choice(ENGINES))
        pieces.append(piece)
        state = saved(piece.state, chip)
    assert_same_answer(joined(pieces), whole)


@pytest.mark.parametrize("number", range(6))
def test_a_run_can_be_cut_at_every_single_cycle(number: int) -> None:
    rng = Random(number)
    chip = draw_chip(rng)
    log = draw_log(rng, chip, 160, 40)
    whole = run(chip, log)
    for cut in range(log.end + 1):
        for engine, other in (QUICK_ENGINES, QUICK_ENGINES[::-1]):
            first = run(chip, log, end=cut, engine=engine)
            assert_same_answer(joined([first, run(chip, log, state=saved(first.state, chip), engine=other)]), whole)


@pytest.mark.parametrize("number", range(3))
def test_one_cycle_at_a_time_is_the_same_run_in_every_engine(number: int) -> None:
    rng = Random(100 + number)
    chip = draw_chip(rng)
    log = draw_log(rng, chip, 200, 40)
    whole = run(chip, log)
    for engine in ENGINES:
        pieces, state = [], None
        for cut in range(1, log.end + 1):
            pieces.append(run(chip, log, end=cut, state=state, engine=engine))
            state = pieces[-1].state
        assert_same_answer(joined(pieces), whole)


@settings(TAME, max_examples=60)
@given(pair=chips_and_logs(cycles=1500), piece=st.one_of(st.integers(1, 30), st.integers(31, 4000)))
def test_pieces_of_any_size_are_the_whole_run(pair: tuple[Chip, RegisterLog], piece: int) -> None:
    chip, log = pair
    if piece < 8:
        log = log.with_end(300)
    pieces = list(run_pieces(chip, log, piece, engine=QUICK_ENGINES[piece % 2]))
    assert all(p.end - p.start == piece for p in pieces[:-1])
    assert pieces[-1].end - pieces[-1].start <= piece
    assert_same_answer(joined(pieces), run(chip, log))


@settings(TAME, max_examples=20)
@given(pair=chips_and_logs(cycles=600), extra=st.integers(0, 300))
def test_pieces_go_on_past_the_log_and_from_a_state(pair: tuple[Chip, RegisterLog], extra: int) -> None:
    chip, log = pair
    half = run(chip, log, end=log.end // 2)
    pieces = list(run_pieces(chip, log, 97, end=log.end + extra, state=half.state))
    assert_same_answer(joined([half, *pieces]), run(chip, log, end=log.end + extra, engine="reference"))


def test_a_run_does_not_change_the_state_it_starts_from() -> None:
    rng = Random(7)
    chip = draw_chip(rng)
    log = draw_log(rng, chip, 400, 40)
    state = run(chip, log, end=100).state
    text = state_to_json(state)
    for engine in ENGINES:
        run(chip, log, state=state, engine=engine)
        assert state_to_json(state) == text


def test_a_run_of_no_cycles_is_empty_and_changes_nothing() -> None:
    chip = draw_chip(Random(1))
    log = make_log([], [], [], end=50)
    for engine in ENGINES:
        trace = run(chip, log, end=0, engine=engine)
        assert all(len(trace[name]) == 0 for name in (*chip.channels, *chip.unit.outputs))
        assert trace.state == run(chip, log, end=0).state
        assert trace.state.cycle == 0


def test_pieces_of_no_cycles_are_refused() -> None:
    chip = draw_chip(Random(1))
    with pytest.raises(EngineError, match=r"^a piece of 0 cycles, accepted: 1 or more$"):
        next(run_pieces(chip, make_log([], [], [], end=5), 0))


def test_a_run_cannot_end_before_its_state() -> None:
    chip = draw_chip(Random(1))
    log = make_log([], [], [], end=50)
    state = run(chip, log).state
    with pytest.raises(EngineError, match=r"^a run from cycle 50 cannot end at cycle 49$"):
        run(chip, log, end=49, state=state)


def test_a_state_of_another_chip_is_refused() -> None:
    log = make_log([], [], [], end=50)
    chip, other = draw_chip(Random(1)), draw_chip(Random(2))
    with pytest.raises(EngineError, match=r"^the saved state is of another chip$"):
        run(other, log, state=run(chip, log, end=5).state)


def broken_states() -> list[tuple[str, str, str]]:
    """A name for each saved state that is none, its text, and what the message says."""
    chip = draw_chip(Random(1))
    good = json.loads(state_to_json(run(chip, make_log([], [], [], end=5)).state))
    name = next(iter(chip.channels))
    address = next(iter(good["registers"]))

    def with_(**changes: object) -> str:
        return json.dumps({**good, **changes})

    channel = good["channels"][name]
    other = "the saved state is of another chip"
    return [
        ("no JSON", "state", "no saved state: "),
        ("half a file", json.dumps(good)[:-20], "no saved state: "),
        ("a list", "[1, 2]", "no saved state: "),
        ("nothing", "", "no saved state: "),
        ("deeply nested", "[" * 100_000, "no saved state: nested too deeply"),
        ("another format", with_(state_format=99), "a saved state of another format"),
        ("no format", json.dumps({k: v for k, v in good.items() if k != "state_format"}), "no saved state: "),
        ("unknown key", with_(extra=1), "no saved state: "),
        ("no channels", json.dumps({k: v for k, v in good.items() if k != "channels"}), "no saved state: "),
        ("unknown channel key", with_(channels={**good["channels"], name: {**channel, "x": 1}}), "no saved state: "),
        ("cycle is text", with_(cycle="5"), "no saved state: "),
        ("cycle is negative", with_(cycle=-5), "no saved state: "),
        ("cycle is a fraction", with_(cycle=5.5), "no saved state: "),
        ("register is text", with_(registers={**good["registers"], address: "x"}), "no saved state: "),
        ("count is text", with_(channels={**good["channels"], name: {**channel, "count": "x"}}), "no saved state: "),
        (
            "position is negative",
            with_(channels={**good["channels"], name: {**channel, "position": -1}}),
            "no saved state: ",
        ),
        (
            "position past the end",
            with_(channels={**good["channels"], name: {**channel, "position": 4096}}),
            other,
        ),
        (
            "a register wider than its bits",
            with_(channels={**good["channels"], name: {**channel, "timer": 1 << 30}}),
            other,
        ),
        (
            "a level past the largest",
            with_(channels={**good["channels"], name: {**channel, "envelope_level": 1 << 20}}),
            other,
        ),
        (
            "more strobes than can be on their way",
            with_(channels={**good["channels"], name: {**channel, "starts": 1 << 40}}),
            other,
        ),
        ("a step that no divider has", with_(dividers={d: [0, 5000] for d in good["dividers"]}), other),
        ("a wait that no divider has", with_(dividers={d: [1 << 50, 0] for d in good["dividers"]}), other),
        ("a huge number", with_(cycle=10**30), "no saved state: "),
        ("outputs are text", with_(outputs=dict.fromkeys(good["outputs"], "")), "no saved state: "),
    ]


@pytest.mark.parametrize(("text", "message"), [pytest.param(t, m, id=n) for n, t, m in broken_states()])
def test_a_text_that_is_no_saved_state_is_refused(text: str, message: str) -> None:
    with pytest.raises(EngineError) as caught:
        state_from_json(text, draw_chip(Random(1)))
    assert str(caught.value).startswith(message)


@pytest.mark.parametrize(("samples", "code"), [(64, 0), (-1, 0), (0, 1024), (0, -1)])
def test_a_state_whose_samples_or_codes_do_not_fit_is_refused(samples: int, code: int) -> None:
    # Linnet's samples have 6 bits, its output codes 10, and one register stands before each output.
    state = reset_state(linnet())
    state.memories["wave"][5] = samples
    state.outputs["left"] = [code]
    with pytest.raises(EngineError, match="the saved state is of another chip"):
        run(linnet(), make_log([], [], [], end=5), state=state)


@settings(TAME, max_examples=40)
@given(pair=chips_and_logs(cycles=600), by=st.sampled_from([1, 12345, 2**31 - 100, 2**32, 2**40 + 1, 2**61]))
def test_the_same_state_and_log_at_a_later_time_give_the_same_signals_later(
    pair: tuple[Chip, RegisterLog], by: int
) -> None:
    chip, log = pair
    state = reset_state(chip)
    state.cycle = by
    later = make_log(log.cycle + by, log.address, log.value, end=log.end + by)
    for engine in ENGINES:
        now, moved = run(chip, log, engine=engine), run(chip, later, state=state, engine=engine)
        for name in (*now.channels, *now.outputs):
            assert moved[name] == now[name].shifted(by)
        assert moved.state.cycle == now.state.cycle + by
        moved.state.cycle -= by
        assert moved.state == now.state
