"""Pictures: the numbers behind them, the same bytes each time, names and labels."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from psgmodel.audio.columns import ColumnsState
from psgmodel.audio.spectra import spectrogram
from psgmodel.errors import AudioError, OutputError
from psgmodel.report.comparison_picture import comparison_picture, level_difference, mean_levels
from psgmodel.report.plots import check_picture_name, log_hertz, log_rows, spectrogram_picture

RATE = 48_000


def tone(hertz: float, seconds: float, level: float = 0.5) -> np.ndarray:
    return (level * np.sin(2 * np.pi * hertz * np.arange(int(seconds * RATE)) / RATE))[:, None]


def columns(samples: np.ndarray, **options: int) -> object:
    state = ColumnsState(RATE, samples.shape[0], **options)
    state.add(samples)
    return state.finish()[0]


def test_a_tone_stands_in_the_row_of_its_frequency_at_its_level() -> None:
    # A sine of peak 0.5 is 6.02 dB below a full-scale sine (AES17); 1000 Hz falls between two lines of 11.7 Hz: the
    # Hann window loses up to 1.42 dB there (Harris, 1978).
    found = columns(tone(1000.0, 1.0))
    rows = log_rows(found.hertz, found.dbfs, 20_000.0)
    loudest = log_hertz(20_000.0)[rows[10].argmax()]
    assert loudest == pytest.approx(1000.0, rel=0.02)
    assert -6.03 - 1.42 <= rows[10].max() <= -6.0


def test_a_spectrogram_in_columns_is_the_plain_one_where_there_are_columns_enough() -> None:
    samples = np.random.default_rng(1).normal(0, 0.1, (RATE, 1))
    found = columns(samples, length=2048)
    plain = spectrogram(samples[:, 0], RATE, length=2048, hop=512)
    np.testing.assert_allclose(found.dbfs, plain.dbfs, atol=1e-9)
    np.testing.assert_allclose(found.seconds, plain.seconds)


@pytest.mark.parametrize("block", [1, 700, 1000, 5000, 48_000])
def test_columns_do_not_depend_on_the_blocks(block: int) -> None:
    samples = tone(440.0, 0.25) if block == 1 else tone(440.0, 1.0)
    state = ColumnsState(RATE, samples.shape[0], columns=20, length=1024)
    for at in range(0, samples.shape[0], block):
        state.add(samples[at : at + block])
    whole = columns(samples, columns=20, length=1024)
    (found,) = state.finish()
    np.testing.assert_array_equal(found.dbfs, whole.dbfs)
    np.testing.assert_array_equal(found.seconds, whole.seconds)


def test_a_column_is_the_mean_power_of_its_frames_so_nothing_is_left_out() -> None:
    # One frame in sixteen is loud: the mean power is a sixteenth, 12.04 dB below.
    loud = tone(1500.0, 64 / RATE, 1.0)  # two periods in 64 samples
    quiet = np.zeros((64 * 15, 1))
    samples = np.concatenate([loud, quiet])
    state = ColumnsState(RATE, samples.shape[0], columns=1, length=64)
    state.add(samples)
    (found,) = state.finish()
    plain = spectrogram(samples[:, 0], RATE, length=64, hop=16)
    mean = 10 * np.log10(np.mean(10 ** (plain.dbfs / 10), axis=0))
    assert found.dbfs.shape == (1, 33)
    np.testing.assert_allclose(found.dbfs[0], mean, atol=1e-9)


def test_a_short_signal_gets_shorter_frames_and_one_that_is_too_short_is_refused() -> None:
    assert columns(tone(1000.0, 0.01)).dbfs.shape[0] > 4
    with pytest.raises(AudioError, match="40 samples are fewer than one frame of 64"):
        columns(np.zeros((40, 1)))


def test_the_spectrum_of_a_picture_is_the_mean_of_powers() -> None:
    found = columns(np.concatenate([tone(1500.0, 1.0, 1.0), np.zeros((RATE, 1))]))
    line = int(np.argmin(np.abs(found.hertz - 1500.0)))
    assert mean_levels(found)[line] == pytest.approx(-3.01, abs=0.1)


def test_a_difference_counts_only_where_one_side_is_above_the_floor() -> None:
    model, dump = np.array([-20.0, -100.0, -95.0, -40.0]), np.array([-26.0, -91.0, -60.0, -40.0])
    assert level_difference(model, dump).tolist() == [-6.0, 0.0, 30.0, 0.0]


@pytest.mark.parametrize("name", ["x.pdf", "x", "png", "x.png.gz"])
def test_a_name_that_says_no_kind_of_picture_is_refused(name: str) -> None:
    with pytest.raises(OutputError, match=r"does not say which kind of picture it is \(end it in \.png or \.svg\)"):
        check_picture_name(name)


def draw(path: Path) -> None:
    one = columns(np.concatenate([tone(440.0, 0.5), tone(880.0, 0.5)]))
    two = columns(np.concatenate([tone(440.0, 0.5), tone(900.0, 0.5)]))
    comparison_picture(str(path), one, two, title="Wren, a", verdict="they differ", first_difference_s=0.5)


@pytest.mark.parametrize("suffix", ["png", "svg"])
def test_the_same_input_gives_the_same_bytes_in_another_process_too(suffix: str, tmp_path: Path) -> None:
    draw(tmp_path / f"one.{suffix}")
    code = f"from tests.report.test_report_pictures import *; draw(Path({str(tmp_path / f'two.{suffix}')!r}))"
    home = Path(__file__).parents[2]
    subprocess.run([sys.executable, "-c", code], check=True, cwd=home)
    one, two = ((tmp_path / f"{n}.{suffix}").read_bytes() for n in ("one", "two"))
    assert one == two
    assert b"matplotlib version" not in one
    assert b"<dc:date>" not in one


def test_both_sides_and_the_difference_are_on_the_page_in_their_colours(tmp_path: Path) -> None:
    draw(tmp_path / "x.png")
    with Image.open(tmp_path / "x.png") as picture:
        dots = np.asarray(picture.convert("RGB")).reshape(-1, 3)
    colours = {tuple(c) for c in np.unique(dots, axis=0).tolist()}
    assert {(0, 114, 178), (213, 94, 0)} <= colours  # Okabe and Ito: blue for the model, vermillion for the dump


def test_one_panel_or_many_the_picture_grows_and_its_width_stays(tmp_path: Path) -> None:
    found = columns(tone(440.0, 0.5))
    sizes = []
    for count in (1, 3):
        path = tmp_path / f"{count}.png"
        spectrogram_picture(str(path), [(f"panel {k}", found) for k in range(count)], title="Wren")
        with Image.open(path) as picture:
            sizes.append(picture.size)
    assert sizes[0][0] == sizes[1][0] == 1350
    assert sizes[1][1] > sizes[0][1]


def test_a_picture_that_cannot_be_written_is_told_and_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"cannot write .*no/x\.png: No such file or directory"):
        draw(tmp_path / "no" / "x.png")
    assert list(tmp_path.iterdir()) == []
