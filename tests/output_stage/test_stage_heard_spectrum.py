"""The spectrum of what a load hears, in dBV: 0 dBV is 1 V rms (common practice)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from psgmodel.output_stage.stage import load_stage, measure_stage
from psgmodel.report.stage_picture import heard_spectrum, stage_picture

RATE = 48_000


@pytest.mark.parametrize(("volts_rms", "dbv"), [(1.0, 0.0), (0.316228, -10.0)])
def test_a_sine_stands_at_its_level_in_dbv_and_its_mean_is_left_out(volts_rms: float, dbv: float) -> None:
    # 375 Hz is line 64 of a frame of 8192 samples: a Hann window leaves the top of its lobe at the level of the sine.
    wave = volts_rms * np.sqrt(2) * np.sin(2 * np.pi * 375 * np.arange(RATE) / RATE) + 1.65
    heard = heard_spectrum(wave, RATE, "a sine")
    assert heard.hertz[64] == 375
    assert heard.dbv[64] == pytest.approx(dbv, abs=0.01)
    assert int(np.argmax(heard.dbv)) == 64


def test_the_picture_of_a_played_log_has_one_more_part(tmp_path: Path) -> None:
    measures = [measure_stage(load_stage("patches/stage-pwm-rc.toml"))]
    heard = [heard_spectrum(np.sin(np.arange(20_000) / 7), RATE, "a log, left")]
    stage_picture(str(tmp_path / "tone.svg"), measures)
    stage_picture(str(tmp_path / "log.svg"), measures, heard)
    title = "what the load hears, mean over all of it"
    assert title not in (tmp_path / "tone.svg").read_text(encoding="utf-8")
    assert title in (tmp_path / "log.svg").read_text(encoding="utf-8")
