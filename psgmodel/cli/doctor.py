"""doctor: what is installed, what is missing, what it is for, and the line that installs it.

Stage: cli. In: this machine. Out: a table. Needs nothing that it looks for. Exit status 0 unless something that
psgmodel cannot do without is missing.
"""

from __future__ import annotations

import argparse
import platform
import re
import shutil
import subprocess
import sys
from dataclasses import asdict, dataclass
from importlib import metadata
from typing import Literal

from psgmodel.cli.parser import CommandParser
from psgmodel.cli.screen import Screen

_PURPOSE = """Say what psgmodel finds on this machine, what is missing, what each thing is for, and the
line that installs it. The install lines are for Debian and its relatives."""
_EXAMPLE = "  psgmodel doctor"

Need = Literal["needed", "optional"]

_PACKAGES = (
    ("numpy", "signals and samples"),
    ("scipy", "filters, windows, transforms"),
    ("soundfile", "WAV and FLAC files"),
    ("matplotlib", "pictures"),
    ("sounddevice", "playback"),
)
_TOOLS = (
    ("iverilog", "-V", "iverilog", "simulates Verilog"),
    ("verilator", "--version", "verilator", "simulates Verilog, faster"),
    ("ghdl", "--version", "ghdl", "simulates VHDL"),
    ("ngspice", "--version", "ngspice", "checks output filters"),
)
_VERSION = re.compile(r"\d+(?:\.\d+)+|\bngspice-\d+|\b\d{2,}\b")
_TIMEOUT_S = 10.0
_SNDFILE = "apt-get install libsndfile1"
_SOUND_QUESTION = (
    "import sounddevice as s; print(s.get_portaudio_version()[1], flush=True); "
    "print(s.query_devices(None, 'output')['name'])"
)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked for.

    Attributes
    ----------
    name : str
    found : str
        Version or name; "" where it is missing.
    need : "needed" or "optional"
    purpose : str
    install : str
        The line that installs it.
    """

    name: str
    found: str
    need: Need
    purpose: str
    install: str


def make_parser() -> CommandParser:
    """Return the parser of this command."""
    parser = CommandParser("doctor", "[options]", _PURPOSE, _EXAMPLE)
    add_arguments(parser)
    return parser


def add_arguments(parser: CommandParser) -> None:
    """Add the arguments of this command: none."""


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Look, print the table, and the install lines of what is missing."""
    findings = look()
    screen.result(findings=[asdict(finding) for finding in findings])
    width = max(len(f.name) for f in findings)
    seen = max(len(f.found or "missing") for f in findings)
    for f in findings:
        shown = (f.found or "missing").ljust(seen)
        painted = shown if f.found else screen.paint(shown, "bad" if f.need == "needed" else "warning")
        screen.say(f"{f.name.ljust(width)}  {painted}  {f.need.ljust(8)}  {f.purpose}")
    missing = [f for f in findings if not f.found]
    if missing:
        screen.say()
    for f in missing:
        screen.say(f"{f.name.ljust(width)}  {f.install}")
    return 2 if any(f.need == "needed" for f in missing) else 0


def look() -> list[Finding]:
    """Look for everything."""
    python = platform.python_version() if sys.version_info >= (3, 11) else ""
    findings = [Finding("Python", python, "needed", "3.11 or later", "apt-get install python3 python3-venv")]
    for name, purpose in _PACKAGES:
        need: Need = "optional" if name == "sounddevice" else "needed"
        findings.append(Finding(name, _package_version(name), need, purpose, f"{sys.executable} -m pip install {name}"))
    compile_line = f"apt-get install gcc && {sys.executable} -m psgmodel.engine.kernel"
    findings.append(
        Finding("kernel", _kernel(), "optional", "the engine, compiled; else its slower twin", compile_line)
    )
    findings.append(Finding("libsndfile", _libsndfile(), "needed", "WAV and FLAC files", _SNDFILE))
    portaudio, device = _sound()
    findings.append(Finding("PortAudio", portaudio, "optional", "playback", "apt-get install libportaudio2"))
    findings.append(Finding("sound device", device, "optional", "playback", "connect or enable a sound device"))
    for command, flag, package, purpose in _TOOLS:
        findings.append(
            Finding(command, _tool_version(command, flag), "optional", purpose, f"apt-get install {package}")
        )
    return findings


def _package_version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return ""


def _kernel() -> str:
    """Return "in use" where the compiled kernel of the engine serves, "" where its twin in Python does."""
    try:
        from psgmodel.engine.kernel.library import find_kernel
    except ImportError:
        return ""
    return "in use" if find_kernel().library is not None else ""


def _libsndfile() -> str:
    try:
        import soundfile
    except (OSError, ImportError):
        return ""
    return str(soundfile.__libsndfile_version__)


def _sound() -> tuple[str, str]:
    """Return the version of PortAudio and the name of the sound device, "" for what is missing.

    Asked in a process of its own: where the sound set-up is broken, PortAudio ends the process that asks.
    """
    try:
        done = subprocess.run(
            [sys.executable, "-c", _SOUND_QUESTION], capture_output=True, text=True, timeout=_TIMEOUT_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return "", ""
    version, _, device = done.stdout.strip().partition("\n")
    found = re.search(r"V(\d+\.\d+\.\d+)", version)
    return (found[1] if found else version.split(",")[0]), device


def _tool_version(command: str, flag: str) -> str:
    path = shutil.which(command)
    if path is None:
        return ""
    try:
        done = subprocess.run([path, flag], capture_output=True, text=True, timeout=_TIMEOUT_S, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return ""
    found = _VERSION.search(done.stdout + done.stderr)
    return found[0].removeprefix("ngspice-") if found else "found"
