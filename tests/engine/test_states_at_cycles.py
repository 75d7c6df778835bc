"""States at single cycles are those of the reference run up to there, for all channels or for some."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from psgmodel.chip import Chip, parse_chip
from psgmodel.engine import UnitState, run, state_to_json
from psgmodel.engine.standing import states_at
from psgmodel.errors import EngineError
from psgmodel.reglog import RegisterLog, make_log
from tests.engine.test_engines_agree import TAME
from tests.laws.generators import chips_and_logs

LINNET = parse_chip(Path("patches/linnet.toml").read_text(encoding="utf-8"), "linnet.toml")


def told(state: UnitState) -> dict[str, object]:
    return dict(json.loads(state_to_json(dataclasses.replace(state, outputs={}))))


@settings(TAME, max_examples=25)
@given(chips_and_logs(), st.lists(st.integers(0, 10**6), min_size=4, max_size=8))
def test_a_state_at_a_cycle_is_that_of_the_reference_run_up_to_it(
    unit: tuple[Chip, RegisterLog], drawn: list[int]
) -> None:
    chip, log = unit
    anywhere = {number % (log.end + 1) for number in drawn}
    at_writes = (
        {min(int(log.cycle[number % len(log)]) + number % 4, log.end) for number in drawn} if len(log) else set()
    )
    cycles = sorted(anywhere | at_writes)
    expected = [told(run(chip, log, end=cycle, engine="reference").state) for cycle in cycles]
    assert [told(state) for state in states_at(chip, log, cycles)] == expected


def test_a_state_of_one_channel_has_its_registers_and_leaves_the_others_out() -> None:
    # Section 9 of Linnet's page: a sweep step at 30 000 moves 0x100 up by 0x100 >> 2.
    rows = [(0, 0x08, 0x00), (1, 0x09, 0x01), (2, 0x0A, 20), (3, 0x0D, 0x12), (4, 0x0E, 1), (5, 0x26, 1)]
    log = make_log(*zip(*rows, strict=True), end=40_000)
    before, after = states_at(LINNET, log, [30_000, 30_001], {"a"})
    assert (before.registers[0x08], after.registers[0x08]) == (0x00, 0x40)
    assert (list(after.channels), after.channels["a"].active) == (["a"], 1)
    (without,) = states_at(LINNET, log, [30_001], ())
    assert (without.registers[0x08], without.channels) == (0x00, {})


def test_cycles_that_go_back_are_refused() -> None:
    with pytest.raises(EngineError, match="cycle 3 comes after cycle 5"):
        list(states_at(LINNET, make_log([], [], [], end=10), [5, 3]))
