"""Files of goals: what is read, and what each fault is told as."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import eseries
import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.networks import PartKind
from psgmodel.output_stage.parts import Series
from psgmodel.output_stage.search import ModulatorWord, Topology, load_goals, parse_goals
from psgmodel.output_stage.stage import Figure
from tests.output_stage.goal_texts import CANDIDATES, CONVERTER, GOALS, LOAD, PIN, PRICES, goals, text

PATCHES = Path(__file__).parents[2] / "patches"


def test_goals_say_pin_load_wishes_drawers_and_prices() -> None:
    found = goals()
    assert found.clocks == (Fraction(6_144_000),)
    assert (found.supply, found.resistance, found.rating) == (3.3, 40.0, 0.008)
    assert found.load.resistance == 10_000.0
    assert [limit.figure for limit in found.limits] == [Figure.SINAD, Figure.RIPPLE, Figure.DROOP, Figure.LEVEL]
    assert found.modulators == (ModulatorWord.SIGMA_DELTA_1, ModulatorWord.PWM_SHAPED_1)
    assert found.topologies == (Topology.RC_DIVIDER, Topology.RC_RC)
    assert found.coupling == (4.7e-6,)
    assert found.finalists == 3
    assert found.rank_by == (Figure.COST, Figure.PARTS)


@pytest.mark.parametrize("name", ["E6", "E12", "E24", "E48", "E96"])
def test_a_drawer_holds_the_values_of_its_series_as_another_library_lists_them(name: str) -> None:
    drawer = f'[candidates]\nresistors = {{ series = "{name}", from = "1k", to = "9.99k" }}\n'
    found = goals(candidates=drawer).drawers[PartKind.RESISTOR]
    listed = eseries.erange(eseries.ESeries[name], 1000, 9990)
    assert list(found.values) == pytest.approx([float(v) for v in listed])
    assert found.series is Series[name]


def test_a_series_is_chosen_for_each_kind_and_gives_its_tolerance_unless_told() -> None:
    words = '[candidates]\nresistors = { series = "E96" }\ncapacitors = { series = "E6" }\n'
    found = goals("[tolerances]\ncapacitor = 0.05\n", candidates=words)
    assert found.tolerances.parts[PartKind.RESISTOR] == 0.01
    assert found.tolerances.parts[PartKind.CAPACITOR] == 0.05


def test_a_converter_is_tried_beside_the_pin() -> None:
    assert goals(CONVERTER).modulators[-1] is ModulatorWord.CONVERTER


def test_the_shipped_goals_are_those_of_the_scoreboard() -> None:
    found = load_goals(PATCHES / "stage-goals.toml")
    assert (found.code.bits, found.code.clock) == (9, 6_144_000)
    assert Fraction(49_152_000) in found.clocks


FAULTS = {
    "series": (
        text(PIN, LOAD, GOALS, '[candidates]\nresistors = { series = "e25" }\n'),
        "tried.toml:20: series is 'e25'; accepted: E6, E12, E24, E48, E96 (did you mean \"E24\"?)",
    ),
    "unknown goal": (
        text(PIN, LOAD, "[goals]\nsndr = 3\n"),
        'tried.toml:15: unknown key "sndr" in [goals] (did you mean "snr"?)',
    ),
    "empty goals": (
        text(PIN, LOAD, "[goals]\n"),
        "tried.toml:14: [goals] holds no goal; accepted: snr, sinad, thd, ripple, ripple-rms, droop, bass-droop, "
        "level, pin-current, dc, pop, parts, cost",
    ),
    "no goals": (
        text(PIN, LOAD),
        'tried.toml: "goals" is missing: say what a stage must do (a table [goals] with snr, sinad, thd, ripple, '
        "ripple-rms, droop, bass-droop, level, pin-current, dc, pop, parts, cost)",
    ),
    "cost without prices": (
        text(PIN, LOAD, "[goals]\ncost = 1\n"),
        "tried.toml:14: a goal of cost needs [prices]: your own price list",
    ),
    "clock": (
        text(PIN.replace('"6.144 MHz"', "-5"), LOAD, GOALS),
        "tried.toml:11: clocks: found -5; accepted is above 0 and up to 1 GHz",
    ),
    "load": (
        text(PIN, '[load]\nkind = "open"\n', GOALS),
        "tried.toml:12: a search needs a load to drive; accepted is any kind but open",
    ),
    "modulator": (
        text(PIN, LOAD, GOALS, '[candidates]\nmodulators = ["pvm"]\n'),
        "tried.toml:20: modulators holds 'pvm'; accepted: pwm, pwm-centre, pwm-shaped-1, pwm-shaped-2, sigma-delta-1, "
        "sigma-delta-2, converter",
    ),
    "drawer": (
        text(PIN, LOAD, GOALS, '[candidates]\ncapacitors = { from = "1u", to = "1n" }\n'),
        "tried.toml:20: a drawer from 1e-06 to 1e-09; accepted is a rising range above 0",
    ),
    "converter": (
        text(PIN, LOAD, GOALS, '[candidates]\nmodulators = ["converter"]\n'),
        'tried.toml:19: a "converter" among the modulators needs [converter]: what its data sheet says',
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_told_with_its_line_and_what_is_accepted(name: str) -> None:
    words, expected = FAULTS[name]
    with pytest.raises(StageError) as caught:
        parse_goals(words, "tried.toml")
    assert str(caught.value.problems[0]) == expected


def test_all_faults_are_told_at_once() -> None:
    words = text(
        PIN.replace("3.3", "-1"),
        LOAD,
        "[goals]\nlevel = 3\n",
        CANDIDATES.replace("4.7u", "4.7q"),
        PRICES.replace("2.5", "-2"),
    )
    with pytest.raises(StageError) as caught:
        parse_goals(words, "tried.toml")
    assert len(caught.value.problems) == 5
