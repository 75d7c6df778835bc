"""Measurements: what a signal is like, in numbers with a stated convention; one file a measurement.

Contents: exact lines of `Steps` (`lines`), windows and power spectra (`windows`, `spectrum`), levels and their decibels
(`decibels`), one tone and its faults (`tone`), ripple and carrier (`carrier`), responses (`response`), idle tones
(`idle`), loudness (`loudness`). Weightings stand in `psgmodel.output_stage.weighting`.
"""

from psgmodel.output_stage.measures.carrier import (
    CarrierLine,
    Ripple,
    carrier_of_lines,
    carrier_of_record,
    ripple,
    ripple_of_lines,
)
from psgmodel.output_stage.measures.decibels import (
    Levels,
    dbfs_to_rms,
    dbu_to_volt,
    dbv_to_volt,
    levels,
    levels_of_steps,
    rms_to_dbfs,
    to_db,
    volt_to_dbu,
    volt_to_dbv,
)
from psgmodel.output_stage.measures.idle import IdleTone, idle_tones
from psgmodel.output_stage.measures.lines import LineSpectrum, line_spectrum
from psgmodel.output_stage.measures.loudness import k_weighted, loudness_lkfs
from psgmodel.output_stage.measures.response import Cutoffs, cutoffs, droop_db, gain_db, hold_response
from psgmodel.output_stage.measures.spectrum import PowerSpectrum, power_of_lines, power_spectrum
from psgmodel.output_stage.measures.tone import (
    Harmonic,
    ToneMeasure,
    ToneSettings,
    measure_tone,
    measure_tone_of_lines,
    sinad_to_enob,
    snr_and_thd_to_sinad,
    thd_f_to_thd_r,
)
from psgmodel.output_stage.measures.windows import Window, WindowFigures, window_figures, window_samples

__all__ = [
    "CarrierLine",
    "Cutoffs",
    "Harmonic",
    "IdleTone",
    "Levels",
    "LineSpectrum",
    "PowerSpectrum",
    "Ripple",
    "ToneMeasure",
    "ToneSettings",
    "Window",
    "WindowFigures",
    "carrier_of_lines",
    "carrier_of_record",
    "cutoffs",
    "dbfs_to_rms",
    "dbu_to_volt",
    "dbv_to_volt",
    "droop_db",
    "gain_db",
    "hold_response",
    "idle_tones",
    "k_weighted",
    "levels",
    "levels_of_steps",
    "line_spectrum",
    "loudness_lkfs",
    "measure_tone",
    "measure_tone_of_lines",
    "power_of_lines",
    "power_spectrum",
    "ripple",
    "ripple_of_lines",
    "rms_to_dbfs",
    "sinad_to_enob",
    "snr_and_thd_to_sinad",
    "thd_f_to_thd_r",
    "to_db",
    "volt_to_dbu",
    "volt_to_dbv",
    "window_figures",
    "window_samples",
]
