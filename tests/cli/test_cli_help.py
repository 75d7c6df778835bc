"""Help: quick, complete, and the same everywhere. The golden texts are frozen: read by a person when they changed."""

from __future__ import annotations

import re
import resource
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from psgmodel.cli.entry import COMMANDS
from tests.cli.commands import GOLDEN, environment, run


@pytest.mark.parametrize("name", ["overview", *COMMANDS])
def test_the_help_of_a_command_is_the_text_that_was_read_and_approved(name: str, tmp_path: Path) -> None:
    words = ["--help"] if name == "overview" else [name, "--help"]
    found = run(words, tmp_path, {"COLUMNS": "40"})
    assert (found.status, found.err) == (0, "")
    assert found.out == (GOLDEN / f"help-{name}.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_of_a_command_fits_a_terminal_and_has_an_example_on_the_demo_files(name: str, tmp_path: Path) -> None:
    text = run([name, "--help"], tmp_path).out
    assert max(map(len, text.splitlines())) <= 96
    assert re.search(rf"^  psgmodel {name}\b", text, re.MULTILINE)


@pytest.mark.parametrize("words", [["--help"], ["render", "--help"], ["--version"]])
def test_help_loads_neither_numpy_nor_any_other_heavy_library(words: list[str], tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "psgmodel", *words],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env=environment(),
        check=True,
    )
    loaded = {line.split("|")[-1].strip().split(".")[0] for line in done.stderr.splitlines()}
    assert "psgmodel" in loaded
    assert not loaded & {"numpy", "scipy", "matplotlib", "soundfile", "sounddevice"}


def test_help_takes_less_than_a_quarter_of_a_second_of_processor_time(tmp_path: Path) -> None:
    took = []
    for _ in range(3):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        run(["--help"], tmp_path)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        took.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    assert min(took) < 0.25


def test_no_command_prints_the_overview_and_is_not_a_success(tmp_path: Path) -> None:
    found = run([], tmp_path)
    assert found.status == 2
    assert found.out == (GOLDEN / "help-overview.txt").read_text(encoding="utf-8")


def test_every_example_of_the_help_is_accepted_by_its_own_parser() -> None:
    from importlib import import_module

    for name in COMMANDS:
        parser = import_module(f"psgmodel.cli.{name}").make_parser()
        examples = re.findall(rf"^  psgmodel {name}(.*)$", parser.format_help(), re.MULTILINE)
        assert examples
        for example in examples:
            assert parser.parse_args(shlex.split(example)).json is False
