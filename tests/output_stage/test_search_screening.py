"""What formulas say of a candidate, against closed forms, single solutions and simulation."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from psgmodel.output_stage.networks import dc_transfer, frequency_response, rc_ripple
from psgmodel.output_stage.search import Goals, ModulatorWord, pareto_front
from psgmodel.output_stage.search.choosing import MARGIN_DB, MARGIN_FACTOR, candidates, misses
from psgmodel.output_stage.search.digital import digital_sides
from psgmodel.output_stage.search.screening import Screen
from psgmodel.output_stage.search.searching import screen_all
from psgmodel.output_stage.search.simulating import SimulatorState
from psgmodel.output_stage.stage import Figure, Limit
from tests.output_stage.goal_texts import CONVERTER, DRAWERS, goals

WIDE = (
    '[candidates]\ncounters = [3, 4, 5, 6]\ntopologies = ["rc", "rc-divider", "rc-rc", "rc-rc-divider", "lc"]\n'
    + DRAWERS
)


def screened(found: Goals) -> list[Screen]:
    return list(screen_all(found)[0])


def test_every_network_is_solved_as_one_network_is() -> None:
    for screen in screened(goals(candidates=WIDE)):
        for row in range(0, len(screen.networks.values), max(1, len(screen.networks.values) // 5)):
            network = screen.networks.network(row)
            gain = np.abs(frequency_response(network, [20.0, 1e3, 2e4]).output())
            droop = 20 * math.log10(gain[1] / gain[2])
            assert screen.values[Figure.DROOP][0, row] == pytest.approx(droop, abs=1e-9)
            assert screen.values[Figure.BASS_DROOP][0, row] == pytest.approx(
                20 * math.log10(gain[1] / gain[0]), abs=1e-9
            )
            side = screen.sides[0]
            level = 20 * math.log10(3.3 / 2 / math.sqrt(2) * side.scale * gain[1])
            assert screen.values[Figure.LEVEL][0, row] == pytest.approx(level, abs=1e-9)
            assert screen.values[Figure.DC][0, row] == pytest.approx(1.65 * dc_transfer(network), rel=1e-6)


def test_the_ripple_estimate_of_one_rc_is_the_closed_form_but_for_its_highest_lines() -> None:
    # Lines 1, 3, 5 of a triangle hold 1 + 1/9 + 1/25 of pi^2/8: 93.3 % of its peak to peak.
    words = '[candidates]\nmodulators = ["pwm"]\ncounters = [5]\ntopologies = ["rc"]\n' + DRAWERS
    (screen,) = screened(goals(candidates=words))
    carrier = screen.sides[0].carrier
    assert carrier == 192_000
    share = (1 + 1 / 9 + 1 / 25) / (math.pi**2 / 8)
    for row, (r1, c1) in enumerate(screen.networks.values):
        loaded = (r1 + 40) * 10e3 / (r1 + 40 + 10e3)
        swing = 3.3 * 10e3 / (r1 + 40 + 10e3)
        tau = loaded * c1
        if tau * carrier < 1.0:
            continue  # no triangle any more
        exact = rc_ripple(swing, 0.5, 1 / carrier, tau)
        assert screen.values[Figure.RIPPLE][0, row] / exact == pytest.approx(share, abs=0.06)


def test_the_current_into_empty_capacitors_is_ohms_law() -> None:
    for screen in screened(goals(candidates=WIDE)):
        at = screen.networks.names.index("R1")
        wanted = 3.3 / (40 + screen.networks.values[:, at])
        np.testing.assert_allclose(screen.values[Figure.PIN_CURRENT][0], wanted, rtol=1e-12)


def test_parts_and_cost_are_counted_from_the_price_list() -> None:
    for screen in screened(goals(CONVERTER)):
        prices = {"R": 0.01, "C": 0.03}
        for row in (0, len(screen.networks.values) - 1):
            cost = sum(prices[n[0]] if n != "C_couple" else 0.12 for n in screen.networks.names)
            extra = 2.5 if screen.sides[0].word.value == "converter" else 0.0
            assert screen.values[Figure.COST][0, row] == pytest.approx(cost + extra)
            assert screen.values[Figure.PARTS][0, row] == len(screen.networks.names)


def test_carriers_that_the_clock_cannot_make_or_that_reach_into_the_band_are_left_out() -> None:
    words = '[candidates]\nmodulators = ["pwm", "pwm-centre", "pwm-shaped-2"]\ncounters = [4, 6, 7, 8, 9]\n' + DRAWERS
    sides = digital_sides(goals(candidates=words))
    carriers = sorted((side.word.value, side.carrier) for side in sides)
    # 6.144 MHz over 16, 64, 128 (over 32 and 128 with both edges); 24 kHz and less is left out.
    assert carriers == [
        ("pwm", 48_000.0),
        ("pwm", 96_000.0),
        ("pwm", 384_000.0),
        ("pwm-centre", 48_000.0),
        ("pwm-centre", 192_000.0),
        ("pwm-shaped-2", 48_000.0),
        ("pwm-shaped-2", 96_000.0),
        ("pwm-shaped-2", 384_000.0),
    ]


def test_estimates_err_by_no_more_than_the_margins_that_the_search_allows_them() -> None:
    # One stage of each kind of modulator, simulated: the margins are what the screening counts on.
    words = (
        '[candidates]\nmodulators = ["pwm", "pwm-centre", "pwm-shaped-1", "pwm-shaped-2", "sigma-delta-1", '
        '"sigma-delta-2"]\ncounters = [4, 5]\ntopologies = ["rc-divider"]\ncoupling = ["4.7u"]\n' + DRAWERS
    )
    found = goals(CONVERTER, candidates=words, wanted="[goals]\nsinad = 20\n")
    simulator = SimulatorState(found)
    seen = set()
    for candidate in itertools.islice(candidates(screened(found), found), 7):
        seen.add(candidate.side.word)
        real = simulator.run(candidate).figures
        guessed = candidate.estimates
        for figure in (Figure.SNR, Figure.SINAD):  # they may be too low, which only costs a simulation less
            assert -MARGIN_DB[figure] < real[figure] - guessed[figure] < 12.0
        for figure in (Figure.LEVEL, Figure.DROOP):
            assert abs(real[figure] - guessed[figure]) < MARGIN_DB[figure] / 3
        for figure in (Figure.PARTS, Figure.COST, Figure.BASS_DROOP, Figure.PIN_CURRENT, Figure.DC):
            assert real[figure] == pytest.approx(guessed[figure], abs=1e-6)
        if candidate.side.word is not ModulatorWord.CONVERTER:  # its ripple is that of its data sheet: a bound
            assert 1 / MARGIN_FACTOR[Figure.RIPPLE] < real[Figure.RIPPLE] / guessed[Figure.RIPPLE]
            assert real[Figure.RIPPLE] / guessed[Figure.RIPPLE] < MARGIN_FACTOR[Figure.RIPPLE]
    assert len(seen) == 7


def test_the_first_candidates_are_of_different_kinds_and_then_in_the_users_rank() -> None:
    found = goals(CONVERTER)
    chosen = list(itertools.islice(candidates(screened(found), found), 8))
    assert [c.side.word for c in chosen[:3]].count(chosen[0].side.word) == 1
    assert len({(c.side, c.networks.topology, c.row) for c in chosen}) == 8
    costs = [c.estimates[Figure.COST] for c in chosen[3:]]
    families = {(c.side, c.networks.topology) for c in chosen[3:]}
    assert costs[: len(families)] == sorted(costs[: len(families)])


def test_a_miss_is_counted_in_margins() -> None:
    limits = (Limit(Figure.SINAD, 60.0, None), Limit(Figure.RIPPLE, None, 0.01), Limit(Figure.PARTS, None, 4.0))
    values = {
        Figure.SINAD: np.array([60.0, 54.0, 48.0, 70.0]),
        Figure.RIPPLE: np.array([0.01, 0.02, 0.01, 0.04]),
        Figure.PARTS: np.array([4.0, 4.0, 4.0, 4.0]),
    }
    assert misses(limits, values, margin=True) == pytest.approx([0, 0, 1, 1])
    assert misses(limits, values, margin=False) == pytest.approx([0, 2, 2, 2])


def test_the_pareto_front_is_what_comparing_everything_with_everything_finds() -> None:
    source = np.random.default_rng(3)
    figures = (Figure.COST, Figure.SINAD, Figure.RIPPLE)
    for _ in range(30):
        rows = [dict(zip(figures, (float(v) for v in source.integers(1, 6, 3)), strict=True)) for _ in range(25)]

        def beaten(one: dict[Figure, float], rows: list[dict[Figure, float]] = rows) -> bool:
            return any(
                o[Figure.COST] <= one[Figure.COST]
                and o[Figure.SINAD] >= one[Figure.SINAD]
                and o[Figure.RIPPLE] <= one[Figure.RIPPLE]
                and o != one
                for o in rows
            )

        wanted = tuple(i for i, row in enumerate(rows) if not beaten(row))
        assert pareto_front(rows, figures) == wanted
        assert wanted
