"""The command `render`: files, lengths, levels, cuts; checked with the standard library's WAV reader and arithmetic."""

from __future__ import annotations

import math
import wave
from pathlib import Path

import numpy as np
import pytest

from tests.cli.commands import CHIP, JINGLE, TINY, run, run_here

CLOCK = 6_144_000


def samples_of(path: Path) -> np.ndarray:
    with wave.open(str(path), "rb") as file:
        assert file.getsampwidth() == 2
        data = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
        return data.reshape(-1, file.getnchannels()) / 32_768


def test_a_log_becomes_a_wav_file_in_out_and_what_was_written_is_told(tmp_path: Path) -> None:
    found = run(["render", TINY, "--chip", CHIP], tmp_path)
    assert (found.status, found.err) == (0, "")
    samples = samples_of(tmp_path / "out" / "tiny.wav")
    assert samples.shape == (math.ceil(100_000 * 48_000 / CLOCK), 2)
    assert "8 writes, cycles 0 to 100000, 16.276 ms\n" in found.out
    assert f"{20 * math.log10(np.abs(samples).max()):.1f}" in found.out


def test_the_loudness_of_a_note_is_what_the_prose_says(tmp_path: Path) -> None:
    # linnet.md: volume 31 times gain 4 on one output of 511; a fading envelope only lowers it.
    run_here(["render", TINY, "--chip", CHIP, "--to", "9000", "--depth", "16", "-o", "x.wav"], tmp_path)
    top = samples_of(tmp_path / "x.wav").max()
    assert top == pytest.approx(31 * 4 / 511, rel=0.15)  # band-limited edges overshoot by the Gibbs ripple
    assert top >= 31 * 4 / 511


def test_channels_come_apart_and_add_up_to_the_mix(tmp_path: Path) -> None:
    # linnet.toml with all routed to both outputs and no overload: the mix is the sum of its channels.
    common = [TINY, "--chip", CHIP, "--depth", "16"]
    assert run_here(["render", *common, "-o", "x.wav"], tmp_path).status == 0
    found = run_here(["render", *common, "-o", "x.wav", "--channels", "separate"], tmp_path)
    assert found.status == 0
    parts = [samples_of(tmp_path / f"x-{name}.wav") for name in ("a", "b", "wave", "noise")]
    assert all(part.shape[1] == 1 for part in parts)
    late = samples_of(tmp_path / "x.wav")[:, :1]
    # The output register is one cycle late: a fiftieth of a sample.
    assert np.abs(sum(parts) - late).max() < 0.02


def test_a_cut_in_seconds_and_in_cycles_is_the_same_file(tmp_path: Path) -> None:
    one = run_here(["render", JINGLE, "--chip", CHIP, "-o", "s.wav", "--from", "2s", "--to", "2250ms"], tmp_path)
    two = run_here(
        ["render", JINGLE, "--chip", CHIP, "-o", "c.wav", "--from", "12288000", "--to", "13824000"], tmp_path
    )
    assert (one.status, two.status) == (0, 0)
    assert (tmp_path / "s.wav").read_bytes() == (tmp_path / "c.wav").read_bytes()
    assert samples_of(tmp_path / "s.wav").shape[0] == 12_000


def test_a_tail_mono_and_a_dc_block_do_what_they_say(tmp_path: Path) -> None:
    words = ["render", TINY, "--chip", CHIP, "-o", "x.wav", "--tail", "1s", "--mono", "--dc-block", "20"]
    assert run_here(words, tmp_path).status == 0
    samples = samples_of(tmp_path / "x.wav")
    assert samples.shape == (math.ceil((100_000 + CLOCK) * 48_000 / CLOCK), 1)
    assert abs(samples[-4_000:]).max() < 1e-3


def test_mono_is_the_average_of_the_outputs(tmp_path: Path) -> None:
    cut = ["--from", "2s", "--to", "2100ms"]
    for name, more in (("two.wav", []), ("one.wav", ["--mono"])):
        assert run_here(["render", JINGLE, "--chip", CHIP, "-o", name, *cut, *more], tmp_path).status == 0
    two, one = samples_of(tmp_path / "two.wav"), samples_of(tmp_path / "one.wav")
    assert np.abs(two[:, 0] - two[:, 1]).max() > 0.1
    assert np.abs(two.mean(axis=1) - one[:, 0]).max() <= 1 / 32_768


@pytest.mark.parametrize(("name", "depth"), [("x.flac", "24"), ("x.wav", "float"), ("x.wav", "24")])
def test_every_depth_and_container_comes_out_with_the_same_sound(name: str, depth: str, tmp_path: Path) -> None:
    import soundfile

    run_here(["render", TINY, "--chip", CHIP, "-o", "y.wav"], tmp_path)
    assert run_here(["render", TINY, "--chip", CHIP, "-o", name, "--depth", depth], tmp_path).status == 0
    found, rate = soundfile.read(tmp_path / name)
    assert rate == 48_000
    assert np.abs(found - samples_of(tmp_path / "y.wav")).max() <= 1 / 65_536 + 1e-9


def test_a_picture_of_the_sound_is_written_beside_it_the_same_each_time(tmp_path: Path) -> None:
    pictures = []
    for number in range(2):
        words = ["render", TINY, "--chip", CHIP, "--tail", "200ms", "-o", "x.wav", "--picture", f"{number}.png"]
        found = run(words, tmp_path)
        assert found.status == 0
        assert f"picture  {number}.png" in found.out
        pictures.append((tmp_path / f"{number}.png").read_bytes())
    assert pictures[0] == pictures[1]
    assert pictures[0].startswith(b"\x89PNG")


def test_the_same_command_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("1.wav", "2.wav"):
        words = ["render", JINGLE, "--chip", CHIP, "-o", name, "--to", "500ms", "--dither", "7"]
        assert run(words, tmp_path).status == 0
    assert (tmp_path / "1.wav").read_bytes() == (tmp_path / "2.wav").read_bytes()
