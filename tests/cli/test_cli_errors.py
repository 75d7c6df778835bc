"""Bad input: each problem on its own line of standard error, exit status 2, never a traceback."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from psgmodel.cli.entry import COMMANDS
from tests.cli.commands import CHIP, JINGLE, TINY, run, run_here

START = "psgmodel: error: "


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["rendr"], 'no command "rendr" (did you mean "render"?)'),
        (["frob"], f'no command "frob" (commands: {", ".join(COMMANDS)})'),
        (["render"], "render: the following arguments are required: LOG, --chip (psgmodel render --help shows"),
        (["render", TINY, "--chip", CHIP, "--dept", "16"], 'unrecognized arguments: --dept 16 (did you mean "--depth"'),
        (["render", "none.csv", "--chip", CHIP], "none.csv: cannot read: No such file or directory"),
        (["render", TINY, "--chip", "none.toml"], "none.toml: cannot read: No such file or directory"),
        (["render", CHIP, "--chip", CHIP], "found the header 'format = 1', expected cycle,address,value"),
        (["render", TINY, "--chip", TINY], "not valid TOML"),
        (["render", TINY, "--chip", CHIP, "--from", "1s"], "nothing to hear from cycle 6144000 to cycle 100000"),
        (["render", TINY, "--chip", CHIP, "--to", "soon"], '--to: "soon" is no time'),
        (["render", TINY, "--chip", CHIP, "--rate", "44"], "44"),
        (["render", TINY, "--chip", CHIP, "-o", "x.mp3"], '"x.mp3" does not say which kind of audio file it is'),
        (["render", TINY, "--chip", CHIP, "-o", "no/x.wav"], "cannot write no/x.wav: No such file or directory"),
        (["render", TINY, "--chip", CHIP, "--picture", "x.jpg"], '"x.jpg" does not say which kind of picture it is'),
        (["render", TINY, "--chip", CHIP, "--picture", "no/x.png"], "cannot write no/x.png: No such file or directory"),
        (["render", TINY, "--chip", CHIP, "--mono", "--channels", "separate"], "--mono mixes what"),
        (["render", TINY, "--chip", CHIP, "--overload", "keep"], 'overload="keep" needs depth float32'),
        (["listen", TINY, "--chip", CHIP, "--only", "nois"], 'listen: no channel "nois" (did you mean "noise"?)'),
        (["listen", TINY, "--chip", CHIP, "--level", "6"], "playback level 6.0 dB is above full scale"),
        (["registers"], "registers: give either --chip CHIP or --describe"),
        (["registers", "--chip", CHIP, "-o", "no/x"], "cannot write no/x: No such file or directory"),
    ],
)
def test_bad_input_is_one_line_that_says_what_was_found(words: list[str], message: str, tmp_path: Path) -> None:
    found = run_here(words, tmp_path)
    assert found.status == 2
    lines = [line for line in found.err.splitlines() if line.startswith(START)]
    assert len(lines) == 1
    assert message in lines[0]
    assert "Traceback" not in found.err
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == []


def test_every_problem_of_a_file_has_its_own_line_with_its_place(tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("cycle,address,value\n1,0x00,0x100000000\nten,0,0\n5,0\n")
    found = run(["render", "bad.csv", "--chip", CHIP], tmp_path)
    assert found.status == 2
    lines = found.err.splitlines()
    assert [line.split(": ")[2] for line in lines] == ["bad.csv:2", "bad.csv:3", "bad.csv:4"]
    assert all(line.startswith(START) for line in lines)


def test_problems_are_in_the_json_document_too(tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("cycle,address,value\nten,0,0\n")
    found = run(["render", "bad.csv", "--chip", CHIP, "--json"], tmp_path)
    assert found.status == 2
    assert found.document["status"] == 2
    assert found.document["command"] == "render"
    (problem,) = found.document["problems"]
    assert problem["place"] == {"file": "bad.csv", "line": 2, "column": None, "byte": None}
    assert problem["message"] == 'cycle "ten", a decimal or 0x number is expected'
    assert START in found.err


def test_a_log_that_passes_full_scale_is_refused_with_time_cycle_and_what_to_do(tmp_path: Path) -> None:
    loud = (Path(CHIP).read_text(encoding="utf-8")).replace("bits = 9\n", "bits = 7\n")
    (tmp_path / "loud.toml").write_text(loud, encoding="utf-8")
    words = ["render", TINY, "--chip", "loud.toml", "-o", "x.wav"]
    found = run_here(words, tmp_path)
    assert found.status == 2
    assert "is above full scale" in found.err
    assert not (tmp_path / "x.wav").exists()
    for choice, said in (("scale", "x.wav: lowered by "), ("clip", "above full scale flattened")):
        found = run_here([*words, "--overload", choice], tmp_path)
        assert found.status == 0
        assert said in found.out


def test_an_out_that_is_a_file_is_told_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine")
    found = run(["render", TINY, "--chip", CHIP], tmp_path)
    assert found.status == 2
    assert found.err == f"{START}cannot write out: File exists\n"
    assert (tmp_path / "out").read_text() == "mine"


def test_a_file_that_exists_stays_when_the_new_one_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "x.wav").write_text("old")
    limit = "import resource, runpy, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (20000, 20000)); "
    code = limit + "sys.argv = ['psgmodel', *sys.argv[1:]]; runpy.run_module('psgmodel', run_name='__main__')"
    import subprocess
    import sys

    done = subprocess.run(
        [sys.executable, "-c", code, "render", JINGLE, "--chip", CHIP, "--to", "1s", "-o", "x.wav"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stderr == f"{START}cannot write x.wav: File too large\n"
    assert (tmp_path / "x.wav").read_text() == "old"
    assert os.listdir(tmp_path) == ["x.wav"]
