"""The DC block against its own definition on paper."""

from __future__ import annotations

import copy

import numpy as np
import pytest
from scipy.signal import bilinear, freqz

from psgmodel.audio.dc_block import DcBlock, block_dc
from psgmodel.errors import AudioError


def response(corner_hz: float, rate: int, hertz: np.ndarray) -> np.ndarray:
    """Frequency response from the response to one impulse after silence."""
    impulse = np.zeros(2**18)
    impulse[1] = 1.0
    answer = block_dc(impulse, corner_hz, rate)[1:]
    return np.array([np.sum(answer * np.exp(-2j * np.pi * f / rate * np.arange(answer.size))) for f in hertz])


@pytest.mark.parametrize(("corner_hz", "rate"), [(5.0, 48_000), (22.6076, 44_100), (30.0, 96_000), (1_000.0, 8_000)])
def test_the_gain_at_the_corner_is_one_over_root_two(corner_hz: float, rate: int) -> None:
    found = response(corner_hz, rate, np.array([0.0, corner_hz, rate / 2]))
    assert np.abs(found) == pytest.approx([0.0, np.sqrt(0.5), 1.0], abs=1e-9)
    assert np.angle(found[1], deg=True) == pytest.approx(45.0, abs=1e-6)


def test_it_is_the_bilinear_transform_of_a_coupling_capacitor() -> None:
    # s / (s + w) with w warped by 2 fs tan(pi fc / fs); scipy.signal.bilinear is the other hand.
    rate, corner = 48_000, 45.21  # 220 uF into 16 ohm, Texas Instruments headphone amplifier data
    b, a = bilinear([1, 0], [1, 2 * rate * np.tan(np.pi * corner / rate)], rate)
    hertz = np.array([1.0, 45.21, 1_000.0, 20_000.0])
    expected = freqz(b, a, hertz, fs=rate)[1]
    assert response(corner, rate, hertz) == pytest.approx(expected, abs=1e-9)


def test_a_constant_comes_out_as_zeros_from_the_first_sample() -> None:
    assert np.array_equal(block_dc(np.full((500, 2), 0.75), 10, 48_000), np.zeros((500, 2)))


def test_dc_that_comes_on_dies_away_with_the_time_constant_of_the_corner() -> None:
    step = np.concatenate([np.zeros(1), np.ones(48_000)])
    after = block_dc(step, 10.0, 48_000)
    at = round(48_000 / (2 * np.pi * 10))
    assert after[1 + at] == pytest.approx(np.exp(-1), abs=1e-3)


@pytest.mark.parametrize("block", [1, 3, 64, 1_000, 99_999])
@pytest.mark.parametrize("channels", [None, 2])
def test_blocks_of_any_size_give_the_same_bytes(block: int, channels: int | None) -> None:
    shape = (5_000,) if channels is None else (5_000, channels)
    samples = np.random.default_rng(1).uniform(-1, 1, shape)
    whole = block_dc(samples, 12.5, 44_100)
    high_pass = DcBlock(12.5, 44_100)
    parts = []
    for at in range(0, 5_000, block):
        parts.append(high_pass.process(samples[at : at + block]))
        resumed = DcBlock(12.5, 44_100)
        resumed.state = copy.deepcopy(high_pass.state)
        high_pass = resumed
    assert np.concatenate(parts).tobytes() == whole.tobytes()
    assert whole.shape == shape


def test_an_empty_block_changes_nothing() -> None:
    high_pass = DcBlock(10, 48_000)
    assert high_pass.process(np.zeros((0, 2))).shape == (0, 2)
    assert np.array_equal(high_pass.process(np.ones((3, 2))), np.zeros((3, 2)))


@pytest.mark.parametrize("corner_hz", [0, -1, 24_000, float("nan")])
def test_a_corner_outside_the_band_is_refused(corner_hz: float) -> None:
    with pytest.raises(AudioError, match=r"DC block corner .* Hz is not between 0 and 24000 Hz \(usual: 5 to 30 Hz"):
        DcBlock(corner_hz, 48_000)
