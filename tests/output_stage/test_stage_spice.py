"""A whole stage against ngspice: the pin's edges as a list of points, the same voltage at the load."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from psgmodel.output_stage.networks import Drive, netlist_transient, state_space
from psgmodel.output_stage.networks.run import run_from
from psgmodel.output_stage.stage import measure_stage
from psgmodel.output_stage.stage.measuring import play_tone
from tests.output_stage.spice_runner import run_ngspice
from tests.output_stage.stage_texts import LINE, c, modulator, pin, pwm, r, stage

TONE = '[tone]\nlength = "1 ms"\nidle-levels = 0\nfrequency = 3000\n'


def test_ngspice_measures_the_same_tone_distortion_ripple_and_current(tmp_path: Path) -> None:
    tried = stage(pin('"12.288 MHz"', resistance=40), pwm(7), r("1k"), c("10n"), r("2.2k"), c("1n"), LINE, TONE)
    m = measure_stage(tried)
    assert m.plan.repeats
    played = play_tone(tried)
    record = played.drive.steps.cut(m.plan.start, m.plan.end).shifted(-m.plan.start)
    twice = record.then(record.shifted(record.end))
    drive = Drive(twice, tried.clock, 3.3)
    seconds = float(m.plan.seconds)
    netlist = netlist_transient(tried.network, drive, step=5e-8, settled_at=1.65, nodes=("out",))
    table = run_ngspice(netlist, tmp_path, "transient.dat")
    # The second of two records, on an even grid: the network has forgotten how it began.
    even = 1e-9 + seconds + np.arange(20_000) * (seconds / 20_000)
    volts = np.interp(even, table[:, 0], table[:, 1])
    bins = np.fft.rfft(volts) / volts.size
    tone = abs(bins[m.plan.periods]) * math.sqrt(2)
    second = abs(bins[2 * m.plan.periods]) * math.sqrt(2)
    assert tone == pytest.approx(m.tone.rms, rel=2e-4)
    assert second == pytest.approx(m.tone.harmonics[0].rms, rel=5e-3)
    assert bins[0].real == pytest.approx(float(m.spectrum.dc), rel=1e-4)
    above = bins.copy()
    above[: int(20_000 * seconds) + 1] = 0
    ripple = np.fft.irfft(above * volts.size, volts.size)
    assert ripple.max() - ripple.min() == pytest.approx(m.ripple.peak_to_peak, rel=0.01)
    assert np.sqrt(np.mean(ripple**2)) == pytest.approx(m.ripple.rms, rel=0.01)
    current = table[table[:, 0] > seconds + 1e-9, 2]
    assert np.abs(current).max() == pytest.approx(m.burdens[0].peak, rel=0.01)


def test_ngspice_follows_a_sigma_delta_stage_edge_by_edge(tmp_path: Path) -> None:
    tried = stage(pin(resistance=40), modulator("sigma-delta-2"), r("1k"), c("10n"), c("4.7u", "series"), LINE, TONE)
    played = play_tone(tried)
    drive = Drive(played.drive.steps.cut(0, 2000), tried.clock, 3.3)
    table = run_ngspice(netlist_transient(tried.network, drive, step=2e-8), tmp_path, "transient.dat")
    space = state_space(tried.network)
    run = run_from(space, drive, space.settled(0.0))
    time = table[:, 0] - 1e-9
    away = np.abs(time[:, None] - drive.edge_seconds()[None, :]).min(axis=1) > 1e-9
    away &= (time > 0) & (time < float(drive.seconds().sum()))
    assert away.sum() > 10_000
    error = run.at(space.output(), time[away]) - table[away, 1]
    assert np.abs(error).max() < 1e-3 * np.abs(table[:, 1]).max()
