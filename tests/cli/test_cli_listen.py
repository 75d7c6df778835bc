"""The command `listen`: with a device that writes down what it gets, and on a machine without one."""

from __future__ import annotations

import signal
import time
from pathlib import Path

import numpy as np
import pytest

from tests.cli.commands import CHIP, JINGLE, TINY, run, start


@pytest.fixture
def device(tmp_path: Path) -> dict[str, str]:
    (tmp_path / "asound.conf").write_text(
        "pcm.quiet { type null }\n"
        f'pcm.!default {{ type file slave.pcm "quiet" file "{tmp_path}/played.raw" format "raw" }}\n'
        "ctl.!default { type null }\n"
    )
    return {"ALSA_CONFIG_PATH": str(tmp_path / "asound.conf")}


def played(folder: Path) -> np.ndarray:
    return np.fromfile(folder / "played.raw", dtype="<f4").reshape(-1, 2)


def test_a_log_is_played_quietly_and_a_caution_comes_first(tmp_path: Path, device: dict[str, str]) -> None:
    found = run(["listen", JINGLE, "--chip", CHIP, "--from", "2s", "--to", "2500ms"], tmp_path, device)
    assert found.status == 0
    assert found.err.startswith("psgmodel: caution\n  Start at the lowest volume and raise it slowly")
    assert "gives no safety approval" in " ".join(found.err.split())
    assert "played 0.500 s on default, 20 dB below full scale\n" in found.out
    samples = played(tmp_path)
    assert 0.005 < np.abs(samples).max() <= 0.1
    assert abs(float(samples[12_000:24_000].mean())) < 0.003
    assert not (tmp_path / "out").exists()


def test_one_channel_can_be_heard_alone(tmp_path: Path, device: dict[str, str]) -> None:
    found = run(["listen", TINY, "--chip", CHIP, "--only", "noise", "--json"], tmp_path, device)
    assert found.status == 0
    assert found.document["result"]["signals"] == ["noise"]
    assert found.document["result"]["played"] is True
    assert np.abs(np.fromfile(tmp_path / "played.raw", dtype="<f4")).max() == 0.0


def test_ctrl_c_ends_playback_with_status_130_and_no_traceback(tmp_path: Path, device: dict[str, str]) -> None:
    process = start(["listen", JINGLE, "--chip", CHIP, "--tail", "3600s"], tmp_path, device)
    raw = tmp_path / "played.raw"
    deadline = time.monotonic() + 30
    while not raw.exists() or raw.stat().st_size < 3_000_000:
        assert time.monotonic() < deadline
        assert process.poll() is None
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=20)
    assert process.returncode == 130
    assert "Traceback" not in err
    assert err.endswith("psgmodel: stopped\n")
    assert "played " in out
    assert np.abs(played(tmp_path)[-1]).max() < 1e-6


def test_without_a_device_the_sound_goes_to_a_file_and_both_are_told(tmp_path: Path) -> None:
    found = run(["listen", TINY, "--chip", CHIP], tmp_path)
    assert found.status == 0
    assert found.out.endswith("wrote out/tiny.wav instead\n")
    assert "psgmodel: no sound device was found" in found.err
    assert "connect or enable a sound device" in found.err
    assert (tmp_path / "out" / "tiny.wav").stat().st_size > 44


def test_a_device_that_is_not_there_is_named_and_the_file_written(tmp_path: Path, device: dict[str, str]) -> None:
    found = run(["listen", TINY, "--chip", CHIP, "--device", "barn", "--json"], tmp_path, device)
    assert found.status == 0
    result = found.document["result"]
    assert (result["played"], result["file"]) == (False, "out/tiny.wav")
    assert 'sound device "barn" was not found' in result["reason"]
