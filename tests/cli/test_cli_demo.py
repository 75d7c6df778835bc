"""The command `demo`: both verdicts, its files, and that it works from an installed wheel's layout too."""

from __future__ import annotations

import io
import shutil
from pathlib import Path

import pytest

import psgmodel
from psgmodel.cli import shipped
from psgmodel.cli.demo import FILES, RIGHT, WRONG, copied, demo_status
from psgmodel.cli.screen import Screen
from psgmodel.errors import OutputError
from tests.cli.commands import PATCHES, run


def test_the_demo_shows_both_verdicts_and_leaves_sound_a_picture_and_files_to_try(tmp_path: Path) -> None:
    found = run(["demo"], tmp_path)
    assert (found.status, found.err) == (0, "")
    assert "\nAGREE  out/jingle.vcd.gz does what Linnet says, to the cycle\n" in found.out
    assert "\nDIFFER  out/jingle.vcd.gz departs from Linnet: noise first, at cycle " in found.out
    assert "\nBoth verdicts are as they should be." in found.out
    names = {p.name for p in (tmp_path / "out").iterdir()}
    sounds = {"jingle.wav", *(f"jingle-{c}.wav" for c in ("a", "b", "wave", "noise"))}
    assert names == {*FILES, *sounds, "jingle-comparison.png"}
    for name in FILES:
        assert (tmp_path / "out" / name).read_bytes() == (PATCHES / name).read_bytes()


def test_a_file_that_the_user_changed_stays_as_it_is_and_the_shipped_one_is_used(tmp_path: Path) -> None:
    said = io.StringIO()
    screen = Screen(io.StringIO(), said, {})
    first = copied("linnet.toml", tmp_path, screen)
    assert (first, said.getvalue()) == (str(tmp_path / "linnet.toml"), "")
    assert copied("linnet.toml", tmp_path, screen) == first
    (tmp_path / "linnet.toml").write_text("my own")
    assert copied("linnet.toml", tmp_path, screen) == str(PATCHES / "linnet.toml")
    assert (tmp_path / "linnet.toml").read_text() == "my own"
    assert said.getvalue().startswith(f"psgmodel: {tmp_path}/linnet.toml is not as shipped; it stays as it is")


def test_the_wrong_number_of_the_demo_is_one_number(tmp_path: Path) -> None:
    text = (PATCHES / "linnet.toml").read_text(encoding="utf-8")
    assert text.count(RIGHT) == 1
    assert [a for a, b in zip(RIGHT.split(), WRONG.split(), strict=True) if a != b] == ["14]"]


@pytest.mark.parametrize(
    ("right", "wrong", "status"), [(0, 1, 0), (0, 0, 1), (1, 1, 1), (1, 0, 1), (3, 1, 1), (0, 3, 1)]
)
def test_the_demo_succeeds_only_where_right_agrees_and_wrong_differs(right: int, wrong: int, status: int) -> None:
    assert demo_status(right, wrong) == status


def test_shipped_files_are_found_inside_an_installed_package_and_beside_a_checkout(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path / "site" / "psgmodel"
    (package / "patches").mkdir(parents=True)
    shutil.copy(PATCHES / "linnet.toml", package / "patches")
    assert shipped.shipped_file("linnet.toml") == PATCHES / "linnet.toml"
    monkeypatch.setattr(psgmodel, "__file__", str(package / "__init__.py"))
    assert shipped.shipped_file("linnet.toml") == package / "patches" / "linnet.toml"
    with pytest.raises(OutputError, match=r"the shipped file jingle\.csv is missing \(install psgmodel anew\)"):
        shipped.shipped_file("jingle.csv")
