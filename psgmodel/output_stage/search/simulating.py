"""Simulating: a screened stage measured for real; each digital side is run once for all its networks.

Stage: output stage, searching. In: candidates. Out: the stage, its figures and the verdicts on its goals.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath

import numpy as np

from psgmodel.output_stage.measures import ToneMeasure, volt_to_dbv
from psgmodel.output_stage.networks import state_space
from psgmodel.output_stage.search.choosing import Candidate
from psgmodel.output_stage.search.digital import DigitalSide
from psgmodel.output_stage.search.records import Goals
from psgmodel.output_stage.stage import Figure, Limit, Response, Stage, ToneRequest, Verdict, judge
from psgmodel.output_stage.stage.analog import playing_burdens, power_up, response_of
from psgmodel.output_stage.stage.measuring import PlayedTone, loaded_tone, play_tone
from psgmodel.output_stage.stage.prices import cost_of, count_parts
from psgmodel.output_stage.stage.records import Converter
from psgmodel.output_stage.stage.spectral import (
    LoadRecord,
    PinLines,
    load_record_of_lines,
    pin_lines,
    settled_reading,
)

TONE = ToneRequest(idle_levels=0)
"""The test tone of a search: idle tones are left to a measurement of the stage found."""


@dataclass(frozen=True, slots=True, eq=False)
class Simulated:
    """A stage that was simulated.

    Attributes
    ----------
    candidate : Candidate
    stage : Stage
    figures : dict of Figure to float
    verdicts : tuple of Verdict
        On the goals, and on the rating of the pin.
    tone : ToneMeasure
    response : Response
    saturations : int
    lines : PinLines
        Before the network.
    """

    candidate: Candidate
    stage: Stage
    figures: dict[Figure, float]
    verdicts: tuple[Verdict, ...]
    tone: ToneMeasure
    response: Response
    saturations: int
    lines: PinLines

    @property
    def meets(self) -> bool:
        """Whether every goal is met."""
        return all(verdict.met for verdict in self.verdicts)


class SimulatorState:
    """Runs finalists; keeps what each digital side made of the tone.

    Attributes
    ----------
    stages, sides : int
        How many were simulated.
    """

    def __init__(self, goals: Goals) -> None:
        self._goals = goals
        self._played: dict[DigitalSide, tuple[PlayedTone, PinLines]] = {}
        self.stages = 0

    @property
    def sides(self) -> int:
        """Number of digital sides simulated."""
        return len(self._played)

    def run(self, candidate: Candidate) -> Simulated:
        """Simulate one candidate."""
        goals, stage = self._goals, stage_of(self._goals, candidate)
        space = state_space(stage.network)
        if candidate.side not in self._played:
            played = play_tone(stage)
            self._played[candidate.side] = played, pin_lines(played.drive, played.plan)
        played, lines = self._played[candidate.side]
        record: LoadRecord = load_record_of_lines(space, lines, played.plan)
        tone, response, ripple = loaded_tone(stage, record), response_of(space), record.ripple()
        up = power_up(stage, space, ramps=False)
        pin = playing_burdens(space, played.drive, played.plan, pin_only=True)[0]
        full_scale = tone.rms * 10 ** (-played.plan.dbfs / 20)
        figures = {
            Figure.SNR: tone.snr_db,
            Figure.SINAD: tone.sinad_db,
            Figure.THD: tone.thd_db,
            Figure.RIPPLE: ripple.peak_to_peak,
            Figure.RIPPLE_RMS: ripple.rms,
            Figure.DROOP: response.droop_db,
            Figure.BASS_DROOP: response.bass_droop_db,
            Figure.LEVEL: volt_to_dbv(full_scale),
            Figure.PIN_CURRENT: max(pin.peak, up.pin_peak),
            Figure.DC: abs(settled_reading(space, space.output(), stage.middle_volts)),
            Figure.POP: up.peak,
            Figure.PARTS: float(count_parts(stage.network)),
        }
        if goals.prices is not None:
            figures[Figure.COST] = cost_of(stage.network, goals.prices, converter=isinstance(stage.output, Converter))
        self.stages += 1
        return Simulated(
            candidate,
            stage,
            figures,
            judge(all_limits(goals, stage), figures),
            tone,
            response,
            played.saturations,
            lines,
        )


def all_limits(goals: Goals, stage: Stage) -> tuple[Limit, ...]:
    """Return the goals and the rating of the output."""
    if stage.rating is None:
        return goals.limits
    return (*goals.limits, Limit(Figure.PIN_CURRENT, None, stage.rating))


def stage_of(goals: Goals, candidate: Candidate) -> Stage:
    """Return a candidate as a stage."""
    side = candidate.side
    title = f"{side.label}, {candidate.networks.topology.value}"
    return Stage(
        title=title,
        file=PurePath(goals.file).name,
        code=goals.code,
        output=side.output,
        modulator=side.modulator,
        network=candidate.networks.network(candidate.row),
        tone=TONE,
        limits=goals.limits,
        prices=goals.prices,
    )


def code_sinad(goals: Goals) -> float:
    """Return the SINAD (dB) that the code itself allows the test tone."""
    from psgmodel.output_stage.measures import line_spectrum, measure_tone_of_lines
    from psgmodel.output_stage.modulators import steps_of_samples

    clock = float(goals.code.clock)
    count = max(64, min(2**20, round(clock * TONE.seconds)))
    periods = max(1, round(TONE.hz * count / clock)) | 1
    angle = 2 * np.pi * ((np.arange(count, dtype=np.int64) * periods) % count) / count
    peak = goals.code.middle * 10 ** (TONE.dbfs / 20)
    codes = np.rint(goals.code.middle + peak * np.sin(angle)).astype(np.int64)
    steps = steps_of_samples(np.clip(codes, 0, goals.code.top))
    lines = line_spectrum(steps, clock, 0, count, highest_hz=min(20_000.0, clock / 2))
    return measure_tone_of_lines(lines, periods * clock / count).sinad_db
