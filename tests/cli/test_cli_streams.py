"""The two streams: results in one, everything else in the other; terminals, pipes, and readers that go away."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from tests.cli.commands import AT_ONCE, CHIP, COMMAND, JINGLE, TINY, environment, run, run_on_terminal

ESCAPE = "\x1b["
RENDER = ["render", JINGLE, "--chip", CHIP, "-o", "x.wav"]


def test_a_terminal_shows_progress_and_the_line_is_clean_afterwards(tmp_path: Path) -> None:
    found = run_on_terminal(RENDER, tmp_path, command=AT_ONCE)
    assert found.status == 0
    shown = [line for line in found.err.split("\r") if line.strip()]
    assert len(shown) >= 2
    assert all(line.startswith("rendering x.wav  ") for line in shown)
    assert all(" %  " in line and line.rstrip().endswith(" left") for line in shown)
    percents = [int(line.split(" %")[0].split()[-1]) for line in shown]
    assert percents == sorted(percents)
    assert found.err.endswith("\r")
    assert found.err.split("\r")[-2].strip() == ""


def test_a_pipe_gets_no_progress_and_no_colour(tmp_path: Path) -> None:
    found = run(RENDER, tmp_path)
    assert found.status == 0
    assert found.err == ""
    assert ESCAPE not in found.out
    assert "\r" not in found.out


def test_errors_are_coloured_on_a_terminal_unless_no_color_is_set(tmp_path: Path) -> None:
    assert run_on_terminal(["frob"], tmp_path).err.startswith(f"{ESCAPE}1;31mpsgmodel: error:{ESCAPE}0m ")
    assert run_on_terminal(["frob"], tmp_path, {"NO_COLOR": ""}).err.startswith(ESCAPE)
    for quiet in ({"NO_COLOR": "1"}, {"TERM": "dumb"}):
        assert run_on_terminal(["frob"], tmp_path, quiet).err.startswith("psgmodel: error: ")


@pytest.mark.parametrize(
    "words",
    [
        ["render", TINY, "--chip", CHIP, "-o", "x.wav"],
        ["listen", TINY, "--chip", CHIP],
        ["registers", "--chip", CHIP],
        ["registers", "--describe"],
        ["doctor"],
    ],
)
def test_json_is_one_document_with_a_version_and_nothing_beside_it(words: list[str], tmp_path: Path) -> None:
    document = run([*words, "--json"], tmp_path).document
    assert document["json_format"] == 1
    assert document["command"] == words[0]
    assert document["status"] == 0
    assert document["problems"] == []
    assert document["result"]


@pytest.mark.parametrize("command", ["registers --describe", "--help", "render --help"])
def test_a_reader_that_goes_away_is_no_error(command: str, tmp_path: Path) -> None:
    shell = f"{' '.join(COMMAND)} {command} | head -n 1; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(
        ["bash", "-c", shell], cwd=tmp_path, capture_output=True, text=True, env=environment(), check=False
    )
    assert done.returncode == 0
    assert done.stderr == ""
    assert done.stdout.count("\n") == 1


def test_work_is_finished_even_when_the_reader_of_the_result_goes_away(tmp_path: Path) -> None:
    shell = f"{' '.join(COMMAND)} render {TINY} --chip {CHIP} -o x.wav | true; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(
        ["bash", "-c", shell], cwd=tmp_path, capture_output=True, text=True, env=environment(), check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert (tmp_path / "x.wav").stat().st_size > 44


def test_a_full_disk_under_standard_output_is_told_in_one_line(tmp_path: Path) -> None:
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [*COMMAND, "registers", "--describe"], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 2
    assert done.stderr == "psgmodel: error: cannot write standard output: No space left on device\n"


def test_closed_streams_do_not_matter(tmp_path: Path) -> None:
    shell = f"{' '.join(COMMAND)} render {TINY} --chip {CHIP} -o x.wav >&- 2>&-"
    assert subprocess.run(["bash", "-c", shell], cwd=tmp_path, check=False).returncode == 0
    assert (tmp_path / "x.wav").exists()


def test_a_terminal_without_line_drawing_letters_gets_plain_ones(tmp_path: Path) -> None:
    found = run(["registers", "--chip", CHIP], tmp_path, {"PYTHONIOENCODING": "ascii"})
    assert found.status == 0
    assert found.out.isascii()
    assert "+- 0x09 A_TONE ----" in found.out
