"""Imports run one way through the house (design: Layout); this file is that rule."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import psgmodel

ROOT = Path(psgmodel.__file__).parent

GROUND = {"errors", "steps", "units", "output", "tomlfile"}
MAY_SEE = {
    "errors": set(),
    "steps": {"errors"},
    "units": {"errors"},
    "output": {"errors"},
    "tomlfile": {"errors"},
    "chip": GROUND,
    "reglog": GROUND | {"chip"},
    "engine": GROUND | {"chip", "reglog"},
    "audio": GROUND | {"chip", "reglog", "engine"},
    "dump": GROUND | {"chip", "reglog"},
    "comparison": GROUND | {"chip", "reglog", "engine", "audio", "dump"},
    "diagnose": GROUND | {"chip", "reglog", "engine", "audio", "dump", "comparison"},
    "coverage": GROUND | {"chip", "reglog", "engine"},
    "stimulus": GROUND | {"chip", "reglog", "engine", "diagnose", "coverage"},
    "output_stage": GROUND | {"audio"},
    "report": GROUND
    | {"chip", "reglog", "audio", "dump", "comparison", "diagnose", "coverage", "stimulus", "output_stage"},
    "cli": None,  # everything
    "__main__": {"cli"},
    "__init__": None,
}
FILES = sorted(ROOT.rglob("*.py"))


def room(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def imported_rooms(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: a relative import hides where a name is from"
            names = [node.module or ""]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        else:
            continue
        found |= {name.split(".")[1] for name in names if name.startswith("psgmodel.")}
    return found


@pytest.mark.parametrize("name", sorted({room(path) for path in FILES}))
def test_a_room_imports_only_from_the_rooms_below_it(name: str) -> None:
    allowed = MAY_SEE[name]
    if allowed is None:
        return
    for path in FILES:
        if room(path) == name:
            assert imported_rooms(path) <= allowed | {name}, path


def test_nothing_but_the_entry_imports_the_commands() -> None:
    users = {room(path) for path in FILES if "cli" in imported_rooms(path)}
    assert users <= {"cli", "__main__"}


def test_every_module_opens_with_a_docstring_that_names_its_stage() -> None:
    for path in FILES:
        assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))), path


def test_importing_the_package_loads_no_heavy_library() -> None:
    import subprocess
    import sys

    code = "import sys, psgmodel; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert "psgmodel" in loaded
    assert not loaded & {"numpy", "scipy", "matplotlib", "soundfile", "sounddevice"}
