"""Audio files: the bytes that are written, and what is read back."""

from __future__ import annotations

import os
import resource
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from psgmodel.audio.files import read_audio, write_audio
from psgmodel.errors import AudioError, OutputError

RATE = 48_000


def sine(samples: int = 4_800, channels: int = 1, peak: float = 0.5) -> np.ndarray:
    t = np.arange(samples)[:, None] * np.arange(1, channels + 1)
    return peak * np.sin(2 * np.pi * 440 * t / RATE)


def test_a_16_bit_wav_has_the_canonical_header(tmp_path: Path) -> None:
    # RIFF/WAVE: 44 bytes, little endian; 16-bit mono at 48 kHz has 96000 bytes per second and 2 per sample.
    path = tmp_path / "a.wav"
    write_audio(path, np.array([0.0, 1 / 32768, -1.0]), RATE)
    data = path.read_bytes()
    assert data[:44] == struct.pack(
        "<4sI4s4sIHHIIHH4sI", b"RIFF", 42, b"WAVE", b"fmt ", 16, 1, 1, RATE, 96_000, 2, 16, b"data", 6
    )
    assert data[44:] == struct.pack("<3h", 0, 1, -32768)


def test_a_24_bit_wav_of_odd_length_is_padded_to_an_even_one(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    write_audio(path, np.array([1 / 2**23, -1 / 2**23, 0.5]), RATE, depth="pcm24")
    data = path.read_bytes()
    assert len(data) == 44 + 9 + 1
    assert struct.unpack("<I", data[4:8])[0] == len(data) - 8
    assert struct.unpack("<I", data[40:44])[0] == 9
    assert data[44:] == bytes.fromhex("010000 ffffff 000040 00")


def test_a_float_wav_has_a_fact_chunk_and_no_time_stamp(tmp_path: Path) -> None:
    # Microsoft, "Multimedia Data Standards Update", 1994: a format other than PCM has cbSize and a fact chunk.
    path = tmp_path / "a.wav"
    write_audio(path, np.array([[0.25, -0.5], [1.0, 0.0]]), 44_100, depth="float32")
    data = path.read_bytes()
    assert data[:58] == struct.pack(
        "<4sI4s4sIHHIIHHH4sII4sI",
        *(b"RIFF", 66, b"WAVE", b"fmt ", 18, 3, 2, 44_100, 352_800, 8, 32, 0, b"fact", 4, 2, b"data", 16),
    )
    assert data[58:] == struct.pack("<4f", 0.25, -0.5, 1.0, 0.0)
    info = soundfile.info(path)
    assert (info.frames, info.channels, info.samplerate, info.subtype) == (2, 2, 44_100, "FLOAT")


def test_two_writes_seconds_apart_have_the_same_bytes(tmp_path: Path) -> None:
    kinds = [("a.wav", "pcm16"), ("b.wav", "pcm24"), ("c.wav", "float32"), ("d.flac", "pcm16"), ("e.flac", "pcm24")]

    def write_all() -> list[bytes]:
        for name, depth in kinds:
            write_audio(tmp_path / name, sine(channels=2), RATE, depth=depth)
        return [(tmp_path / name).read_bytes() for name, _ in kinds]

    first = write_all()
    time.sleep(1.1)
    assert write_all() == first


@pytest.mark.parametrize("name", ["a.wav", "a.flac"])
def test_all_65536_values_of_16_bits_come_back_exactly(tmp_path: Path, name: str) -> None:
    values = np.arange(-32768, 32768) / 32768
    write_audio(tmp_path / name, values, RATE)
    assert np.array_equal(read_audio(tmp_path / name).samples[:, 0], values)
    assert np.array_equal(soundfile.read(tmp_path / name, dtype="int16")[0], np.arange(-32768, 32768))


@pytest.mark.parametrize("name", ["a.wav", "a.flac"])
def test_values_of_24_bits_come_back_exactly(tmp_path: Path, name: str) -> None:
    codes = np.random.default_rng(1).integers(-(2**23), 2**23, (5_001, 2))
    codes[0] = [-(2**23), 2**23 - 1]
    write_audio(tmp_path / name, codes / 2**23, RATE, depth="pcm24")
    found = read_audio(tmp_path / name)
    assert np.array_equal(found.samples, codes / 2**23)
    assert (found.rate, found.subtype) == (RATE, "PCM_24")


def test_floats_come_back_as_float32(tmp_path: Path) -> None:
    samples = np.random.default_rng(1).uniform(-1, 1, (999, 2))
    write_audio(tmp_path / "a.wav", samples, RATE, depth="float32")
    assert np.array_equal(read_audio(tmp_path / "a.wav").samples, samples.astype(np.float32))


def test_samples_between_codes_are_rounded_to_the_nearest_half_to_even(tmp_path: Path) -> None:
    # libsndfile itself would floor: 124.96 codes would become 124, -0.4 codes would become -1.
    wanted = np.array([124.96, -0.4, 0.5, 1.5, -0.5, -1.5, 2.4999])
    write_audio(tmp_path / "a.wav", wanted / 32768, RATE)
    assert soundfile.read(tmp_path / "a.wav", dtype="int16")[0].tolist() == [125, 0, 0, 2, 0, -2, 2]


def test_blocks_give_the_same_bytes_as_the_whole(tmp_path: Path) -> None:
    whole = sine(100_000, 2)

    def blocks() -> Iterator[np.ndarray]:
        for at in range(0, 100_000, 777):
            yield whole[at : at + 777]

    for name, depth, seed in [
        ("a.wav", "pcm16", 7),
        ("a.wav", "pcm24", None),
        ("a.wav", "float32", None),
        ("a.flac", "pcm16", 7),
    ]:
        write_audio(tmp_path / name, whole, RATE, depth=depth, dither_seed=seed)
        write_audio(tmp_path / f"b{name}", blocks, RATE, depth=depth, dither_seed=seed)
        if name == "a.wav":
            assert (tmp_path / name).read_bytes() == (tmp_path / f"b{name}").read_bytes()
        assert np.array_equal(read_audio(tmp_path / name).samples, read_audio(tmp_path / f"b{name}").samples)


def test_dither_makes_the_rounding_error_a_quarter_of_a_squared_code(tmp_path: Path) -> None:
    # Lipshitz, Wannamaker, Vanderkooy, JAES 1992: total error power of triangular dither is D^2 / 4, mean 0,
    # for any signal; without dither a constant of 0.3 codes would always be off by 0.3.
    constant = np.full(200_000, 0.3 / 32768)
    write_audio(tmp_path / "a.wav", constant, RATE, dither_seed=1)
    error = soundfile.read(tmp_path / "a.wav", dtype="int16")[0] - 0.3
    assert 10 * np.log10(np.mean(error**2) / 0.25) == pytest.approx(0, abs=0.05)
    assert abs(error.mean()) < 0.006
    write_audio(tmp_path / "b.wav", constant, RATE, dither_seed=1)
    write_audio(tmp_path / "c.wav", constant, RATE, dither_seed=2)
    assert (tmp_path / "a.wav").read_bytes() == (tmp_path / "b.wav").read_bytes()
    assert (tmp_path / "a.wav").read_bytes() != (tmp_path / "c.wav").read_bytes()


def test_a_peak_above_full_scale_is_an_error_that_says_where_and_what_to_do(tmp_path: Path) -> None:
    samples = sine(channels=2)
    samples[1_200, 1] = -1.25
    samples[2_400, 0] = 1.1
    message = (
        r"peak of \+1\.94 dBFS at 0\.025000 s \(sample 1200, cycle 153700, channel 2\) is above full scale "
        r'\(render with full_scale at least 1\.2500 times as large, or name overload="scale" or "clip"\)'
    )
    for depth in ("pcm16", "pcm24", "float32"):
        with pytest.raises(AudioError, match=message):
            write_audio(tmp_path / "a.wav", samples, RATE, depth=depth, clock_hz=6_144_000, origin=100)
    assert os.listdir(tmp_path) == []


def test_clipping_is_counted_and_only_done_when_named(tmp_path: Path) -> None:
    samples = np.array([[0.5, 1.5], [-2.0, -1.0], [1.0, 1.01]])
    done = write_audio(tmp_path / "a.wav", samples, RATE, overload="clip")
    assert (done.clipped, done.at_top, done.gain, done.peak.value) == (3, 1, 1.0, 2.0)
    assert soundfile.read(tmp_path / "a.wav", dtype="int16")[0].tolist() == [
        [16384, 32767],
        [-32768, -32768],
        [32767, 32767],
    ]
    done = write_audio(tmp_path / "f.wav", samples, RATE, depth="float32", overload="clip")
    assert done.clipped == 3
    assert np.abs(read_audio(tmp_path / "f.wav").samples).max() == 1.0


def test_scaling_lowers_the_whole_file_so_that_the_peak_fits(tmp_path: Path) -> None:
    samples = sine(peak=1.7)
    done = write_audio(tmp_path / "a.wav", samples, RATE, depth="float32", overload="scale")
    assert done.gain == pytest.approx(1 / np.abs(samples).max(), rel=1e-12)
    assert done.clipped == 0
    found = read_audio(tmp_path / "a.wav").samples
    assert found == pytest.approx(samples * done.gain, abs=1e-7)
    quiet = write_audio(tmp_path / "b.wav", sine(), RATE, overload="scale")
    assert quiet.gain == 1.0


def test_float_files_may_keep_what_is_above_full_scale(tmp_path: Path) -> None:
    write_audio(tmp_path / "a.wav", np.array([0.0, 1.5]), RATE, depth="float32", overload="keep")
    assert read_audio(tmp_path / "a.wav").samples.max() == 1.5
    with pytest.raises(AudioError, match=r"needs depth float32: pcm16 has no codes above full scale"):
        write_audio(tmp_path / "a.wav", np.array([0.0, 1.5]), RATE, overload="keep")


def test_plus_one_is_stored_as_the_largest_code_and_said_so(tmp_path: Path) -> None:
    done = write_audio(tmp_path / "a.wav", np.array([1.0, -1.0, 0.0]), RATE)
    assert (done.clipped, done.at_top, done.samples) == (0, 1, 3)
    assert soundfile.read(tmp_path / "a.wav", dtype="int16")[0].tolist() == [32767, -32768, 0]


@pytest.mark.parametrize(
    ("name", "options", "message"),
    [
        ("a.mp3", {}, r'a\.mp3" does not say which kind of audio file it is \(end it in \.wav or \.flac'),
        ("a.flac", {"depth": "float32"}, r"FLAC holds no float32 samples \(depth pcm24"),
        ("a.wav", {"depth": "pcm8"}, r'depth "pcm8" is not known \(pcm16, pcm24 or float32'),
        ("a.wav", {"overload": "wrap"}, r'overload="wrap" is not known'),
        ("a.wav", {"depth": "pcm24", "dither_seed": 1}, r"dither is for pcm16, not for pcm24"),
        ("a.wav", {"dither_seed": -1}, r"dither seed -1 is below 0"),
        ("a.flac", {"rate": 10**6}, r"FLAC does not hold 1 channels at 1000000 Hz"),
        ("a.wav", {"rate": 0}, r"sample rate 0 Hz does not fit a file header"),
    ],
)
def test_what_no_file_can_hold_is_refused(tmp_path: Path, name: str, options: dict[str, object], message: str) -> None:
    chosen = {"rate": RATE, **options}
    with pytest.raises(AudioError, match=message):
        write_audio(tmp_path / name, sine(), **chosen)
    assert os.listdir(tmp_path) == []


def test_samples_that_are_no_samples_are_refused(tmp_path: Path) -> None:
    for samples, message in [
        (np.array([0.0, np.nan]), r"sample 1 of channel 1 is nan"),
        (np.array([[0.0, np.inf]]), r"sample 0 of channel 2 is inf"),
        (np.zeros(0), r"there are no samples to write"),
        (np.zeros((2, 2, 2)), r"samples of shape \(2, 2, 2\) are neither"),
        (lambda: iter([np.zeros((2, 2)), np.zeros(2)]), r"a block of 1 channels follows one of 2"),
    ]:
        with pytest.raises(AudioError, match=message):
            write_audio(tmp_path / "a.wav", samples, RATE)
    assert os.listdir(tmp_path) == []


def test_an_interrupt_while_blocks_are_made_leaves_no_file(tmp_path: Path) -> None:
    def blocks() -> Iterator[np.ndarray]:
        yield sine()
        raise KeyboardInterrupt

    for name in ("a.wav", "a.flac"):
        with pytest.raises(KeyboardInterrupt):
            write_audio(tmp_path / name, blocks, RATE)
    assert os.listdir(tmp_path) == []


def test_an_unwritable_place_is_an_output_error(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"cannot write .*/no/a\.wav: No such file or directory"):
        write_audio(tmp_path / "no" / "a.wav", sine(), RATE)


@pytest.mark.parametrize(("name", "depth"), [("a.wav", "pcm16"), ("a.flac", "pcm24"), ("a.wav", "float32")])
def test_a_disk_that_fills_up_leaves_no_file_and_says_why(tmp_path: Path, name: str, depth: str) -> None:
    # A limit on the size of files stands in for a full disk: the system refuses in the middle of a write.
    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, 50_000))

    code = (
        "import signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "import numpy as np\n"
        "from psgmodel.audio.files import write_audio\n"
        "from psgmodel.errors import OutputError\n"
        "noise = np.random.default_rng(0).uniform(-1, 1, 200_000)\n"
        "try: write_audio(sys.argv[1], noise, 48_000, depth=sys.argv[2])\n"
        "except OutputError as e: print(e)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / name), depth],
        capture_output=True,
        text=True,
        check=True,
        preexec_fn=limit,
    )
    assert done.stdout.strip().endswith(f"{name}: File too large")
    assert os.listdir(tmp_path) == []


def test_files_of_other_rates_and_channels_are_read(tmp_path: Path) -> None:
    for rate, channels, subtype in [(8_000, 1, "PCM_U8"), (96_000, 2, "PCM_32"), (44_100, 2, "DOUBLE")]:
        samples = sine(500, channels)
        soundfile.write(tmp_path / "a.wav", samples, rate, subtype=subtype)
        found = read_audio(tmp_path / "a.wav")
        assert (found.rate, found.samples.shape, found.subtype) == (rate, (500, channels), subtype)
        assert found.samples == pytest.approx(samples, abs=1 / 64)


def test_unreadable_files_are_told_with_their_name(tmp_path: Path) -> None:
    write_audio(tmp_path / "whole.wav", sine(), RATE)
    whole = (tmp_path / "whole.wav").read_bytes()
    (tmp_path / "cut.wav").write_bytes(whole[:-1000])
    (tmp_path / "text.wav").write_text("no audio at all")
    (tmp_path / "nothing.wav").write_bytes(b"")
    (tmp_path / "empty.wav").write_bytes(whole[:4] + struct.pack("<I", 36) + whole[8:40] + bytes(4))
    write_audio(tmp_path / "f.wav", np.zeros(3), RATE, depth="float32")
    data = (tmp_path / "f.wav").read_bytes()
    (tmp_path / "nan.wav").write_bytes(data[:-4] + struct.pack("<f", float("nan")))
    for name, message in [
        ("missing.wav", r"missing\.wav: cannot read: No such file or directory"),
        ("cut.wav", r"cut\.wav: is cut short: 8644 bytes where its header says 9644"),
        ("text.wav", r"text\.wav: not a readable audio file: .*\(WAV or FLAC is expected"),
        ("nothing.wav", r"nothing\.wav: not a readable audio file"),
        ("empty.wav", r"empty\.wav: holds no samples"),
        ("nan.wav", r"nan\.wav: sample 2 of channel 1 is nan"),
        (".", r"cannot read: Is a directory"),
    ]:
        with pytest.raises(AudioError, match=message):
            read_audio(tmp_path / name)


def test_a_cut_flac_file_is_told(tmp_path: Path) -> None:
    write_audio(tmp_path / "a.flac", np.random.default_rng(0).uniform(-1, 1, 50_000), RATE)
    whole = (tmp_path / "a.flac").read_bytes()
    (tmp_path / "cut.flac").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(AudioError, match=r"cut\.flac: "):
        read_audio(tmp_path / "cut.flac")


def test_a_wav_file_that_would_pass_4_gib_is_refused_before_it_is_full(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from psgmodel.audio import sinks

    monkeypatch.setattr(sinks, "_MAX_RIFF", 4_000)
    for depth in ("pcm16", "float32"):
        with pytest.raises(AudioError, match=r"a WAV file holds at most \d+ samples of this kind \(4 GiB\)"):
            write_audio(tmp_path / "a.wav", sine(), RATE, depth=depth)
    write_audio(tmp_path / "a.flac", sine(), RATE)
