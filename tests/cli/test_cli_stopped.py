"""Stopped in the middle: status, one line, and nothing half-written left behind."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import pytest

from tests.cli.commands import CHIP, JINGLE, start


def wait_for_part(folder: Path, process: object) -> None:
    deadline = time.monotonic() + 30
    while not any(p.name.startswith(".part") and p.stat().st_size > 100_000 for p in folder.iterdir()):
        assert time.monotonic() < deadline
        time.sleep(0.02)


@pytest.mark.parametrize(
    ("number", "status", "said"),
    [(signal.SIGINT, 130, "psgmodel: stopped\n"), (signal.SIGTERM, 143, "")],
)
@pytest.mark.parametrize("kind", ["x.wav", "x.flac"])
def test_a_command_stopped_in_the_middle_leaves_no_file(
    number: signal.Signals, status: int, said: str, kind: str, tmp_path: Path
) -> None:
    process = start(["render", JINGLE, "--chip", CHIP, "-o", kind, "--tail", "3600s"], tmp_path)
    wait_for_part(tmp_path, process)
    process.send_signal(number)
    out, err = process.communicate(timeout=20)
    assert process.returncode == status
    assert (out, err) == ("", said)
    assert os.listdir(tmp_path) == []


def test_a_file_that_was_there_survives_a_stop(tmp_path: Path) -> None:
    (tmp_path / "x.wav").write_text("old")
    process = start(["render", JINGLE, "--chip", CHIP, "-o", "x.wav", "--tail", "3600s"], tmp_path)
    wait_for_part(tmp_path, process)
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=20)
    assert os.listdir(tmp_path) == ["x.wav"]
    assert (tmp_path / "x.wav").read_text() == "old"
