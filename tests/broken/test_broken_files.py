"""Broken inputs: small files, each wrong in one way, each with the whole message that it must give.

Every file under ``chips`` and ``logs`` begins with two comments: what is wrong, and the expected message, a line each
(where the file cannot hold a comment, they stand in a .txt of the same name). The messages were written or judged by
hand, line by line, not recorded. To add a case, add a file.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from psgmodel.chip import load_chip
from psgmodel.errors import ChipError, RegisterLogError
from psgmodel.reglog import check_log, load_log

HERE = Path(__file__).parent
CHIPS = sorted(path.name for path in (HERE / "chips").glob("*.toml"))
LOGS = sorted(path.name for path in (HERE / "logs").glob("*.csv"))
LINNET = load_chip(HERE.parents[1] / "patches" / "linnet.toml")


def expected_message(path: Path) -> str:
    """The message that a file says it must give."""
    beside = path.with_suffix(".txt")
    lines = (beside if beside.exists() else path).read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# Wrong: ")
    assert lines[1] == "# Expected:"
    wanted = []
    for line in lines[2:]:
        if not line.startswith("#   "):
            break
        wanted.append(line.removeprefix("#   "))
    assert wanted
    return "\n".join(wanted)


def test_there_are_many_of_them() -> None:
    assert len(CHIPS) >= 150
    assert len(LOGS) >= 15


@pytest.mark.parametrize("name", CHIPS)
def test_a_broken_description_gives_its_message(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(HERE / "chips")
    with pytest.raises(ChipError) as caught:
        load_chip(name)
    assert str(caught.value) == expected_message(HERE / "chips" / name)


@pytest.mark.parametrize("name", LOGS)
def test_a_broken_log_gives_its_message(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(HERE / "logs")
    with pytest.raises(RegisterLogError) as caught:
        check_log(load_log(name), LINNET)
    assert str(caught.value) == expected_message(HERE / "logs" / name)


def test_every_problem_of_a_description_has_its_own_place_in_the_file() -> None:
    with pytest.raises(ChipError) as caught:
        load_chip(HERE / "chips" / "everything-at-once.toml")
    lines = [problem.place.line for problem in caught.value.problems if problem.place is not None]
    assert len(lines) == 5
    assert lines == sorted(set(lines), key=lambda line: line or 0)
