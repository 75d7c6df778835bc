"""Nothing that is said to be out of reach of a generated chip, or of a unit that a designer could build, is shown by
chance, though chance looks for just that."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from psgmodel.chip import Chip, load_chip
from psgmodel.coverage.covering import behaviours_of, hits
from psgmodel.engine.run import run
from psgmodel.engine.state import reset_state
from psgmodel.stimulus.chance import ChanceState
from psgmodel.stimulus.wandering import _goal, _rebased, _stretch
from tests.laws.generators import draw_chip

LENGTHS = (60, 250, 500, 3000, 20_000)
TOO_SLOW = {81}
"""Its envelopes tick at every clock cycle."""


UNITS = Path(__file__).parent.parent / "stimulus" / "units"
NAMES = sorted(path.stem for path in UNITS.glob("*.toml"))


def shown_against_reason(chip: Chip, number: int, stretches: int, spacing: int) -> dict[str, str]:
    """What some stretches show, which go on from one another or begin at reset, with the reason why they should not."""
    ruled_out = {b.bin.name: b for b in behaviours_of(chip, spacing) if b.bin.unreachable}
    chance, state, found = ChanceState(number), reset_state(chip), set[str]()
    assert len(ruled_out) > 3
    for _ in range(stretches):
        about, by = _goal(chip, chance, ruled_out)
        part = _stretch(chip, chance, state, ruled_out, about, spacing, chance.among(LENGTHS), by)
        found |= set(hits(chip, part, ruled_out.values(), state))
        if chance.once_in(3):
            state = reset_state(chip)
        elif chance.once_in(2):
            state = _rebased(run(chip, part, state=state).state)
    return {name: ruled_out[name].bin.unreachable for name in found}


@pytest.mark.parametrize("number", [6, 24, 36, 80, 84, 116, 154, 208, 354])
def test_chance_shows_nothing_that_has_a_reason(number: int) -> None:
    """Of each of these chips something reachable had a reason once."""
    assert shown_against_reason(draw_chip(Random(number)), number, 60, 4) == {}


@pytest.mark.long
@pytest.mark.parametrize("spacing", [1, 4, 7])
@pytest.mark.parametrize("name", NAMES)
def test_the_same_of_units(name: str, spacing: int) -> None:
    assert shown_against_reason(load_chip(UNITS / f"{name}.toml"), spacing, 200, spacing) == {}


@pytest.mark.long
@pytest.mark.parametrize("spacing", [1, 4, 7])
@pytest.mark.parametrize("tens", range(30))
def test_the_same_of_many_chips(tens: int, spacing: int) -> None:
    numbers = [n for n in range(10 * tens, 10 * tens + 10) if n not in TOO_SLOW]
    found = {n: shown_against_reason(draw_chip(Random(n)), n, 60, spacing) for n in numbers}
    assert {number: wrong for number, wrong in found.items() if wrong} == {}
