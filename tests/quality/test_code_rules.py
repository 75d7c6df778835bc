"""Rules of the house that a program can hold: sizes, docstrings, what library code may not touch, tests that assert."""

from __future__ import annotations

import ast
import inspect
import re
from collections import Counter
from collections.abc import Iterator
from functools import cache
from importlib import import_module
from itertools import pairwise
from pathlib import Path

import pytest

import psgmodel

ROOT = Path(psgmodel.__file__).parent
TESTS = Path(__file__).parents[1]
FILES = sorted(ROOT.rglob("*.py"))
TEST_FILES = sorted(TESTS.rglob("*.py"))
BELOW_CLI = [path for path in FILES if path.relative_to(ROOT).parts[0] not in ("cli", "__main__.py")]
PACKAGES = ["psgmodel", *(f"psgmodel.{path.parent.name}" for path in sorted(ROOT.glob("*/__init__.py")))]

MOST_LINES_OF_A_FILE = 320
MOST_LINES_OF_A_FUNCTION = 60

Function = ast.FunctionDef | ast.AsyncFunctionDef


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT.parent))


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def functions(path: Path) -> tuple[Function, ...]:
    return tuple(node for node in ast.walk(tree(path)) if isinstance(node, Function))


def test_no_file_is_longer_than_a_sitting() -> None:
    lengths = {name_of(path): len(path.read_text(encoding="utf-8").splitlines()) for path in FILES}
    assert {name: lines for name, lines in lengths.items() if lines > MOST_LINES_OF_A_FILE} == {}


def test_no_function_is_longer_than_a_screen() -> None:
    long = {}
    for path in FILES:
        for node in functions(path):
            first = node.body[1] if ast.get_docstring(node) and len(node.body) > 1 else node.body[0]
            lines = (node.end_lineno or 0) - first.lineno + 1  # without the docstring
            if lines > MOST_LINES_OF_A_FUNCTION:
                long[f"{name_of(path)}:{node.name}"] = lines
    assert long == {}


# --- docstrings -----------------------------------------------------------------------------------------------------


def test_every_module_says_what_it_is_before_it_imports() -> None:
    for path in FILES:
        first = tree(path).body[:1]
        assert first, f"{name_of(path)} is empty"
        docstring = ast.get_docstring(tree(path))
        assert docstring, name_of(path)
        assert docstring.splitlines()[0].endswith("."), name_of(path)


def public_things() -> Iterator[tuple[str, object]]:
    """Everything that a package of psgmodel names in `__all__`."""
    for package in PACKAGES:
        module = import_module(package)
        for name in getattr(module, "__all__", []):
            yield f"{package}.{name}", getattr(module, name)


def sections(docstring: str) -> set[str]:
    """Headings of a numpydoc docstring."""
    lines = docstring.splitlines()
    return {a.strip() for a, b in pairwise(lines) if b.strip() and set(b.strip()) == {"-"}}


def test_every_public_name_exists_once() -> None:
    for package in PACKAGES:
        names = getattr(import_module(package), "__all__", [])
        assert len(names) == len(set(names)), package


def test_every_public_function_and_class_has_a_docstring_whose_first_line_is_a_sentence() -> None:
    poor = []
    for name, thing in public_things():
        if inspect.isfunction(thing) or inspect.isclass(thing):
            first = (inspect.getdoc(thing) or "").split("\n\n")[0].strip()
            if not first.endswith((".", ".``", ":")):
                poor.append(f"{name}: {first!r}")
    assert poor == []


def test_every_public_function_names_the_errors_it_raises() -> None:
    """Where the body itself raises one of the project's errors, numpydoc wants a section Raises."""
    poor = []
    for name, thing in public_things():
        if not inspect.isfunction(thing):
            continue
        raised = set(re.findall(r"raise (\w+Error)\(", inspect.getsource(thing)))
        docstring = inspect.getdoc(thing) or ""
        if raised and "Raises" not in sections(docstring) and not re.search(r"[Rr]aise", docstring):
            poor.append(f"{name} raises {', '.join(sorted(raised))}")
    assert poor == []


# --- what library code may not touch --------------------------------------------------------------------------------

CLOCKS_AND_CHANCE = {"time", "random", "secrets", "uuid", "datetime"}


def forbidden_in(path: Path) -> list[str]:
    found = []
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import | ast.ImportFrom):
            module = node.module if isinstance(node, ast.ImportFrom) else None
            names = [module or ""] if module else [alias.name for alias in node.names]
            found += [f"{node.lineno}: imports {n}" for n in names if n.split(".")[0] in CLOCKS_AND_CHANCE]
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            if called in ("print", "input", "exit", "quit", "sys.exit", "os._exit", "os.getenv", "breakpoint"):
                found.append(f"{node.lineno}: calls {called}")
            if called.endswith("random.default_rng") and not (node.args or node.keywords):
                found.append(f"{node.lineno}: random numbers without a seed")
            if re.fullmatch(r"(np|numpy)\.random\.(?!default_rng|Generator|PCG64|SeedSequence)\w+", called):
                found.append(f"{node.lineno}: calls {called}")
        if isinstance(node, ast.Attribute) and ast.unparse(node) in ("os.environ", "sys.stdout", "sys.stderr"):
            found.append(f"{node.lineno}: uses {ast.unparse(node)}")
    return found


@pytest.mark.parametrize("path", BELOW_CLI, ids=name_of)
def test_library_code_neither_prints_nor_exits_nor_asks_clock_chance_or_environment(path: Path) -> None:
    assert forbidden_in(path) == []


def test_below_the_commands_imports_name_their_room() -> None:
    """Else the rule of `test_import_rule` could not see them."""
    for path in BELOW_CLI:
        for node in ast.walk(tree(path)):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert "psgmodel" not in names, f"{name_of(path)}:{getattr(node, 'lineno', 0)}"
            if isinstance(node, ast.Call) and path != ROOT / "__init__.py":
                assert ast.unparse(node.func).split(".")[-1] not in ("import_module", "__import__"), name_of(path)


def test_relative_and_star_imports_hide_where_names_come_from() -> None:
    for path in FILES:
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.ImportFrom):
                assert node.level == 0, f"{name_of(path)}:{node.lineno}"
                assert all(alias.name != "*" for alias in node.names), f"{name_of(path)}:{node.lineno}"


@pytest.mark.parametrize("package", ["chip", "reglog", "engine", "dump", "comparison", "report"])
def test_a_package_without_sound_loads_no_sound_library(package: str) -> None:
    import subprocess
    import sys

    code = f"import sys, psgmodel.{package}; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout.split()
    heavy = {"scipy.signal", "matplotlib", "soundfile", "sounddevice"}
    assert heavy & set(loaded) == set()


# --- files ----------------------------------------------------------------------------------------------------------


def test_no_checker_is_silenced() -> None:
    # A test may hand over a wrong type on purpose.
    for path in [*FILES, *TEST_FILES]:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"#\s*(noqa|pragma:\s*no cover|fmt:\s*off|mypy:|ruff:)", text) or path == Path(__file__), (
            path
        )
        if path in FILES:
            assert not re.search(r"#\s*type:\s*ignore", text), path


def test_no_path_of_a_machine_stands_in_the_code() -> None:
    path_of_machine = re.compile(r"[\"'`\s(]/(work|home|root|Users|tmp)/")
    for path in [*FILES, *TEST_FILES]:
        found = path_of_machine.search(path.read_text(encoding="utf-8"))
        assert found is None or path == Path(__file__), f"{path}: {found}"


def test_all_tool_settings_are_in_one_file() -> None:
    top = {path.name for path in TESTS.parent.iterdir()}
    assert (
        top & {"setup.cfg", "setup.py", "tox.ini", "pytest.ini", "mypy.ini", "ruff.toml", ".ruff.toml", ".flake8"}
        == set()
    )


# --- tests ----------------------------------------------------------------------------------------------------------


def test_no_two_test_files_have_one_name() -> None:
    names = Counter(path.name for path in TESTS.rglob("test_*.py"))
    assert [name for name, count in names.items() if count > 1] == []


@cache
def what_it_does(node: Function) -> tuple[bool, frozenset[str]]:
    """Whether a function asserts by itself, and the last names of what it calls."""
    inner = list(ast.walk(node))
    calls = [n.func for n in inner if isinstance(n, ast.Call)]
    names = {c.attr if isinstance(c, ast.Attribute) else c.id for c in calls if isinstance(c, ast.Attribute | ast.Name)}
    return any(isinstance(n, ast.Assert) for n in inner), frozenset(names)


@cache
def asserting_helpers() -> frozenset[str]:
    """Names of functions under tests that assert, themselves or through others; a parser exits where it refuses."""
    found = {"raises", "parse_args", "assert_array_equal", "assert_allclose"}
    for _ in range(3):
        for path in TEST_FILES:
            for node in functions(path):
                direct, called = what_it_does(node)
                if direct or called & found:
                    found.add(node.name)
    return frozenset(found)


@pytest.mark.parametrize("path", sorted(TESTS.rglob("test_*.py")), ids=lambda path: str(path.relative_to(TESTS)))
def test_every_test_asserts_something(path: Path) -> None:
    silent = []
    for node in functions(path):
        direct, called = what_it_does(node)
        if node.name.startswith("test_") and not direct and not called & asserting_helpers():
            silent.append(node.name)
    assert silent == []


@pytest.mark.parametrize("path", TEST_FILES, ids=lambda path: str(path.relative_to(TESTS)))
def test_no_test_is_skipped_or_expected_to_fail(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"pytest\.(mark\.)?(skip|skipif|xfail|importorskip)\b", text) or path == Path(__file__)
