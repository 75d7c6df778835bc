"""Squares and wave tables: their lines against Fourier series and the rule of held samples.

The Steps of one period are written out cycle by cycle; the exact DFT of those P samples, times sinc(m / P) for the hold
of one cycle, is the Fourier series of the held waveform. Amplitudes are peak values.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from psgmodel.chip import Chip
from psgmodel.engine import run
from psgmodel.engine.run import EngineName
from psgmodel.reglog import make_log
from tests.engine.engines import ENGINES
from tests.engine.one_channel import GO, MEMORY, PERIOD, START, VOLUME, unit

Lines = NDArray[np.float64]


def period_of(chip: Chip, setup: list[tuple[int, int]], steps: int, length: int, engine: EngineName) -> Lines:
    """The levels of the second period of a note, one value a cycle."""
    rows = [*setup, (PERIOD, length - 1), (GO, START)]
    size = steps * length
    log = make_log([0] * len(rows), [a for a, _ in rows], [v for _, v in rows], end=3 * size)
    level = run(chip, log, engine=engine)["x"].at(np.arange(3 * size)).astype(np.float64)
    assert np.array_equal(level[size : 2 * size], level[2 * size :])
    return level[size : 2 * size]


def line_amplitudes(samples: Lines, harmonics: int) -> Lines:
    """Peak amplitudes of harmonics 1, 2, ... of the held waveform."""
    size = samples.size
    spectrum = np.fft.fft(samples)
    m = np.arange(1, harmonics + 1)
    return 2 / size * np.abs(spectrum[m % size]) * np.abs(np.sinc(m / size))


def square(ones: int, engine: EngineName) -> Lines:
    """A pulse of 8 steps, 5 cycles each, at level 1."""
    chip = unit(volume_bits=1, patterns=f'["{"1" * ones + "0" * (8 - ones)}"]')
    return period_of(chip, [(VOLUME, 1)], 8, 5, engine)


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize(
    ("ones", "published"),
    [
        # (2 / (n pi)) abs(sin(n pi d)): D. Alter, SPRAA88A, Texas Instruments, 2008, section 2.
        (4, [0.63662, 0, 0.212207, 0, 0.127324, 0, 0.090946, 0]),
        (2, [0.450158, 0.318310, 0.150053, 0, 0.090032, 0.106103, 0.064308, 0]),
        (1, [0.243624, 0.225079, 0.196053, 0.159155, 0.117632, 0.075026, 0.034803, 0]),
    ],
    ids=["1/2", "1/4", "1/8"],
)
def test_pulse_lines_are_the_fourier_series(ones: int, published: list[float], engine: EngineName) -> None:
    samples = square(ones, engine)
    duty = ones / 8
    lines = line_amplitudes(samples, 100)
    series = [2 / (n * math.pi) * abs(math.sin(n * math.pi * duty)) for n in range(1, 101)]
    assert lines == pytest.approx(series, abs=1e-12)
    assert lines[:8] == pytest.approx(published, abs=1e-6)
    assert samples.mean() == pytest.approx(duty, abs=1e-15)


@pytest.mark.parametrize(("ones", "every"), [(4, 2), (2, 4), (1, 8)])
def test_harmonics_where_n_times_duty_is_whole_are_nulls(ones: int, every: int) -> None:
    lines = line_amplitudes(square(ones, "fast"), 64)
    null = lines[every - 1 :: every]
    assert 20 * np.log10(np.max(null) / lines[0] + 1e-300) < -120
    assert np.min(np.delete(lines, np.arange(every - 1, 64, every))) / lines[0] > 1e-3


@pytest.mark.parametrize("ones", [1, 2, 3])
def test_a_duty_and_its_complement_have_the_same_lines(ones: int) -> None:
    lines = line_amplitudes(square(ones, "fast"), 40)
    assert line_amplitudes(square(8 - ones, "fast"), 40) == pytest.approx(lines, abs=1e-12)


@pytest.mark.parametrize(
    ("ones", "decibels"),
    [
        (2, {2: -3.01, 3: -9.54, 5: -13.98, 6: -12.55, 7: -16.90}),
        (1, {2: -0.69, 3: -1.89, 4: -3.70, 5: -6.32, 6: -10.23, 7: -16.90}),
    ],
)
def test_pulse_lines_in_decibels_of_the_first(ones: int, decibels: dict[int, float]) -> None:
    lines = line_amplitudes(square(ones, "fast"), 8)
    for n, wanted in decibels.items():
        assert 20 * math.log10(lines[n - 1] / lines[0]) == pytest.approx(wanted, abs=0.01)


def wave(samples: list[int], bits: int, length: int, engine: EngineName) -> Lines:
    chip = unit("wave", volume_bits=1, table=f"samples = {len(samples)}, bits = {bits}")
    setup = [(VOLUME, 1), *((MEMORY + n, s) for n, s in enumerate(samples))]
    return period_of(chip, setup, len(samples), length, engine)


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("length", [1, 3])
@pytest.mark.parametrize(
    "samples", [[3, 1, 4, 1, 5, 9, 2, 6], [0, 15, 7, 8, 8, 7, 15, 0, 1, 2, 3, 5], [1, 0]], ids=["8", "12", "2"]
)
def test_wave_lines_are_the_dft_of_the_table_times_sinc(samples: list[int], length: int, engine: EngineName) -> None:
    # General rule of N held samples: amplitude of harmonic m is (2 / N) abs DFT[m mod N] times abs sinc(m / N).
    size = len(samples)
    m = np.arange(1, 61)
    rule = 2 / size * np.abs(np.fft.fft(samples)[m % size]) * np.abs(np.sinc(m / size))
    assert line_amplitudes(wave(samples, 4, length, engine), 60) == pytest.approx(rule, abs=1e-9)


def test_a_triangle_of_32_steps() -> None:
    # Levels 0..15, 15..0: odd n (2 / (n pi)) cot(n pi / 32), even n nothing, mean 7.5 (sum of the held steps).
    samples = wave([*range(16), *reversed(range(16))], 4, 2, "fast")
    lines = line_amplitudes(samples, 31)
    assert samples.mean() == 7.5
    assert lines[1::2] == pytest.approx(np.zeros(15), abs=1e-12)
    assert [lines[n - 1] for n in (1, 3, 5, 7, 9)] == pytest.approx(
        [6.46371, 0.69955, 0.23821, 0.11082, 0.05805], abs=1e-5
    )
    formula = [abs(2 / (n * math.pi) / math.tan(n * math.pi / 32)) for n in range(1, 32, 2)]
    assert lines[::2] == pytest.approx(formula, abs=1e-12)


def test_the_distortion_of_a_sine_of_32_samples_of_4_bits() -> None:
    # round(7.5 + 7.5 sin(2 pi (k + 1/2) / 32)): harmonics 2 to 16 of the samples 4.397 %, -27.14 dB.
    table = [round(7.5 + 7.5 * math.sin(2 * math.pi * (k + 0.5) / 32)) for k in range(32)]
    spectrum = np.abs(np.fft.rfft(wave(table, 4, 1, "fast")))
    spectrum[16] /= 2  # the line at half the sample rate stands once, all others twice
    distortion = math.sqrt(float(np.sum(spectrum[2:] ** 2))) / spectrum[1]
    assert 20 * math.log10(distortion) == pytest.approx(-27.14, abs=0.01)
