"""stage: one output stage from code to load. A stage file in; every figure, remarks, and what the load hears, out.

Read: `load_stage`, `parse_stage`. Measure: `measure_stage`, `stage_remarks`, `cautions`. Judge: `Figure`, `Limit`,
`judge`. Hear: `heard`, `HeardState`; how loud channels are beside one another: `loudness_at_load`.
"""

from psgmodel.output_stage.stage.analog import POP_LIMIT_V, PowerUp, Response, power_up, ramp_peak, response_of
from psgmodel.output_stage.stage.figures import FIGURES, Figure, Limit, Verdict, figure_text, judge
from psgmodel.output_stage.stage.heard import RATE, HeardState, heard, heard_blocks
from psgmodel.output_stage.stage.idle import IdleSweep, idle_sweep
from psgmodel.output_stage.stage.loudness import HeardSound, SoundFollower, follow_code, loudness_at_load
from psgmodel.output_stage.stage.measuring import StageMeasure, measure_stage
from psgmodel.output_stage.stage.path import PathState, carrier_hz, drive_of, output_levels
from psgmodel.output_stage.stage.prices import PriceList, cost_of, count_parts
from psgmodel.output_stage.stage.reader import load_stage, parse_stage
from psgmodel.output_stage.stage.records import (
    CodeSource,
    Converter,
    Feed,
    Pin,
    PinModulator,
    ShapedPwm,
    Stage,
    ToneRequest,
)
from psgmodel.output_stage.stage.remarks import Remark, RemarkKind, cautions, stage_remarks
from psgmodel.output_stage.stage.tone import TonePlan, plan_tone, tone_code

__all__ = [
    "FIGURES",
    "POP_LIMIT_V",
    "RATE",
    "CodeSource",
    "Converter",
    "Feed",
    "Figure",
    "HeardSound",
    "HeardState",
    "IdleSweep",
    "Limit",
    "PathState",
    "Pin",
    "PinModulator",
    "PowerUp",
    "PriceList",
    "Remark",
    "RemarkKind",
    "Response",
    "ShapedPwm",
    "SoundFollower",
    "Stage",
    "StageMeasure",
    "TonePlan",
    "ToneRequest",
    "Verdict",
    "carrier_hz",
    "cautions",
    "cost_of",
    "count_parts",
    "drive_of",
    "figure_text",
    "follow_code",
    "heard",
    "heard_blocks",
    "idle_sweep",
    "judge",
    "load_stage",
    "loudness_at_load",
    "measure_stage",
    "output_levels",
    "parse_stage",
    "plan_tone",
    "power_up",
    "ramp_peak",
    "response_of",
    "stage_remarks",
    "tone_code",
]
