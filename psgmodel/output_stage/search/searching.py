"""Searching: from goals to the stages that meet them.

Stage: output stage, searching. In: `Goals`. Out: a `Search`: how many stages were judged by formulas and how many
simulated, the stages that meet the goals in rank, what tolerances do to them, the Pareto front; or, where nothing meets
them, which goal fails and by how much.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from psgmodel.errors import StageError
from psgmodel.output_stage.search.choosing import (
    Candidate,
    best_possible,
    candidates,
    hopeful_count,
    nearest_misses,
)
from psgmodel.output_stage.search.digital import DigitalSide, digital_sides, estimate_band
from psgmodel.output_stage.search.pareto import pareto_front
from psgmodel.output_stage.search.records import Goals, Topology
from psgmodel.output_stage.search.screening import Screen, screen_set
from psgmodel.output_stage.search.simulating import TONE, Simulated, SimulatorState, code_sinad
from psgmodel.output_stage.search.tolerance import Strayed, strayed
from psgmodel.output_stage.search.topologies import network_sets
from psgmodel.output_stage.stage import Converter, Figure

Step = Callable[[str, float], None]
"""Told what is being done and which part (0 to 1) of the whole is done."""

ROUNDS = 3
"""At most so many times the wanted number of finalists is simulated until enough of them meet the goals."""


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """What a search found.

    Attributes
    ----------
    goals : Goals
    screens : tuple of Screen
        All estimates.
    screened, hopeful : int
        Stages judged by formulas, and those that formulas let pass within their margins.
    listed : int
        Stages that thinning left out or kept; equals `screened` where nothing was thinned.
    simulated : tuple of Simulated
        Ranked: those that meet the goals first.
    sides_simulated : int
        Digital sides run for them.
    tolerances : dict of int to Strayed
        For those that meet the goals, by index.
    front : tuple of int
        Indices of the Pareto front among those that meet the goals (among all, where none does).
    front_figures : tuple of Figure
    best : dict of Figure to float
        Best estimate of each goal by itself.
    """

    goals: Goals
    screens: tuple[Screen, ...]
    screened: int
    hopeful: int
    listed: int
    simulated: tuple[Simulated, ...]
    sides_simulated: int
    tolerances: dict[int, Strayed]
    front: tuple[int, ...]
    front_figures: tuple[Figure, ...]
    best: dict[Figure, float]

    @property
    def found(self) -> tuple[Simulated, ...]:
        """The stages that meet the goals, in rank."""
        return tuple(s for s in self.simulated if s.meets)


def search(goals: Goals, step: Step | None = None) -> Search:
    """Search for stages that meet goals.

    Parameters
    ----------
    goals : Goals
    step : callable, optional
        Told of progress.

    Returns
    -------
    Search

    Raises
    ------
    StageError
        There is nothing to try: no modulator at these clocks, no parts that make a filter.
    """
    told = step or _untold
    told("screening", 0.0)
    screens, listed = screen_all(goals)
    hopeful = hopeful_count(screens, goals)
    told("simulating", 0.3)
    simulator = SimulatorState(goals)
    simulated = _simulate(simulator, screens, goals, told)
    simulated.sort(key=lambda s: _rank(goals, s))
    good = [i for i, s in enumerate(simulated) if s.meets]
    told("tolerances", 0.95)
    tolerances = {i: strayed(simulated[i], goals) for i in good}
    figures = _front_figures(goals)
    among = good or list(range(len(simulated)))
    front = pareto_front([simulated[i].figures for i in among], figures)
    return Search(
        goals=goals,
        screens=screens,
        screened=sum(next(iter(s.values.values())).size for s in screens),
        hopeful=hopeful,
        listed=listed,
        simulated=tuple(simulated),
        sides_simulated=simulator.sides,
        tolerances=tolerances,
        front=tuple(among[i] for i in front),
        front_figures=figures,
        best=best_possible(screens, goals),
    )


def screen_all(goals: Goals) -> tuple[tuple[Screen, ...], int]:
    """Judge every candidate by formulas; return the screens and how many stages the full lists hold.

    Raises
    ------
    StageError
        There is nothing to try.
    """
    sides = digital_sides(goals)
    if not sides:
        clocks = ", ".join(f"{float(c):g} Hz" for c in goals.clocks)
        raise StageError(
            f"no modulator of the list can be built from {clocks}",
            hint="carriers below 40 kHz are left out: allow shorter counters, sigma-delta, or a faster clock",
        )
    floor = code_sinad(goals)
    screens, listed = [], 0
    for resistance, own, topologies in _groups(goals, sides):
        estimates = [estimate_band(side, TONE, goals.code.bits, floor) for side in own]
        for networks in network_sets(goals, resistance, topologies):
            screens.append(screen_set(networks, own, estimates, goals))
            listed += networks.listed * len(own)
    if not screens:
        raise StageError(
            "the parts of the drawers make no filter", hint="accepted: values whose corner lies from 3 to 500 kHz"
        )
    return tuple(screens), listed


def _groups(goals: Goals, sides: Sequence[DigitalSide]) -> list[tuple[float, list[DigitalSide], tuple[Topology, ...]]]:
    """Return what goes behind the pin, and what behind the converter, which may also stand alone."""
    pins = [s for s in sides if not isinstance(s.output, Converter)]
    others = [s for s in sides if isinstance(s.output, Converter)]
    plain = tuple(t for t in goals.topologies if t is not Topology.NONE)
    groups: list[tuple[float, list[DigitalSide], tuple[Topology, ...]]] = []
    if pins and plain:
        groups.append((goals.resistance, pins, plain))
    if others and goals.converter is not None:
        more: list[Topology] = [t for t in plain if t is Topology.RC_DIVIDER]
        groups.append((goals.converter.resistance, others, (Topology.NONE, *more)))
    return groups


def _simulate(simulator: SimulatorState, screens: Sequence[Screen], goals: Goals, told: Step) -> list[Simulated]:
    """Simulate hopeful stages until enough meet the goals, or enough were tried; the nearest where none is hopeful."""
    wanted, most = goals.finalists, ROUNDS * goals.finalists
    queue: list[Candidate] = []
    for candidate in candidates(screens, goals):
        queue.append(candidate)
        if len(queue) == most:
            break
    queue = queue or nearest_misses(screens, goals, min(3, wanted))
    done: list[Simulated] = []
    met = 0
    for candidate in queue:
        told("simulating", 0.3 + 0.65 * max(met / wanted, len(done) / most))
        done.append(simulator.run(candidate))
        met += done[-1].meets
        if met == wanted:
            break
    return done


def _rank(goals: Goals, simulated: Simulated) -> tuple[float, ...]:
    """Return what to sort by: goals met, then the user's figures, then SINAD."""
    missed = sum(v.missed_by > 0 for v in simulated.verdicts)
    own = [
        round(-simulated.figures[f] if f.sense == "at-least" else simulated.figures[f], 9)
        for f in goals.rank_by
        if f in simulated.figures
    ]
    return (float(missed), *own, -simulated.figures[Figure.SINAD], simulated.figures[Figure.RIPPLE])


def _front_figures(goals: Goals) -> tuple[Figure, ...]:
    """Return what the front is drawn over: cost (parts without prices), SINAD, ripple."""
    price = Figure.COST if goals.prices is not None else Figure.PARTS
    return (price, Figure.SINAD, Figure.RIPPLE)


def _untold(what: str, part: float) -> None:
    """Take progress and tell nobody."""
