"""Build: compile the kernel with the C compiler of the machine.

Stage: engine, the compiled kernel. In: the C files of this folder and `layout`. Out: a shared library of plain C
functions, whose file name has the hash of what it was built from, so that an older one is not found. Imports nothing of
the project: it also runs while the project is being built.
"""

from __future__ import annotations

import hashlib
import runpy
import shutil
import subprocess
import tempfile
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).parent
COMPILERS = ("cc", "gcc", "clang")
FLAGS = ("-std=c99", "-O3", "-fPIC", "-shared", "-fvisibility=hidden", "-Wall", "-Wextra")


class NotBuiltError(Exception):
    """The kernel could not be compiled; the text says why."""


@cache
def layout_header() -> str:
    """Return the header that `layout` writes."""
    return str(runpy.run_path(str(FOLDER / "layout.py"))["header"]())


def sources() -> list[Path]:
    """Return the C files and headers, sorted."""
    return sorted([*FOLDER.glob("*.c"), *FOLDER.glob("*.h")])


def sources_hash() -> str:
    """Return a hash of all that a library is built from: files, layout, flags."""
    found = hashlib.sha256("\0".join([*FLAGS, layout_header()]).encode())
    for path in sources():
        found.update(b"\0" + path.name.encode() + b"\0" + path.read_bytes())
    return found.hexdigest()[:32]


def library_name() -> str:
    """Return the file name of the library that these sources make."""
    return f"kernel-{sources_hash()}.so"


def build(folder: Path = FOLDER) -> Path:
    """Compile the kernel into a folder; older libraries there are removed.

    Returns
    -------
    Path
        The library.

    Raises
    ------
    NotBuiltError
        There is no compiler, or it refused.
    """
    compiler = next(filter(None, map(shutil.which, COMPILERS)), None)
    if compiler is None:
        raise NotBuiltError(f"no C compiler was found; looked for: {', '.join(COMPILERS)}")
    with tempfile.TemporaryDirectory(dir=folder, prefix=".build-") as work:
        (Path(work) / "layout.h").write_text(layout_header(), encoding="utf-8")
        made = Path(work) / library_name()
        files = [str(path) for path in sources() if path.suffix == ".c"]
        line = [compiler, *FLAGS, "-I", work, "-o", str(made), *files]
        try:
            done = subprocess.run(line, capture_output=True, text=True, errors="replace", check=False)
        except OSError as reason:
            raise NotBuiltError(f"{compiler} cannot be run: {reason}") from reason
        if done.returncode or not made.exists():
            raise NotBuiltError(f"{compiler} refused:\n{done.stderr.strip()}")
        for old in folder.glob("kernel-*.so"):
            old.unlink(missing_ok=True)
        return made.replace(folder / made.name)
