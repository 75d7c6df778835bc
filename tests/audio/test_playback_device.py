"""Playback for real: PortAudio plays into an ALSA device that writes down what it gets.

The device is made by a temporary ALSA configuration in a subprocess, so that the machine's own is not touched.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from psgmodel.audio.dc_block import block_dc
from psgmodel.audio.playback import LISTENING_CAUTION, PlaybackError, play
from psgmodel.errors import AudioError

RATE = 48_000

SOURCE = """
import sys
import numpy as np
from psgmodel.audio.playback import PlaybackError, play
seconds = float(sys.argv[1])
t = np.arange(round(min(1.0, seconds) * 48_000))[:, None] / 48_000
samples = 0.25 + 0.5 * np.sin(2 * np.pi * t * np.array([[440.0, 1000.0]]))
if seconds > 1:  # both tones repeat every second
    samples = [samples] * int(seconds)
try:
    print("playing", flush=True)
    print(play(samples, 48_000, **eval(sys.argv[2])))
except PlaybackError as error:
    print(type(error).__name__, error)
"""


def run(folder: Path, seconds: float, options: str, config: str) -> subprocess.Popen[str]:
    (folder / "asound.conf").write_text(config)
    environment = {**os.environ, "ALSA_CONFIG_PATH": str(folder / "asound.conf")}
    return subprocess.Popen(
        [sys.executable, "-c", SOURCE, str(seconds), options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
    )


def file_device(folder: Path) -> str:
    return (
        "pcm.quiet { type null }\n"
        f'pcm.!default {{ type file slave.pcm "quiet" file "{folder}/out.raw" format "raw" }}\n'
        "ctl.!default { type null }\n"
    )


def device_samples(folder: Path) -> np.ndarray:
    return np.fromfile(folder / "out.raw", dtype="<f4").reshape(-1, 2).astype(np.float64)


def sent(seconds: float) -> np.ndarray:
    t = np.arange(round(seconds * RATE))[:, None] / RATE
    return 0.25 + 0.5 * np.sin(2 * np.pi * t * np.array([[440.0, 1000.0]]))


def test_the_device_gets_the_samples_20_db_down_faded_in_and_without_dc(tmp_path: Path) -> None:
    # 0.6002 s end on the slope of both tones, so that the ramp at the end has something to do.
    out, err = run(tmp_path, 0.6002, "{}", file_device(tmp_path)).communicate(timeout=30)
    assert "Played(device='default', samples=28810, stopped=False)" in out, err
    found = device_samples(tmp_path)
    expected = 0.1 * block_dc(sent(0.6002), 10.0, RATE)
    expected[:12_000] *= (np.arange(12_000) / 12_000)[:, None]
    assert found[:28_810] == pytest.approx(expected, abs=1e-7)
    assert np.abs(found).max() < 0.08
    ramp = found[28_809 : 28_809 + 480]
    assert np.abs(ramp[0]).max() > 0.02
    assert np.abs(np.diff(ramp, axis=0)).max() < 1.01 * np.abs(ramp[0]).max() / 479
    assert ramp[-1] == pytest.approx(0.0, abs=1e-9)


def test_level_fade_and_dc_are_options(tmp_path: Path) -> None:
    options = "{'level_db': -6.0, 'fade_in_s': 0.0, 'dc_block_hz': None}"
    out, err = run(tmp_path, 0.2, options, file_device(tmp_path)).communicate(timeout=30)
    assert "samples=9600" in out, err
    assert device_samples(tmp_path)[:9_600] == pytest.approx(10 ** (-6 / 20) * sent(0.2), abs=1e-7)


def test_ctrl_c_stops_playback_with_a_ramp_and_no_traceback(tmp_path: Path) -> None:
    # The null device takes samples faster than a real one, so an hour is offered.
    process = run(tmp_path, 3_600, "{'fade_in_s': 0.0}", file_device(tmp_path))
    assert process.stdout is not None
    assert process.stdout.readline() == "playing\n"
    while not (tmp_path / "out.raw").exists() or (tmp_path / "out.raw").stat().st_size < 8 * RATE // 2:
        assert process.poll() is None
        time.sleep(0.05)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=10)
    assert "stopped=True" in out
    assert "Traceback" not in err
    assert process.returncode == 0
    found = device_samples(tmp_path)
    assert found.shape[0] < 3_600 * RATE
    assert found[-1] == pytest.approx(0.0, abs=1e-9)
    assert np.abs(np.diff(found, axis=0)).max() < 0.1 * 0.5 * 2 * np.pi * 1_000 / RATE * 1.1


def test_a_machine_without_a_sound_device_says_so_in_one_line(tmp_path: Path) -> None:
    # ALSA's own configuration with its default devices taken out: a machine without a sound card.
    process = run(tmp_path, 0.1, "{'device': None}", "</usr/share/alsa/alsa.conf>\n")
    out, err = process.communicate(timeout=30)
    assert "PlaybackError no sound device was found" in out
    assert "(connect or enable a sound device, or write a WAV file instead)" in out
    assert "Traceback" not in err


def test_a_machine_whose_sound_setup_would_abort_the_program_says_so_instead(tmp_path: Path) -> None:
    # PortAudio's device search ends in an assertion where ALSA has no usable configuration.
    out, err = run(tmp_path, 0.1, "{}", "pcm.nothing { type null }\n").communicate(timeout=30)
    assert "PlaybackError sound cannot be played here: PortAudio stops the program while it looks for devices" in out
    assert "apt-get install libasound2-data" in out
    assert "Traceback" not in err


def test_a_device_that_does_not_exist_is_named(tmp_path: Path) -> None:
    options = "{'device': 'the big loudspeaker'}"
    out, _ = run(tmp_path, 0.1, options, file_device(tmp_path)).communicate(timeout=30)
    assert 'PlaybackError sound device "the big loudspeaker" was not found' in out


def test_a_machine_without_portaudio_is_told_what_to_install() -> None:
    # The library look-up finds nothing, as on a machine where the package is not installed.
    code = (
        "import ctypes.util; ctypes.util.find_library = lambda name: None\n"
        "import numpy as np\n"
        "from psgmodel.audio.playback import PlaybackError, play\n"
        "try: play(np.zeros(10), 48_000)\n"
        "except PlaybackError as error: print(error)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=30)
    assert done.stdout.strip() == (
        "sound cannot be played here: PortAudio library not found "
        "(apt-get install libportaudio2, or write a WAV file instead)"
    )
    assert done.stderr == ""


def test_rendering_does_not_load_the_sound_library() -> None:
    code = "import sys, psgmodel.audio, psgmodel.audio.playback; print('sounddevice' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=30)
    assert done.stdout == "False\n"


@pytest.mark.parametrize(
    ("samples", "options", "message"),
    [
        (np.ones(10), {"level_db": 3.0}, r"playback level 3\.0 dB is above full scale \(0 dB or less"),
        (np.ones(10), {"level_db": float("nan")}, r"playback level nan dB"),
        (np.ones(10), {"fade_in_s": -1.0}, r"fade-in of -1\.0 s is not a time"),
        (np.zeros(0), {}, r"there are no samples to play"),
        (
            np.array([0.0, 1.5]),
            {"level_db": 0.0, "fade_in_s": 0.0, "dc_block_hz": None},
            r"sample 1 is 1\.5 times full scale at 0\.0 dB \(lower level_db",
        ),
        (np.array([0.0, np.nan]), {"dc_block_hz": None, "fade_in_s": 0.0}, r"sample 1 is nan times full scale"),
    ],
)
def test_what_cannot_be_played_is_refused_before_anything_sounds(
    samples: np.ndarray, options: dict[str, float | None], message: str
) -> None:
    with pytest.raises(AudioError, match=message) as caught:
        play(samples, RATE, **options)
    assert not isinstance(caught.value, PlaybackError)


def test_the_caution_names_the_figures_of_the_listening_standard() -> None:
    # ITU-T H.870 (08/2018): 80 dBA for 40 h a week, 75 dBA for children; equal energy: 3 dB halves the time.
    for phrase in ("lowest volume", "H.870", "80 dBA for 40 hours", "75 dBA for 40 hours", "no safety approval"):
        assert phrase in LISTENING_CAUTION
    hours = [40 / 2 ** ((dba - 80) / 3) for dba in (89, 101)]
    assert hours == pytest.approx([5, 19 / 60], abs=0.01)
    assert "89 dBA for 5 hours, 101 dBA for 19 minutes" in LISTENING_CAUTION
