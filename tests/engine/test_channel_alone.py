"""A channel alone does what it does in the whole unit."""

from __future__ import annotations

import random
from typing import Literal

import pytest

from psgmodel.chip import load_chip
from psgmodel.engine import run
from psgmodel.engine.alone import run_channel
from psgmodel.errors import EngineError
from psgmodel.reglog import load_log
from tests.laws.generated_logs import draw_log

LINNET = load_chip("patches/linnet.toml")


Quick = Literal["fast", "twin"]


@pytest.mark.parametrize("engine", ["fast", "twin"])
@pytest.mark.parametrize("seed", range(6))
def test_each_channel_alone_plays_what_it_plays_among_the_others(seed: int, engine: Quick) -> None:
    log = draw_log(random.Random(seed), LINNET, 300_000, 120)
    whole = run(LINNET, log)
    for name in LINNET.channels:
        assert run_channel(LINNET, log, name, engine=engine).level == whole[name]


@pytest.mark.parametrize("engine", ["fast", "twin"])
def test_a_channel_is_active_where_its_register_says_so(engine: Quick) -> None:
    log = draw_log(random.Random(7), LINNET, 300_000, 120)
    alone = {name: run_channel(LINNET, log, name, engine=engine).active for name in LINNET.channels}
    for cycle in range(1, log.end, log.end // 40):
        state = run(LINNET, log, end=cycle).state
        found = {name: int(active.at(cycle - 1)) for name, active in alone.items()}
        assert found == {name: state.channels[name].active for name in LINNET.channels}, cycle


@pytest.mark.parametrize("engine", ["fast", "twin"])
def test_a_channel_alone_goes_on_from_a_state(engine: Quick) -> None:
    log = load_log("patches/tiny.csv")
    first = run(LINNET, log, end=log.end // 2)
    rest = run_channel(LINNET, log, "a", state=first.state, engine=engine)
    assert first["a"].then(rest.level) == run(LINNET, log)["a"]
    assert rest.active.start == log.end // 2
    assert len(run_channel(LINNET, log, "a", state=first.state, end=log.end // 2, engine=engine).active) == 0


def test_a_channel_that_is_not_there_is_an_error_that_names_those_that_are() -> None:
    with pytest.raises(EngineError, match='no channel "c"') as found:
        run_channel(LINNET, load_log("patches/tiny.csv"), "c")
    assert found.value.problems[0].hint == "known: a, b, wave, noise"


def test_a_run_that_ends_before_it_begins_is_an_error() -> None:
    log = load_log("patches/tiny.csv")
    state = run(LINNET, log, end=1000).state
    with pytest.raises(EngineError, match="a run from cycle 1000 cannot end at cycle 10"):
        run_channel(LINNET, log, "a", state=state, end=10)
