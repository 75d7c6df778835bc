"""The command `doctor`: what it finds, what it misses, and that it survives a broken machine."""

from __future__ import annotations

import os
import platform
import shutil
import subprocess
import sys
from importlib import metadata
from pathlib import Path

from tests.cli.commands import COMMAND, environment, run


def test_everything_that_the_tests_install_is_found_with_its_version(tmp_path: Path) -> None:
    found = run(["doctor", "--json"], tmp_path)
    assert found.status == 0
    seen = {f["name"]: f["found"] for f in found.document["result"]["findings"]}
    assert seen["Python"] == platform.python_version()
    assert seen["kernel"] == "in use"
    for package in ("numpy", "scipy", "soundfile", "matplotlib", "sounddevice"):
        assert seen[package] == metadata.version(package)
    for tool in ("iverilog", "verilator", "ghdl", "ngspice"):
        assert shutil.which(tool)
        assert seen[tool][0].isdigit()
    told = subprocess.run(["verilator", "--version"], capture_output=True, text=True, check=True).stdout
    assert f" {seen['verilator']} " in told
    assert seen["PortAudio"].startswith("19.")
    assert seen["sound device"] == ""


def test_what_is_missing_is_told_with_its_purpose_and_the_line_that_installs_it(tmp_path: Path) -> None:
    bare = tmp_path / "bin"
    bare.mkdir()
    found = run(["doctor"], tmp_path, {"PATH": str(bare)})
    assert found.status == 0
    lines = found.out.splitlines()
    assert any(line.split() == ["ghdl", "missing", "optional", "simulates", "VHDL"] for line in lines)
    assert any(line.split() == ["ghdl", "apt-get", "install", "ghdl"] for line in lines)


def test_a_needed_package_that_is_missing_is_no_success(tmp_path: Path) -> None:
    # A Python that cannot find its packages: without numpy the doctor itself must still run.
    home = Path(sys.modules["psgmodel"].__file__ or "").parents[1]
    done = subprocess.run(
        [sys.executable, "-S", "-m", "psgmodel", "doctor"],
        cwd=tmp_path,
        env={**environment(), "PYTHONPATH": str(home)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert "numpy         missing" in done.stdout
    assert f"{sys.executable} -m pip install numpy" in done.stdout
    assert "Traceback" not in done.stderr


def test_a_broken_sound_setup_does_not_take_the_doctor_down(tmp_path: Path) -> None:
    done = subprocess.run(
        [*COMMAND, "doctor"],
        cwd=tmp_path,
        env={**environment(), "ALSA_CONFIG_PATH": os.devnull},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert "sound device  missing" in done.stdout
