"""Reports of output stages: what stands in them, in which columns, and that JSON can hold it."""

from __future__ import annotations

import json
import math
import re
from functools import cache
from pathlib import Path

from psgmodel.output_stage.stage import StageMeasure, measure_stage, stage_remarks
from psgmodel.report.stage import compared_text, measured_text, remarks_text
from psgmodel.report.stage_json import measured_json
from psgmodel.report.stage_picture import spectrum_rows, stage_picture
from psgmodel.report.stage_rows import decibels, figure_rows
from tests.output_stage.stage_texts import LINE, NO_IDLE, c, modulator, pin, pwm, r, stage


@cache
def measured(kind: str) -> StageMeasure:
    words = {"pwm": pwm(6), "sigma": modulator("sigma-delta-1")}[kind]
    return measure_stage(
        stage(pin(resistance=40, rating="8 mA"), words, r("1k"), c("10n"), c("1u", "series"), LINE, NO_IDLE)
    )


def test_every_measurement_that_is_promised_has_its_row_and_its_convention() -> None:
    rows = {row.name: row for row in figure_rows(measured("pwm"))}
    promised = {
        "-3 dB points",
        "droop at 20 kHz",
        "ripple, playing",
        "ripple, at rest",
        "carrier residue",
        "SNR",
        "SFDR",
        "THD",
        "THD+N",
        "SINAD",
        "ENOB",
        "noise, A-weighted",
        "idle tones",
        "full-scale sine",
        "DC",
        "power-up",
        "pin, playing",
        "heat",
    }
    assert promised <= set(rows)
    assert all(rows[name].how for name in promised)
    assert re.fullmatch(r"\S+ [mµ]?V rms, -?\d+\.\d dBV", rows["full-scale sine"].value)


def test_a_report_fits_a_terminal_and_names_the_rating_and_the_load() -> None:
    text = measured_text(measured("pwm"), stage_remarks(measured("pwm")))
    assert max(map(len, text.splitlines())) <= 100
    assert "  load     line input, 10 kΩ\n" in text
    assert "rated 8 mA" in text
    assert text.startswith("MEETS 1 limit  tried  (tried.toml)\n")


def test_more_stages_than_fit_abreast_go_into_further_tables() -> None:
    five = [measured("pwm"), measured("sigma"), measured("pwm"), measured("sigma"), measured("pwm")]
    text = compared_text(five, [()] * 5)
    heads = [line.split() for line in text.splitlines() if re.fullmatch(r" +(\[\d\] *)+", line)]
    assert heads == [["[1]", "[2]", "[3]"], ["[4]", "[5]"]]
    assert len(re.findall(r"^  SINAD ", text, re.MULTILINE)) == 2
    assert max(map(len, text.splitlines())) <= 100


def test_nothing_to_remark_is_said_too() -> None:
    assert remarks_text([]) == "\nremarks\n  nothing stands out\n"


def test_json_holds_plain_numbers_only() -> None:
    for kind in ("pwm", "sigma"):
        document = measured_json(measured(kind), stage_remarks(measured(kind)))
        assert json.loads(json.dumps(document, allow_nan=False)) == document
        assert document["band_20hz_20khz"]["snr_db"] == measured(kind).tone.snr_db


def test_decibels_without_an_end_are_words() -> None:
    assert [decibels(v) for v in (math.inf, -math.inf, -0.01, 60.04)] == ["unlimited", "none", "0.0 dB", "60.0 dB"]


def test_the_picture_shows_the_tone_at_its_level_through_a_window_or_not(tmp_path: Path) -> None:
    for kind in ("pwm", "sigma"):
        m = measured(kind)
        hz, dbv = spectrum_rows(m)
        top = int(dbv.argmax())
        assert abs(hz[top] - float(m.plan.hz)) < 30
        assert abs(dbv[top] - 20 * math.log10(m.tone.rms)) < 0.05
    for name in ("a.png", "b.png", "a.svg"):
        stage_picture(str(tmp_path / name), [measured("pwm"), measured("sigma")])
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
    assert "pin to load" in (tmp_path / "a.svg").read_text() or (tmp_path / "a.svg").stat().st_size > 10_000
