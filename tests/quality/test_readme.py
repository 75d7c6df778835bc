"""README and DEVELOPERS: commands are accepted, Python runs, files and names are there, in the order that is needed."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

from psgmodel.cli.demo import FILES
from psgmodel.cli.entry import COMMANDS

HOME = Path(__file__).parents[2]
README = (HOME / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (HOME / "DEVELOPERS.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```(\w*)\n(.*?)```", README, re.DOTALL)
LINES = [
    line.split("   #")[0].removeprefix("$ ")
    for language, block in BLOCKS
    for line in block.splitlines()
    if line.removeprefix("$ ").startswith("psgmodel ")
]


def test_the_readme_opens_with_the_job_and_then_the_two_commands() -> None:
    shell = [block.strip() for language, block in BLOCKS if language == "sh"]
    assert shell[0] == "python3 -m venv .venv && .venv/bin/pip install -q . && .venv/bin/psgmodel demo"
    assert shell[1] == "bash tests/all"
    assert README.index("You write the sound unit") < README.index(shell[0]) < README.index(shell[1])
    assert README.split("\n## ")[-1].startswith("Changes\n")


def test_the_check_of_every_change_is_the_second_command_of_the_readme() -> None:
    assert (HOME / ".ci" / "run").read_text(encoding="utf-8").strip().endswith("bash tests/all")


@pytest.mark.parametrize("line", LINES)
def test_every_command_in_the_readme_is_accepted(line: str) -> None:
    words = shlex.split(line)
    assert import_module(f"psgmodel.cli.{words[1]}").make_parser().parse_args(words[2:]).json is False


def test_every_command_has_its_place_in_the_readme() -> None:
    for name in COMMANDS:
        assert f"**{name}**: " in README


def test_the_python_of_the_readme_runs_as_it_stands(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    for name in FILES:
        shutil.copy(HOME / "patches" / name, tmp_path / "out")
    (code,) = (block for language, block in BLOCKS if language == "python")
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "agree\n", "")
    assert (tmp_path / "jingle.wav").exists()


def test_the_names_of_the_python_table_are_the_table_of_contents() -> None:
    import psgmodel

    table = README.split("| stage | names |")[1].split("\n\n")[0]
    listed = set(re.findall(r"`(\w+)`", table))
    assert listed <= set(psgmodel.__all__)
    assert all(getattr(psgmodel, name) is not None for name in psgmodel.__all__)


def test_the_top_level_holds_nothing_that_does_not_belong_there() -> None:
    tracked = subprocess.run(["git", "ls-files"], cwd=HOME, capture_output=True, text=True, check=True).stdout
    tops = {line.split("/")[0] for line in tracked.splitlines()}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "psgmodel", "tests", "patches", "out"}
    assert {top for top in tops if not top.startswith(".")} <= allowed


def test_every_file_that_the_pages_for_developers_name_is_there() -> None:
    named = set(re.findall(r"`((?:psgmodel|tests|patches)/[\w./-]+)`", DEVELOPERS))
    assert len(named) > 20
    placeholders = {"psgmodel/cli/NAME.py", "tests/FOLDER", "tests/bench/NAME.py"}
    assert [name for name in named - placeholders if not (HOME / name).exists()] == []


def test_every_name_of_the_worked_example_is_in_the_code() -> None:
    example = DEVELOPERS.split("## Adding a kind of channel, worked through")[1]
    names = set(re.findall(r"`([A-Za-z_]\w{4,})`", example)) - {"Ramp"}
    code = "".join(p.read_text(encoding="utf-8") for top in ("psgmodel", "tests") for p in (HOME / top).rglob("*.py"))
    assert {"check_channel", "channel_level", "ReferenceChannel", "draw_channel"} <= names
    assert [name for name in sorted(names) if not re.search(rf"\b{name}\b", code)] == []
