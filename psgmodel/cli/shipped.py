"""Shipped files: the demo's descriptions, logs and dump.

Stage: cli. In: a file name. Out: where it lies: inside the installed package, or in the folder `patches` of the
repository where the package is used from there.
"""

from __future__ import annotations

from pathlib import Path

import psgmodel
from psgmodel.errors import OutputError


def shipped_file(name: str) -> Path:
    """Return the path of a shipped file.

    Raises
    ------
    OutputError
        The installation is incomplete.
    """
    package = Path(psgmodel.__file__).parent
    places = (package / "patches", package.parent / "patches")
    for folder in places:
        if (folder / name).is_file():
            return folder / name
    raise OutputError(f"the shipped file {name} is missing", hint="install psgmodel anew")
