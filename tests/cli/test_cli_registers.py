"""The command `registers`: the map of Linnet and the reference of the description language."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from tests.cli.commands import CHIP, GOLDEN, PATCHES, run_here


@pytest.mark.parametrize("kind", ["text", "markdown"])
def test_the_register_map_of_linnet_is_the_text_that_was_read_against_its_prose(kind: str, tmp_path: Path) -> None:
    # Frozen: read against the table of section 4 of linnet.md.
    found = run_here(["registers", "--chip", CHIP, "--format", kind], tmp_path)
    assert (found.status, found.err) == (0, "")
    assert found.out == (GOLDEN / f"registers-{kind}.txt").read_text(encoding="utf-8")


def test_every_address_and_name_of_the_prose_is_in_the_map(tmp_path: Path) -> None:
    prose = (PATCHES / "linnet.md").read_text(encoding="utf-8").split("## 4.")[1].split("## 5.")[0]
    rows = re.findall(r"^\| (0x\w\w)(?:-0x\w\w)? \| (\w+) \|", prose, re.MULTILINE)
    text = run_here(["registers", "--chip", CHIP], tmp_path).out
    for address, name in rows:
        assert re.search(rf"─ {address}(?: to 0x\w\w)? {name} ─", text)
    assert len(rows) == text.count("─ 0x")


def test_the_json_map_is_what_the_description_says(tmp_path: Path) -> None:
    told = tomllib.loads(Path(CHIP).read_text(encoding="utf-8"))
    result = run_here(["registers", "--chip", CHIP, "--json"], tmp_path).document["result"]
    assert [(r["name"], r["address"], r["reset"]) for r in result["registers"]] == [
        (r["name"], r["address"], r.get("reset", 0)) for r in sorted(told["register"], key=lambda r: r["address"])
    ]
    drawn = {(r["name"], f["high"], f["low"], f["role"], f["target"]) for r in result["registers"] for f in r["fields"]}
    wanted = set()
    for register in told["register"]:
        for field in register["fields"]:
            high, _, low = field["bits"].partition(":")
            (role,) = field.keys() - {"bits"}
            wanted.add((register["name"], int(high), int(low or high), role, field[role]))
    assert drawn == wanted
    (memory,) = result["memories"]
    assert memory == {
        "name": "W_MEMORY",
        "channel": "wave",
        "address": 64,
        "addresses": 64,
        "samples": 64,
        "bits": 6,
    }


def test_the_reference_names_every_option_that_the_demo_chip_uses(tmp_path: Path) -> None:
    text = run_here(["registers", "--describe"], tmp_path).out

    def keys(table: object) -> set[str]:
        if isinstance(table, dict):
            return set(table) | {k for value in table.values() for k in keys(value)}
        if isinstance(table, list):
            return {k for value in table for k in keys(value)}
        return set()

    names = {"format", "a", "b", "wave", "noise", "timing", "shaping", "bending"}
    tables = {"unit", "bus", "ticks", "channel", "mixer", "register", "memory", "constants"}
    for key in keys(tomllib.loads(Path(CHIP).read_text(encoding="utf-8"))) - names - tables:
        assert re.search(rf"^    {key} = |\b{key}\b", text, re.MULTILINE), key
    assert max(map(len, text.splitlines())) <= 96


def test_the_map_goes_to_a_file_whole(tmp_path: Path) -> None:
    found = run_here(["registers", "--chip", CHIP, "-o", "map.txt"], tmp_path)
    assert (found.status, found.out) == (0, "wrote map.txt\n")
    assert (tmp_path / "map.txt").read_text(encoding="utf-8") == run_here(["registers", "--chip", CHIP], tmp_path).out
