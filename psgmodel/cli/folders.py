"""Folders that results go into.

Stage: cli. In: a path. Out: the folder, made where it is missing.
"""

from __future__ import annotations

from pathlib import Path

from psgmodel.output import output_error


def make_folder(path: str) -> Path:
    """Return a folder, made where it is missing.

    Raises
    ------
    OutputError
        It cannot be made, or something else has its name.
    """
    folder = Path(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise output_error(path, error) from error
    return folder


def default_output(log: str) -> str:
    """Return where the sound of a log goes by default, out/LOG.wav, and make the folder."""
    return str(make_folder("out") / f"{Path(log).stem}.wav")
